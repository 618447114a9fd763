//! Tables that the same equations gave on a prototype of this car: at altitude, and in which gear it drives.

use core::time::Duration;

use twotrip_units::{Length, Ratio, Speed};

use super::support::{Bench, parked};
use crate::{Driver, DriverControls, Leg, Plan, Selector};

fn near(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: {found:.3} instead of {expected} +/- {tolerance}"
    );
}

fn cruise(bench: &mut Bench, kmh: f64, seconds: u64) {
    let leg = Leg::Cruise {
        speed: Speed::from_kilometres_per_hour(kmh),
        span: Duration::from_secs(seconds),
    };
    let mut driver = Driver::new(Plan::new(alloc::vec![leg]));
    while !driver.finished() {
        let controls = driver.controls(bench.car.road_speed());
        bench.step(&controls);
    }
}

/// Mean of a figure over 20 s of these controls.
fn mean(bench: &mut Bench, controls: &DriverControls, figure: fn(&Bench) -> f64) -> f64 {
    let mut sum = 0.0;
    for _ in 0..2000 {
        bench.step(controls);
        sum += figure(bench) / 2000.0;
    }
    sum
}

const MANIFOLD: fn(&Bench) -> f64 = |bench| bench.car.manifold_pressure().kilopascals();
const FLOW: fn(&Bench) -> f64 = |bench| bench.car.cylinder_flow().grams_per_second();

/// Standard atmosphere (US Standard Atmosphere 1976): the pressure around the car at each altitude, kPa.
#[test]
fn the_air_thins_with_altitude() {
    let mut bench = Bench::new();
    for (metres, kilopascals) in [
        (0.0, 101.3),
        (300.0, 97.8),
        (500.0, 95.5),
        (1000.0, 89.9),
        (1500.0, 84.6),
        (2000.0, 79.5),
        (2500.0, 74.7),
        (3000.0, 70.1),
    ] {
        bench.car.set_altitude(Length::from_metres(metres));
        near(
            "ambient",
            bench.car.ambient_pressure().kilopascals(),
            kilopascals,
            0.15,
        );
    }
}

/// At 1500 m, computed on the prototype: idle 28.3 kPa and 2.3 g/s, 100 km/h 50.7 kPa and 16.0 g/s: thinner air outside pushes
/// less against the pistons.
#[test]
fn at_altitude_the_engine_breathes_less() {
    let mut bench = Bench::warm();
    bench.car.set_altitude(Length::from_metres(1500.0));
    bench.run(300, &parked());
    near("idle manifold", mean(&mut bench, &parked(), MANIFOLD), 28.3, 1.8);
    near("idle flow", mean(&mut bench, &parked(), FLOW), 2.3, 0.2);
    cruise(&mut bench, 100.0, 300);
    near("manifold at 100 km/h", MANIFOLD(&bench), 50.7, 2.0);
    near("flow at 100 km/h", FLOW(&bench), 16.0, 0.9);
}

/// Steady speeds: gear and engine speed, the converter locked up above 45 km/h.
#[test]
fn each_speed_has_its_gear() {
    let mut bench = Bench::warm();
    for (kmh, gear, rpm) in [
        (50.0, 4, 1704.0),
        (80.0, 6, 1622.0),
        (100.0, 6, 2027.0),
        (120.0, 6, 2432.0),
    ] {
        cruise(&mut bench, kmh, 60);
        assert_eq!(bench.car.gear(), gear, "{kmh} km/h");
        near("rpm", bench.car.engine_speed().rpm(), rpm, 20.0);
    }
}

/// Standing in Drive the converter's pump takes about 12 N m at 650 rpm: the engine needs more air than in Park.
#[test]
fn the_converter_drags_in_drive() {
    let mut bench = Bench::warm();
    bench.run(60, &parked());
    let torque: fn(&Bench) -> f64 = |bench| bench.car.engine_torque().newton_metres();
    let free = mean(&mut bench, &parked(), torque);
    let drive = DriverControls {
        selector: Selector::Drive,
        brake: Ratio::from_fraction(0.5),
        ..parked()
    };
    bench.run(60, &drive);
    let held = mean(&mut bench, &drive, torque);
    near("drag", held - free, 12.0, 1.5);
}
