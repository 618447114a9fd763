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
