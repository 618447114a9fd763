//! The two schedules driven from a cold start: speed trace, distance, road-load energy, fuel.

use core::time::Duration;

use super::support::Bench;
use crate::{
    Driver, Plan,
    schedule::{self, Schedule},
};

/// What a drive came to.
struct Driven {
    fuel_g: f64,
    distance_m: f64,
    road_load_mj: f64,
    worst_miss_mph: f64,
    mean_rpm: f64,
    mean_manifold_kpa: f64,
    mean_flow: f64,
}

fn drive(bench: &mut Bench, schedule: &'static Schedule) -> Driven {
    let mut driver = Driver::new(Plan::schedule(schedule));
    let (fuel_before, distance_before) = (bench.car.fuel_used().grams(), bench.car.distance().metres());
    let road = bench.car.params.driveline.clone();
    let mut driven = Driven {
        fuel_g: 0.0,
        distance_m: 0.0,
        road_load_mj: 0.0,
        worst_miss_mph: 0.0,
        mean_rpm: 0.0,
        mean_manifold_kpa: 0.0,
        mean_flow: 0.0,
    };
    let mut steps: u32 = 0;
    while !driver.finished() {
        let controls = driver.controls(bench.car.road_speed());
        bench.step(&controls);
        steps += 1;
        let speed = bench.car.road_speed();
        let metres_per_second = speed.metres_per_second();
        driven.road_load_mj += road.road_load_at(metres_per_second) * metres_per_second * 0.01e-6;
        driven.worst_miss_mph = driven.worst_miss_mph.max(miss_mph(
            schedule,
            Duration::from_millis(10) * steps,
            speed.miles_per_hour(),
        ));
        driven.mean_rpm += bench.car.engine_speed().rpm();
        driven.mean_manifold_kpa += bench.car.manifold_pressure().kilopascals();
        driven.mean_flow += bench.car.cylinder_flow().grams_per_second();
    }
    let count = f64::from(steps);
    driven.mean_rpm /= count;
    driven.mean_manifold_kpa /= count;
    driven.mean_flow /= count;
    driven.fuel_g = bench.car.fuel_used().grams() - fuel_before;
    driven.distance_m = bench.car.distance().metres() - distance_before;
    driven
}

/// How far a speed lies outside all speeds the trace has within a second, mph.
fn miss_mph(schedule: &Schedule, at: Duration, mph: f64) -> f64 {
    let second = Duration::from_secs(1);
    let (mut low, mut high) = (f64::MAX, f64::MIN);
    for tenth in 0..=20 {
        let trace = schedule
            .speed((at + second / 10 * tenth).saturating_sub(second))
            .miles_per_hour();
        low = low.min(trace);
        high = high.max(trace);
    }
    (mph - high).max(low - mph)
}

fn near(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: {found:.3} instead of {expected} +/- {tolerance}"
    );
}

/// EPA's tracing tolerance is 2 mph within 1 s (from memory). Road-load energy, fuel and means: computed by
/// a prototype of this car without converter slip in overrun, hence fewer seconds of fuel
/// cut and more fuel here in town (the band says how much).
#[test]
fn schedules_are_driven_within_the_tracing_tolerance() {
    let mut bench = Bench::new();
    bench.start();
    let city = drive(&mut bench, &schedule::UDDS);
    assert!(
        city.worst_miss_mph < 2.0,
        "UDDS missed by {} mph",
        city.worst_miss_mph
    );
    near("UDDS distance", city.distance_m, 11_990.2, 60.0);
    near("UDDS road load", city.road_load_mj, 2.74, 0.03);
    near("UDDS fuel", city.fuel_g, 679.0, 60.0);
    near("UDDS rpm", city.mean_rpm, 1438.0, 30.0);
    near("UDDS manifold", city.mean_manifold_kpa, 37.0, 2.0);
    near("UDDS flow", city.mean_flow, 7.7, 0.8);
    assert!(
        bench.fuel_cut_steps > 5000,
        "{} steps of fuel cut",
        bench.fuel_cut_steps
    );

    let highway = drive(&mut bench, &schedule::HWFET);
    assert!(
        highway.worst_miss_mph < 2.0,
        "HWFET missed by {} mph",
        highway.worst_miss_mph
    );
    near("HWFET distance", highway.distance_m, 16_506.5, 30.0);
    near("HWFET road load", highway.road_load_mj, 5.98, 0.03);
    near("HWFET fuel", highway.fuel_g, 654.0, 25.0);
    near("HWFET rpm", highway.mean_rpm, 1755.0, 50.0);
    near("HWFET manifold", highway.mean_manifold_kpa, 49.0, 2.0);
    near("HWFET flow", highway.mean_flow, 13.1, 0.5);
}

/// The car is a function of its inputs and its seed.
#[test]
fn the_same_drive_twice_gives_the_same_bits() {
    let mut pins = [0; 2].map(|_| {
        let mut bench = Bench::new();
        bench.start();
        let mut driver = Driver::new(Plan::schedule(&schedule::UDDS));
        for _ in 0..20_000 {
            let controls = driver.controls(bench.car.road_speed());
            bench.step(&controls);
        }
        *bench.car.sensors()
    });
    assert_eq!(pins[0], pins[1]);
    pins.reverse();
    assert!(pins[0].air_meter.volts() > 0.5);
}

/// Petrol is neither made nor lost: what the injectors used, what is vapour over the fuel now and what of it the canister
/// took up is what the tank lost.
#[test]
fn the_tank_loses_what_the_engine_uses() {
    let mut bench = Bench::new();
    let before = bench.car.fuel_level().fraction() * 50.0 * 745.0;
    let canister = bench.car.state.tank.canister_g;
    let vapour = bench.car.state.tank.vapour_g;
    bench.start();
    drive(&mut bench, &schedule::HWFET);
    let lost = before - bench.car.fuel_level().fraction() * 50.0 * 745.0;
    // Nothing is purged here.
    let breathed = bench.car.state.tank.canister_g - canister;
    assert!(breathed > 0.1, "{breathed} g");
    let evaporated = bench.car.state.tank.vapour_g - vapour;
    let used = bench.car.fuel_used().grams();
    near("petrol", lost, used + breathed + evaporated, 0.01);
}
