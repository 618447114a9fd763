//! Filling without a fault, for authors of tools.

use super::*;
use crate::memory::{Lamp, PreloadError};

const GUEST: Dtc = Dtc::p(0x0302);

/// Code, MIL, permanent entry and a frame of the present data; readiness is left alone.
#[test]
fn a_preloaded_confirmed_code_is_complete() {
    let mut car = Car::new();
    cycle(&mut car, &[Pass(CATALYST_WEAK), Done(CATALYST)]);
    let readiness = car.memory.readiness_since_clear();
    car.live.vehicle_speed = Speed::from_kilometres_per_hour(77.0);
    let effects = car.memory.preload_confirmed(GUEST, &car.live).unwrap();
    assert!(effects.contains(Effect::Confirmed(GUEST)) && effects.contains(Effect::MilOn));
    car.memory
        .preload_confirmed(GROSS_LEAK, &LiveData::default())
        .unwrap();
    assert_eq!(car.stored(), "- | P0302 P0455 | P0302 P0455 | on | P0302");
    assert_eq!(car.memory.freeze_frame().unwrap().data, car.live);
    assert_eq!(car.memory.readiness_since_clear(), readiness);
    car.happen_all(&[KeyOn, Idle(30)]);
    assert_eq!(car.memory.lamp(car.now), Lamp::On);
    assert!(
        car.memory.preload_confirmed(GUEST, &car.live).unwrap().is_empty(),
        "once is enough"
    );
}

/// A preloaded pending code counts as found in an earlier driving cycle; the ECU's own monitors take over
/// from there.
#[test]
fn a_preloaded_pending_code_lives_on() {
    let mut car = Car::new();
    car.memory.preload_pending(GROSS_LEAK, &car.live).unwrap();
    car.memory.preload_pending(GROSS_LEAK, &car.live).unwrap();
    car.play(&[(&[KeyOn], "P0455 | - | - | off | P0455")]);
    assert_eq!(car.memory.status(GROSS_LEAK).unwrap().failed_cycles, 1);
    let mut repaired = car.clone();
    repaired.play(&[(&[Start, Pass(GROSS_LEAK), KeyOff], "- | - | - | off | -")]);
    car.play(&[(&[Start, Fail(GROSS_LEAK)], "P0455 | P0455 | P0455 | on | P0455")]);
}

/// Nothing judges a guest: it stays until cleared, and its permanent entry until the drive of
/// 1968.2(d)(2.5.2)(B).
#[test]
fn a_guest_leaves_by_clearing_and_driving() {
    let mut car = Car::new();
    car.memory.preload_pending(GUEST, &car.live).unwrap();
    car.memory.preload_confirmed(GUEST, &car.live).unwrap();
    for _ in 0..50 {
        cycle(&mut car, &[WarmUp, Pass(GUEST)]);
    }
    car.happen_all(&[KeyOn, Start]);
    car.happen_all(&DRIVE);
    car.play(&[
        (&[KeyOff], "P0302 | P0302 | P0302 | on | P0302"),
        (&[KeyOn, Clear], "- | - | P0302 | off | -"),
        (&[Start, Idle(60), KeyOff], "- | - | P0302 | off | -"),
        (
            &[KeyOn, Start, DRIVE[0], DRIVE[1], DRIVE[2]],
            "- | - | P0302 | off | -",
        ),
        (&[KeyOff], "- | - | - | off | -"),
    ]);
    assert_eq!(car.memory.status(GUEST), None);
}

/// Room for guests is bounded, and free again after a clear.
#[test]
fn guests_have_bounded_room() {
    let mut car = Car::new();
    for digits in 0..32 {
        car.memory
            .preload_pending(Dtc::p(0x1000 + digits), &car.live)
            .unwrap();
    }
    let one_more = Dtc::p(0x1F00);
    let refused = car.memory.preload_confirmed(one_more, &car.live);
    assert_eq!(refused, Err(PreloadError::NoRoom { dtc: one_more }));
    car.memory.preload_confirmed(GROSS_LEAK, &car.live).unwrap();
    car.happen(Clear);
    car.memory.preload_confirmed(one_more, &car.live).unwrap();
}
