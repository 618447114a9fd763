//! The car at rest, and the tank by day and night.

use core::time::Duration;

use twotrip_harness::KeyPosition;
use twotrip_units::{Pressure, Ratio, Temperature};

use super::support::{Bench, parked};
use crate::{Defect, Driver, DriverControls, Part, Plan, Vehicle, VehicleParams, schedule};

fn driven() -> Bench {
    let mut bench = Bench::new();
    bench.start();
    for schedule in [&schedule::UDDS, &schedule::HWFET] {
        let mut driver = Driver::new(Plan::schedule(schedule));
        while !driver.finished() {
            let controls = driver.controls(bench.car.road_speed());
            bench.step(&controls);
        }
    }
    bench
}

#[test]
fn a_soaked_car_is_as_warm_as_the_air_and_its_battery_rests() {
    let mut car = driven().car;
    car.set_ambient(Temperature::from_celsius(5.0));
    car.rest(Duration::from_secs(5 * 86_400));
    for celsius in [
        car.coolant_temperature().celsius(),
        car.oil_temperature().celsius(),
        car.intake_air_temperature().celsius(),
        car.catalyst_temperature(0).celsius(),
        car.fuel_temperature().celsius(),
    ] {
        assert!((celsius - 5.0).abs() < 0.2, "{celsius} degC");
    }
    assert!(car.engine_speed().rpm() <= 0.0);
    assert!((car.manifold_pressure().kilopascals() - 101.3).abs() < 0.1);
    assert!((car.sensors().oxygen_front[0].volts() - 0.45).abs() < 1e-9);
    assert!(
        (12.3..12.65).contains(&car.battery_voltage().volts()),
        "{}",
        car.battery_voltage().volts()
    );
}

/// Cutting a rest in pieces off the 10 s grid moves nothing that a sensor could show.
#[test]
fn a_rest_may_be_cut_anywhere() {
    let start = driven().car;
    let mut whole = start.clone();
    whole.rest(Duration::from_secs(7200));
    let mut cut = start;
    for millis in [1, 2_345_999, 10_000, 3_600_000, 1_244_000] {
        cut.rest(Duration::from_millis(millis));
    }
    assert_eq!(whole.now(), cut.now());
    for (a, b) in [
        (whole.coolant_temperature(), cut.coolant_temperature()),
        (whole.oil_temperature(), cut.oil_temperature()),
        (whole.catalyst_temperature(0), cut.catalyst_temperature(0)),
        (whole.fuel_temperature(), cut.fuel_temperature()),
    ] {
        assert!(
            (a - b).kelvins().abs() < 0.1,
            "{} and {}",
            a.celsius(),
            b.celsius()
        );
    }
}

#[test]
fn rest_brings_a_running_engine_to_a_stop() {
    let mut bench = Bench::warm();
    bench.run(20, &parked());
    let start = bench.car.now();
    bench.car.rest(Duration::from_millis(60_005));
    assert!(bench.car.engine_speed().rpm() <= 0.0);
    assert_eq!(bench.car.now().saturating_since(start), Duration::from_secs(60));
    bench.car.rest(Duration::from_millis(5));
    assert_eq!(
        bench.car.now().saturating_since(start),
        Duration::from_millis(60_010)
    );
    bench.start();
    bench.run(20, &parked());
    assert!(
        (bench.car.engine_speed().rpm() - 700.0).abs() < 60.0,
        "it starts again"
    );
}

/// As a prototype of this tank computed it: shut after a drive the tank first gains pressure, then loses it as it cools;
/// a hole of 0.5 mm shows next to nothing of it (+8/-4 Pa at the fastest rates there).
#[test]
fn the_shut_tank_breathes_with_the_heat_after_a_drive() {
    let extremes = |hole: Option<Defect>| {
        let mut bench = driven();
        if let Some(defect) = hole {
            bench.car.set_defect(defect);
        }
        let off = DriverControls {
            key: KeyPosition::Off,
            ..parked()
        };
        bench.run(10, &off);
        bench.actuators.vent_shut = true;
        let (mut low, mut high, mut peak_at) = (0.0_f64, 0.0_f64, 0);
        let mut after_five = 0.0;
        for second in 0..45 * 60 {
            bench.run(1, &off);
            let pascals = bench.car.tank_pressure().pascals();
            low = low.min(pascals);
            if pascals > high {
                (high, peak_at) = (pascals, second);
            }
            if second == 300 {
                after_five = pascals;
            }
        }
        let fall = (high - bench.car.tank_pressure().pascals()) / f64::from(45 * 60 - peak_at);
        (low, high, after_five / 300.0, fall)
    };
    // Published models of such tanks: +0.5 to +1.5 Pa/s for 5 to 15 min, then -0.4 to -1 Pa/s.
    let (_, high, rise, fall) = extremes(None);
    assert!((0.5..1.5).contains(&rise), "tight: {rise} Pa/s, up to {high} Pa");
    assert!(
        (0.3..1.0).contains(&fall),
        "tight: {high} Pa, then {fall} Pa/s down"
    );
    let (low, high, ..) = extremes(Defect::named(Part::FillerNeck, "hole", Some(0.5)));
    assert!(low > -20.0 && high < 20.0, "0.5 mm: {low}..{high} Pa");
}

