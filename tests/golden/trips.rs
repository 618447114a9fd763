//! Key, trips and memory together: what follows from driving, parking and asking at the right moment.

use std::time::Duration;

use twotrip_ecu::{
    memory::{Effect, Lamp},
    monitors::NATURAL_VACUUM,
    server::Answer,
};
use twotrip_harness::KeyPosition;
use twotrip_obd::Group;
use twotrip_units::Speed;
use twotrip_vehicle::{Defect, DriverControls, Leg, Part, Plan, Work, schedule};

use crate::bench::Bench;

fn key_on() -> DriverControls {
    DriverControls {
        key: KeyPosition::On,
        ..DriverControls::default()
    }
}

#[test]
fn the_ecu_answers_through_its_after_run_and_then_sleeps() {
    let mut bench = Bench::new(41);
    assert_eq!(
        bench.ask(&[0x01, 0x00]).0,
        Answer::Silence,
        "nobody has turned the key yet"
    );
    bench.start();
    assert_eq!(bench.ask(&[0x01, 0x00]).0, Answer::Positive);
    bench.hold(&DriverControls::default(), Duration::from_secs(4));
    assert_eq!(bench.ask(&[0x01, 0x00]).0, Answer::Positive);
    bench.hold(&DriverControls::default(), Duration::from_secs(2));
    assert!(bench.ecu.asleep());
    assert_eq!(bench.ask(&[0x01, 0x00]), (Answer::Silence, vec![]));
    bench.hold(&key_on(), Duration::from_millis(10));
    assert_eq!(
        bench.ask(&[0x01, 0x00]).0,
        Answer::Positive,
        "one step after key-on"
    );
}

#[test]
fn a_running_engine_refuses_to_clear_and_a_clear_keeps_the_learned_trims() {
    let mut bench = Bench::new(42);
    bench.drive(Plan::schedule(&schedule::HWFET), |_| {});
    assert_eq!(bench.ask(&[0x04]).1, [0x7F, 0x04, 0x22]);
    let learned = bench.ecu.live().long_term_trim[0];
    bench.park(Duration::from_secs(600));
    bench.clear();
    bench.start();
    bench.idle(Duration::from_secs(2));
    let kept = bench.ecu.live().long_term_trim[0];
    assert!(
        (kept - learned).abs().percent() < 0.5,
        "{learned:?} before, {kept:?} after"
    );
    assert!(bench.ecu.live().short_term_trim[0].abs().percent() < 1e-9);
}

#[test]
fn the_lamp_is_checked_at_key_on_until_the_engine_is_cranked() {
    let mut bench = Bench::new(43);
    bench.hold(&key_on(), Duration::from_secs(1));
    assert!(bench.actuators().mil);
    bench.hold(&key_on(), Duration::from_secs(20));
    assert!(!bench.actuators().mil, "the check lasts 20 s");
    bench.park(Duration::from_secs(60));
    bench.hold(&key_on(), Duration::from_secs(1));
    assert!(bench.actuators().mil);
    bench.start();
    assert!(!bench.actuators().mil);
    assert_eq!(bench.ecu.memory().lamp(bench.now()), Lamp::Off);
}

/// A hot restart: no cold start, so the leak test cannot run (SAE J1979, PID $41, from memory).
#[test]
fn without_a_soak_evap_cannot_run_in_this_cycle() {
    let mut bench = Bench::new(44);
    bench.drive(Plan::schedule(&schedule::UDDS), |_| {});
    assert!(!bench.ecu.memory().readiness_this_cycle().is_complete(Group::Evap));
    bench.park(Duration::from_secs(900));
    let parked = bench.ecu.memory().readiness_this_cycle();
    assert!(parked.is_complete(Group::Evap), "with the test of the parked car");
    bench.effects.clear();
    bench.drive(Plan::schedule(&schedule::HWFET), |_| {});
    let readiness = bench.ecu.memory().readiness_this_cycle();
    assert!(!readiness.is_supported(Group::Evap) && !readiness.is_complete(Group::Evap));
    assert!(
        bench
            .ecu
            .memory()
            .readiness_since_clear()
            .is_complete(Group::Evap)
    );
    assert!(
        !bench
            .effects
            .iter()
            .any(|&(_, effect)| effect == Effect::NumeratorCounted(NATURAL_VACUUM))
    );
}

/// 13 CCR 1968.2(d)(2.3) (from memory): repaired, but nobody clears: the lamp goes out after the third passing trip,
/// the code stays for now.
#[test]
fn a_repair_without_a_clear_puts_the_lamp_out_after_three_trips() {
    let mut bench = Bench::new(45);
    let trip = |bench: &mut Bench| {
        bench.park(Duration::from_secs(9 * 3600));
        let speed = Speed::from_kilometres_per_hour(60.0);
        let span = Duration::from_secs(400);
        bench.drive(Plan::new(vec![Leg::Cruise { speed, span }, Leg::Stop]), |_| {});
        bench.park(Duration::from_secs(60));
    };
    bench
        .vehicle
        .set_defect(Defect::named(Part::FuelCap, "loose", None).unwrap());
    trip(&mut bench);
    trip(&mut bench);
    assert!(bench.ecu.memory().mil_commanded());
    let _ = bench.vehicle.repair(Part::FuelCap, Work::Tighten);
    for (passed, lit) in [(1, true), (2, true), (3, false)] {
        trip(&mut bench);
        assert_eq!(
            bench.ecu.memory().mil_commanded(),
            lit,
            "after {passed} passing trips"
        );
        assert_eq!(
            (bench.pending(), bench.confirmed()),
            (vec![], vec!["P0455".into()])
        );
    }
    assert_eq!(bench.ecu.memory().permanent().count(), 0);
}

/// The same seed gives the same bits; a fork goes on as the original does.
#[test]
fn a_run_repeats_to_the_last_bit() {
    let day = |bench: &mut Bench| {
        bench.drive(Plan::schedule(&schedule::HWFET), |_| {});
        bench.park(Duration::from_secs(3600));
        bench.start();
    };
    let (mut one, mut two) = (Bench::new(46), Bench::new(46));
    day(&mut one);
    let mut fork = one.clone();
    day(&mut two);
    for bench in [&mut one, &mut two, &mut fork] {
        bench.idle(Duration::from_secs(30));
    }
    for other in [&two, &fork] {
        assert_eq!(one.ecu.live(), other.ecu.live());
        assert_eq!(one.vehicle.fuel_used(), other.vehicle.fuel_used());
        assert_eq!(one.effects, other.effects);
    }
    let mut elsewhere = Bench::new(47);
    day(&mut elsewhere);
    elsewhere.idle(Duration::from_secs(30));
    assert_ne!(one.ecu.live(), elsewhere.ecu.live(), "the seed matters");
}
