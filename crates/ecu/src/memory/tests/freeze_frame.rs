//! The freeze frame: 13 CCR 1968.2(d)(2.2.6), (e)(3.4.3), (e)(6.4.4), (g)(4.3), all from memory; first fault
//! wins is common practice in published service information.

use super::*;
use twotrip_units::AngularSpeed;

fn at(car: &mut Car, rpm: f64) {
    car.live.engine_speed = AngularSpeed::from_rpm(rpm);
}

#[track_caller]
fn assert_frame(car: &Car, dtc: Dtc, rpm: f64) {
    let frame = car.memory.freeze_frame().expect("a frame is stored");
    assert_eq!(frame.dtc, dtc);
    assert!((frame.data.engine_speed.rpm() - rpm).abs() < 1e-9);
}

/// (d)(2.2.6): conditions of the detection, stored with the pending code and kept when it is confirmed.
#[test]
fn the_frame_holds_the_first_detection() {
    let mut car = Car::new();
    at(&mut car, 1500.0);
    let effects = cycle(&mut car, &[Fail(GROSS_LEAK)]);
    assert!(effects.contains(Effect::FreezeFrameStored(GROSS_LEAK)));
    at(&mut car, 2500.0);
    cycle(&mut car, &[Fail(GROSS_LEAK)]);
    assert_frame(&car, GROSS_LEAK, 1500.0);
}

#[test]
fn first_fault_wins() {
    let mut car = Car::new();
    at(&mut car, 1500.0);
    cycle(&mut car, &[Fail(GROSS_LEAK)]);
    at(&mut car, 2500.0);
    cycle(&mut car, &[Fail(COOLANT_HIGH)]);
    cycle(&mut car, &[Fail(COOLANT_HIGH)]);
    assert_frame(&car, GROSS_LEAK, 1500.0);
    // The later fault heals and takes no frame with it.
    cycle(&mut car, &[Fail(CATALYST_WEAK)]);
    let effects = cycle(&mut car, &[Pass(CATALYST_WEAK)]);
    assert!(effects.contains(Effect::PendingErased(CATALYST_WEAK)));
    assert_frame(&car, GROSS_LEAK, 1500.0);
}

/// (e)(3.4.3), (6.4.4): misfire and fuel system take the place of any other frame, and then stay.
#[test]
fn misfire_takes_the_place_of_another_frame() {
    let mut car = Car::new();
    cycle(&mut car, &[Fail(GROSS_LEAK)]);
    at(&mut car, 3000.0);
    cycle(&mut car, &[Fail(MISFIRE_RANDOM)]);
    assert_frame(&car, MISFIRE_RANDOM, 3000.0);
    at(&mut car, 900.0);
    car.memory.preload_pending(Dtc::p(0x0171), &car.live).unwrap();
    cycle(&mut car, &[Fail(COOLANT_HIGH)]);
    assert_frame(&car, MISFIRE_RANDOM, 3000.0);
    // A guest that is a fuel-system code has that rank too.
    let mut other = Car::new();
    cycle(&mut other, &[Fail(GROSS_LEAK)]);
    at(&mut other, 900.0);
    other.memory.preload_pending(Dtc::p(0x0171), &other.live).unwrap();
    assert_frame(&other, Dtc::p(0x0171), 900.0);
}

/// The frame goes with its code, and nothing fills the slot but the next new detection.
#[test]
fn an_erased_frame_leaves_the_slot_to_the_next_new_detection() {
    Car::new().play(&[
        (
            &[KeyOn, Start, Fail(GROSS_LEAK), Fail(COOLANT_HIGH), KeyOff],
            "P0455 P0118 | - | - | off | P0455",
        ),
        (
            &[KeyOn, Start, Pass(GROSS_LEAK), KeyOff],
            "P0118 | - | - | off | -",
        ),
        (
            &[KeyOn, Start, Fail(COOLANT_HIGH), KeyOff],
            "P0118 | P0118 | P0118 | on | -",
        ),
        (
            &[KeyOn, Start, Pass(COOLANT_HIGH), KeyOff],
            "- | P0118 | P0118 | on | -",
        ),
        (
            &[KeyOn, Start, Fail(COOLANT_HIGH), KeyOff],
            "P0118 | P0118 | P0118 | on | -",
        ),
        (
            &[KeyOn, Start, Fail(CATALYST_WEAK), KeyOff],
            "P0118 P0420 | P0118 | P0118 | on | P0420",
        ),
    ]);
}

/// J1699-3 test 8.5: MIL off alone keeps the frame; a frame that misfire replaced does not come back.
#[test]
fn the_frame_outlives_the_mil() {
    let mut car = confirmed_car(GROSS_LEAK);
    for _ in 0..3 {
        cycle(&mut car, &[Pass(GROSS_LEAK)]);
    }
    car.play(&[
        (&[], "- | P0455 | - | off | P0455"),
        (
            &[KeyOn, Start, Fail(MISFIRE_RANDOM), KeyOff],
            "P0300 | P0455 | - | off | P0300",
        ),
        (
            &[KeyOn, Start, Idle(1), Pass(MISFIRE_RANDOM), KeyOff],
            "- | P0455 | - | off | -",
        ),
    ]);
}