/// The controller stays awake after key-off and looks once a second: its coarse steps see what fine steps show.
#[test]
fn seconds_of_rest_show_what_steps_show() {
    let mut fine = driven();
    let off = DriverControls {
        key: KeyPosition::Off,
        ..parked()
    };
    fine.run(10, &off);
    let mut coarse = fine.car.clone();
    fine.actuators.vent_shut = true;
    for second in 0..45 * 60 {
        fine.run(1, &off);
        coarse.rest_second(true);
        let (a, b) = (
            fine.car.tank_pressure().pascals(),
            coarse.tank_pressure().pascals(),
        );
        assert!((a - b).abs() < 10.0, "{second} s: {a} and {b} Pa");
    }
    assert_eq!(fine.car.now(), coarse.now());
}

/// The whole car: purge at 0.07 L/s on a shut tank pulls a tight one to -2000 Pa within seconds, a
/// loose cap to -3 Pa.
#[test]
fn a_loose_cap_cannot_be_pulled_down() {
    for (defect, least, greatest) in [
        (None, -6000.0, -1900.0),
        (Defect::named(Part::FuelCap, "loose", None), -15.0, 0.1),
        (Defect::named(Part::FuelCap, "missing", None), -1.0, 0.1),
    ] {
        let mut bench = Bench::warm();
        if let Some(defect) = defect {
            bench.car.set_defect(defect);
        }
        bench.run(10, &parked());
        bench.actuators.vent_shut = true;
        bench.actuators.purge = Ratio::from_fraction(0.08);
        bench.run(10, &parked());
        let found = bench.car.tank_pressure().pascals();
        assert!((least..=greatest).contains(&found), "{defect:?}: {found} Pa");
        let shown = twotrip_harness::transfer::tank_pressure(bench.car.sensors().tank_pressure).pascals();
        assert!((shown - found.max(-4400.0)).abs() < 20.0, "shown {shown} Pa");
    }
}

#[test]
fn refuelling_moves_the_level_and_loads_the_canister() {
    let mut car = Vehicle::new(VehicleParams::compact_2_0(), 1);
    let before = car.canister_load();
    car.refuel(Ratio::from_percent(90.0));
    assert!((car.fuel_level().percent() - 90.0).abs() < 1e-9);
    assert!(car.canister_load() > before);
    car.rest(Duration::from_secs(1));
    let shown = twotrip_harness::transfer::FUEL_LEVEL
        .to_ratio(car.sensors().fuel_level)
        .percent();
    assert!((shown - 90.0).abs() < 0.5, "{shown} %");
    car.refuel(Ratio::from_percent(500.0));
    assert!((car.fuel_level().percent() - 110.0).abs() < 1e-9, "the brim");
    car.refuel(Ratio::from_percent(-5.0));
    assert!(car.fuel_level().percent().abs() < 1e-9);
}

/// Published: hard refuelling, the pump clicks off, when the vent path is blocked.
#[test]
fn a_blocked_vent_lets_no_fuel_in() {
    for (left, most) in [
        (None, 90.0),
        (Some(20.0), 90.0),
        (Some(0.3), 54.0),
        (Some(0.0), 54.0),
    ] {
        let mut car = Vehicle::new(VehicleParams::compact_2_0(), 1);
        car.knobs.vent_mm2 = left;
        car.refuel(Ratio::from_percent(90.0));
        assert!((car.fuel_level().percent() - most).abs() < 1e-9, "{left:?} mm2");
    }
}

/// A volatile fuel gives off more, one that has rested gives off none more.
#[test]
fn volatility_moves_the_vapour() {
    let driven_with = |kilopascals| {
        let mut bench = Bench::warm();
        bench
            .car
            .set_fuel_volatility(Pressure::from_kilopascals(kilopascals));
        bench.car.set_ambient(Temperature::from_celsius(30.0));
        bench.run(900, &parked());
        bench.car.state.tank
    };
    let [summer, middle, winter] = [62.0, 75.0, 95.0].map(driven_with);
    assert!(summer.rise_pa_s < middle.rise_pa_s && middle.rise_pa_s < winter.rise_pa_s);
    assert!(summer.canister_g < winter.canister_g, "{summer:?} {winter:?}");
    assert!(winter.rise_pa_s < 20.0, "0 to 20 Pa/s: {winter:?}");
}

/// The sender sticks: it shows the same, whatever is burnt and however the fuel sloshes.
#[test]
fn a_stuck_sender_shows_the_same_whatever_is_burnt() {
    let mut bench = Bench::warm();
    bench.car.knobs.level_stuck = Some(42.0);
    bench.car.refuel(Ratio::from_percent(20.0));
    bench.run(60, &parked());
    let shown = twotrip_harness::transfer::FUEL_LEVEL.to_ratio(bench.car.sensors().fuel_level);
    assert!((shown.percent() - 42.0).abs() < 0.5);
}

/// An empty tank: the engine stops, nothing goes below nothing.
#[test]
fn without_petrol_the_engine_stops() {
    let mut bench = Bench::warm();
    bench.run(5, &parked());
    bench.car.refuel(Ratio::ZERO);
    bench.run(20, &parked());
    assert!(bench.car.engine_speed().rpm() <= 0.0);
    assert!(bench.car.fuel_level().percent() >= 0.0);
}
