//! `why` and `why not`: what is said is what the ECU recorded.

use twotrip_scenario::{Scenario, shipped};
use twotrip_sim::{Outcome, Timing};

use crate::desk::Desk;

/// A car that has lived through the story of a shipped scenario.
fn lived(name: &str) -> Desk {
    let shipped = shipped::find(name).unwrap_or_else(|| panic!("{name} is not shipped"));
    let scenario =
        Scenario::parse(shipped.text.as_bytes()).unwrap_or_else(|problems| panic!("{name}: {problems:?}"));
    let phrases: Vec<String> = scenario
        .story()
        .iter()
        .map(|phrase| phrase.value.to_string())
        .collect();
    let mut desk = Desk::new(scenario.seed(), Timing::FAST);
    desk.tell(&phrases.iter().map(String::as_str).collect::<Vec<_>>());
    desk
}

fn ask(desk: &mut Desk, phrase: &str) -> Outcome {
    desk.outcomes(&[phrase]).remove(0)
}

/// The lines that hold all of these, in this order.
fn has_in_order(outcome: &Outcome, pieces: &[&str]) {
    let mut lines = outcome.details.iter();
    for piece in pieces {
        assert!(
            lines.any(|line| line.contains(piece)),
            "`{piece}` is missing, or not in its place: {outcome:#?}"
        );
    }
}

#[test]
fn a_confirmed_code_has_its_story_trip_by_trip() {
    let mut desk = lived("loose-fuel-cap");
    let outcome = ask(&mut desk, "why P0455");
    assert!(outcome.ok);
    assert_eq!(
        outcome.text,
        "P0455 is confirmed, pending and permanent; it commands the lamp"
    );
    has_in_order(
        &outcome,
        &[
            "driving cycle 1:",
            "wrong with the car: defect fuel-cap loose, since 0 d 00:00:00",
            "the engine started after 9 h of standing, coolant 18 C",
            "its monitor found a fault: lowest tank pressure of the pull -1",
            "pending",
            "its freeze frame is stored",
            "driving cycle 2:",
            "wrong with the car: defect fuel-cap loose",
            "its monitor found a fault",
            "confirmed",
            "permanent",
            "the lamp is commanded on",
        ],
    );
    let why = outcome.why.expect("as data too");
    assert_eq!(why.stored, ["confirmed", "pending", "permanent"]);
    assert_eq!(
        (why.monitor, why.trips.len(), why.forgotten),
        (Some("evap leak"), 2, false)
    );
    let failure = &why.trips[0].events[1];
    assert!(
        (32_402_000..34_000_000).contains(&failure.car_time_ms),
        "after nine hours and some driving: {failure:?}"
    );
    assert!(why.missing.is_empty());

    // The same test would have found the smaller leak, had it got that far.
    let outcome = ask(&mut desk, "why not P0442");
    assert!(outcome.ok, "{outcome:?}");
    has_in_order(
        &outcome,
        &[
            "not judged it in the last driving cycle",
            "with P0455: lowest tank pressure of the pull",
        ],
    );
}

#[test]
fn what_was_found_before_a_clear_is_not_called_unjudged() {
    let mut desk = lived("loose-fuel-cap");
    assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]));
    for question in ["why P0455", "why not P0455"] {
        let outcome = ask(&mut desk, question);
        has_in_order(
            &outcome,
            &[
                "cleared, but permanent",
                "the memory was cleared since, and it has not judged it again",
            ],
        );
        let contradicts = |line: &String| line.contains("not judged it in") || line.contains("it waited");
        assert!(!outcome.details.iter().any(contradicts), "{outcome:#?}");
    }
    // Of the leak that the test never came to, both are true still.
    let outcome = ask(&mut desk, "why not P0442");
    has_in_order(
        &outcome,
        &["not judged it in the last driving cycle", "with P0455"],
    );
}

#[test]
fn amounts_in_us_units_come_out_as_people_read_them() {
    let mut desk = Desk::new(1, Timing::FAST);
    for (phrase, said) in [
        ("hold manifold-pressure 14 psi", "the sensor gives 96.527 kPa as"),
        ("override vehicle-speed 60 mph", "is reported as 96.561 km/h"),
        ("defect coolant-sensor bias 20 F", "reads 11.111 K high"),
        ("defect filler-neck hole 0.040 in", "a hole of 1.016 mm"),
    ] {
        let outcome = ask(&mut desk, phrase);
        assert!(outcome.ok && outcome.text.contains(said), "{phrase}: {outcome:?}");
    }
}

#[test]
fn a_question_with_a_false_premise_is_answered_and_not_met() {
    let mut desk = lived("loose-fuel-cap");
    let outcome = ask(&mut desk, "why not P0455");
    assert!(
        !outcome.ok && outcome.text.contains("P0455 is confirmed"),
        "{outcome:?}"
    );
    let outcome = ask(&mut desk, "why P0442");
    assert!(
        !outcome.ok && outcome.text == "P0442 is not stored",
        "{outcome:?}"
    );
    let outcome = ask(&mut desk, "why P0650");
    assert!(!outcome.ok && outcome.details[0].contains("P0455"), "{outcome:?}");
}

