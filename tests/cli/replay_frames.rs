//! Recordings sent again, frame by frame: what arrives, when, and what is said of it.

use std::{
    fs,
    path::{Path, PathBuf},
    thread,
    time::Duration,
};

use serde_json::Value;
use twotrip_can::{
    CanId, Frame,
    timing::{self, BitRate},
};
use twotrip_capture::{Item, items};

use crate::{
    support::{self, Car, bus, capture, run, runtime_dir},
    transport::Raw,
};

/// Some day in 2026, nanoseconds since 1970.
const DAY: u64 = 1_790_000_000_000_000_000;

fn text(path: &Path) -> &str {
    path.to_str().expect("UTF-8")
}

/// Time and text of each frame, error frames too.
fn frames(path: &Path) -> Vec<(u64, String)> {
    let bytes = fs::read(path).expect("it is there");
    let packets = items(&bytes).filter_map(|item| match item {
        Ok(Item::Packet(packet)) => Some((packet.at?, packet.frame().ok()?.to_string())),
        _ => None,
    });
    packets.collect()
}

/// Writes a recording of several buses: its frames as bus, milliseconds of that day, frame.
fn recording(name: &str, buses: &[&str], frames: &[(u32, u64, Frame)]) -> PathBuf {
    let frames = frames.iter();
    let frames = frames.map(|&(bus, millis, frame)| (bus, DAY + millis * 1_000_000, frame));
    support::recording(name, buses, frames)
}

fn frame(id: u16, byte: u8) -> Frame {
    Frame::padded(CanId::Standard(id), &[byte], 0)
}

/// The replay's last line, after it has ended by itself.
fn ended(replay: Car) -> Value {
    let (code, stdout, stderr) = replay.stop("-CONT");
    assert_eq!(code, Some(0), "{stdout}{stderr}");
    let last = stdout.lines().last().expect("a line");
    let end: Value = serde_json::from_str(last).expect("JSON");
    assert_eq!(end["event"], "end", "{stdout}");
    end
}

/// A recording of the recording has the same frames in the same order, none before its time.
#[test]
fn frames_arrive_in_their_order_and_never_early() {
    let (bus, copy) = (bus(), runtime_dir().join("copy.pcapng"));
    let file = capture("healthy");
    let replay = Car::start(&["replay", &file, "--bus", &bus, "--json"]);
    assert_eq!(
        replay.ready,
        format!("{{\"event\":\"ready\",\"buses\":[\"{bus}\"]}}\n")
    );
    run(&["record", text(&copy), "--bus", &bus, "--frames", "30"]).expect(0);
    let end = ended(replay);
    let (recorded, again) = (frames(Path::new(&file)), frames(&copy));
    let due_from = end["due_from_unix_ns"].as_u64().expect("nanoseconds");
    for ((at, frame), (went, again)) in recorded.iter().zip(&again) {
        assert_eq!(frame, again);
        assert!(*went >= due_from + (at - recorded[0].0), "{frame} is early");
    }
    assert_eq!((recorded.len(), again.len()), (30, 30));
    assert_eq!(
        (
            &end["reason"],
            &end["sent"],
            &end["passes"],
            &end["lateness"]["frames"]
        ),
        (&"complete".into(), &30.into(), &1.into(), &30.into())
    );
    let late = |key: &str| end["lateness"][key].as_f64().expect("microseconds");
    assert!(late("median_us") <= late("p99_us") && late("p99_us") <= late("max_us"));
}

#[test]
fn all_kinds_of_frames_are_sent_but_reports_of_a_controller() {
    let (bus, copy) = (bus(), runtime_dir().join("copy.pcapng"));
    let long = CanId::Extended(0x18DA_F110);
    let kinds = [
        frame(0x7E8, 1),
        Frame::new(CanId::Standard(1), &[]).expect("no data"),
        Frame::padded(long, &[3], 0),
        Frame::remote(long, 5).expect("below 8"),
        Frame::error(0x40, [0; 8]),
        Frame::fd(long, &[7; 64], true, true).expect("64 bytes"),
    ];
    let entries: Vec<_> = (0..)
        .zip(kinds)
        .map(|(millis, frame)| (0, millis, frame))
        .collect();
    let file = recording("kinds.pcapng", &["vcan0"], &entries);
    let replay = Car::start(&["replay", text(&file), "--bus", &bus, "--json"]);
    run(&["record", text(&copy), "--bus", &bus, "--frames", "5"]).expect(0);
    let end = ended(replay);
    assert_eq!(
        (&end["sent"], &end["error_frames"]),
        (&5.into(), &1.into()),
        "{end}"
    );
    let sent: Vec<String> = frames(&copy).into_iter().map(|(_, frame)| frame).collect();
    let kinds = kinds.iter().map(ToString::to_string);
    assert_eq!(
        sent,
        kinds
            .filter(|frame| !frame.starts_with("error"))
            .collect::<Vec<_>>()
    );
}

