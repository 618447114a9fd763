//! Recirculated exhaust and an advanced cam: what they do to the manifold, at the same torque. Computed on a prototype of this
//! car, but where a source stands beside a figure.

use core::time::Duration;

use twotrip_units::{Ratio, Speed};

use super::support::{Bench, parked};
use crate::{Driver, Leg, Plan, Vehicle, knobs::Knobs};

/// Means of manifold pressure, kPa, air flow, g/s, burnt share, %, and lost firings, %, of the last 30 s of these steps.
struct Means {
    kpa: f64,
    air: f64,
    burnt: f64,
    lost: f64,
}

fn means(car: &Vehicle, sums: &mut Means, count: f64) {
    let air = &car.state.air;
    sums.kpa += air.manifold_kpa / count;
    sums.air += air.cylinder_flow / count;
    sums.burnt += 100.0 * air.burnt_share / count;
    sums.lost += 100.0 * air.dilution_misfire[0] / count;
}

const NONE: Means = Means {
    kpa: 0.0,
    air: 0.0,
    burnt: 0.0,
    lost: 0.0,
};

fn cruise(lift: f64) -> Means {
    let mut bench = Bench::warm();
    bench.actuators.recirculation = Ratio::from_fraction(lift);
    let leg = Leg::Cruise {
        speed: Speed::from_kilometres_per_hour(50.0),
        span: Duration::from_secs(150),
    };
    let mut driver = Driver::new(Plan::new(alloc::vec![leg]));
    let mut found = NONE;
    let mut steps = 0;
    while !driver.finished() {
        let controls = driver.controls(bench.car.road_speed());
        bench.step(&controls);
        steps += 1;
        if (10_000..13_000).contains(&steps) {
            means(&bench.car, &mut found, 3000.0);
        }
    }
    found
}

fn idle(knobs: impl FnOnce(&mut Knobs)) -> Means {
    let mut bench = Bench::warm();
    bench.run(60, &parked());
    knobs(&mut bench.car.knobs);
    bench.run(60, &parked());
    let mut found = NONE;
    for _ in 0..3000 {
        bench.step(&parked());
        means(&bench.car, &mut found, 3000.0);
    }
    found
}

/// At 50 km/h 0, 5, 10, 15 % of exhaust in the charge: 33.9, 35.2, 36.7, 38.3 kPa, at hardly another air flow.
#[test]
fn exhaust_in_the_charge_raises_the_manifold() {
    let table = twotrip_units::Table::new([(0.0, 33.9), (5.0, 35.2), (10.0, 36.7), (15.0, 38.3)]);
    let without = cruise(0.0);
    for lift in [0.0, 0.04, 0.08, 0.12] {
        let found = cruise(lift);
        let expected = table.at(found.burnt) - table.at(0.0) + without.kpa;
        assert!(
            (found.kpa - expected).abs() < 0.6,
            "{} %: {} kPa instead of {expected}",
            found.burnt,
            found.kpa
        );
        assert!((found.air / without.air - 1.0).abs() < 0.04, "{} g/s", found.air);
        assert!(
            found.burnt >= 100.0 * lift,
            "{} % at a lift of {lift}",
            found.burnt
        );
        assert!(found.lost < 1e-9, "{} % lost", found.lost);
    }
}

/// At idle 10 % of exhaust make 33.5 kPa of 31.1, and 20 % 36.5; a valve that leaks 2-8 mm² raises it by 3-12 kPa.
#[test]
fn a_valve_that_does_not_shut_is_worst_at_idle() {
    let table = twotrip_units::Table::new([(0.0, 31.1), (10.0, 33.5), (20.0, 36.5)]);
    let healthy = idle(|_| {}).kpa;
    for (leak, least, most) in [(1.0, 1.0, 3.0), (2.0, 2.5, 5.5), (4.0, 5.0, 12.0)] {
        let found = idle(|knobs| knobs.recirculation_leak_mm2 = leak);
        let rise = found.kpa - healthy;
        assert!((least..most).contains(&rise), "{leak} mm²: {rise} kPa");
        // And 7 kPa where a quarter of the firings is missing, as a dead cylinder costs.
        let expected = table.at(found.burnt) - table.at(0.0) + healthy + 7.0 / 25.0 * found.lost;
        assert!(
            (found.kpa - expected).abs() < 1.1,
            "{} %: {} kPa instead of {expected}",
            found.burnt,
            found.kpa
        );
        assert_eq!(found.lost > 0.0, leak > 2.5, "{leak} mm²: {} % lost", found.lost);
    }
}

/// A cam that stays 20 degrees ahead raises the idle's manifold by 3-6 kPa, and the idle is rough.
#[test]
fn a_cam_that_stays_ahead_spoils_the_idle() {
    let healthy = idle(|_| {}).kpa;
    let found = idle(|knobs| knobs.phaser_stuck = [Some(20.0); 2]);
    assert!(
        (3.0..6.0).contains(&(found.kpa - healthy)),
        "{} kPa from {healthy}",
        found.kpa
    );
    assert!((0.1..5.0).contains(&found.lost), "{} % lost", found.lost);
}
