//! The second profile: the same memory under European numbers (UN Regulation 83 Annex 11, from memory).

use super::{wide::*, *};
use crate::memory::Lamp;

fn european() -> Car {
    Car::under(&Profile::EOBD)
}

/// One more driving cycle to the lamp than in the United States (J1699-3 tests 6.6 and 9.8 allow for it), and nothing
/// permanent.
#[test]
fn the_third_driving_cycle_lights_the_indicator() {
    let mut car = european();
    for expected in [
        "P0455 | - | - | off | P0455",
        "P0455 | - | - | off | P0455",
        "P0455 | P0455 | - | on | P0455",
    ] {
        car.play(&[(&[KeyOn, Start, Fail(GROSS_LEAK), KeyOff], expected)]);
    }
    // Healing is alike: three driving cycles; a clear leaves nothing.
    let mut cleared = car.clone();
    cleared.play(&[(&[KeyOn, Clear], "- | - | - | off | -")]);
    for expected in [
        "- | P0455 | - | on | P0455",
        "- | P0455 | - | on | P0455",
        "- | P0455 | - | off | P0455",
    ] {
        car.play(&[(&[KeyOn, Start, Pass(GROSS_LEAK), KeyOff], expected)]);
    }
}

/// A passing driving cycle in between begins the count anew.
#[test]
fn a_passing_cycle_in_between_begins_anew() {
    let mut car = european();
    let fail = [KeyOn, Start, Fail(GROSS_LEAK), KeyOff];
    let pending = "P0455 | - | - | off | P0455";
    car.play(&[
        (&fail, pending),
        (&fail, pending),
        (&[KeyOn, Start, Pass(GROSS_LEAK), KeyOff], "- | - | - | off | -"),
        (&fail, pending),
        (&fail, pending),
        (&fail, "P0455 | P0455 | - | on | P0455"),
    ]);
}

/// Where it is not allowed, not one more: entry into a default mode lights the indicator at once; misfire and fuel
/// system recur in the next driving cycle.
#[test]
fn one_cycle_faults_and_misfire_are_not_delayed() {
    let mut car = european();
    car.play(&[(
        &[KeyOn, Start, Fail(THROTTLE_TRACKS)],
        "P2135 | P2135 | - | on | P2135",
    )]);
    let mut car = Car::with(&Profile::EOBD, &WIDE);
    let misfire = Misfire(CYLINDER_1, MisfireWindow::Catalyst { in_test_area: false });
    car.play(&[
        (&[KeyOn, Start, misfire, KeyOff], "P0301 | - | - | off | P0301"),
        (&[KeyOn, Start, misfire], "P0301 | P0301 | - | on | P0301"),
    ]);
}

/// Regulation 83 Annex 11 (from memory): a warm-up is a rise of 22 K to 70 °C.
#[test]
fn a_warm_up_is_a_little_cooler() {
    for (profile, counted) in [(&Profile::EOBD, 1), (&Profile::US_2010, 0)] {
        let mut car = Car::under(profile);
        car.happen_all(&[KeyOn, Start, Coolant(48.0), Idle(1), Coolant(70.05), Idle(1)]);
        assert_eq!(
            car.memory.counters().warm_ups_since_clear,
            counted,
            "{}",
            profile.name
        );
    }
}

/// Same annex (from memory): lit with the key on until the engine starts.
#[test]
fn the_indicator_is_lit_until_the_engine_starts() {
    let mut car = european();
    car.happen_all(&[KeyOn, Idle(3600)]);
    assert_eq!(car.memory.lamp(car.now), Lamp::On);
    car.happen_all(&[Crank, Start]);
    assert_eq!(car.memory.lamp(car.now), Lamp::Off);
}

/// A long run is not cut.
#[test]
fn a_long_run_is_one_driving_cycle() {
    let mut car = european();
    car.conditions.span = Duration::from_secs(5 * 3600);
    car.happen_all(&[KeyOn, Start]);
    assert!(
        !car.apply(Fact::Conditions(car.conditions))
            .contains(Effect::DrivingCycleEnded)
    );
}