/// Two buses of a file on two buses, in passes, and what is not wanted left out.
#[test]
fn each_recorded_bus_goes_where_it_is_sent() {
    let entries = [
        (0, 0, frame(0x100, 1)),
        (1, 10, frame(0x200, 2)),
        (2, 15, frame(0x300, 3)),
        (0, 20, frame(0x101, 4)),
        (0, 30, frame(0x100, 5)),
    ];
    let file = recording("three.pcapng", &["engine", "body", "a=b"], &entries);
    let (engine, body) = (bus(), bus());
    let ways = [format!("engine={engine}"), format!("a=b={body}")];
    let replay = Car::start(&[
        "replay",
        text(&file),
        "--bus-of",
        &ways[0],
        "--bus-of",
        &ways[1],
        "--loop",
        "2",
        "--drop",
        "101",
        "--pace",
        "10",
        "--json",
    ]);
    let copies = [
        (&engine, "engine-copy.pcapng", "4"),
        (&body, "body-copy.pcapng", "2"),
    ];
    let recorders = copies.map(|(bus, name, count)| {
        let copy = runtime_dir().join(name);
        (
            Car::start(&["record", text(&copy), "--bus", bus, "--frames", count]),
            copy,
        )
    });
    let end = ended(replay);
    assert_eq!(
        (&end["sent"], &end["passes"], &end["left_out"]),
        (&6.into(), &2.into(), &2.into()),
        "{end}"
    );
    let heard = recorders.map(|(recorder, copy)| {
        assert_eq!(recorder.stop("-CONT").0, Some(0));
        let frames = frames(&copy);
        frames.into_iter().map(|(_, frame)| frame).collect::<Vec<_>>()
    });
    let said = |frames: &[Frame]| frames.iter().map(ToString::to_string).collect::<Vec<_>>();
    let one = [frame(0x100, 1), frame(0x100, 5)];
    assert_eq!(heard[0], said(&[one, one].concat()));
    assert_eq!(heard[1], said(&[frame(0x300, 3); 2]));
}

#[test]
fn a_damaged_tail_is_said_and_what_stands_before_it_is_sent() {
    let (bus, copy) = (bus(), runtime_dir().join("copy.pcapng"));
    let file = capture("damaged-tail");
    let whole = frames(Path::new(&file)).len();
    let replay = Car::start(&["replay", &file, "--bus", &bus, "--pace", "max"]);
    run(&[
        "record",
        text(&copy),
        "--bus",
        &bus,
        "--frames",
        &whole.to_string(),
    ])
    .expect(0);
    let (code, stdout, stderr) = replay.stop("-CONT");
    assert_eq!(code, Some(0), "{stderr}");
    assert!(stdout.contains(&format!(": {whole} frames sent")), "{stdout}");
    assert!(
        !stdout.contains("late:"),
        "nothing is late at full speed: {stdout}"
    );
    let said = stderr.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("cut short") && said.contains("what stands before it is sent"),
        "{stderr}"
    );
    assert_eq!(frames(&copy).len(), whole);
}

/// A loop without end, stopped: the frames so far are summed up.
#[test]
fn a_loop_goes_on_until_it_is_stopped() {
    let bus = bus();
    let _car = Car::start(&["run", "healthy", "--bus", &bus]);
    let file = capture("healthy");
    let only = ["--only", "7DF,7E0", "--from", "3", "--to", "10"];
    let replay = Car::watching(&[&["replay", &file, "--bus", &bus, "--loop", "0"], &only[..]].concat());
    thread::sleep(Duration::from_millis(900));
    let (code, stdout, stderr) = replay.stop("-INT");
    assert_eq!(code, Some(0), "{stderr}");
    assert!(
        stdout.starts_with("replaying ") && stdout.contains("\nstopped after "),
        "{stdout}"
    );
    assert!(stdout.contains(" passes\n  late: median "), "{stdout}");
}

#[test]
fn the_bus_that_ends_first_ends_it_too() {
    let bus = bus();
    let car = Car::start(&["run", "healthy", "--bus", &bus]);
    let replay = Car::watching(&["replay", &capture("healthy"), "--bus", &bus, "--loop", "0"]);
    thread::sleep(Duration::from_millis(300));
    car.stop("-TERM");
    let (code, stdout, stderr) = replay.stop("-CONT");
    assert_eq!(code, Some(3), "{stdout}");
    assert!(stdout.contains("broken off after "), "{stdout}");
    assert!(stderr.contains("has ended"), "{stderr}");
}

