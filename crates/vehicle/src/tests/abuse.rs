//! Whatever a controller, a driver or a scenario does: numbers stay numbers, and within what a car can be.

use core::time::Duration;

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};
use twotrip_harness::{ActuatorPins, BANKS, KeyPosition};
use twotrip_units::{Angle, Interval, Length, Ratio, Temperature, Voltage};

use crate::{Defect, DriverControls, Part, Selector, Vehicle, VehicleParams, Work};

/// An even number between two limits.
fn between(dice: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * f64::from(dice.next_u32()) / f64::from(u32::MAX)
}

fn coin(dice: &mut ChaCha8Rng) -> bool {
    dice.next_u32() & 1 == 0
}

fn assert_sane(car: &Vehicle, what: &str) {
    let pins = car.sensors();
    for volts in [
        pins.supply,
        pins.manifold_pressure,
        pins.air_meter,
        pins.coolant_temperature,
        pins.intake_air_temperature,
        pins.oil_temperature,
        pins.throttle_a,
        pins.throttle_b,
        pins.oxygen_front[0],
        pins.oxygen_rear[0],
        pins.fuel_level,
        pins.tank_pressure,
        pins.barometer,
        pins.rail_pressure,
    ] {
        assert!(
            (0.0..=18.0).contains(&volts.volts()),
            "{what}: {volts:?} in {pins:?}"
        );
    }
    assert!(
        (0.0..14_000.0).contains(&car.engine_speed().rpm()),
        "{what}: {:?}",
        car.engine_speed()
    );
    assert!(
        (0.0..90.0).contains(&car.road_speed().metres_per_second()),
        "{what}: {:?}",
        car.road_speed()
    );
    assert!(
        (-6000.5..10_000.5).contains(&car.tank_pressure().pascals()),
        "{what}: {:?}",
        car.tank_pressure()
    );
    assert!(
        (-60.0..200.0).contains(&car.coolant_temperature().celsius()),
        "{what}"
    );
    assert!(
        (-60.0..1500.0).contains(&car.catalyst_temperature(0).celsius()),
        "{what}"
    );
    assert!((0.0..=1.2).contains(&car.fuel_level().fraction()), "{what}");
    assert!((0.0..=1.0).contains(&car.battery_charge().fraction()), "{what}");
}

#[test]
fn no_input_takes_the_car_out_of_bounds() {
    for seed in 0..40 {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        let mut car = Vehicle::new(VehicleParams::compact_2_0(), seed);
        car.set_altitude(Length::from_metres(between(&mut dice, -2000.0, 9000.0)));
        car.set_ambient(Temperature::from_celsius(between(&mut dice, -90.0, 90.0)));
        for phase in 0..60 {
            let actuators = ActuatorPins {
                throttle: coin(&mut dice).then(|| Angle::from_degrees(between(&mut dice, -40.0, 200.0))),
                injection: [
                    Interval::from_milliseconds(between(&mut dice, -2.0, 40.0)),
                    Interval::ZERO,
                ],
                ignition_advance: Angle::from_degrees(between(&mut dice, -90.0, 90.0)),
                fuel_pump: coin(&mut dice),
                starter: coin(&mut dice),
                purge: Ratio::from_fraction(between(&mut dice, -1.0, 2.0)),
                recirculation: Ratio::from_fraction(between(&mut dice, -1.0, 2.0)),
                cam_valve: Ratio::from_fraction(between(&mut dice, -1.0, 2.0)),
                vent_shut: coin(&mut dice),
                oxygen_heater_front: [coin(&mut dice), false],
                oxygen_heater_rear: [coin(&mut dice), false],
                fan: coin(&mut dice),
                alternator: Voltage::from_volts(between(&mut dice, -5.0, 20.0)),
                mil: false,
            };
            let controls = DriverControls {
                key: if coin(&mut dice) {
                    KeyPosition::On
                } else {
                    KeyPosition::Off
                },
                pedal: Ratio::from_fraction(between(&mut dice, -1.0, 2.0)),
                brake: Ratio::from_fraction(if coin(&mut dice) {
                    0.0
                } else {
                    between(&mut dice, -1.0, 2.0)
                }),
                selector: if coin(&mut dice) {
                    Selector::Drive
                } else {
                    Selector::Park
                },
            };
            for _ in 0..500 {
                car.step(&actuators, &controls);
            }
            assert_sane(&car, "after steps");
            match phase % 4 {
                0 => car.rest(Duration::from_millis(u64::from(dice.next_u32() % 10_000_000))),
                1 => car.set_defect(Defect::named(Part::FuelCap, "missing", None).unwrap()),
                2 => {
                    let _outcome = car.repair(Part::FuelCap, Work::Replace);
                }
                _ => car.refuel(Ratio::from_fraction(between(&mut dice, -1.0, 3.0))),
            }
            assert_sane(&car, "after rest");
        }
    }
}

/// Values that are no numbers at all are as good as none.
#[test]
fn what_is_not_a_number_does_not_stay_in_the_car() {
    let mut car = Vehicle::new(VehicleParams::compact_2_0(), 1);
    let nonsense = ActuatorPins {
        throttle: Some(Angle::from_degrees(f64::NAN)),
        injection: [Interval::from_milliseconds(f64::NAN); BANKS],
        ignition_advance: Angle::from_degrees(f64::NAN),
        purge: Ratio::from_fraction(f64::NAN),
        alternator: Voltage::from_volts(f64::NAN),
        fuel_pump: true,
        starter: true,
        ..ActuatorPins::default()
    };
    let controls = DriverControls {
        key: KeyPosition::On,
        pedal: Ratio::from_fraction(f64::NAN),
        brake: Ratio::from_fraction(f64::NAN),
        selector: Selector::Drive,
    };
    for _ in 0..300 {
        car.step(&nonsense, &controls);
    }
    car.refuel(Ratio::from_fraction(f64::NAN));
    car.set_altitude(Length::from_metres(f64::NAN));
    car.set_ambient(Temperature::from_celsius(f64::NAN));
    for _ in 0..300 {
        car.step(&ActuatorPins::default(), &DriverControls::default());
    }
    assert_sane(&car, "after nonsense");
}
