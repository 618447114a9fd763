//! Whatever a controller, a driver or a scenario does: numbers stay numbers, and within what a car can be.

use alloc::{format, string::ToString as _, vec::Vec};
use core::time::Duration;

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};
use twotrip_harness::{ActuatorPins, BANKS, KeyPosition};
use twotrip_units::{Angle, Interval, Length, Ratio, Temperature, Voltage};

use super::{
    sane::assert_sane,
    support::{Bench, specifications},
};
use crate::{
    Course, Defect, DriverControls, Part, Selector, Vehicle, VehicleParams, When, Work,
    defect::{self, Size},
};

/// An even number between two limits.
fn between(dice: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * f64::from(dice.next_u32()) / f64::from(u32::MAX)
}

fn coin(dice: &mut ChaCha8Rng) -> bool {
    dice.next_u32() & 1 == 0
}

/// What no controller would ever ask for.
fn any_actuators(dice: &mut ChaCha8Rng) -> ActuatorPins {
    ActuatorPins {
        throttle: coin(dice).then(|| Angle::from_degrees(between(dice, -40.0, 200.0))),
        injection: core::array::from_fn(|_| Interval::from_milliseconds(between(dice, -2.0, 40.0))),
        ignition_advance: Angle::from_degrees(between(dice, -90.0, 90.0)),
        fuel_pump: coin(dice),
        starter: coin(dice),
        purge: Ratio::from_fraction(between(dice, -1.0, 2.0)),
        recirculation: Ratio::from_fraction(between(dice, -1.0, 2.0)),
        cam_valve: [(); 2].map(|()| Ratio::from_fraction(between(dice, -1.0, 2.0))),
        vent_shut: coin(dice),
        oxygen_heater_front: core::array::from_fn(|_| coin(dice)),
        oxygen_heater_rear: core::array::from_fn(|_| coin(dice)),
        fan: coin(dice),
        compressor: coin(dice),
        alternator: Voltage::from_volts(between(dice, -5.0, 20.0)),
        mil: false,
    }
}

/// What no driver would ever do.
fn any_controls(dice: &mut ChaCha8Rng) -> DriverControls {
    DriverControls {
        key: if coin(dice) {
            KeyPosition::On
        } else {
            KeyPosition::Off
        },
        pedal: Ratio::from_fraction(between(dice, -1.0, 2.0)),
        brake: Ratio::from_fraction(if coin(dice) { 0.0 } else { between(dice, -1.0, 2.0) }),
        selector: if coin(dice) {
            Selector::Drive
        } else {
            Selector::Park
        },
    }
}

#[test]
fn no_input_takes_the_car_out_of_bounds() {
    for seed in 0..40 {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        let mut car = Vehicle::new(VehicleParams::compact_2_0(), seed);
        car.set_altitude(Length::from_metres(between(&mut dice, -2000.0, 9000.0)));
        car.set_ambient(Temperature::from_celsius(between(&mut dice, -90.0, 90.0)));
        for phase in 0..60 {
            let actuators = any_actuators(&mut dice);
            let controls = any_controls(&mut dice);
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

/// Any row of the catalogue, as large and with whatever course the dice say; limits come up more often than by chance.
fn any_defect(dice: &mut ChaCha8Rng) -> Defect {
    let count = u32::try_from(defect::catalogue().count()).unwrap();
    let entry = defect::catalogue()
        .nth((dice.next_u32() % count) as usize)
        .unwrap();
    let (amount, most) = match entry.size {
        Size::Amount {
            range: [low, high], ..
        } => {
            let amount = match dice.next_u32() % 4 {
                0 => low,
                1 => high,
                _ => between(dice, low, high),
            };
            (Some(amount), high)
        }
        Size::None | Size::Fixed { .. } => (None, 1.0),
    };
    let [cold, hot] = Course::TEMPERATURES;
    let course = match dice.next_u32() % 6 {
        0 if amount.is_some() => Course::Growing(between(dice, 0.0, 1e3 * most.abs())),
        1 => Course::When(When::HotterThan(between(dice, cold, hot))),
        2 => Course::When(When::ColderThan(between(dice, cold, hot))),
        3 => Course::When(When::LoadOver(between(dice, 0.0, 100.0))),
        4 => Course::When(When::OnBumps),
        _ => Course::Steady,
    };
    entry.defect(amount).unwrap().with_course(course)
}

/// Up to eight defects at once, of any size and course, coming and going by repairs, by courses and by swaps, in each of
/// the cars, under actuators and a driver that know no reason. Half of the time a reasonable controller drives on, for
/// defects that only show in a car that runs.
#[test]
fn no_combination_of_defects_takes_the_car_out_of_bounds() {
    let mut driven_ill = 0;
    for (seed, specification) in (0..24).zip(specifications().into_iter().cycle()) {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        let mut bench = Bench::of(&specification, seed);
        let metres = between(&mut dice, -400.0, 4000.0);
        bench.car.set_altitude(Length::from_metres(metres));
        let celsius = between(&mut dice, -40.0, 55.0);
        bench.car.set_ambient(Temperature::from_celsius(celsius));
        for phase in 0..40 {
            for _ in 0..=dice.next_u32() % 8 {
                bench.car.set_defect(any_defect(&mut dice));
            }
            let what: Vec<_> = bench.car.defects().map(|defect| defect.to_string()).collect();
            let what = format!("seed {seed}, phase {phase}, {what:?}");
            let reasonable = coin(&mut dice);
            let mut actuators = any_actuators(&mut dice);
            let mut controls = DriverControls {
                key: KeyPosition::On,
                selector: Selector::Drive,
                pedal: Ratio::from_fraction(between(&mut dice, 0.0, 1.0)),
                ..DriverControls::default()
            };
            for step in 0..600 {
                if reasonable {
                    if bench.car.engine_speed().rpm() < 400.0 {
                        controls.key = KeyPosition::Start;
                    } else {
                        controls.key = KeyPosition::On;
                    }
                    bench.step(&controls);
                } else {
                    if step % 100 == 0 {
                        actuators = any_actuators(&mut dice);
                        controls = any_controls(&mut dice);
                    }
                    bench.car.step(&actuators, &controls);
                }
                if step % 20 == 0 {
                    assert_sane(&bench.car, &what);
                }
            }
            assert_sane(&bench.car, &what);
            let runs = reasonable && bench.car.engine_speed().rpm() > 500.0;
            driven_ill += u32::from(runs && bench.car.defects().count() >= 4);
            let list: Vec<_> = bench.car.defects().collect();
            for defect in list {
                let (work, part) = defect.entry().cures[0];
                if coin(&mut dice) {
                    let _cured = bench.car.repair(part, work);
                }
            }
            let (one, other) = (any_defect(&mut dice).part(), any_defect(&mut dice).part());
            if one.is_like(other) {
                let _moved = bench.car.swap(one, other);
            }
            match dice.next_u32() % 6 {
                0 => bench
                    .car
                    .rest(Duration::from_millis(u64::from(dice.next_u32() % 40_000_000))),
                1 => bench
                    .car
                    .refuel(Ratio::from_fraction(between(&mut dice, 0.0, 1.2))),
                _ => {}
            }
            assert_sane(&bench.car, &what);
        }
    }
    assert!(driven_ill > 50, "{driven_ill} drives with four defects or more");
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
