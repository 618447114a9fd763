//! What the program says when something is wrong: what, where, and what to try next.

use std::fs;

use crate::support::{Car, bus, run};

#[test]
fn an_unknown_scenario_names_the_nearest() {
    run(&["check", "lose-fuel-cap"])
        .expect(2)
        .complains("loose-fuel-cap")
        .complains("list scenarios");
}

#[test]
fn all_problems_of_a_file_are_shown_with_line_and_caret() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let path = folder.path().join("bad.toml");
    let text = "version = 1\ntitel = \"x\"\ntitle = \"Bad\"\nvehicle = \"compact-2.0\"\n\n[story]\nbefore = \"\"\"\n\
                key on\ndrive ufds\ndefect fuel-cap lose\nsoak 900 days\n\"\"\"\n";
    fs::write(&path, text).expect("the file can be written");
    let path = path.to_str().expect("the path is UTF-8");
    let ran = run(&["check", path])
        .expect(2)
        .complains("titel")
        .complains("ufds")
        .complains("udds")
        .complains("lose");
    let ran = ran.complains("900 days").complains("bad.toml:9");
    assert!(ran.stderr.matches('^').count() >= 4, "carets:\n{}", ran.tale());
}

#[test]
fn good_files_are_said_to_be_good() {
    run(&["check", "healthy", "loose-fuel-cap"])
        .expect(0)
        .says("healthy: good");
}

/// An argument that would have no effect is refused, also beside what its companion cannot stand with.
#[test]
fn no_argument_is_passed_over() {
    for (command, argument) in [
        (
            ["replay", "a.pcapng", "--bus", "local:x", "--seed", "4"],
            "'--seed <SEED>'",
        ),
        (
            ["replay", "a.pcapng", "--bus", "local:x", "--record", "b.pcapng"],
            "'--record <FILE>'",
        ),
        (
            ["explain", "a.pcapng", "--level", "story", "--compare", "exact"],
            "'--compare <HOW>'",
        ),
        (
            ["explain", "a.pcapng", "--from", "2s", "--latency", "5ms"],
            "'--latency <TIME>'",
        ),
    ] {
        run(&command).expect(2).complains(argument);
    }
}

#[test]
fn a_missing_file_and_a_binary_file_are_bad_input() {
    run(&["check", "nowhere/there.toml"])
        .expect(2)
        .complains("cannot read `nowhere/there.toml`");
    run(&["check", env!("CARGO_BIN_EXE_twotrip")]).expect(2);
}

#[test]
fn no_scenario_hides_the_problems_of_the_next() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let path = folder.path().join("bad.toml");
    let text = "version = 1\ntitle = \"é\"\nvehicle = \"compact-2.0\"\nstory = { before = \"key in\" }\n";
    fs::write(&path, text).expect("the file can be written");
    let path = path.to_str().expect("the path is UTF-8");
    let ran = run(&["check", "nowhere.toml", path, "healthy"])
        .expect(2)
        .complains("nowhere.toml")
        .complains("unknown key position `in`")
        .says("healthy: good");
    assert!(ran.stderr.contains("\n\nerror"), "{}", ran.tale());

    let ran = run(&["check", "--json", "nowhere.toml", path, "healthy"]).expect(2);
    let found: Vec<serde_json::Value> = ran
        .stdout
        .lines()
        .map(|line| serde_json::from_str(line).expect("each line is JSON"))
        .collect();
    assert_eq!(found.len(), 3, "{}", ran.tale());
    assert!(
        found[0]["error"]
            .as_str()
            .is_some_and(|error| error.contains("cannot read"))
    );
    let problem = &found[1]["problems"][0];
    assert_eq!(problem["from"], serde_json::json!([4, 25]));
    assert_eq!(problem["to"], serde_json::json!([4, 27]));
    assert_eq!(problem["message"], "unknown key position `in`");
    assert_eq!(problem["nearest"], "on");
    assert_eq!(problem["expected"], serde_json::json!(["`on`", "`off`"]));
    assert_eq!(found[2]["good"], true);
}

#[test]
fn a_folder_and_a_file_without_an_end_are_bad_input() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let path = folder.path().to_str().expect("the path is UTF-8");
    run(&["check", path])
        .expect(2)
        .complains("is a folder")
        .complains("*.toml");
    run(&["check", "/dev/zero"])
        .expect(2)
        .complains("at most 1048576");
}

#[test]
fn a_missing_interface_says_what_to_type() {
    let ran = run(&["run", "healthy", "--bus", "vcan97"]).expect(3);
    let names_a_way_out =
        ran.stderr.contains("--bus local:") || ran.stderr.contains("ip link add dev vcan97");
    assert!(names_a_way_out, "{}", ran.tale());
}

#[test]
fn a_bus_without_a_car_says_how_to_start_one() {
    let ran = run(&["scan", "codes", "--bus", &bus()]).expect(3);
    assert!(ran.stderr.contains("twotrip run"), "{}", ran.tale());
}

#[test]
fn a_bench_needs_a_wire() {
    for command in [["run", "healthy"], ["scan", "codes"]] {
        run(&[command[0], command[1], "--bus", &bus(), "--on-a-bench"])
            .expect(3)
            .complains("has no wire");
    }
}

#[test]
fn a_bad_bus_name_is_bad_input() {
    run(&["run", "healthy", "--bus", "local:a/b"])
        .expect(2)
        .complains("--bus");
}

#[test]
fn a_phrase_that_is_none_gets_a_caret_and_the_nearest_word() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let path = folder.path().join("control");
    let path = path.to_str().expect("the path is UTF-8");
    let _car = Car::start(&["run", "healthy", "--bus", &bus(), "--control", path]);
    run(&["tell", "--control", path, "tigten fuel-cap"])
        .expect(2)
        .says("tighten")
        .says("^");
}

#[test]
fn telling_nobody_says_how_to_start_a_car() {
    run(&["tell", "--control", "/nowhere/control", "key on"])
        .expect(3)
        .complains("twotrip run");
}

#[test]
fn usage_errors_exit_with_two() {
    run(&["scan"]).expect(2);
    run(&["run", "healthy", "--bus", "local:x", "--pace", "fast"])
        .expect(2)
        .complains("a pace is a number");
    run(&["--help"]).expect(0).says("walkthrough");
}

#[test]
fn lists_are_made_from_the_tables_of_the_parsers() {
    run(&["list", "scenarios"]).expect(0).says("loose-fuel-cap");
    run(&["list", "defects"])
        .expect(0)
        .says("defect fuel-cap loose")
        .says("8 mm")
        .says("short-to-ground");
    run(&["list", "broadcasts"]).expect(0).says("engine-speed");
    run(&["list", "parts"]).expect(0).says("filler-neck");
    run(&["list", "drives"]).expect(0).says("11.99 km");
    let phrases = run(&["list", "phrases", "--json"]).expect(0).json_lines();
    assert!(phrases.len() > 15 && phrases.iter().all(|phrase| phrase["example"].is_string()));
}