#[test]
fn what_cannot_be_replayed_is_said() {
    let healthy = capture("healthy");
    let two = recording(
        "two.pcapng",
        &["a", "b"],
        &[(0, 0, frame(1, 1)), (1, 1, frame(2, 2))],
    );
    let errors = recording("errors.pcapng", &["a"], &[(0, 0, Frame::error(0x40, [0; 8]))]);
    let letter = runtime_dir().join("letter.txt");
    fs::write(&letter, "Dear reader").expect("writable");
    let rows: [(&[&str], &[&str]); 12] = [
        (&[&healthy], &["--bus is missing", "local:NAME"]),
        (
            &[&healthy, "--bus", "local:x", "--pace", "0"],
            &["never send", "0.1"],
        ),
        (
            &[&healthy, "--bus", "local:x", "--only", "123"],
            &["no frame to be sent", "--level frames"],
        ),
        (&[&healthy, "--bus", "local:"], &["--bus: `local:`"]),
        (&[text(&errors), "--bus", "local:x"], &["error frames it has 1"]),
        (
            &[text(&two), "--bus", "local:x"],
            &["given once", "`a` (1 frames), `b` (1 frames)", "--bus-of"],
        ),
        (
            &[&healthy, "--bus", "local:x", "--bus", "local:y"],
            &["given 2 times", "(30 frames)"],
        ),
        (
            &[text(&two), "--bus-of", "c=local:x"],
            &["no bus `c`", "it has `a`"],
        ),
        (
            &[text(&two), "--bus-of", "a=local:x", "--bus-of", "a=local:y"],
            &["`a` goes to two"],
        ),
        (&[text(&two), "--bus-of", "local:x"], &["RECORDED=BUS"]),
        (
            &[text(&letter), "--bus", "local:x"],
            &["letter.txt", "link type 227"],
        ),
        (&["/dev/null", "--bus", "local:x"], &["`/dev/null` is no file"]),
    ];
    for (arguments, said) in rows {
        let ran = run(&[&["replay"], arguments].concat()).expect(2);
        said.iter().fold(ran, |ran, text| ran.complains(text));
    }
    run(&["replay", &healthy, "--bus", "local:x", "--on-a-bench"])
        .expect(3)
        .complains("has no wire");
}

/// A load from a capture: its frames of diagnostics stay away, the rest is as fast as the load wants it.
#[test]
fn a_capture_is_the_load_of_a_bus() {
    let at = |turn: u64| (0, turn * 10, frame(0x123, turn.to_le_bytes()[0]));
    let mut kept: Vec<(u32, u64, Frame)> = (0..100).map(at).collect();
    let wire: Duration = kept
        .iter()
        .map(|(_, _, frame)| timing::frame_time(frame, BitRate::Kbit500))
        .sum();
    let asked = Frame::padded(CanId::Standard(0x7DF), &[1, 0x04], 0);
    let answered = Frame::padded(CanId::Extended(0x18DA_F110), &[1, 0x44], 0);
    kept.insert(10, (0, 91, asked));
    kept.insert(12, (0, 105, answered));
    let file = recording("street.pcapng", &["can0"], &kept);
    let bus = bus();
    let car = Car::start(&["run", "codes-on-demand", "--bus", &bus]);
    let mut onlooker = Raw::join(&bus);
    let load = ["replay", text(&file), "--bus", &bus, "--load", "40"];
    let replay = run(&[&load[..], &["--loop", "2", "--json"]].concat()).expect(0);
    let begins: Value = serde_json::from_str(replay.stdout.lines().next().expect("a line")).expect("JSON");
    assert_eq!(begins["frames"], 100, "{begins}");
    let expected = 0.4 * 0.99 / wire.as_secs_f64();
    let pace = begins["pace"].as_f64().expect("a number");
    assert!((pace / expected - 1.0).abs() < 0.001, "{pace}, not {expected}");
    let heard: Vec<(u16, Vec<u8>)> =
        std::iter::from_fn(|| onlooker.receive(Duration::from_millis(300))).collect();
    assert_eq!(heard.len(), 200, "nobody was asked, so nobody answers");
    assert!(heard.iter().all(|(id, _)| *id == 0x123));
    run(&["scan", "codes", "--bus", &bus]).expect(0).says("P0301");
    drop(car);
    let only = recording("asked.pcapng", &["can0"], &[(0, 0, asked), (0, 9, answered)]);
    run(&["replay", text(&only), "--bus", &bus, "--load", "40"]).expect(2);
    run(&[
        "replay",
        text(&file),
        "--bus",
        &bus,
        "--load",
        "40",
        "--as",
        "car",
    ])
    .expect(2)
    .complains("--load goes with frames alone");
}
