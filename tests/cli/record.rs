//! Recordings: what is in them, and what becomes of them when recorder, car or disk give up.

use std::{fs, path::PathBuf, thread, time::Duration};

use twotrip_capture::{Direction, Item, items};

use crate::support::{Car, bus, run, runtime_dir, with_room_for};

fn file(name: &str) -> PathBuf {
    runtime_dir().join(name)
}

/// What is in a file: a line for each thing that matters here. Damage is a line too.
fn told(path: &PathBuf) -> Vec<String> {
    let bytes = fs::read(path).expect("the recording is there");
    let mut told = Vec::new();
    for item in items(&bytes) {
        match item {
            Ok(Item::Section(section)) => {
                told.push(format!("section {}", section.application().unwrap_or_default()));
                told.extend(section.options.comments().map(|text| format!("header {text}")));
            }
            Ok(Item::Interface(interface)) => told.push(format!(
                "interface {} {:?}",
                interface.name().unwrap_or_default(),
                interface.bit_rate()
            )),
            Ok(Item::Packet(packet)) => {
                let way = match packet.direction() {
                    Some(Direction::Inbound) => "in",
                    Some(Direction::Outbound) => "out",
                    None => "?",
                };
                told.push(format!("{way} {}", packet.frame().expect("a frame")));
                told.extend(packet.comments().map(|text| format!("comment {text}")));
            }
            Ok(Item::Statistics(counts)) => {
                told.extend(counts.options.comments().map(|text| format!("comment {text}")));
            }
            Ok(Item::Other(kind)) => told.push(format!("block {kind:X}")),
            Err(damage) => told.push(format!("damage {damage}")),
        }
    }
    told
}

fn has(told: &[String], begins: &str, contains: &str) {
    assert!(
        told.iter()
            .any(|line| line.starts_with(begins) && line.contains(contains)),
        "no line `{begins}.. {contains}`: {told:#?}"
    );
}

