//! Disturbances on cue, as users meet them: the list, the phrase, events and verdicts of a run, and the built-in tester among them.

use crate::support::{Car, bus, run};

#[test]
fn the_list_has_what_a_good_tool_does_and_a_phrase_that_works() {
    let text = run(&["list", "disturbances"]).expect(0);
    for words in [
        "drop [ID] [P % | N times | once]",
        "a good tool: ",
        "example: disturb interface-down 3 s",
    ] {
        assert!(
            text.stdout.contains(words),
            "{words} is missing from\n{}",
            text.tale()
        );
    }
    let rows = run(&["list", "disturbances", "--json"]).expect(0).json_lines();
    assert!(rows.len() >= 10);
    for row in rows {
        for key in ["name", "meaning", "good_tool", "source", "example"] {
            assert!(
                row[key].as_str().is_some_and(|text| !text.is_empty()),
                "{key}: {row}"
            );
        }
    }
}

/// While the run goes on, too: what the tester has done about each so far.
#[test]
fn a_report_tells_the_verdicts() {
    let bus = bus();
    let _car = Car::start(&["run", "codes-on-demand", "--bus", &bus]);
    run(&["tell", "disturb drop 7E8 once", "disturb error-passive"]).expect(0);
    run(&["scan", "codes", "--bus", &bus]).expect(0).says("P0301");
    run(&["tell", "report"])
        .expect(0)
        .says("disturbance 1, drop 7E8 once: held")
        .says("disturbance 2, error-passive: held");
    let told = run(&["tell", "report", "--json"]).expect(0);
    let said = told.stdout.replace(' ', "");
    assert!(said.contains("\"verdict\":\"held\""), "{}", told.tale());
}

/// The built-in tester reads all codes whatever the line does, and does what a good tool does.
#[test]
fn scan_survives_a_disturbed_line() {
    let bus = bus();
    let car = Car::start(&["run", "codes-on-demand", "--bus", &bus, "--json"]);
    // So hard that a long answer of nine frames comes whole in more than half of the cases, of which the tester tries seven.
    let phrases = [
        "disturb drop 7E8 5 %",
        "disturb drop 4 %",
        "disturb delay 7E8 30 ms",
        "disturb delay 7E8 120 ms 20 %",
        "disturb jitter 30 ms",
        "disturb duplicate 7E8 5 %",
        "disturb reorder 50 %",
        "disturb bus-error 30 %",
        "disturb error-passive",
        "disturb bus-off 300 ms 2 times",
        "disturb background-load 30 %",
        "disturb interface-down 1 s",
    ];
    for phrase in phrases {
        run(&["tell", phrase]).expect(0).says(": on");
        let scan = |what| run(&["scan", what, "--bus", &bus]).expect(0);
        let codes = scan("codes").says("P0301").says("P0302");
        assert!(!codes.stdout.contains("no answer"), "{phrase}: {}", codes.tale());
        let vehicle = scan("vehicle").says("0TW00TRP3A0000042");
        assert!(
            !vehicle.stdout.contains("no answer"),
            "{phrase}: {}",
            vehicle.tale()
        );
        run(&["tell", "disturb off"]).expect(0);
    }
    let (_, stdout, _) = car.stop("-TERM");
    let lines: Vec<serde_json::Value> = stdout
        .lines()
        .map(|line| serde_json::from_str(line).expect("an object a line"))
        .collect();
    let of = |event: &str| {
        lines
            .iter()
            .filter(|line| line["event"] == event)
            .collect::<Vec<_>>()
    };
    assert_eq!(of("verdict").len(), phrases.len(), "{stdout}");
    for verdict in of("verdict") {
        // A share of so few frames may be none of them.
        assert_ne!(verdict["verdict"], "failed", "{verdict}");
    }
    let held = of("verdict")
        .iter()
        .filter(|line| line["verdict"] == "held")
        .count();
    assert!(held >= phrases.len() - 3, "{stdout}");
    let begun = of("disturbance")
        .iter()
        .filter(|line| line["begins"] == true)
        .count();
    assert_eq!(
        (begun, of("disturbance").len()),
        (phrases.len(), 2 * phrases.len()),
        "{stdout}"
    );
}

/// What the built-in tester says of an ECU that misbehaves: phrase, what is scanned, exit code, what is said.
const SAID: &[(&str, &str, i32, &str)] = &[
    ("late-answer 80 ms", "codes", 0, "P0302"),
    ("response-pending 2 s once", "codes", 0, "P0302"),
    ("busy 3 times", "codes", 0, "P0302"),
    ("silent 2 times", "codes", 0, "P0302"),
    ("refuse-clear", "clear", 1, "not cleared: conditions not correct"),
    ("padding", "codes", 0, "P0302"),
    (
        "short-frames",
        "codes",
        3,
        "frames had fewer than eight bytes and were ignored",
    ),
    ("other-identifier 2 times", "codes", 0, "P0302"),
    ("truncated 1 bytes", "codes", 0, "`3` bytes of codes follow"),
    ("over-long 2 bytes once", "vehicle", 0, "0TW00TRP3A0000042"),
    ("wrong-sequence 2 times", "vehicle", 0, "0TW00TRP3A0000042"),
    ("reset 200 ms", "vehicle", 0, "0TW00TRP3A0000042"),
    ("code-left-out once", "codes", 0, "P0302"),
    ("code-left-out 9 times", "codes", 0, "counts 2 in PID $01"),
    (
        "vin-missing",
        "vehicle",
        0,
        "no ECU tells the vehicle identification number",
    ),
    ("vin-short", "vehicle", 0, "vehicle information: "),
    (
        "vin-garbled",
        "vehicle",
        0,
        r"VIN, with characters that none has: \x9cT\xff0\x07TRP3A0000042",
    ),
    ("mask-lies", "codes", 0, "P0302"),
    ("sleep 0.5 s", "codes", 0, "P0302"),
    ("second-tester 30 ms", "codes", 0, "P0302"),
];

#[test]
fn scan_reads_what_there_is_and_says_what_it_could_not_get() {
    let bus = bus();
    let _car = Car::start(&["run", "codes-on-demand", "--bus", &bus]);
    for (phrase, what, code, said) in SAID {
        run(&["tell", &format!("disturb {phrase}")])
            .expect(0)
            .says(": on");
        let ran = run(&["scan", what, "--bus", &bus]);
        let text = format!("{}{}", ran.stdout, ran.stderr);
        let joined = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            ran.code == Some(*code) && joined.contains(said),
            "{phrase}: {}",
            ran.tale()
        );
        run(&["tell", "disturb off"]).expect(0);
    }
}
