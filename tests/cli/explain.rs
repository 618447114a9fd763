//! Recordings in words: the committed captures, what was made by others, what is damaged, hostile or still growing.
//!
//! After a wanted change `TWOTRIP_ACCEPT=1 cargo test -p twotrip-cli --test cli explain::` writes the texts anew.

use std::{
    fs::{self, OpenOptions},
    io::{BufRead as _, BufReader, Write as _},
    path::Path,
    process::Stdio,
    thread,
    time::Duration,
};

use twotrip_can::{CanId, Frame};
use twotrip_capture::write;

use crate::support::{Car, bus, capture, captures, run, run_command, runtime_dir, twotrip, within_memory};

fn explain(file: &Path, more: &[&str]) -> String {
    let file = file.to_str().expect("UTF-8");
    run(&[&["explain", file], more].concat()).expect(0).stdout
}

#[test]
fn committed_captures_are_explained() {
    let accept = std::env::var_os("TWOTRIP_ACCEPT").is_some();
    for (name, levels) in [
        ("healthy", &["messages", "story"][..]),
        ("fault-found", &["messages", "story"]),
        ("two-ecus", &["frames", "transport", "messages", "story"]),
        ("damaged-tail", &["messages", "story"]),
    ] {
        for level in levels {
            let told = explain(&captures().join(format!("{name}.pcapng")), &["--level", level]);
            let path = captures().join(format!("{name}.{level}.txt"));
            if accept {
                fs::write(&path, &told).expect("writable");
            }
            let wanted = fs::read_to_string(&path).expect("the text is committed");
            assert_eq!(told, wanted, "{name} at level {level}");
        }
    }
}

#[test]
fn machines_get_the_same_as_objects() {
    let file = captures().join("two-ecus.pcapng");
    let file = file.to_str().expect("UTF-8");
    let ran = run(&["explain", file, "--json"]).expect(0);
    let lines = ran.json_lines();
    let of = |kind: &str| {
        lines
            .iter()
            .filter(|line| line["kind"] == kind)
            .cloned()
            .collect::<Vec<_>>()
    };
    assert_eq!(of("interface")[0]["interface"], "can0");
    let name = of("message")
        .into_iter()
        .find(|line| line["text"] == "ECU name TCM-Transmission")
        .expect("said");
    assert_eq!(
        (&name["role"], &name["first_frame"], &name["last_frame"]),
        (&"7E9 to tester".into(), &11.into(), &18.into())
    );
    assert_eq!(name["latency_ms"], 3.5);
    let rules: Vec<_> = of("breach")
        .into_iter()
        .map(|line| (line["frame"].clone(), line["rule"].clone()))
        .collect();
    assert_eq!(
        rules[0],
        (
            17.into(),
            "ISO 15765-2, unexpected arrival, sequence number".into()
        )
    );
    let frames = run(&[
        "explain", file, "--json", "--level", "frames", "--from", "2", "--to", "3",
    ])
    .expect(0);
    let frames: Vec<_> = frames
        .json_lines()
        .into_iter()
        .filter(|line| line["kind"] == "frame")
        .collect();
    assert_eq!(frames.len(), 2);
    assert_eq!(
        (&frames[0]["id"], &frames[0]["unix_ns"]),
        (&"7E8".into(), &1_764_000_000_004_000_000_u64.into())
    );
    assert_eq!(frames[1]["time_s"], 0.005);
}

/// What is not shown is heard all the same: a cut in the middle of a conversation breaks no rule.
#[test]
fn a_part_is_judged_by_the_whole() {
    let file = captures().join("fault-found.pcapng");
    let whole = explain(&file, &[]);
    for more in [
        &["--from", "20", "--to", "60"][..],
        &["--only", "7E8"],
        &["--drop", "7DF"],
        &["--to", "0.2s"],
    ] {
        let part = explain(&file, more);
        assert!(
            part.lines().count() > 5 && part.len() < whole.len(),
            "{more:?}: {part}"
        );
        assert!(!part.contains('!'), "{more:?}: {part}");
    }
    run(&["explain", file.to_str().expect("UTF-8"), "--from", "soon"])
        .expect(2)
        .complains("2.5s");
}

