//! The same car asked by SAE J1979-2: `scan` finds that out, and says the same of it.

use serde_json::Value;

use crate::support::{Car, PROVING_DRIVE, bus, run, runtime_dir};

/// What a scan finds, without what only the second dialect tells.
fn found(what: &str, bus: &str) -> Vec<Value> {
    let mut lines = run(&["scan", what, "--bus", bus, "--json"])
        .expect(0)
        .json_lines();
    // The latest freeze frame, and which protocol it is.
    lines.retain(|line| line["frame"] != "latest");
    for line in &mut lines {
        strip(line);
    }
    lines
}

fn strip(value: &mut Value) {
    match value {
        Value::Object(fields) => {
            for only in ["failure_type", "failure", "frame"] {
                fields.remove(only);
            }
            fields.values_mut().for_each(strip);
        }
        Value::Array(items) => {
            items.retain(|item| item[0] != "protocol identification");
            items.iter_mut().for_each(strip);
        }
        _ => {}
    }
}

/// Lamp, codes, freeze frame, readiness and results of tests are the same to the letter; live data have the same names, and
/// vehicle information but for VIN and calibration.
#[test]
fn both_dialects_tell_the_same_of_the_same_car() {
    let (classic, on_uds) = (bus(), bus());
    let _one = Car::start(&["run", "loose-fuel-cap", "--bus", &classic]);
    let control = runtime_dir().join("second.control");
    let control = control.to_str().expect("UTF-8");
    let _other = Car::start(&[
        "run",
        "loose-fuel-cap",
        "--vehicle",
        "compact-on-uds",
        "--bus",
        &on_uds,
        "--control",
        control,
    ]);
    for what in [
        "codes",
        "pending",
        "permanent",
        "freeze-frame",
        "readiness",
        "tests",
    ] {
        let (expected, told) = (found(what, &classic), found(what, &on_uds));
        assert!(!expected.is_empty(), "{what}");
        assert_eq!(told, expected, "{what}");
    }
    let names = |bus: &str| -> Vec<String> {
        let lines = found("live", bus);
        let readings = lines[0]["readings"].as_array().expect("readings");
        readings
            .iter()
            .map(|reading| format!("{} {}", reading["pid"], reading["name"]))
            .collect()
    };
    assert_eq!(names(&on_uds), names(&classic));
    let items = |bus: &str| {
        let lines = found("vehicle", bus);
        let items = lines[0]["items"].as_array().expect("items").clone();
        let differ = ["VIN", "calibration id", "calibration verification number"];
        items
            .into_iter()
            .filter(|item| !differ.contains(&item[0].as_str().unwrap_or_default()))
            .collect::<Vec<_>>()
    };
    assert_eq!(items(&on_uds), items(&classic));
}

/// The loop through the commands, as on the other cars: codes with their failure type, two freeze frames of one code.
#[test]
fn the_loop_is_read_repaired_cleared_and_proven() {
    let bus = bus();
    let _car = Car::start(&[
        "run",
        "loose-fuel-cap",
        "--vehicle",
        "compact-on-uds",
        "--bus",
        &bus,
    ]);
    let scan = |what: &str| run(&["scan", what, "--bus", &bus]).expect(0);
    scan("codes").says("P0455-7A").says("fluid leak or seal failure");
    scan("permanent").says("P0455-7A");
    scan("freeze-frame")
        .says("freeze frame, stored when this code was found")
        .says("latest freeze frame, stored when this code failed last");
    scan("vehicle").says("0TW00TR04V0000043");
    run(&["scan", "readiness", "--profile", "EPA", "--bus", &bus])
        .expect(1)
        .says("model year 2027");
    run(&["tell", "start"]).expect(0);
    run(&["scan", "clear", "--bus", &bus])
        .expect(1)
        .says("not cleared: conditions not correct");
    run(&["tell", "stop", "key on", "tighten fuel-cap"]).expect(0);
    scan("clear").says("cleared");
    scan("codes").says("no confirmed code");
    scan("permanent").says("P0455-7A");
    scan("freeze-frame").says("no freeze frame stored");
    run(&PROVING_DRIVE).expect(0);
    scan("all")
        .says("no confirmed code")
        .says("no pending code")
        .says("no permanent code");
}

/// `walkthrough` asks in the car's dialect, and closes the loop.
#[test]
fn a_walkthrough_speaks_the_dialect_of_its_car() {
    run(&["walkthrough", "loose-fuel-cap", "--vehicle", "compact-on-uds"])
        .expect(0)
        .says("asks whether anybody speaks OBD on UDS (J1979-2)")
        .says("1 code: P0455-7A fluid leak or seal failure")
        .says("The loop is closed");
}

