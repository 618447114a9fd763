//! The tester's half of a recording, asked again: of a car that runs here, and of ECUs that answer frame by frame from a table.

use std::{
    fs,
    io::{Read as _, Write as _},
    os::unix::{
        fs::DirBuilderExt as _,
        net::{UnixListener, UnixStream},
    },
    path::{Path, PathBuf},
    sync::Arc,
    thread,
    time::Duration,
};

use twotrip_can::{CanId, Frame};

use crate::support::{Car, Ran, bus, recording, run, runtime_dir};

/// Records a scan of a car, repairs it, clears, and asks again.
#[test]
fn a_scan_is_asked_again_and_what_has_changed_is_told() {
    let bus = bus();
    let tape = runtime_dir().join("scan.pcapng");
    let tape = tape.to_str().expect("UTF-8");
    let control = runtime_dir().join("control");
    let control = control.to_str().expect("UTF-8");
    let tell = |phrases: &[&str]| run(&[&["tell", "--control", control], phrases].concat()).expect(0);
    let _car = Car::start(&[
        "run",
        "loose-fuel-cap",
        "--bus",
        &bus,
        "--control",
        control,
        "--timing",
        "fast",
    ]);
    let recorder = Car::start(&["record", "--bus", &bus, tape]);
    run(&["scan", "all", "--bus", &bus]).expect(0);
    assert_eq!(recorder.stop("-INT").0, Some(0));
    let replay = |more: &[&str]| {
        run(&[
            &["replay", tape, "--as", "tester", "--bus", &bus, "--pace", "max"],
            more,
        ]
        .concat())
    };
    let same = replay(&[])
        .expect(0)
        .says("same")
        .says("0 different, 0 missing, 0 unexpected (--compare shape)");
    assert!(
        same.stdout
            .lines()
            .any(|line| line.contains("7E8  to all: asks for confirmed codes")),
        "{}",
        same.tale()
    );
    replay(&["--compare", "tolerance=5%", "--only", "7DF"]).expect(0);

    tell(&["tighten fuel-cap"]);
    run(&["scan", "clear", "--bus", &bus]).expect(0);
    let cleared = replay(&["--only", "7DF"]).expect(1);
    let gone = "different 7E8 to all: asks for confirmed codes: confirmed code P0455 gone";
    assert!(flat(&cleared).contains(gone), "{}", cleared.tale());
    // A permanent code outlives the clear.
    assert!(
        cleared
            .stdout
            .lines()
            .any(|line| line.contains("same") && line.contains("permanent codes")),
        "{}",
        cleared.tale()
    );
    tell(&["defect wiring coolant-sensor open"]);
    let live = replay(&["--compare", "tolerance=5%", "--json"]).expect(1);
    let differences: Vec<_> = live
        .json_lines()
        .iter()
        .flat_map(|line| line["replies"].as_array().cloned().unwrap_or_default())
        .flat_map(|reply| reply["differences"].as_array().cloned().unwrap_or_default())
        .collect();
    let coolant = differences
        .iter()
        .find(|difference| difference["subject"] == "coolant temperature");
    let coolant = coolant.unwrap_or_else(|| panic!("the coolant is not told: {}", live.tale()));
    assert_eq!(
        (&coolant["change"], &coolant["found"]),
        (&"value".into(), &"-40 °C".into())
    );

    // Asleep: every reply is missing.
    tell(&["key off"]);
    let asleep = replay(&["--to", "9", "--json"]).expect(1);
    let lines = asleep.json_lines();
    let (summary, conversations) = lines.split_last().expect("a summary");
    assert!(
        conversations.iter().all(|line| line["verdict"] == "missing"),
        "{}",
        asleep.tale()
    );
    assert_eq!(
        (&summary["kind"], &summary["as_recorded"]),
        (&"summary".into(), &false.into())
    );
    assert_eq!(
        summary["missing"].as_u64().and_then(|n| usize::try_from(n).ok()),
        Some(conversations.len())
    );
}

