//! The ECUs of a recording answer a live tester: `replay --as car`.

use std::{fs, path::Path, process::Command, time::Duration};

use twotrip_can::{CanId, Frame};

use crate::{
    support::{Car, bus, capture, python_or_skip, recording, run, run_command, runtime_dir},
    transport::Raw,
};

const SOON: Duration = Duration::from_secs(10);

/// A vehicle once recorded is a practice car: a tester finds on it what it found then, and the second time too.
#[test]
fn a_recorded_car_is_scanned_with_the_same_result() {
    let (live, practice) = (bus(), bus());
    let file = runtime_dir().join("vehicle.pcapng");
    let file = file.to_str().expect("UTF-8");
    let car = Car::start(&["run", "codes-on-demand", "--bus", &live, "--record", file]);
    let text = run(&["scan", "all", "--bus", &live]).expect(0).stdout;
    let json = run(&["scan", "all", "--bus", &live, "--json"]).expect(0).stdout;
    let (code, _, stderr) = car.stop("-TERM");
    assert_eq!(code, Some(0), "{stderr}");

    let car = Car::start(&["replay", file, "--as", "car", "--bus", &practice]);
    assert!(car.ready.starts_with("ready: ECU 7E8 of "), "{}", car.ready);
    assert_eq!(run(&["scan", "all", "--bus", &practice]).expect(0).stdout, text);
    assert_eq!(
        run(&["scan", "all", "--bus", &practice, "--json"])
            .expect(0)
            .stdout,
        json
    );
    assert_eq!(
        run(&["scan", "all", "--bus", &practice, "--json"])
            .expect(0)
            .stdout,
        json,
        "the last replies again"
    );
    let (code, stdout, stderr) = car.stop("-INT");
    assert_eq!(code, Some(0), "{stderr}");
    assert!(
        !stdout.contains("unknown") && !stdout.contains("never asked"),
        "{stdout}"
    );
    assert!(stderr.starts_with("stopped after "), "{stderr}");
}

/// A file may be called anything; no line that is printed steers a terminal.
#[test]
fn the_name_of_a_file_is_shown_and_not_obeyed() {
    let file = runtime_dir().join("\u{9b}2J\u{202e}.pcapng");
    fs::copy(capture("fault-found"), &file).expect("writable");
    let file = file.to_str().expect("UTF-8");
    for more in [&["--json"][..], &[]] {
        let replay = ["replay", file, "--as", "car", "--for", "1ms", "--bus", &bus()];
        let ran = run(&[&replay, more].concat()).expect(0);
        let ran = ran.says("9b").says("202e");
        assert!(!ran.stdout.contains(['\u{9b}', '\u{202e}']), "{}", ran.tale());
    }
}