/// Control characters in a comment are shown, never obeyed; a comment without end is text.
#[test]
fn text_of_a_file_is_never_obeyed() {
    let path = runtime_dir().join("hostile.pcapng");
    let mut file = Vec::new();
    let evil = "\u{1b}]0;owned\u{7}\u{1b}[2Jcar: \r\n done\u{9b}2J\u{202e}";
    write::section(
        &mut file,
        &write::Section {
            application: evil,
            comments: &[evil],
            ..Default::default()
        },
    );
    write::interface(
        &mut file,
        &write::Interface {
            name: evil,
            ..Default::default()
        },
    );
    write::interface(
        &mut file,
        &write::Interface {
            name: "b",
            ..Default::default()
        },
    );
    let frame = Frame::padded(CanId::Standard(0x7DF), &[1, 3], 0);
    for interface in [0, 1] {
        let packet = write::Packet {
            interface,
            at: 1,
            direction: None,
            dropped: 9,
            frame: &frame,
        };
        write::packet(&mut file, &packet, [evil, "x".repeat(60_000).as_str()]);
    }
    // The same in what an ECU says: a name of twenty bytes over several frames.
    let answer = [&[0x49, 0x0A, 1], &evil.as_bytes()[..20]].concat();
    let mut frames = vec![
        (0x7DF, vec![2, 9, 0x0A]),
        (0x7E8, [&[0x10, 23], &answer[..6]].concat()),
    ];
    frames.push((0x7E0, vec![0x30, 0, 0]));
    for (turn, piece) in (0x21..).zip(answer[6..].chunks(7)) {
        frames.push((0x7E8, [&[turn], piece].concat()));
    }
    for (at, (id, data)) in (1..).zip(frames) {
        let packet = write::Packet {
            interface: 0,
            at: at * 1_000_000,
            direction: None,
            dropped: 0,
            frame: &Frame::padded(CanId::Standard(id), &data, 0),
        };
        write::packet(&mut file, &packet, []);
    }
    fs::write(&path, file).expect("writable");
    let obeyed = |text: &str| {
        let others = ['\u{1b}', '\u{7}', '\r', '\u{9b}', '\u{202e}'];
        text.contains(others)
    };
    for level in ["frames", "transport", "messages", "story"] {
        let told = explain(&path, &["--level", level]);
        assert!(!obeyed(&told), "{level}: {told:?}");
        let json = explain(&path, &["--level", level, "--json"]);
        assert!(!obeyed(&json), "{level}: {json:?}");
    }
    let path = path.to_str().expect("UTF-8");
    let other = &capture("two-ecus");
    for more in [
        &["--against", other][..],
        &["--against", other, "--json"],
        &["--redact", "hidden.pcapng"],
    ] {
        let ran = run(&[&["explain", path], more].concat());
        assert!(!obeyed(&ran.stdout) && !obeyed(&ran.stderr), "{}", ran.tale());
    }
}

/// What is not in a recording is told where it is missing, and by whom at the end.
#[test]
fn losses_are_told() {
    let path = runtime_dir().join("losses.pcapng");
    let mut file = Vec::new();
    write::section(&mut file, &write::Section::default());
    for name in ["can0", "can1"] {
        write::interface(
            &mut file,
            &write::Interface {
                name,
                ..Default::default()
            },
        );
    }
    let frame = Frame::padded(CanId::Standard(0x7DF), &[1, 3], 0);
    for (interface, at, dropped) in [(0, 1, 0), (0, 100_000_000, 9), (1, 200_000_000, 2)] {
        let packet = write::Packet {
            interface,
            at,
            direction: None,
            dropped,
            frame: &frame,
        };
        write::packet(&mut file, &packet, []);
    }
    let counted = write::Statistics {
        interface: 0,
        at: 300_000_000,
        received: 2,
        dropped_by_interface: 4,
        dropped_by_system: 9,
    };
    write::statistics(&mut file, &counted, []);
    fs::write(&path, file).expect("writable");
    let path = path.to_str().expect("UTF-8");
    run(&["explain", path])
        .expect(0)
        .says("! 9 frames before frame 2 were lost")
        .says("! 2 frames before frame 3 were lost")
        .complains("3 frames, 3 requests, 0 answers")
        .complains("13 frames lost on can0 (4 by")
        .complains("2 frames lost on can1");
    run(&["explain", path, "--level", "story"])
        .expect(0)
        .says("! 9 frames were lost here");
    run(&["explain", path, "--level", "frames"])
        .expect(0)
        .says("(9 lost before it)");
    let lines = run(&["explain", path, "--json"]).expect(0).json_lines();
    let of = |kind: &str| {
        lines
            .iter()
            .filter(|line| line["kind"] == kind)
            .collect::<Vec<_>>()
    };
    assert_eq!(
        (&of("lost")[0]["frames"], &of("lost")[0]["before_frame"]),
        (&9.into(), &2.into())
    );
    assert_eq!(of("statistics")[0]["dropped_by_interface"], 4);
    let summary = of("summary")[0];
    assert_eq!(
        (&summary["lost"], &summary["interfaces"][0]["lost"]),
        (&15.into(), &13.into())
    );
}

