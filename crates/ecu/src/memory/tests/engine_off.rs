//! A monitor that needs the engine off decides late, for the driving cycle that has ended: 13 CCR 1968.2(c), from
//! memory (the time up to the next start may be counted with the driving cycle before it).

use super::{wide::*, *};

fn trip(car: &mut Car) {
    car.happen_all(&[Coolant(20.0), KeyOn, Start, Idle(5), KeyOff]);
}

/// Pending after one night, confirmed with MIL and permanent code after the next, settled at once.
#[test]
fn two_nights_confirm() {
    let mut car = wide_car();
    trip(&mut car);
    car.play(&[(&[Fail(VERY_SMALL_LEAK)], "P0456 | - | - | off | P0456")]);
    car.play(&[(
        &[Fail(VERY_SMALL_LEAK), Pass(VERY_SMALL_LEAK)],
        "P0456 | - | - | off | P0456",
    )]);
    trip(&mut car);
    car.play(&[
        (&[], "P0456 | - | - | off | P0456"),
        (&[Fail(VERY_SMALL_LEAK)], "P0456 | P0456 | P0456 | on | P0456"),
    ]);
}

/// A night that passes erases the pending code at once, no later driving cycle is waited for; one without a result
/// keeps it.
#[test]
fn a_passing_night_heals_at_once() {
    let mut car = wide_car();
    trip(&mut car);
    car.happen(Fail(VERY_SMALL_LEAK));
    trip(&mut car);
    trip(&mut car);
    car.play(&[
        (&[], "P0456 | - | - | off | P0456"),
        (&[Pass(VERY_SMALL_LEAK)], "- | - | - | off | -"),
    ]);
}

/// Three passing nights put the MIL out; one count a driving cycle.
#[test]
fn three_passing_nights_put_out_the_mil() {
    let mut car = wide_car();
    for _ in 0..2 {
        trip(&mut car);
        car.happen(Fail(VERY_SMALL_LEAK));
    }
    for expected in [
        "- | P0456 | P0456 | on | P0456",
        "- | P0456 | P0456 | on | P0456",
        "- | P0456 | - | off | P0456",
    ] {
        trip(&mut car);
        car.play(&[(&[Pass(VERY_SMALL_LEAK), Pass(VERY_SMALL_LEAK)], expected)]);
    }
}

/// 1968.2(d)(2.5.2)(A): after a clear one passing night erases the permanent code.
#[test]
fn a_passing_night_proves_the_repair() {
    let mut car = wide_car();
    for _ in 0..2 {
        trip(&mut car);
        car.happen(Fail(VERY_SMALL_LEAK));
    }
    car.play(&[(&[KeyOn, Clear, KeyOff], "- | - | P0456 | off | -")]);
    car.play(&[(&[Pass(VERY_SMALL_LEAK)], "- | - | P0456 | off | -")]);
    trip(&mut car);
    car.play(&[(&[Pass(VERY_SMALL_LEAK)], "- | - | - | off | -")]);
}

/// Readiness and numerator count in the driving cycle that has ended, the numerator once.
#[test]
fn readiness_and_numerator_come_late_too() {
    let mut car = wide_car();
    let night = [
        Pass(VERY_SMALL_LEAK),
        Done(VACUUM),
        CouldDetect(VACUUM),
        CouldDetect(VACUUM),
    ];
    car.happen_all(&night);
    assert!(
        !car.memory.readiness_since_clear().is_complete(Group::Evap),
        "no driving cycle yet"
    );
    trip(&mut car);
    car.happen_all(&night);
    assert!(car.memory.readiness_since_clear().is_complete(Group::Evap));
    assert!(car.memory.readiness_this_cycle().is_complete(Group::Evap));
    assert_eq!(car.memory.in_use().item(InUseItem::Evap).0, 1);
}

/// A start that comes first ends the test without a result, a clear too; other monitors are not heard with the
/// engine off.
#[test]
fn a_start_or_a_clear_ends_the_night() {
    let mut car = wide_car();
    trip(&mut car);
    car.play(&[(&[KeyOn, Clear, Fail(VERY_SMALL_LEAK)], "- | - | - | off | -")]);
    trip(&mut car);
    car.play(&[
        (&[Fail(NO_SPEED)], "- | - | - | off | -"),
        (&[KeyOn, Fail(VERY_SMALL_LEAK)], "P0456 | - | - | off | P0456"),
    ]);
}

/// 1968.2(d)(2.4) (from memory): the warm-up of a driving cycle is counted once, its end or the night after it.
#[test]
fn ageing_counts_a_warm_up_once() {
    let mut car = wide_car();
    for event in [
        Fail(VERY_SMALL_LEAK),
        Fail(VERY_SMALL_LEAK),
        Pass(VERY_SMALL_LEAK),
        Pass(VERY_SMALL_LEAK),
        Pass(VERY_SMALL_LEAK),
    ] {
        trip(&mut car);
        car.happen(event);
    }
    car.happen_all(&[KeyOn, Start, WarmUp, KeyOff, Pass(VERY_SMALL_LEAK)]);
    assert_eq!(car.memory.status(VERY_SMALL_LEAK).unwrap().warm_ups, 1);
    car.happen_all(&[KeyOn, Start, WarmUp, KeyOff, Fail(VERY_SMALL_LEAK)]);
    assert_eq!(car.memory.status(VERY_SMALL_LEAK).unwrap().warm_ups, 0);
}
