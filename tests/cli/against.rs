//! Two recordings compared: committed captures against themselves with something changed, left out or put in.

use std::{fs, path::Path};

use twotrip_can::{CanId, Frame};
use twotrip_capture::{Item, items};

use crate::support::{Ran, capture, recording, run, runtime_dir};

/// When, in nanoseconds, and what.
type Frames = Vec<(u64, Frame)>;

/// Writes a committed capture again, with its frames changed.
fn changed(name: &str, change: impl FnOnce(&mut Frames)) -> String {
    let bytes = fs::read(capture(name)).expect("committed");
    let mut frames: Frames = items(&bytes)
        // One of them ends in damage.
        .map_while(Result::ok)
        .filter_map(|item| match item {
            Item::Packet(packet) => Some((packet.at?, packet.frame().ok()?)),
            _ => None,
        })
        .collect();
    change(&mut frames);
    recording(
        "changed.pcapng",
        &[""],
        frames.into_iter().map(|(at, frame)| (0, at, frame)),
    );
    "changed.pcapng".to_owned()
}

/// Other bytes in the answers that begin so.
fn answers(frames: &mut Frames, id: u16, begins: &[u8], bytes: &[u8]) {
    let mut found = 0;
    for (_, frame) in frames {
        if frame.id() == CanId::Standard(id) && frame.data().starts_with(begins) {
            *frame = Frame::padded(frame.id(), bytes, 0);
            found += 1;
        }
    }
    assert!(found > 0, "no answer begins with {begins:02X?}");
}

fn against(name: &str, other: &str, more: &[&str]) -> Ran {
    run(&[&["explain", &capture(name), "--against", other], more].concat())
}

#[test]
fn a_recording_is_the_same_as_itself() {
    for name in ["healthy", "fault-found", "two-ecus", "damaged-tail"] {
        against(name, &capture(name), &[])
            .expect(0)
            .says(" 0 of them answered differently; 0 only in FILE");
        let ran = against(name, &changed(name, |_| {}), &["--json"]);
        let ran = if name == "damaged-tail" {
            ran
        } else {
            ran.expect(0)
        };
        let summary = ran.json_lines().pop().expect("a summary");
        assert_eq!(
            (&summary["kind"], &summary["same"]),
            (&"summary".into(), &true.into()),
            "{name}"
        );
    }
}

#[test]
fn what_was_left_out_or_put_in_moves_nothing_else() {
    // The request and the answer in the middle of the survey.
    let other = changed("fault-found", |frames| drop(frames.drain(28..30)));
    let ran = against("fault-found", &other, &[])
        .expect(1)
        .says("only in fault-found.pcapng: tester to 7E8")
        .says("(frame 29)")
        .says("87 requests in both, 0 of them answered differently; 1 only in")
        .says("0 only in changed.pcapng");
    assert_eq!(
        ran.stdout.matches("only in fault-found.pcapng: ").count(),
        1,
        "{}",
        ran.tale()
    );
    let ran = run(&["explain", &other, "--against", &capture("fault-found"), "--json"]).expect(1);
    let lines = ran.json_lines();
    assert_eq!(lines.len(), 2, "{}", ran.tale());
    assert_eq!(
        (
            &lines[0]["verdict"],
            &lines[0]["frames"][1],
            &lines[0]["replies"][0]["ecu"]
        ),
        (&"only-in-other".into(), &29.into(), &"7E8".into())
    );
    assert_eq!(
        (&lines[1]["only_in_other"], &lines[1]["different"]),
        (&1.into(), &0.into())
    );
}