/// Fifty thousand frames with a million comments and a block that says it were four gigabytes long, in the memory of a
/// small file.
#[test]
fn a_million_comments_take_no_memory() {
    let path = runtime_dir().join("long.pcapng");
    let mut file = Vec::new();
    write::section(&mut file, &write::Section::default());
    write::interface(&mut file, &write::Interface::default());
    let frame = Frame::padded(CanId::Standard(0x7E8), &[0x10, 0xFF, 1, 2, 3, 4, 5, 6], 0);
    for at in 0..50_000 {
        let packet = write::Packet {
            interface: 0,
            at,
            direction: None,
            dropped: 0,
            frame: &frame,
        };
        write::packet(&mut file, &packet, ["remark"; 20]);
    }
    file.extend([0xAD, 0x0B, 0, 0, 0xFC, 0xFF, 0xFF, 0xFF, 1, 2, 3, 4]);
    fs::write(&path, file).expect("writable");
    let ran = run_command(within_memory(&[
        "explain",
        path.to_str().expect("UTF-8"),
        "--level",
        "story",
    ]));
    assert_eq!(
        ran.stdout.matches("remark: remark").count(),
        1_000_000,
        "{}",
        ran.stderr
    );
    ran.expect(0).complains("cut short");
}

#[test]
fn what_is_no_recording_is_said() {
    let letter = runtime_dir().join("letter.txt");
    fs::write(&letter, "Dear reader").expect("writable");
    run(&["explain", letter.to_str().expect("UTF-8")])
        .expect(2)
        .complains("begins like no recording")
        .complains("pcapng and pcap");
    run(&["explain", "nobody.pcapng"])
        .expect(2)
        .complains("cannot read");
    run(&["explain", &capture("damaged-tail")])
        .expect(0)
        .complains("cut short");
    run(&["explain"]).expect(2);
    run(&["explain", "x.pcapng", "--bus", "local:y"]).expect(2);
}

/// A file that grows, and a bus as it goes.
#[test]
fn what_is_still_going_on_is_followed() {
    let whole = fs::read(captures().join("fault-found.pcapng")).expect("committed");
    let path = runtime_dir().join("growing.pcapng");
    fs::write(&path, &whole[..3001]).expect("writable");
    let follower = Car::watching(&[
        "explain",
        path.to_str().expect("UTF-8"),
        "--follow",
        "--level",
        "story",
    ]);
    let mut file = OpenOptions::new().append(true).open(&path).expect("there");
    for piece in whole[3001..].chunks(1777) {
        thread::sleep(Duration::from_millis(60));
        file.write_all(piece).expect("writable");
    }
    thread::sleep(Duration::from_millis(500));
    let (code, stdout, stderr) = follower.stop("-INT");
    assert_eq!(code, Some(0), "{stderr}");
    assert_eq!(
        stdout,
        fs::read_to_string(captures().join("fault-found.story.txt")).expect("committed")
    );

    // A pipe too: each piece is told before the next one is waited for.
    let mut child = twotrip(&["explain", "/dev/stdin"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut pipe = child.stdin.take().expect("it is piped");
    let mut told = BufReader::new(child.stdout.take().expect("it is piped")).lines();
    let messages = fs::read_to_string(captures().join("healthy.messages.txt")).expect("committed");
    let mut lines = messages.lines();
    let whole = fs::read(captures().join("healthy.pcapng")).expect("committed");
    let (front, back) = whole.split_at(whole.len() / 2);
    pipe.write_all(front).expect("the program reads");
    for _ in 0..5 {
        let line = told.next().expect("it goes on").expect("UTF-8");
        assert_eq!(Some(line.as_str()), lines.next());
    }
    pipe.write_all(back).expect("the program reads");
    drop(pipe);
    assert!(told.count() > 5 && child.wait().expect("it ends").success());

    let bus = bus();
    let _car = Car::start(&["run", "loose-fuel-cap", "--bus", &bus]);
    let listener = Car::watching(&["explain", "--bus", &bus]);
    thread::sleep(Duration::from_millis(500));
    run(&["scan", "codes", "--bus", &bus]).expect(0);
    thread::sleep(Duration::from_millis(300));
    let (code, stdout, stderr) = listener.stop("-INT");
    assert_eq!(code, Some(0), "{stderr}");
    assert!(stdout.contains("1 confirmed code: P0455"), "{stdout}");
}