/// Two ECUs in a capture of another program. The long answer of the first is not whole there, its clear is 40 ms late.
#[test]
fn each_ecu_of_a_capture_answers_and_what_is_unknown_is_listed() {
    let bus = bus();
    let car = Car::start(&[
        "replay",
        &capture("two-ecus"),
        "--as",
        "car",
        "--bus",
        &bus,
        "--json",
    ]);
    let ready: serde_json::Value = serde_json::from_str(&car.ready).expect("JSON");
    assert_eq!(
        (&ready["ecus"], &ready["questions"]),
        (&serde_json::json!(["7E8", "7E9"]), &4.into())
    );
    assert_eq!(ready["incomplete_answers"], 1);
    let mut tester = Raw::join(&bus);
    let hear = |tester: &mut Raw| tester.receive(SOON).expect("an answer");

    tester.send(0x7DF, &[2, 1, 0, 0, 0, 0, 0, 0]);
    assert_eq!(hear(&mut tester), (0x7E8, vec![6, 0x41, 0, 0x98, 0x18, 0, 1, 0]));
    assert_eq!(hear(&mut tester), (0x7E9, vec![6, 0x41, 0, 0x80, 0, 0, 1, 0]));
    // Three codes take several frames; nobody sends flow control, and the ECU gives up.
    tester.send(0x7DF, &[1, 3, 0, 0, 0, 0, 0, 0]);
    assert_eq!(hear(&mut tester), (0x7E9, vec![4, 0x43, 1, 7, 0x30, 0, 0, 0]));
    assert_eq!(hear(&mut tester), (0x7E8, vec![0x10, 8, 0x43, 3, 1, 0x71, 3, 0]));
    assert_eq!(tester.receive(Duration::from_millis(200)), None);
    // The ECU name, in blocks of two.
    tester.send(0x7DF, &[2, 9, 0x0A, 0, 0, 0, 0, 0]);
    assert_eq!(
        hear(&mut tester),
        (0x7E9, vec![0x10, 0x17, 0x49, 0x0A, 1, 0x54, 0x43, 0x4D])
    );
    tester.send(0x7E1, &[0x30, 2, 0, 0, 0, 0, 0, 0]);
    assert_eq!(hear(&mut tester).1[0], 0x21);
    assert_eq!(hear(&mut tester).1[0], 0x22);
    tester.send(0x7E1, &[0x30, 2, 0, 0, 0, 0, 0, 0]);
    assert_eq!(hear(&mut tester), (0x7E9, vec![0x23, 0, 0, 0, 0, 0, 0, 0]));
    // Nobody asked these then: not with these bytes, not this ECU, not with this identifier.
    tester.send(0x7DF, &[2, 1, 0x0C, 0, 0, 0, 0, 0]);
    tester.send(0x7E0, &[2, 1, 0, 0, 0, 0, 0, 0]);
    tester.send(0x7E5, &[2, 1, 0, 0, 0, 0, 0, 0]);
    tester.send(0x7DF, &[2, 1, 0x0C, 0, 0, 0, 0, 0]);
    assert_eq!(tester.receive(Duration::from_millis(200)), None);

    let (code, stdout, stderr) = car.stop("-INT");
    assert_eq!(code, Some(0), "{stderr}");
    let lines: Vec<serde_json::Value> = stdout
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect();
    let of = |event: &str| {
        lines
            .iter()
            .filter(|line| line["event"] == event)
            .collect::<Vec<_>>()
    };
    assert_eq!(of("asked").len(), 7, "{stdout}");
    let trouble = of("trouble");
    assert_eq!(trouble.len(), 1, "{stdout}");
    assert_eq!(trouble[0]["ecu"], "7E8");
    assert!(
        trouble[0]["text"]
            .as_str()
            .expect("text")
            .contains("N_TIMEOUT_Bs"),
        "{stdout}"
    );
    let unknown: Vec<_> = of("unknown")
        .into_iter()
        .map(|line| {
            (
                line["role"].clone(),
                line["request"].clone(),
                line["count"].clone(),
            )
        })
        .collect();
    assert_eq!(
        unknown,
        [
            ("tester to all".into(), "01 0C".into(), 2.into()),
            ("tester to 7E8".into(), "01 00".into(), 1.into()),
            ("tester to 7ED".into(), "01 00".into(), 1.into()),
        ]
    );
    let never = of("never-asked");
    assert_eq!((never.len(), &never[0]["request"]), (1, &"04".into()));
    let end = lines.last().expect("an end");
    assert_eq!(
        (&end["requests"], &end["answered"], &end["unknown"]),
        (&7.into(), &3.into(), &4.into())
    );
    assert_eq!(end["replies_broken_off"], 1);
}

/// Who asks one ECU where all were asked gets an answer if that is wanted.
#[test]
fn the_way_of_asking_may_be_the_testers() {
    let bus = bus();
    let file = capture("two-ecus");
    let replay = [
        "replay",
        &file,
        "--as",
        "car",
        "--bus",
        &bus,
        "--addressing",
        "any",
    ];
    let _car = Car::start(&replay);
    let mut tester = Raw::join(&bus);
    tester.send(0x7E1, &[2, 1, 0, 0, 0, 0, 0, 0]);
    let answer = tester.receive(SOON).expect("an answer");
    assert_eq!(answer, (0x7E9, vec![6, 0x41, 0, 0x80, 0, 0, 1, 0]));
    assert_eq!(tester.receive(Duration::from_millis(100)), None);
}

#[test]
fn a_time_ends_it_and_what_makes_no_sense_is_said() {
    let bus = bus();
    let file = capture("two-ecus");
    let replay = |more: &[&str]| run(&[&["replay", &file, "--bus", &bus], more].concat());
    let ran = replay(&["--as", "car", "--for", "100ms"]).expect(0);
    ran.says("ready: ECUs 7E8 7E9 of ")
        .says("never asked, 4 of 4 questions:")
        .says("  tester to all      09 0A: asks for ECU name")
        .complains("left out of the recording: 1 answer that is not whole")
        .complains("time over after 0.1 s: no question, 0 answered");
    replay(&["--as", "car", "--only", "7E8"])
        .expect(2)
        .complains("holds no question of a tester");
    replay(&["--for", "1s"]).expect(2).complains("--as car");
    replay(&["--as", "car", "--loop", "2"])
        .expect(2)
        .complains("--after-last anew");
    let _car = Car::start(&["run", "healthy", "--bus", &bus]);
    replay(&["--as", "car"]).expect(3);
}

