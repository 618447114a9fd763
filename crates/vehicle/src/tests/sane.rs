//! What every state of a car has to keep to, whatever was done to it.

use alloc::format;

use crate::Vehicle;

/// Whether a value lies within what a car can be.
#[track_caller]
fn in_range(car: &Vehicle, what: &str, name: &str, value: f64, range: core::ops::RangeInclusive<f64>) {
    assert!(
        range.contains(&value),
        "{what}: {name} {value} out of {range:?}; {:?}",
        car.state
    );
}

#[track_caller]
pub(super) fn assert_sane(car: &Vehicle, what: &str) {
    for pins in [*car.sensors(), car.good_sensors()] {
        for (name, volts) in [
            ("supply", pins.supply),
            ("manifold pressure", pins.manifold_pressure),
            ("air meter", pins.air_meter),
            ("coolant", pins.coolant_temperature),
            ("intake air", pins.intake_air_temperature),
            ("oil", pins.oil_temperature),
            ("throttle a", pins.throttle_a),
            ("throttle b", pins.throttle_b),
            ("fuel level", pins.fuel_level),
            ("tank pressure", pins.tank_pressure),
            ("barometer", pins.barometer),
            ("rail pressure", pins.rail_pressure),
        ]
        .into_iter()
        .chain(pins.oxygen_front.map(|volts| ("front oxygen", volts)))
        .chain(pins.oxygen_rear.map(|volts| ("rear oxygen", volts)))
        {
            in_range(car, what, name, volts.volts(), 0.0..=18.0);
        }
        in_range(car, what, "crank", pins.crank_speed.rpm(), 0.0..=14_000.0);
        in_range(
            car,
            what,
            "speed pin",
            pins.vehicle_speed.metres_per_second(),
            0.0..=90.0,
        );
    }
    let state = &car.state;
    let params = car.params();
    for (name, value, range) in [
        ("rpm", car.engine_speed().rpm(), 0.0..=14_000.0),
        ("speed", car.road_speed().metres_per_second(), 0.0..=90.0),
        ("tank pressure", car.tank_pressure().pascals(), -6000.5..=10_000.5),
        ("coolant", car.coolant_temperature().celsius(), -60.0..=200.0),
        ("block", state.cooling.block, -60.0..=300.0),
        ("intake air", state.cooling.intake, -60.0..=200.0),
        ("fuel level", car.fuel_level().fraction(), 0.0..=1.2),
        ("charge", car.battery_charge().fraction(), 0.0..=1.0),
        ("canister", state.tank.canister_g, 0.0..=params.tank.canister_g),
        ("saturation", state.tank.saturation(&params.tank), 0.0..=1.0),
        ("plate", state.air.plate_degrees, 0.0..=90.0),
        ("manifold", state.air.manifold_kpa, 0.5..=115.0),
        ("exhaust", state.air.exhaust_kpa, 40.0..=1000.0),
        ("cylinder flow", state.air.cylinder_flow, 0.0..=400.0),
        ("burnt share", state.air.burnt_share, 0.0..=1.0),
        ("dilution", state.air.dilution_misfire[0], 0.0..=1.0),
        ("lift", state.recirculation.lift, 0.0..=1.0),
        ("cam", state.phaser[0].advance, 0.0..=params.phaser.stop),
        ("rail", state.mixture.rail_kpa, 0.0..=900.0),
        ("injected", state.mixture.injected, 0.0..=40.0),
        ("torque", state.engine.torque, -1000.0..=500.0),
        ("supply", state.electrical.supply_volts, 0.0..=18.0),
        (
            "alternator",
            state.electrical.alternator_amperes,
            0.0..=params.electrical.alternator_amperes,
        ),
    ] {
        in_range(car, what, name, value, range);
    }
    for bank in 0..car.banks() {
        let (exhaust, mixture) = (&state.exhaust[bank], &state.mixture.banks[bank]);
        for (name, value, range) in [
            ("brick", exhaust.brick, -60.0..=1500.0),
            ("wall", exhaust.wall, -60.0..=1500.0),
            ("gas", exhaust.gas, -60.0..=1500.0),
            ("front tip", exhaust.front_tip, -60.0..=1500.0),
            ("rear tip", exhaust.rear_tip, -110.0..=1500.0),
            ("conversion", exhaust.conversion, 0.0..=1.0),
            ("film", mixture.film_g, 0.0..=100.0),
            ("equivalence", mixture.equivalence, 0.0..=5.0),
            (
                "stored oxygen",
                car.catalyst_oxygen(bank).fraction(),
                0.0..=1.000_001,
            ),
        ] {
            in_range(car, what, &format!("bank {} {name}", bank + 1), value, range);
        }
    }
    // And what has no bounds of its own is a number.
    let all = format!("{state:?}");
    assert!(
        !all.contains("NaN") && !all.contains(": inf") && !all.contains("-inf"),
        "{what}: {all}"
    );
}
