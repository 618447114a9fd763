//! What is told of a car with a transmission ECU: each change of a memory with the ECU it is of, clears of every ECU, how the
//! transmission ECU's monitors stand, codes put into its memory by hand.

use std::{iter, time::Duration};

use twotrip_can::{CanId, Frame};
use twotrip_ecu::memory::Effect;
use twotrip_scenario::{Scenario, parse_phrase};
use twotrip_sim::{Event, MonitorStand, Timing};

use crate::{desk::Desk, vehicles};

fn desk(seed: u64) -> Desk {
    vehicles::desk("compact-2.0-transmission", seed)
}

/// Lets phrases be carried out, and the bus be: changes of memories, `ECU response effect`.
fn changes(desk: &mut Desk, phrases: &[&str]) -> Vec<String> {
    for phrase in phrases {
        desk.car.tell(parse_phrase(phrase).expect("a phrase"));
    }
    let mut changes = Vec::new();
    loop {
        changes.extend(iter::from_fn(|| desk.car.poll_event()).filter_map(told));
        if !desk.car.is_busy() {
            return changes;
        }
        desk.car.work(Duration::from_secs(10));
    }
}

fn told(event: Event) -> Option<String> {
    let Event::Memory { ecu, effect, .. } = event else {
        return None;
    };
    let whose = ecu.map_or_else(
        || "-".to_owned(),
        |ecu| format!("{} {}", ecu.acronym(), ecu.response),
    );
    Some(format!("{whose} {effect:?}"))
}

fn clear(desk: &mut Desk, id: CanId) -> Vec<String> {
    desk.hears(&Frame::padded(id, &[1, 0x04], 0));
    desk.sends(Duration::from_millis(100));
    let mut cleared = changes(desk, &[]);
    cleared.retain(|change| change.ends_with(" Cleared"));
    cleared.sort();
    cleared
}

#[test]
fn every_change_says_in_which_ecu() {
    let mut desk = desk(1);
    let all = changes(
        &mut desk,
        &[
            "defect converter-clutch stuck-open",
            "defect coolant-sensor dead",
            "soak 9 h",
            "drive udds",
            "key off",
        ],
    );
    let stored = |all: &[String], what: &str| {
        let found = all.iter().filter(|change| change.contains(what));
        found.cloned().collect::<Vec<_>>()
    };
    let of = |effect: Effect, whose: &str| format!("{whose} {effect:?}");
    let [engine, transmission] = ["P0118", "P0741"].map(|code| code.parse().expect("a code"));
    assert_eq!(
        stored(&all, "PendingStored"),
        [
            of(Effect::PendingStored(engine), "ECM 7E8"),
            of(Effect::PendingStored(transmission), "TCM 7E9"),
        ]
    );
    assert!(all.iter().all(|change| !change.starts_with('-')), "{all:?}");
    // A car with one ECU names none.
    let mut plain = Desk::new(1, Timing::FAST);
    let all = changes(&mut plain, &["key on", "preload confirmed P0301"]);
    assert!(
        !all.is_empty() && all.iter().all(|change| change.starts_with("- ")),
        "{all:?}"
    );
}

#[test]
fn a_clear_is_told_of_each_ecu_that_was_cleared() {
    let mut car = vehicles::desk("sedan-v6-29bit", 1);
    car.tell(&["key on", "wait 10 s"]);
    for (to, cleared) in [
        (0x18DB_33F1, &["BCM 18DAF140", "ECM 18DAF110", "TCM 18DAF118"][..]),
        (0x18DA_18F1, &["TCM 18DAF118"]),
        (0x18DA_40F1, &["BCM 18DAF140"]),
        (0x18DA_10F1, &["ECM 18DAF110"]),
    ] {
        let wanted: Vec<String> = cleared.iter().map(|ecu| format!("{ecu} Cleared")).collect();
        assert_eq!(clear(&mut car, CanId::Extended(to)), wanted, "{to:08X}");
    }
}

/// A clear of all ECUs is one event for cues; so is that of any one.
#[test]
fn a_cue_hears_of_one_clear_once() {
    let text = r#"
        version = 1
        title = "Cleared"
        vehicle = "sedan-v6-29bit"
        [[when]]
        event = "clear"
        times = 5
        do = "refuel to 60 %"
    "#;
    let scenario = Scenario::parse(text.as_bytes()).expect("a scenario");
    let mut car = vehicles::desk("sedan-v6-29bit", 1);
    car.tell(&["key on", "wait 10 s"]);
    car.car.go_live(car.now, scenario.cues(), []);
    for to in [0x18DB_33F1, 0x18DA_18F1, 0x18DA_40F1, 0x18DA_10F1] {
        car.hears(&Frame::padded(CanId::Extended(to), &[1, 0x04], 0));
        car.sends(Duration::from_millis(100));
        let events = iter::from_fn(|| car.car.poll_event());
        let done = events
            .filter(|event| matches!(event, Event::Finished { .. }))
            .count();
        assert_eq!(done, 1, "{to:08X}");
    }
}

/// Those of the transmission ECU.
fn stands(desk: &mut Desk) -> Vec<MonitorStand> {
    let told = desk.outcomes(&["monitors"]).remove(0);
    let stands = told.monitors.expect("they are data too");
    stands
        .into_iter()
        .filter(|stand| stand.ecu.as_deref() == Some("TCM"))
        .collect()
}

/// `name: state; what is missing`.
fn lines(desk: &mut Desk) -> Vec<String> {
    let line = |stand: MonitorStand| {
        let missing: Vec<String> = stand.missing.into_iter().map(|needed| needed.text).collect();
        format!("{}: {}; {}", stand.monitor, stand.state, missing.join("; "))
    };
    stands(desk).into_iter().map(line).collect()
}