/// A recording of a vehicle with long questions and answers, 11 and 29 bits, made up by hand.
fn long_messages() -> String {
    let frame = |id: CanId, data: &[u8]| Frame::padded(id, data, 0xAA);
    let (ask, answer) = (CanId::Standard(0x7E0), CanId::Standard(0x7E8));
    let (ask_wide, answer_wide) = (CanId::Extended(0x18DA_18F1), CanId::Extended(0x18DA_F118));
    let mut frames = Vec::new();
    let mut at = 1_764_000_000_000_000_000_u64;
    let mut say = |millis: u64, frame: Frame| {
        at += millis * 1_000_000;
        frames.push((0, at, frame));
    };
    let long = |head: &[u8]| [head, &(0x40..0x40 + 60).collect::<Vec<u8>>()].concat();
    // First frame, flow control, consecutive frames (ISO 15765-2).
    let send = |say: &mut dyn FnMut(u64, Frame), from: CanId, to: CanId, wait: u64, message: &[u8]| {
        let [_, low] = u16::try_from(message.len()).expect("short").to_be_bytes();
        say(wait, frame(from, &[&[0x10, low], &message[..6]].concat()));
        say(1, frame(to, &[0x30, 0, 0]));
        for (number, piece) in (1..).zip(message[6..].chunks(7)) {
            say(1, frame(from, &[&[0x20 | number & 0x0F], piece].concat()));
        }
    };
    // Nobody asked for this one.
    say(0, frame(CanId::Standard(0x1A0), &[0x11]));
    say(10, frame(ask, &[3, 0x22, 0xF1, 0x90]));
    send(&mut say, answer, ask, 5, &long(&[0x62, 0xF1, 0x90]));
    send(&mut say, ask, answer, 100, &long(&[0x2E, 0xF1, 0x90]));
    say(40, frame(answer, &[3, 0x7F, 0x2E, 0x78]));
    say(260, frame(answer, &[3, 0x6E, 0xF1, 0x90]));
    say(100, frame(ask_wide, &[3, 0x22, 0xF1, 0x8C]));
    send(&mut say, answer_wide, ask_wide, 5, &long(&[0x62, 0xF1, 0x8C]));

    let path = recording("long.pcapng", &[""], frames);
    path.to_str().expect("UTF-8").to_owned()
}

#[test]
fn another_implementation_of_the_transport_finds_what_was_recorded() {
    let Some(python) = python_or_skip("isotp") else {
        return;
    };
    let bus = bus();
    let file = long_messages();
    let car = Car::start(&[
        "replay", &file, "--as", "car", "--bus", &bus,
        // Python may be slow with its flow control.
        "--timers", "generic",
    ]);
    let name = bus.strip_prefix("local:").expect("an embedded bus");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/cli/replay_car.py");
    let mut command = Command::new(python);
    command
        .arg(script)
        .arg(runtime_dir().join(format!("twotrip/bus-{name}.sock")))
        .arg(name);
    run_command(command).expect(0).says("agreed");
    let (code, stdout, stderr) = car.stop("-INT");
    assert_eq!(code, Some(0), "{stderr}");
    assert!(
        stdout.contains("not in the recording, met by silence:"),
        "{stdout}"
    );
    assert!(
        stderr.contains("7 questions, 5 answered, 2 not in the recording"),
        "{stderr}"
    );
}

#[test]
fn what_nobody_asked_for_is_sent_where_it_is_wanted() {
    let bus = bus();
    let file = long_messages();
    let replay = ["replay", &file, "--as", "car", "--bus", &bus];
    let car = Car::start(&replay);
    assert_eq!(Raw::join(&bus).receive(Duration::from_millis(700)), None);
    drop(car);
    let car = Car::start(&[&replay[..], &["--broadcasts", "on"]].concat());
    // The recording lasts 0.6 s: this is the second round, or a later one.
    let frame = Raw::join(&bus).receive(SOON).expect("a frame");
    assert_eq!((frame.0, &frame.1[..2]), (0x1A0, &[0x11, 0xAA][..]));
    let (code, _, stderr) = car.stop("-INT");
    assert_eq!(code, Some(0), "{stderr}");
    assert!(stderr.contains("sent that nobody asked for"), "{stderr}");
}