#[test]
fn a_wire_shows_at_the_pin_and_a_healthy_one_too() {
    let mut desk = lived("tank-pressure-sensor-low");
    has_in_order(
        &ask(&mut desk, "why P0452"),
        &[
            "wrong with the car: defect wiring tank-pressure-sensor short-to-ground",
            "its monitor found a fault: pin of the tank pressure sensor 0 V (good: 0.12 to 4.85 V)",
            "confirmed",
        ],
    );
    // The broken wire keeps the leak test from running at all.
    let outcome = ask(&mut desk, "why not P0455");
    has_in_order(&outcome, &["it is blocked by P0452"]);
    has_in_order(
        &ask(&mut desk, "why not P0117"),
        &["and found no fault: pin of the coolant sensor"],
    );
}

#[test]
fn what_is_missing_is_said_at_every_stage() {
    let mut desk = Desk::new(1, Timing::FAST);
    desk.tell(&["ambient 18 C", "defect filler-neck hole 1 mm", "soak 9 h"]);
    has_in_order(&ask(&mut desk, "why not P0442"), &["has not been started yet"]);

    desk.tell(&["drive idle 20 s"]);
    has_in_order(
        &ask(&mut desk, "why not P0442"),
        &[
            "not judged it in this driving cycle",
            "s, needs at least 120 s",
            "it never began to run",
        ],
    );

    desk.tell(&["drive udds"]);
    let outcome = ask(&mut desk, "why not P0442");
    assert_eq!(outcome.text, "P0442 is only pending");
    has_in_order(
        &outcome,
        &[
            "its monitor found a fault: size of the hole",
            "trip 1 of 2",
            "found the fault in this driving cycle",
        ],
    );

    // A warm start: no test.
    desk.tell(&["key off", "wait 10 min", "drive 50 km/h for 5 min, stop"]);
    has_in_order(
        &ask(&mut desk, "why not P0442"),
        &["trip 1 of 2", "needs a cold start: 6 h of standing"],
    );

    // Repaired and driven: the monitor says what it measured.
    desk.tell(&["replace filler-neck", "soak 9 h", "drive udds"]);
    let outcome = ask(&mut desk, "why not P0442");
    has_in_order(
        &outcome,
        &[
            "its monitor found no fault: size of the hole",
            "and found no fault: size of the hole",
        ],
    );
    desk.tell(&["key off"]);
    assert_eq!(ask(&mut desk, "why not P0442").text, "P0442 is not stored");
}

/// The list of monitors: waiting with the values of the moment, running, done with what was measured, disabled by a code.
#[test]
fn the_monitors_say_how_they_stand() {
    let mut desk = Desk::new(1, Timing::FAST);
    desk.tell(&["ambient 18 C", "refuel to 95 %", "soak 9 h", "drive idle 130 s"]);
    let outcome = ask(&mut desk, "monitors");
    has_in_order(
        &outcome,
        &[
            "evap leak: waiting: fuel level 9",
            "coolant temperature circuit: running, watching",
            "  found no fault in driving cycle 1, at 0 d 09:00",
        ],
    );
    let leak = outcome.monitors.expect("as data")[0].clone();
    assert_eq!(
        (leak.monitor, leak.state, leak.ruled_out),
        ("evap leak", "waiting", false)
    );
    let level = &leak.missing[0];
    assert!(
        level.what == "fuel level" && level.value.is_some_and(|value| (90.0..96.0).contains(&value)),
        "{level:?}"
    );
    assert_eq!(
        (level.least, level.most, level.unit),
        (Some(15.0), Some(85.0), "%")
    );

    let mut desk = Desk::new(1, Timing::FAST);
    desk.tell(&["ambient 18 C", "soak 9 h", "drive udds"]);
    has_in_order(
        &ask(&mut desk, "monitors"),
        &[
            "evap leak: done",
            "lowest tank pressure of the pull: -20",
            "size of the hole: 0",
        ],
    );
    desk.tell(&["defect wiring tank-pressure-sensor open", "drive idle 60 s, stop"]);
    desk.tell(&["key off", "soak 9 h", "drive idle 10 s"]);
    has_in_order(&ask(&mut desk, "monitors"), &["evap leak: disabled by P0453"]);
    desk.tell(&["key off", "soak 1 h"]);
    assert!(
        ask(&mut desk, "monitors")
            .text
            .contains("how the last driving cycle left them")
    );
}

#[test]
fn a_clear_and_what_a_permanent_code_waits_for_are_told() {
    let mut desk = lived("loose-fuel-cap");
    assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]));
    let outcome = ask(&mut desk, "why P0455");
    assert_eq!(outcome.text, "P0455 is permanent");
    has_in_order(
        &outcome,
        &["a tester cleared the memory", "permanent until its monitor"],
    );
}

#[test]
fn a_code_put_in_by_hand_is_called_so() {
    let mut desk = lived("codes-on-demand");
    let outcome = ask(&mut desk, "why P0301");
    assert!(outcome.ok);
    has_in_order(
        &outcome,
        &["before the first driving cycle", "confirmed", "by hand"],
    );
}