/// A recording of it in words, at every level.
#[test]
fn explain_knows_the_messages() {
    let tape = runtime_dir().join("uds.pcapng");
    let tape = tape.to_str().expect("UTF-8");
    run(&[
        "walkthrough",
        "loose-fuel-cap",
        "--vehicle",
        "compact-on-uds",
        "--record",
        tape,
    ])
    .expect(0);
    run(&["explain", tape])
        .expect(0)
        .says("asks for confirmed codes")
        .says("asks for the first freeze frame of P0455-7A")
        .says("asks to clear codes, freeze frames and");
    let story = run(&["explain", tape, "--level", "story"]).expect(0);
    for sentence in [
        "the tester asks what is supported",
        "the tester reads stored codes",
        "the tester reads the freeze frame",
        "the tester clears codes, freeze frame and readiness",
    ] {
        assert!(story.stdout.contains(sentence), "{sentence}:\n{}", story.tale());
    }
    assert!(!story.stdout.contains("malformed"), "{}", story.tale());
}

/// What the tool did is known in this dialect too.
#[test]
fn what_is_expected_of_the_tool_is_judged() {
    let scenario = runtime_dir().join("judged.toml");
    let text = "version = 1\ntitle = \"x\"\nvehicle = \"compact-on-uds\"\n[story]\nbefore = \"key on\"\n[verdict]\nexpect = '''\n\
        expect tool read confirmed\nexpect tool read pending\nexpect tool read permanent\nexpect tool read readiness\n'''\n";
    std::fs::write(&scenario, text).expect("writable");
    let bus = bus();
    let car = Car::start(&["run", scenario.to_str().expect("UTF-8"), "--bus", &bus]);
    run(&["scan", "all", "--bus", &bus]).expect(0);
    let (code, said, _) = car.stop("-INT");
    assert_eq!(code, Some(0), "{said}");
}

/// Two ECUs on 29 bits with a code each: read, refused and cleared by both, in `scan`, `walkthrough` and `explain`.
#[test]
fn two_ecus_of_one_car_answer_in_it() {
    let scenario = runtime_dir().join("two.toml");
    let text = "version = 1\ntitle = \"x\"\nvehicle = \"compact-on-uds-transmission\"\n[story]\nbefore = '''\n\
        defect wiring shift-solenoid-a open\ndefect wiring coolant-sensor open\ndrive 30 km/h for 20 s, stop\nstop\n'''\n";
    std::fs::write(&scenario, text).expect("writable");
    let scenario = scenario.to_str().expect("UTF-8");
    let bus = bus();
    let car = Car::start(&["run", scenario, "--bus", &bus]);
    let scan = |what: &str| {
        let scan = run(&["scan", what, "--bus", &bus, "--json"]).expect(0);
        scan.json_lines()
    };
    let codes = |what: &str| -> Vec<(String, String)> {
        let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        let of = |line: &Value| {
            let codes = line["codes"].as_array().cloned().unwrap_or_default();
            let ecu = text(&line["ecu"]);
            codes
                .into_iter()
                .map(move |code| (ecu.clone(), text(&code["code"])))
                .collect::<Vec<_>>()
        };
        scan(what).iter().flat_map(of).collect()
    };
    let pair = |ecu: &str, code: &str| (ecu.to_owned(), code.to_owned());
    let (engine, transmission) = (pair("18DAF110", "P0118"), pair("18DAF118", "P0753"));
    assert_eq!(codes("pending"), [engine, transmission.clone()]);
    let confirmed = std::slice::from_ref(&transmission);
    assert_eq!(codes("codes"), confirmed, "by what a circuit shows, in one trip");
    let frames = scan("freeze-frame");
    assert_eq!(frames.len(), 4, "the first and the latest of either: {frames:?}");
    run(&["tell", "start"]).expect(0);
    let refused = run(&["scan", "clear", "--bus", &bus]).expect(1);
    let both = refused.stdout.matches("not cleared: conditions not correct");
    assert_eq!(both.count(), 2, "{}", refused.tale());
    run(&["tell", "stop"]).expect(0);
    assert_eq!(codes("codes"), confirmed);
    run(&["scan", "clear", "--bus", &bus]).expect(0);
    assert_eq!((codes("codes"), codes("pending")), (vec![], vec![]));
    assert_eq!(codes("permanent"), [transmission]);
    car.stop("-INT");
    let tape = runtime_dir().join("two.pcapng");
    let tape = tape.to_str().expect("UTF-8");
    run(&["walkthrough", scenario, "--record", tape])
        .expect(0)
        .says("TCM 18DA18F1/18DAF118")
        .says("TCM: 1 code: P0753-01")
        .says("TCM: P0753-01 (")
        .says("ECM: P0118-17 (");
    run(&["explain", tape])
        .expect(0)
        .says("asks for the first freeze frame of P0753-01")
        .says("asks for the first freeze frame of P0118-17")
        .says("no rule broken");
}
