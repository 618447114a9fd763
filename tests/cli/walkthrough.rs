//! The main job in one command.

use crate::support::run;

#[test]
fn the_loop_closes_at_eighty_columns_without_colours() {
    let ran = run(&["walkthrough"])
        .expect(0)
        .says("P0455")
        .says("The loop is closed");
    for line in ran.stdout.lines() {
        assert!(
            line.chars().count() <= 80,
            "{} columns: {line}",
            line.chars().count()
        );
        assert!(
            !line.contains('\x1b'),
            "an escape sequence where no terminal is: {line:?}"
        );
    }
}

#[test]
fn every_shipped_fault_closes_its_loop() {
    for (scenario, code) in [
        ("filler-neck-leak", "P0442"),
        ("tank-pressure-sensor-low", "P0452"),
    ] {
        run(&["walkthrough", scenario])
            .expect(0)
            .says(code)
            .says("The loop is closed");
    }
    run(&["walkthrough", "healthy"])
        .expect(0)
        .says("nothing to correct");
    run(&["walkthrough", "codes-on-demand"])
        .expect(0)
        .says("P0301")
        .says("Not physical")
        .says("nothing to correct");
}

#[test]
fn what_a_walkthrough_does_not_do_is_said() {
    run(&["walkthrough", "first-visit"])
        .expect(0)
        .says("The verdict of this scenario")
        .says("`twotrip run`");
    let plain = run(&["walkthrough", "healthy"]).expect(0);
    assert!(!plain.stdout.contains("verdict"), "{}", plain.tale());

    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let path = folder.path().join("undetected.toml");
    let text = "version = 1\ntitle = \"Not found yet\"\nvehicle = \"compact-2.0\"\n[repair-order]\ncomplaint = \"none\"\n\
                cause = \"defect fuel-cap loose\"\ncorrection = \"tighten fuel-cap\"\n[story]\n\
                before = \"defect fuel-cap loose\\nkey on\"\n";
    std::fs::write(&path, text).expect("the file can be written");
    run(&["walkthrough", path.to_str().expect("the path is UTF-8")])
        .expect(0)
        .says("no loop to show");
}

#[test]
fn cues_and_broken_expectations_are_told() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let path = folder.path().join("cue.toml");
    let head = "version = 1\ntitle = \"Cue\"\nvehicle = \"compact-2.0\"\n";
    let cue = "[[when]]\nevent = \"service 03\"\ndo = \"ambient 31 C\"\n";
    let walk = |text: String| {
        std::fs::write(&path, text).expect("the file can be written");
        run(&["walkthrough", path.to_str().expect("the path is UTF-8")])
    };
    walk(format!("{head}[story]\nbefore = \"key on\"\n{cue}"))
        .expect(0)
        .says("> ambient 31 C");
    walk(format!(
        "{head}[story]\nbefore = \"key on\\nexpect mil commanded\"\n"
    ))
    .expect(1)
    .says("not as expected")
    .says("Something that this scenario expects was not so");
}

#[test]
fn json_tells_the_same_as_events() {
    let ran = run(&["walkthrough", "--json"]).expect(0);
    let lines = ran.json_lines();
    let count = |event: &str| lines.iter().filter(|line| line["event"] == event).count();
    assert!(
        count("step") >= 8 && count("frame") > 40 && count("memory") > 10,
        "{}",
        ran.tale()
    );
    let last = lines
        .iter()
        .rfind(|line| line["event"] == "verdict")
        .expect("there is a verdict");
    assert_eq!(last["closed"], true);
    // A frame carries its bytes: the confirmed code is P0455 (SAE J2012: bytes 04 55).
    assert!(
        lines.iter().any(|line| line["data"] == "04 43 01 04 55 00 00 00"),
        "{}",
        ran.tale()
    );
}

#[test]
fn the_same_seed_tells_the_same_tale() {
    assert_eq!(
        run(&["walkthrough", "--json"]).stdout,
        run(&["walkthrough", "--json"]).stdout
    );
}

/// Frames take the time of their bits: the first request has 126 with its intermission (ISO 11898-1), so it has passed
/// 123 bits after it was sent, half a second into the run.
#[test]
fn the_bus_has_a_bit_rate_and_a_load() {
    let first_frame = |arguments: &[&str]| {
        let ran = run(arguments).expect(0);
        let lines = ran.json_lines();
        let frame = lines
            .iter()
            .find(|line| line["event"] == "frame")
            .expect("a frame");
        assert_eq!(frame["data"], "02 01 00 00 00 00 00 00");
        let load = lines
            .iter()
            .find(|line| line["event"] == "bus-load")
            .expect("a load");
        let seconds = |value: &serde_json::Value| value.as_f64().expect("a number");
        (
            seconds(&frame["bus_time_s"]),
            load["bits"].clone(),
            seconds(&load["wire_time_s"]),
        )
    };
    let (at, bits, wire_time) = first_frame(&["walkthrough", "--json"]);
    let (slow_at, slow_bits, slow_wire_time) = first_frame(&["walkthrough", "--bit-rate", "250", "--json"]);
    assert!((at - (0.5 + 123.0 * 2e-6)).abs() < 1e-9, "{at}");
    assert!((slow_at - (0.5 + 123.0 * 4e-6)).abs() < 1e-9, "{slow_at}");
    assert_eq!(bits, slow_bits);
    assert!(
        (slow_wire_time - 2.0 * wire_time).abs() < 1e-9,
        "{wire_time}, {slow_wire_time}"
    );
    run(&["walkthrough", "healthy"])
        .expect(0)
        .says("kbit/s")
        .says("the busiest 10 ms");
    run(&["walkthrough", "--bit-rate", "125"])
        .expect(2)
        .complains("[possible values: 250, 500, none]");
    let ran = run(&["walkthrough", "healthy", "--bit-rate", "none", "--json"]).expect(0);
    let lines = ran.json_lines();
    let frame = lines.iter().find(|line| line["event"] == "frame");
    assert_eq!(frame.expect("a frame")["bus_time_s"], 0.5);
    assert!(
        lines.iter().all(|line| line["event"] != "bus-load"),
        "{}",
        ran.tale()
    );
}