/// The loop, recorded by the car itself: both ways, in order, with what happened inside.
#[test]
fn a_run_records_what_is_said_and_what_happens() {
    let bus = bus();
    let path = file("car.pcapng");
    let shown = path.to_str().expect("UTF-8");
    let car = Car::start(&["run", "loose-fuel-cap", "--bus", &bus, "--record", shown]);
    run(&["scan", "codes", "--bus", &bus]).expect(0).says("P0455");
    run(&[
        "tell",
        "tighten fuel-cap",
        "soak 9 h",
        "drive udds",
        "drive hwfet",
        "soak 1 h",
        "key on",
    ])
    .expect(0);
    run(&["scan", "clear", "--bus", &bus]).expect(0);
    run(&["scan", "vehicle", "--bus", &bus]).expect(0);
    let (code, _, stderr) = car.stop("-TERM");
    assert_eq!(code, Some(0), "{stderr}");
    let told = told(&path);
    assert!(told[0].starts_with("section twotrip "), "{told:#?}");
    has(&told, "header run: ", r#""scenario":"loose-fuel-cap""#);
    has(
        &told,
        "header run: ",
        r#""seed":1,"pace":"live","timing":"real","not_physical":false"#,
    );
    has(&told, "interface ", &format!("{bus} Some(500000)"));
    let place = |line: &str| {
        told.iter()
            .position(|told| told == line)
            .unwrap_or_else(|| panic!("no `{line}`: {told:#?}"))
    };
    let asked = place("in 7DF#01 03 00 00 00 00 00 00");
    let answered = place("out 7E8#04 43 01 04 55 00 00 00");
    let cleared = place("out 7E8#01 44 00 00 00 00 00 00");
    assert!(asked < answered && answered < cleared, "{told:#?}");
    for comment in [
        "pace live",
        "begins `tighten fuel-cap`",
        "done `tighten fuel-cap`",
        "driving cycle",
        "lamp off",
        "done `key on`",
        "cleared",
    ] {
        has(&told, "comment car: bus=", comment);
    }
    // The VIN takes several frames: flow control came from the tester.
    has(&told, "in 7E0#30", "");
    let frames = told
        .iter()
        .filter(|line| line.starts_with("in ") || line.starts_with("out "))
        .count();
    assert!(
        stderr.contains(&format!("recorded: {frames} frames, 0 lost")),
        "{frames}: {stderr}"
    );
}

/// A recorder of its own: only what is wanted, until it has enough; then it goes on in the same file.
#[test]
fn a_recorder_takes_what_is_wanted_and_goes_on_in_the_same_file() {
    let bus = bus();
    let path = file("bus.pcapng");
    let shown = path.to_str().expect("UTF-8").to_owned();
    let _car = Car::start(&["run", "healthy", "--bus", &bus]);
    run(&["tell", "key on"]).expect(0);
    let record = |more: &[&str]| Car::start(&[&["record", &shown, "--bus", &bus], more].concat());
    let recorder = record(&["--only", "7E8", "--frames", "2"]);
    for _ in 0..3 {
        run(&["scan", "codes", "--bus", &bus]).expect(0);
    }
    let (code, stdout, _) = recorder.stop("-INT");
    assert_eq!(code, Some(0));
    assert!(
        stdout.starts_with("frames complete after ") && stdout.contains(" 2 frames"),
        "{stdout}"
    );

    let recorder = record(&["--drop", "7E8:7F8", "--json"]);
    run(&["scan", "codes", "--bus", &bus]).expect(0);
    let (code, stdout, stderr) = recorder.stop("-INT");
    assert_eq!(code, Some(0), "{stderr}");
    let end: serde_json::Value = serde_json::from_str(stdout.trim()).expect("JSON");
    assert_eq!(
        (&end["event"], &end["reason"], &end["dropped"]),
        (&"end".into(), &"stopped".into(), &0.into())
    );
    let told = told(&path);
    let sections: Vec<usize> = (0..told.len())
        .filter(|&i| told[i].starts_with("section"))
        .collect();
    assert_eq!(sections.len(), 2, "{told:#?}");
    let ids = |lines: &[String]| {
        let frames = lines.iter().filter_map(|line| {
            line.split_once(' ')?
                .1
                .split_once('#')
                .map(|(id, _)| id.to_owned())
        });
        let mut ids: Vec<String> = frames.collect();
        ids.dedup();
        ids
    };
    assert_eq!(ids(&told[..sections[1]]), ["7E8"]);
    assert!(
        !ids(&told[sections[1]..]).contains(&"7E8".to_owned()),
        "{told:#?}"
    );
    assert!(!ids(&told[sections[1]..]).is_empty(), "{told:#?}");
}

/// Killed at once after each answer, the file is readable, and what is missing at its end is the last second's.
#[test]
fn a_recorder_that_is_killed_leaves_a_readable_file() {
    let bus = bus();
    let path = file("killed.pcapng");
    let shown = path.to_str().expect("UTF-8").to_owned();
    let _car = Car::start(&[
        "run",
        "healthy",
        "--bus",
        &bus,
        "--timing",
        "fast",
        "--broadcasts",
        "on",
    ]);
    run(&["tell", "key on"]).expect(0);
    let mut frames = 0;
    for round in 0..8 {
        let mut recorder = Car::start(&["record", &shown, "--bus", &bus]);
        thread::sleep(Duration::from_millis(700 + 137 * round));
        recorder.kill();
        let told = told(&path);
        let now = told.iter().filter(|line| line.starts_with("in ")).count();
        // Some 390 frames a second: of what was recorded, that of 0.4 s may wait, and the computer is busy.
        assert!(now > frames + 20, "{now} after {frames} in round {round}");
        frames = now;
        if let Some(damage) = told.iter().find(|line| line.starts_with("damage")) {
            assert!(damage.contains("cut short"), "{damage}");
        }
    }
    let recorder = Car::start(&["record", &shown, "--bus", &bus]);
    let (code, _, _) = recorder.stop("-INT");
    assert_eq!(code, Some(0));
    assert!(
        !told(&path).iter().any(|line| line.starts_with("damage")),
        "the tail was cut"
    );
}

#[test]
fn a_full_disk_does_not_disturb_the_car() {
    let bus = bus();
    let path = file("full.pcapng");
    let shown = path.to_str().expect("UTF-8").to_owned();
    // Four kilobytes: some 80 frames.
    let car = Car::spawn(with_room_for(
        8,
        &[
            "run",
            "healthy",
            "--bus",
            &bus,
            "--broadcasts",
            "on",
            "--timing",
            "fast",
            "--record",
            &shown,
        ],
    ));
    run(&["tell", "key on"]).expect(0);
    thread::sleep(Duration::from_millis(1500));
    run(&["scan", "codes", "--bus", &bus])
        .expect(0)
        .says("no confirmed code");
    let (code, _, stderr) = car.stop("-TERM");
    assert_eq!(code, Some(3), "{stderr}");
    assert!(stderr.contains("cannot be written"), "{stderr}");
    assert!(stderr.contains("the car goes on"), "{stderr}");
    let told = told(&path);
    assert!(
        told[1].starts_with("header ") && told[2].starts_with("interface "),
        "{told:#?}"
    );
    assert!(!told.iter().any(|line| line.starts_with("damage")), "{told:#?}");
}

#[test]
fn what_cannot_be_recorded_is_said() {
    let bus = bus();
    let _car = Car::start(&["run", "healthy", "--bus", &bus]);
    let letter = file("letter.txt");
    fs::write(&letter, "Dear reader").expect("writable");
    let letter = letter.to_str().expect("UTF-8");
    run(&["record", letter, "--bus", &bus])
        .expect(2)
        .complains("no pcapng recording")
        .complains("another name");
    run(&["record", "x.pcapng", "--bus", &bus, "--keep", "1GB"])
        .expect(2)
        .complains("--rotate-size");
    run(&["record", "x.pcapng", "--bus", &bus, "--only", "7E8-7EF"])
        .expect(2)
        .complains("7E8:7F8");
    run(&["record", "x.pcapng", "--bus", "local:nobody-is-here"]).expect(3);
    run(&["record", "no/such/folder/x.pcapng", "--bus", &bus])
        .expect(3)
        .complains("cannot record into");
    run(&["run", "healthy", "--bus", "local:letters", "--record", letter])
        .expect(2)
        .complains("no pcapng recording");
}