/// A recorder that went on in the same file, by its own clock.
#[test]
fn sections_of_a_file_follow_each_other() {
    let section = |change: fn(&mut Frames)| {
        let name = changed("fault-found", change);
        fs::read(runtime_dir().join(name)).expect("written")
    };
    let whole = section(|_| {});
    // The last answer of the first section is not there.
    let cut = section(|frames| frames.truncate(frames.len() - 1));
    for (name, first) in [("twice.pcapng", &whole), ("cut.pcapng", &cut)] {
        fs::write(runtime_dir().join(name), [&first[..], &whole].concat()).expect("writable");
    }
    let compare = |other| run(&["explain", "twice.pcapng", "--against", other]);
    compare("twice.pcapng")
        .expect(0)
        .says("176 requests in both, 0 of");
    compare("cut.pcapng")
        .expect(1)
        .says("176 requests in both, 1 of")
        .says("0 only in twice.pcapng, 0\nonly in cut.pcapng");
}

#[test]
fn other_codes_are_named() {
    let other = changed("two-ecus", |frames| {
        answers(frames, 0x7E9, &[4, 0x43, 1], &[4, 0x43, 1, 0x07, 0x31]);
    });
    against("two-ecus", &other, &[])
        .expect(1)
        .says("confirmed code P0730 gone, confirmed code P0731 appeared")
        .says("7E9 told confirmed code P0730 in two-ecus.pcapng only")
        .says("7E9 told confirmed code P0731 in changed.pcapng only")
        .says("1 of them answered differently");
    let lines = against("two-ecus", &other, &["--json"]).expect(1).json_lines();
    assert_eq!(
        (&lines[1]["kind"], &lines[1]["code"]),
        (&"code".into(), &"confirmed P0730".into())
    );
    // The other ECU alone is the same.
    against("two-ecus", &other, &["--drop", "7E9"]).expect(0);
    // An ECU that says nothing any more.
    let silent = changed("two-ecus", |frames| {
        frames.retain(|(_, frame)| frame.id() != CanId::Standard(0x7E9));
    });
    against("two-ecus", &silent, &[])
        .expect(1)
        .says("7E9  only in two-ecus.pcapng: 1 confirmed code: P0730");
}

#[test]
fn latencies_and_values_that_live_may_be_let_pass() {
    let late = changed("two-ecus", |frames| frames[4].0 += 30_000_000);
    against("two-ecus", &late, &[])
        .expect(1)
        .says("latency 4 -> 34 ms")
        .says("latencies within 20 ms); 1 latency is");
    against("two-ecus", &late, &["--latency", "40ms"]).expect(0);
    let other = changed("healthy", |frames| {
        frames.push((
            frames[0].0 + 5_000_000_000,
            Frame::padded(CanId::Standard(0x7DF), &[2, 1, 0x0C], 0),
        ));
        frames.push((
            frames[0].0 + 5_004_000_000,
            Frame::padded(CanId::Standard(0x7E8), &[4, 0x41, 0x0C, 0x0C, 0xB0], 0),
        ));
    });
    let kept = runtime_dir().join("kept.pcapng");
    fs::rename(runtime_dir().join(&other), &kept).expect("renamed");
    let kept = kept.to_str().expect("UTF-8");
    let bytes = fs::read(Path::new(kept)).expect("written");
    let mut faster = bytes.clone();
    let place = bytes
        .windows(5)
        .rposition(|bytes| bytes == [4, 0x41, 0x0C, 0x0C, 0xB0])
        .expect("there");
    faster[place + 3] = 0x0D;
    fs::write(runtime_dir().join("faster.pcapng"), faster).expect("writable");
    let compare = |how: &[&str]| run(&[&["explain", kept, "--against", "faster.pcapng"], how].concat());
    compare(&[]).expect(1).says("engine speed 812 -> 876 rpm");
    compare(&["--compare", "tolerance=5%"]).expect(1);
    compare(&["--compare", "tolerance=10%"])
        .expect(0)
        .complains("values that live");
    compare(&["--compare", "shape"]).expect(0);
    compare(&["--compare", "roughly"]).expect(2).complains("shape");
    run(&["explain", kept, "--compare", "shape"]).expect(2);
    run(&["explain", kept, "--against", "nobody.pcapng"])
        .expect(2)
        .complains("cannot read");
    run(&["explain", "--bus", "local:x", "--against", kept]).expect(2);
}