#[test]
fn the_transmission_ecus_monitors_say_what_they_wait_for() {
    let mut desk = desk(2);
    let says = |desk: &mut Desk, wanted: &[&str]| {
        let lines = lines(desk);
        assert_eq!(lines.len(), 11, "{lines:#?}");
        for wanted in wanted {
            let known = lines.iter().any(|line| line == wanted);
            assert!(known, "{wanted}: {lines:#?}");
        }
    };
    desk.tell(&["ambient 20 C", "soak 9 h", "key on"]);
    says(
        &mut desk,
        &["solenoid circuits: waiting; needs the engine running"],
    );
    desk.tell(&["start", "wait 20 s"]);
    says(
        &mut desk,
        &[
            "solenoid circuits: running; ",
            "messages of the engine: running; ",
            "fluid temperature: done; ",
            "output speed: waiting; time in a driving position 0 s, needs at least 1 s",
        ],
    );
    let judged = |desk: &mut Desk, name: &str| {
        let stands = stands(desk);
        let stand = stands.into_iter().find(|stand| stand.monitor == name);
        stand.expect(name)
    };
    let ratio = judged(&mut desk, "gear ratio");
    assert_eq!(ratio.state, "waiting");
    assert_eq!(
        ratio.missing[0].text, "needs the selector in a driving position",
        "{ratio:?}"
    );
    desk.tell(&["drive udds", "drive 100 km/h for 60 s, stop", "key off"]);
    for name in ["gear ratio", "shift valves", "converter clutch"] {
        let stand = judged(&mut desk, name);
        assert_eq!(stand.state, "done", "{stand:?}");
        let found = stand.last.unwrap_or_default();
        assert!(found.starts_with("found no fault in driving cycle 1"), "{found}");
    }
    // A short stop leaves the fluid without its test, a broken wire the ratio.
    desk.tell(&[
        "soak 1 h",
        "defect wiring shift-solenoid-a open",
        "start",
        "wait 30 s",
    ]);
    let fluid = judged(&mut desk, "fluid temperature");
    assert!(fluid.ruled_out, "{fluid:?}");
    assert_eq!(
        fluid.missing[0].text, "standing before the start 1 h, needs at least 6 h",
        "{fluid:?}"
    );
    let ratio = judged(&mut desk, "gear ratio");
    assert_eq!(
        (ratio.state, &ratio.disabled_by[..]),
        ("disabled", &["P0753".to_owned()][..])
    );
    let told = desk.outcomes(&["monitors"]).remove(0);
    let details = told.details.join("\n");
    assert!(
        details.contains("TCM gear ratio: disabled by P0753")
            && details.contains("TCM solenoid circuits: running\n  found P0753 in driving cycle 2")
            && details.contains("ECM evap leak: "),
        "{details}"
    );
    // One that waits says so to `why not` as well.
    let told = desk.outcomes(&["why not P0741"]).remove(0);
    assert!(
        told.details.join("\n").contains("it is blocked by P0753"),
        "{told:?}"
    );
}

/// A car with one ECU tells of its monitors as before.
#[test]
fn one_ecu_is_not_named() {
    let mut plain = Desk::new(2, Timing::FAST);
    let told = plain.outcomes(&["monitors"]).remove(0);
    let stands = told.monitors.expect("they are data too");
    assert!(stands.iter().all(|stand| stand.ecu.is_none()));
    assert!(told.details.iter().all(|line| !line.contains("ECM")));
}

#[test]
fn codes_are_put_into_the_memory_of_the_ecu_that_is_named() {
    for (ecu, answers) in [
        ("", [0x7E8, 0x7E9]),
        (" in engine", [0x7E8, 0x7E9]),
        (" in transmission", [0x7E9, 0x7E8]),
        (" in 7E9", [0x7E9, 0x7E8]),
    ] {
        let mut desk = desk(3);
        desk.tell(&["key on", &format!("preload confirmed P0741{ecu}"), "wait 30 s"]);
        desk.hears(&Frame::padded(CanId::Standard(0x7DF), &[1, 0x03], 0));
        let mut sent = desk.sends(Duration::from_millis(60));
        sent.sort_by_key(|(_, frame)| frame.data()[2]);
        let found: Vec<(CanId, u8)> = sent
            .iter()
            .map(|(_, frame)| (frame.id(), frame.data()[2]))
            .collect();
        let [with, without] = answers.map(CanId::Standard);
        assert_eq!(found, [(without, 0), (with, 1)], "preload{ecu}");
        assert!(desk.car.not_physical() && desk.car.car().lamp_lit());
        let frame = if with == CanId::Standard(0x7E9) {
            desk.car.car().transmission().expect("it has one").memory()
        } else {
            desk.car.car().ecu().memory()
        };
        assert!(frame.freeze_frame().is_some() && frame.permanent().count() == 1);
    }
    let mut plain = Desk::new(3, Timing::FAST);
    let told = plain
        .outcomes(&["preload pending P0741 in transmission"])
        .remove(0);
    assert_eq!(
        (told.ok, &*told.text),
        (false, "this car has no ECU `transmission`")
    );
    assert_eq!(told.details, ["it has ECM 7E8"]);
    assert!(!plain.car.not_physical(), "nothing came of it");
    let mut sedan = vehicles::desk("sedan-v6-29bit", 1);
    let told = sedan.outcomes(&["preload pending P0741 in 18DAF140"]).remove(0);
    assert!(!told.ok && told.text.contains("no fault memory"), "{}", told.text);
}
