//! The shipped vehicles, healthy: they start, idle, drive and are accused of nothing.

use twotrip_obd::Group;
use twotrip_scenario::{Scenario, vehicle};
use twotrip_sim::{Settings, Simulator, Timing};

use crate::desk::Desk;

/// A shipped vehicle at a desk.
fn desk(name: &str, seed: u64) -> Desk {
    let text = format!("version = 1\ntitle = \"x\"\nvehicle = \"{name}\"\n");
    let scenario = Scenario::parse(text.as_bytes()).unwrap_or_else(|problems| panic!("{problems:?}"));
    Desk::of(Simulator::new(Settings::of(&scenario, seed, Timing::FAST)))
}

/// Healthy figures of a warm idle in drive, catalysts and trims of each bank: as for the compact car within the
/// scatter of its limit cycle; a catalyst 400 to 650 degC; a warm one is as warm as its ECU believes.
fn is_healthy(desk: &Desk, when: &str) {
    let car = desk.car.car();
    let (live, truth, memory) = (car.ecu().live(), car.vehicle(), car.ecu().memory());
    assert_eq!(memory.pending().count() + memory.confirmed().count(), 0, "{when}");
    assert!(!memory.mil_commanded(), "{when}");
    let rpm = live.engine_speed.rpm();
    assert!((620.0..680.0).contains(&rpm), "{when}: {rpm} rpm");
    let coolant = live.coolant_temperature.celsius();
    assert!((80.0..100.0).contains(&coolant), "{when}: {coolant} degC");
    for bank in 0..truth.banks() {
        let short = live.short_term_trim[bank].percent();
        let long = live.long_term_trim[bank].percent();
        assert!(
            short.abs() < 8.0 && long.abs() < 2.0,
            "{when}: {short} and {long} %"
        );
        let believed = live.catalyst_temperature[bank].celsius();
        let brick = truth.catalyst_temperature(bank).celsius();
        assert!((400.0..650.0).contains(&brick), "{when}: {brick} degC");
        assert!((believed - brick).abs() < 15.0, "{when}: {believed}, not {brick}");
    }
}

#[test]
fn each_drives_both_schedules_and_is_accused_of_nothing() {
    for shipped in vehicle::SHIPPED {
        for (seed, weather) in [(1, "ambient 20 C"), (2, "ambient -7 C"), (3, "altitude 1500 m")] {
            let mut desk = desk(shipped.name, seed);
            desk.tell(&[weather, "soak 12 h", "drive udds"]);
            let when = format!("{}, {weather}, seed {seed}", shipped.name);
            is_healthy(&desk, &when);
            desk.tell(&["drive hwfet"]);
            is_healthy(&desk, &when);
            desk.tell(&["stop", "soak 10 h", "start", "drive idle 120 s"]);
            let memory = desk.car.car().ecu().memory();
            assert_eq!(memory.pending().count() + memory.confirmed().count(), 0, "{when}");
        }
    }
}

/// Fuel goes with size, mass and road load: the six-cylinder takes more than the compact car, the smaller one less.
#[test]
fn a_larger_car_takes_more_fuel() {
    let grams = ["hatch-1.8", "compact-2.0", "sedan-v6"].map(|name| {
        let mut desk = desk(name, 1);
        desk.tell(&["drive hwfet"]);
        desk.car.car().vehicle().fuel_used().grams()
    });
    assert!(grams.is_sorted_by(|less, more| less * 1.02 < *more), "{grams:?}");
}

/// What an engine has nothing for holds no readiness group up and has no row in service $06.
#[test]
fn monitors_are_those_of_what_the_engine_has() {
    for (name, egr) in [("hatch-1.8", false), ("compact-2.0", true)] {
        let mut desk = desk(name, 4);
        desk.tell(&["soak 9 h", "drive udds", "drive hwfet"]);
        let memory = desk.car.car().ecu().memory();
        // The cam's phaser is of the same group, and every engine here has one: it completes with or without the valve.
        assert!(memory.readiness_since_clear().is_complete(Group::Egr), "{name}");
        let told = desk.outcomes(&["monitors"]).remove(0);
        assert_eq!(
            told.details.iter().any(|line| line.starts_with("EGR flow")),
            egr,
            "{name}"
        );
        assert_eq!(desk.ask(&[0x06, 0x31]).is_some(), egr, "{name}");
    }
}
