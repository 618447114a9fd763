//! `run` of a scenario with cues and a verdict, and what the exit code says of them.

use std::fs;

use crate::support::{Car, bus, run};

const SCENARIO: &str = r#"
version = 1
title = "A first visit"
vehicle = "compact-2.0"

[story]
before = """
key on
preload confirmed P0301
"""

[[when]]
event = "service 07"
do = "hold coolant-temperature 60 C"

[verdict]
expect = """
expect tool read pending within 60 s
expect no tool cleared
expect confirmed P0301 always
"""
"#;

/// The lines of a run after `asked` questions.
fn visit(asked: &[&str], json: bool) -> (Option<i32>, String) {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let path = folder.path().join("visit.toml");
    fs::write(&path, SCENARIO).expect("the file can be written");
    let bus = bus();
    let mut arguments = vec!["run", path.to_str().expect("UTF-8"), "--bus", &bus];
    if json {
        arguments.push("--json");
    }
    let car = Car::start(&arguments);
    for what in asked {
        run(&["scan", what, "--bus", &bus]).expect(0);
    }
    let (code, stdout, _) = car.stop("-INT");
    (code, stdout)
}

#[test]
fn what_a_story_asks_is_answered() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let path = folder.path().join("asks.toml");
    let text = "version = 1\ntitle = 'Asks'\nvehicle = 'compact-2.0'\n[story]\nbefore = '''\nkey on\n\
                defect wiring coolant-sensor open\nmeasure coolant-sensor\nwhy not P0118\n'''\n";
    fs::write(&path, text).expect("the file can be written");
    let path = path.to_str().expect("UTF-8");
    let ran = run(&["run", path, "--bus", &bus(), "--for", "10ms"]).expect(0);
    let before = ran.stdout.split("ready").next().unwrap_or_default();
    assert!(before.contains("signal at the ECU 5.00 V"), "{}", ran.tale());
    assert!(before.contains("P0118 is not stored"), "{}", ran.tale());
    assert!(!before.contains("is broken"), "{}", ran.tale());
}

#[test]
fn a_tool_that_does_what_is_expected_ends_with_zero() {
    let (code, said) = visit(&["pending"], false);
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains("> hold coolant-temperature 60 C"),
        "the cue acted: {said}"
    );
    assert!(
        said.contains("as expected: the tool read pending after"),
        "{said}"
    );
}

#[test]
fn a_tool_that_does_not_ends_with_one_and_what_was_seen_instead() {
    let (code, said) = visit(&["clear"], false);
    assert_eq!(code, Some(1), "{said}");
    assert!(
        said.contains("the tool never read pending; it asked service"),
        "{said}"
    );
    assert!(said.contains("the tool cleared after"), "{said}");

    let (code, said) = visit(&["clear"], true);
    assert_eq!(code, Some(1));
    let lines: Vec<serde_json::Value> = said
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect();
    let expectations: Vec<_> = lines
        .iter()
        .filter(|line| line["event"] == "expectation")
        .map(|line| (line["expectation"].as_str().unwrap_or(""), line["met"].as_bool()))
        .collect();
    assert_eq!(
        expectations,
        [
            ("expect tool read pending within 60 s", Some(false)),
            ("expect no tool cleared", Some(false)),
            ("expect confirmed P0301 always", Some(false)),
        ]
    );
    let end = lines.last().expect("it ends");
    assert_eq!(
        (&end["event"], &end["expectations_met"]),
        (&"end".into(), &false.into())
    );
}
