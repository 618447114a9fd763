//! Patterns and quick rules on made-up views.

extern crate std;

use std::{vec, vec::Vec};

use twotrip_obd::Dtc;
use twotrip_units::{Angle, AngularSpeed, MassFlow, Pressure, Ratio, Temperature};

use super::*;

/// A warm engine on the road, all views the same.
fn healthy() -> Signals {
    let flow = MassFlow::from_grams_per_second(8.0);
    let pressure = Pressure::from_kilopascals(35.0);
    Signals {
        run_time: Some(Duration::from_secs(600)),
        engine_speed: AngularSpeed::from_rpm(1700.0),
        coolant: Temperature::from_celsius(88.0),
        barometer: Pressure::from_kilopascals(101.0),
        steady_seconds: 10.0,
        air: AirEstimates {
            metered: flow,
            density: flow,
            throttle: flow,
            throttle_at_pressure: flow,
            pressure,
            pressure_by_meter: pressure,
            pressure_by_throttle: pressure,
            plate: Angle::from_degrees(12.4),
            learned_seconds: 60.0,
            fuel_cut: false,
            trim: Some(Ratio::ZERO),
        },
        ..Signals::default()
    }
}

/// Views in shares of the healthy flow: meter, density, throttle.
fn views(shares: [f64; 3]) -> Signals {
    let mut signals = healthy();
    let [metered, density, throttle] = shares.map(|share| MassFlow::from_grams_per_second(8.0 * share));
    signals.air = AirEstimates {
        metered,
        density,
        throttle,
        throttle_at_pressure: throttle,
        ..signals.air
    };
    signals
}

fn run(monitor: &mut AirPath, signals: &Signals, seconds: f64) -> Vec<Dtc> {
    let mut failed = Vec::new();
    let mut at = 0.0;
    while at < seconds {
        monitor.step(signals, Inhibits::default(), &mut |result| {
            if let TestResult::Failed(dtc) = result {
                failed.push(dtc);
            }
        });
        at += STEP_SECONDS;
    }
    failed
}

#[test]
fn two_views_outvote_the_third() {
    for (shares, trim, code) in [
        ([0.75, 1.0, 1.0], 0.0, vec![P0101]),
        ([1.25, 1.0, 1.0], 0.0, vec![P0101]),
        ([1.0, 1.3, 1.0], 0.0, vec![P0106]),
        ([1.0, 0.75, 1.0], 0.0, vec![P0106]),
        ([1.0, 1.0, 1.3], 0.0, vec![P0121]),
        ([1.0, 1.0, 0.75], 0.0, vec![P0121]),
        // Air behind the meter: closed loop adds fuel, and no sensor is named.
        ([1.0, 1.3, 1.0], 0.28, vec![]),
        // All within 10 % of one another, or each by itself.
        ([0.92, 1.0, 1.0], 0.0, vec![]),
        ([1.0, 1.08, 0.95], 0.0, vec![]),
        ([1.0, 1.25, 0.75], 0.0, vec![]),
    ] {
        let mut signals = views(shares);
        signals.air.trim = Some(Ratio::from_fraction(trim));
        assert_eq!(run(&mut AirPath::default(), &signals, 60.0), code, "{shares:?}");
    }
}

/// Nothing is said of an engine that is cold, unsteady or in fuel cut, of a plate that is not known, of the pressure at
/// idle, and while a circuit is out of its range.
#[test]
fn what_does_not_hold_keeps_the_pattern_away() {
    let cold = |signals: &mut Signals| signals.coolant = Temperature::from_celsius(40.0);
    let unsteady = |signals: &mut Signals| signals.steady_seconds = 1.0;
    let cut = |signals: &mut Signals| signals.fuel_cut = true;
    let circuit =
        |signals: &mut Signals| signals.circuits.low = CircuitSet::of(&[Circuit::ManifoldPressureSensor]);
    for spoil in [cold, unsteady, cut, circuit] {
        let mut signals = views([0.75, 1.0, 1.0]);
        spoil(&mut signals);
        assert_eq!(run(&mut AirPath::default(), &signals, 60.0), []);
    }
    let mut unknown = views([1.0, 1.0, 1.3]);
    unknown.air.learned_seconds = 5.0;
    assert_eq!(run(&mut AirPath::default(), &unknown, 60.0), []);
    let mut idling = views([1.0, 1.3, 1.0]);
    idling.air.plate = Angle::from_degrees(8.8);
    assert_eq!(
        run(&mut AirPath::default(), &idling, 60.0),
        [],
        "exhaust in the manifold?"
    );
}