/// What was said, without the lines and columns.
fn flat(ran: &Ran) -> String {
    ran.stdout.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What ECUs send when a frame begins so: `7DF 02 01 0C: 7E8 04 41 0C 0C B0, 7E9 ...`, a line each.
struct Ecus {
    table: Vec<(FrameStart, Vec<FrameStart>)>,
}

/// The word of the identifier and the first bytes.
type FrameStart = (u32, Vec<u8>);

fn id_and_bytes(text: &str) -> FrameStart {
    let mut words = text.split_whitespace();
    let id = words.next().expect("an identifier");
    let number = u32::from_str_radix(id, 16).expect("hexadecimal");
    let size = if id.len() > 3 { 0x8000_0000 } else { 0 };
    (
        number | size,
        words
            .map(|word| u8::from_str_radix(word, 16).expect("a byte"))
            .collect(),
    )
}

impl Ecus {
    fn new(table: &str) -> Self {
        let row = |line: &str| {
            let (trigger, answers) = line.split_once(':').expect("a row has a colon");
            let answers = answers
                .split(',')
                .map(str::trim)
                .filter(|answer| !answer.is_empty());
            (id_and_bytes(trigger), answers.map(id_and_bytes).collect())
        };
        let lines = table.lines().map(str::trim).filter(|line| !line.is_empty());
        Self {
            table: lines.map(row).collect(),
        }
    }

    /// Hosts a bus of its own on which they answer, until the test is over.
    fn on(self, bus: &str) {
        let name = bus.strip_prefix("local:").expect("an embedded bus").to_owned();
        let folder = runtime_dir().join("twotrip");
        fs::DirBuilder::new()
            .recursive(true)
            .mode(0o700)
            .create(&folder)
            .expect("made");
        let listener = UnixListener::bind(folder.join(format!("bus-{name}.sock"))).expect("bound");
        let ecus = Arc::new(self);
        thread::spawn(move || {
            for stream in listener.incoming() {
                let (ecus, name) = (Arc::clone(&ecus), name.clone());
                thread::spawn(move || ecus.serve(stream.expect("accepted"), &name));
            }
        });
    }

    /// The format of the embedded bus: a hello of 72 bytes, then frames as linux/can.h `struct canfd_frame`.
    fn serve(&self, mut stream: UnixStream, name: &str) {
        let mut hello = [0; 72];
        hello[..8].copy_from_slice(b"TWOTRIP\x01");
        hello[8..8 + name.len()].copy_from_slice(name.as_bytes());
        stream.write_all(&hello).expect("sent");
        let mut record = [0; 72];
        stream.read_exact(&mut record).expect("a hello");
        while stream.read_exact(&mut record).is_ok() {
            let id = u32::from_le_bytes([record[0], record[1], record[2], record[3]]);
            let fits =
                |(trigger, _): &&(FrameStart, _)| trigger.0 == id && record[8..].starts_with(&trigger.1);
            for (id, bytes) in self.table.iter().filter(fits).flat_map(|(_, answers)| answers) {
                let mut answer = [0; 72];
                answer[..4].copy_from_slice(&id.to_le_bytes());
                answer[4] = 8;
                answer[8..8 + bytes.len()].copy_from_slice(bytes);
                thread::sleep(Duration::from_millis(1));
                if stream.write_all(&answer).is_err() {
                    return;
                }
            }
        }
    }
}

/// Writes a recording: `milliseconds identifier bytes` a line.
fn recorded(name: &str, lines: &str) -> PathBuf {
    let lines = lines.lines().map(str::trim).filter(|line| !line.is_empty());
    let frames = lines.map(|line| {
        let (millis, frame) = line.split_once(' ').expect("a time");
        let (id, data) = id_and_bytes(frame);
        let id = match id & 0x8000_0000 {
            0 => CanId::Standard(u16::try_from(id).expect("11 bits")),
            _ => CanId::Extended(id & 0x1FFF_FFFF),
        };
        let at = 1_764_000_000_000_000_000 + millis.parse::<u64>().expect("a number") * 1_000_000;
        (0, at, Frame::padded(id, &data, 0))
    });
    recording(name, &["can0"], frames)
}

fn replay(tape: &Path, bus: &str, more: &[&str]) -> Ran {
    let tape = tape.to_str().expect("UTF-8");
    run(&[&["replay", tape, "--as", "tester", "--bus", bus], more].concat())
}

/// Two ECUs, long answers with flow control, one that asks for time, a refusal, a request in several frames, silence.
const SESSION: &str = "
    0    7DF 02 01 00
    4    7E8 06 41 00 00 10 00 00
    5    7E9 06 41 00 00 10 00 00
    60   7DF 02 01 0C
    64   7E8 04 41 0C 0C B0
    65   7E9 04 41 0C 0C B0
    130  7DF 02 09 0A
    133  7E8 10 17 49 0A 01 45 43 4D
    134  7E0 30 00 00
    135  7E8 21 00 2D 45 6E 67 69 6E
    136  7E8 22 65 00 00 00 00 00 00
    137  7E8 23 00 00 00
    240  7E0 01 03
    243  7E8 03 7F 03 78
    260  7E8 04 43 01 04 55
    300  7E1 01 04
    303  7E9 03 7F 04 22
    360  7E0 10 09 22 F4 0C F4 0D F4
    361  7E8 30 00 00
    362  7E0 21 05 F4 04
    366  7E8 04 62 F4 0C 50
    400  7DF 02 06 01
    500  7E0 01 07
    504  7E8 02 47 00
";

const ECUS: &str = "
    7DF 02 01 00: 7E8 06 41 00 00 10 00 00, 7E9 06 41 00 00 10 00 00
    7DF 02 01 0C: 7E9 04 41 0C 0C B0, 7E8 04 41 0C 0C B0
    7DF 02 09 0A: 7E8 10 17 49 0A 01 45 43 4D
    7E0 30: 7E8 21 00 2D 45 6E 67 69 6E, 7E8 22 65, 7E8 23
    7E0 01 03: 7E8 03 7F 03 78, 7E8 04 43 01 04 55
    7E1 01 04: 7E9 03 7F 04 22
    7E0 10 09 22: 7E8 30 00 00
    7E0 21 05 F4 04: 7E8 04 62 F4 0C 50
    7E0 01 07: 7E8 02 47 00
";

#[test]
fn two_ecus_long_messages_delays_refusals_and_silence_are_as_recorded() {
    let tape = recorded("session.pcapng", SESSION);
    let bus = bus();
    Ecus::new(ECUS).on(&bus);
    let ran = replay(&tape, &bus, &["--compare", "exact", "--json"]).expect(0);
    let lines = ran.json_lines();
    assert_eq!(lines.len(), 9, "{}", ran.tale());
    // Never earlier than recorded, after what came before.
    let times = lines.iter().filter_map(|line| line["time_s"].as_f64());
    for (time, recorded) in times.zip([0.0, 0.06, 0.13, 0.24, 0.3, 0.36, 0.4, 0.5]) {
        assert!(
            time >= recorded,
            "{time} s, recorded at {recorded} s: {}",
            ran.tale()
        );
    }
    assert_eq!(lines[3]["replies"][0]["found"]["waits"], 1, "{}", ran.tale());
    assert_eq!(lines[6]["replies"].as_array().map(Vec::len), Some(0), "silence");
    assert_eq!((&lines[8]["same"], &lines[8]["silent"]), (&9.into(), &1.into()));
    // Twice over, and only what one ECU was asked alone.
    let ran = replay(&tape, &bus, &["--pace", "max", "--loop", "2", "--only", "7E0"]).expect(0);
    ran.says("6 requests: 6 same");
}

#[test]
fn what_other_ecus_say_is_different_missing_or_unexpected() {
    let tape = recorded("session.pcapng", SESSION);
    let bus = bus();
    let others = ECUS
        .replace(
            "7E9 04 41 0C 0C B0, 7E8 04 41 0C 0C B0",
            "7E8 04 41 0C 20 F8, 7EA 04 41 0C 0C B0",
        )
        .replace("7E8 04 43 01 04 55", "7E8 02 43 00")
        .replace("7E8 30 00 00", "")
        .replace("7E8 22 65, ", "");
    Ecus::new(&others).on(&bus);
    let ran = replay(&tape, &bus, &["--pace", "max", "--compare", "tolerance=5%"]).expect(1);
    let text = flat(&ran);
    for told in [
        "different 7E8 to all: asks for engine speed: engine speed 812 -> 2110 rpm",
        "missing 7E9 to all: asks for engine speed: no reply, recorded: engine speed 812 rpm",
        "unexpected 7EA to all: asks for engine speed: engine speed 812 rpm",
        "different 7E8 asks for confirmed codes: confirmed code P0455 gone",
        "the answer of 7E8 broke off: sequence number `3`, expected `2` (N_WRONG_SN)",
        "the request was not taken: no flow control in time (N_TIMEOUT_Bs)",
        "8 requests: 4 same, 2 different, 3 missing, 1 unexpected (--compare tolerance=5%)",
    ] {
        assert!(text.contains(told), "no `{told}`: {}", ran.tale());
    }
    // Whose replies count can be chosen.
    replay(&tape, &bus, &["--pace", "max", "--only", "7DF,7E9", "--to", "3"]).expect(0);
    replay(&tape, &bus, &["--pace", "max", "--drop", "7E8,7E9,7EA,7E0,7E1"]).expect(0);
}

/// Answers of SAE J1979-2 are told apart by what they say, by the tester's half and between two recordings.
#[test]
fn the_newer_protocol_is_compared_by_what_it_says() {
    const SAID: &str = "
        0    7DF 03 22 F4 0C
        4    7E8 05 62 F4 0C 0C B0
        60   7DF 05 19 42 33 08 FF
        64   7E8 10 0B 59 42 33 FF E1 04
        65   7E0 30 00 00
        66   7E8 21 41 04 55 7A AF
    ";
    let tape = recorded("on-uds.pcapng", SAID);
    let bus = bus();
    Ecus::new("7DF 03 22 F4 0C: 7E8 05 62 F4 0C 20 F8 \n 7DF 05 19: 7E8 06 59 42 33 FF E1 04").on(&bus);
    for (compare, same) in [("exact", 0), ("shape", 1), ("tolerance=5%", 0)] {
        let ran = replay(&tape, &bus, &["--pace", "max", "--compare", compare]).expect(1);
        let text = flat(&ran);
        let value = "different 7E8 to all: asks for engine speed: engine speed 812 -> 2110 rpm";
        assert_eq!(text.contains(value), same == 0, "{compare}: {}", ran.tale());
        for told in [
            "different 7E8 to all: asks for confirmed codes: confirmed code P0455-7A gone".to_owned(),
            format!("2 requests: {same} same, {} different", 2 - same),
        ] {
            assert!(text.contains(&told), "no `{told}`: {}", ran.tale());
        }
    }
    let another = SAID.replace("0C 0C B0", "0C 20 F8").replace("7A AF", "7A 2F");
    let another = recorded("another.pcapng", &another);
    let [one, other] = [&tape, &another].map(|tape| tape.to_str().expect("UTF-8"));
    let ran = run(&["explain", one, "--against", other, "--compare", "exact"]).expect(1);
    let text = flat(&ran);
    for told in [
        "engine speed 812 -> 2110 rpm",
        "status of P0455-7A: lamp on -> nothing",
        "2 requests in both, 2 of them answered differently",
    ] {
        assert!(text.contains(told), "no `{told}`: {}", ran.tale());
    }
}

#[test]
fn identifiers_of_29_bits_are_asked_beside_those_of_11() {
    let tape = recorded(
        "extended.pcapng",
        "0    7DF 02 01 00
         100  18DB33F1 02 01 00
         104  18DAF118 06 41 00 00 10 00 00
         105  18DAF133 06 41 00 00 10 00 00
         170  18DA33F1 02 09 04
         173  18DAF133 10 13 49 04 01 54 57 4F
         174  18DA33F1 30 00 00
         175  18DAF133 21 54 52 49 50 2D 45 4E
         176  18DAF133 22 47 2D 32 30 31 30",
    );
    let bus = bus();
    Ecus::new(
        "18DB33F1 02 01 00: 18DAF118 06 41 00 00 10 00 00, 18DAF133 06 41 00 00 10 00 00, 18DAF1EE 06 41 00
         18DA33F1 02 09 04: 18DAF133 10 13 49 04 01 54 57 4F
         18DA33F1 30: 18DAF133 21 54 52 49 50 2D 45 4E, 18DAF133 22 47 2D 32 30 31 31",
    )
    .on(&bus);
    let ran = replay(&tape, &bus, &["--json"]).expect(1);
    let lines = ran.json_lines();
    let verdicts: Vec<_> = lines[1]["replies"]
        .as_array()
        .expect("replies")
        .iter()
        .map(|reply| (&reply["ecu"], &reply["verdict"]))
        .collect();
    assert_eq!(
        verdicts,
        [
            (&"18DAF118".into(), &"same".into()),
            (&"18DAF133".into(), &"same".into()),
            (&"18DAF1EE".into(), &"unexpected".into()),
        ],
        "{}",
        ran.tale()
    );
    let difference = &lines[2]["replies"][0]["differences"][0]["text"];
    assert_eq!(
        difference,
        "calibration identification TWOTRIP-ENG-2010 -> TWOTRIP-ENG-2011",
        "{}",
        ran.tale()
    );
}

/// A recorder that began late, lost frames, or ended early: of that nothing is expected.
#[test]
fn what_the_recording_has_not_whole_is_not_compared() {
    let tape = recorded(
        "torn.pcapng",
        "0   7E8 02 47 00
         10  7E0 00 01 0C
         20  7E0 21 01 02
         30  7DF 02 09 0A
         33  7E8 10 17 49 0A 01 45 43 4D
         34  7E0 30 00 00
         36  7E8 22 65 00 00 00 00 00 00
         200 7E0 01 03
         203 7E8 04 43 01 04 55
         300 7E0 01 07",
    );
    let bus = bus();
    Ecus::new(ECUS).on(&bus);
    let ran = replay(&tape, &bus, &[])
        .expect(0)
        .says("incomplete  7E8  to all: asks for ECU name: the recorded reply is not");
    let ran = ran
        .says("1 same, 0 different, 0 missing, 0 unexpected")
        .complains("1 reply came of which");
    ran.complains("1 request at the end")
        .complains("2 frames of the recorded tester");
    let lines = replay(&tape, &bus, &["--json"]).expect(0).json_lines();
    let (summary, asked) = lines.split_last().expect("a summary");
    let verdicts: Vec<_> = asked.iter().map(|line| line["verdict"].as_str()).collect();
    assert!(verdicts.contains(&Some("incomplete")), "{verdicts:?}");
    assert_eq!(
        (&summary["incomplete"], &summary["cut_off"], &summary["unread"]),
        (&1.into(), &1.into(), &2.into())
    );
}

#[test]
fn what_cannot_be_asked_is_said() {
    let bus = bus();
    let answers = recorded("answers.pcapng", "0 7E8 02 43 00");
    replay(&answers, &bus, &[])
        .expect(2)
        .complains("no request of a tester");
    let tape = recorded("one.pcapng", "0 7DF 01 03 \n 4 7E8 02 43 00");
    replay(&tape, &bus, &[]).expect(3).complains("no car is running");
    replay(&tape, &bus, &["--pace", "0"]).expect(2).complains("never");
    replay(&tape, &bus, &["--compare", "tolerance=lots"])
        .expect(2)
        .complains("tolerance=5%");
    let tape = tape.to_str().expect("UTF-8");
    run(&["replay", tape, "--bus", &bus, "--compare", "exact"])
        .expect(2)
        .complains("as tester");
}