#[test]
fn the_quick_rules_are_quick() {
    let kilopascals = Pressure::from_kilopascals;
    let mut off = healthy();
    off.air.pressure = kilopascals(100.0);
    let mut lagging = healthy();
    lagging.air.pressure_by_meter = kilopascals(70.0);
    lagging.air.pressure_by_throttle = kilopascals(65.0);
    let mut low = views([1.0, 0.5, 1.0]);
    low.air.pressure = low.air.pressure_by_throttle - kilopascals(10.0);
    let half = views([0.5, 1.0, 1.0]);
    let open = |shares| {
        let mut large = views(shares);
        large.air.plate = Angle::from_degrees(70.0);
        large.coolant = Temperature::from_celsius(20.0);
        large.pedal_released = false;
        large
    };
    let (dirty, unfit) = (open([0.65, 1.0, 1.0]), open([0.6, 0.6, 1.0]));
    for (signals, seconds, code) in [
        (off, 0.4, P0106),
        (lagging, 1.0, P0106),
        (low, 0.7, P0106),
        (half, 1.0, P0101),
        (dirty, 0.5, P0101),
        (unfit, 0.5, P0068),
    ] {
        let mut monitor = AirPath::default();
        assert_eq!(run(&mut monitor, &signals, seconds - 0.15), [], "{code}");
        assert_eq!(run(&mut monitor, &signals, 0.2), [code]);
        assert_eq!(run(&mut monitor, &signals, 30.0), [], "{code}: once");
        let requests = monitor.requests();
        assert_eq!(requests.limp_home, code == P0068);
        assert_eq!(requests.distrust.is_empty(), code == P0068);
    }
}

/// An engine that nearly stalls: its manifold fills, more comes in than goes on, and no sensor is wrong.
#[test]
fn a_filling_manifold_is_no_fault_of_the_pressure_sensor() {
    let filling = views([1.0, 0.5, 1.0]);
    assert_eq!(run(&mut AirPath::default(), &filling, 1.5), []);
}

/// 2.5 V of ground offset, or a hose that holds a vacuum: seen before the engine starts, said when it runs.
#[test]
fn a_pressure_that_is_not_the_barometers_is_seen_before_the_start() {
    let standing = |shown: f64| Signals {
        run_time: None,
        engine_speed: AngularSpeed::ZERO,
        air: AirEstimates {
            pressure: Pressure::from_kilopascals(shown),
            ..healthy().air
        },
        ..healthy()
    };
    for (shown, found) in [
        (44.0, true),
        (107.5, true),
        (94.5, true),
        (96.0, false),
        (106.0, false),
    ] {
        let mut monitor = AirPath::default();
        monitor.key_on(&standing(shown));
        for step in 1..=20 {
            monitor.step_off(&standing(shown), Inhibits::default(), &mut |_| {});
            let distrusted = monitor
                .requests()
                .distrust
                .contains(Circuit::ManifoldPressureSensor);
            assert_eq!(distrusted, found && step > 15, "{shown} kPa after {step} steps");
        }
        monitor.engine_started(&healthy(), Duration::from_secs(10), &mut |_| {});
        let mut started = healthy();
        started.run_time = Some(Duration::from_secs(7));
        assert_eq!(run(&mut monitor, &started, 0.3), [], "whose circuit may fail yet");
        let failed = run(&mut monitor, &healthy(), 0.3);
        assert_eq!(failed, if found { vec![P0106] } else { vec![] }, "{shown} kPa");
        monitor.key_on(&standing(101.0));
        assert!(monitor.requests().distrust.is_empty());
    }
    // The manifold of an engine that has just stopped is still filling.
    let mut monitor = AirPath::default();
    let _ = run(&mut monitor, &healthy(), 1.0);
    for kilopascals in [40.0, 50.0, 60.0, 70.0, 80.0, 85.0, 90.0, 93.0, 95.0, 97.0] {
        monitor.step_off(&standing(kilopascals), Inhibits::default(), &mut |_| {});
    }
    assert!(monitor.requests().distrust.is_empty());
}

/// A pass needs idling, steady driving, and for the pressure sensor a quick rise that it followed.
#[test]
fn a_pass_needs_all_that_could_have_shown_a_fault() {
    let passed = |drives: &[Signals]| {
        let mut monitor = AirPath::default();
        let mut passed = Vec::new();
        for signals in drives {
            for _ in 0..300 {
                monitor.step(signals, Inhibits::default(), &mut |result| {
                    if let TestResult::Passed(dtc) = result {
                        passed.push(dtc);
                    }
                });
            }
        }
        passed.sort_unstable();
        passed
    };
    let mut idle = healthy();
    idle.air.plate = Angle::from_degrees(8.8);
    let mut high = healthy();
    (high.air.pressure, high.air.pressure_by_meter) =
        (Pressure::from_kilopascals(70.0), Pressure::from_kilopascals(70.0));
    high.air.pressure_by_throttle = Pressure::from_kilopascals(70.0);
    assert_eq!(passed(&[idle]), []);
    assert_eq!(passed(&[healthy()]), []);
    assert_eq!(passed(&[idle, healthy(), high]), [P0068, P0101, P0106, P0121]);
}
