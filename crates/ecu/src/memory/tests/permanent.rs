//! Permanent codes: 13 CCR 1968.2(d)(2.5) and (g)(4.4.6).

use super::*;

const PASS_CIRCUIT: [Event; 2] = [Pass(COOLANT_LOW), Pass(COOLANT_HIGH)];

/// A car with a permanent circuit code, cleared, key on.
fn cleared_circuit() -> Car {
    let mut car = confirmed_car(COOLANT_HIGH);
    car.play(&[(&[KeyOn, Clear], "- | - | P0118 | off | -")]);
    car
}

/// 1968.2(d)(2.2.4) (from memory): stored together with the MIL; (d)(2.5.1): erased with it, not before,
/// whatever drive.
#[test]
fn path_1_not_cleared_the_code_goes_with_the_mil() {
    let mut car = confirmed_car(COOLANT_HIGH);
    for expected in [
        "- | P0118 | P0118 | on | P0118",
        "- | P0118 | P0118 | on | P0118",
        "- | P0118 | - | off | P0118",
    ] {
        car.happen_all(&[KeyOn, Start, PASS_CIRCUIT[0], PASS_CIRCUIT[1]]);
        car.happen_all(&DRIVE);
        car.play(&[(&[KeyOff], expected)]);
    }
}

/// 1968.2(d)(2.5.2)(A): cleared, a monitor with a minimum ratio; a driving cycle with a pass and a fail does
/// not count.
#[test]
fn path_2_one_clean_run_of_a_ratio_monitor() {
    let mut car = confirmed_car(GROSS_LEAK);
    car.play(&[
        (&[KeyOn, Clear, KeyOff], "- | - | P0455 | off | -"),
        (
            &[KeyOn, Start, Pass(GROSS_LEAK), Fail(GROSS_LEAK), KeyOff],
            "P0455 | - | P0455 | off | P0455",
        ),
        (
            &[KeyOn, Start, Pass(SMALL_LEAK), KeyOff],
            "P0455 | - | P0455 | off | P0455",
        ),
        (&[KeyOn, Start, Pass(GROSS_LEAK), KeyOff], "- | - | - | off | -"),
    ]);
}

/// 1968.2(d)(2.5.2)(B) (from memory): pass and drive may be of different driving cycles, in either order.
#[test]
fn path_3_the_drive_may_come_before_the_pass() {
    let mut car = cleared_circuit();
    car.happen(Start);
    car.play(&[
        (&DRIVE, "- | - | P0118 | off | -"),
        (&[KeyOff], "- | - | P0118 | off | -"),
        (
            &[KeyOn, Start, Idle(5), PASS_CIRCUIT[1], KeyOff],
            "- | - | - | off | -",
        ),
    ]);
}

/// Same clause, (ii): a failure after the pass voids it; the drive stays driven.
#[test]
fn path_3_a_failure_after_the_pass_voids_it() {
    let mut car = cleared_circuit();
    car.happen_all(&[Start, PASS_CIRCUIT[1], KeyOff, KeyOn, Start, Fail(COOLANT_HIGH)]);
    car.happen_all(&DRIVE);
    car.play(&[
        (&[KeyOff], "P0118 | - | P0118 | off | P0118"),
        (
            &[KeyOn, Start, Idle(5), KeyOff],
            "P0118 | - | P0118 | off | P0118",
        ),
        (&[KeyOn, Start, PASS_CIRCUIT[1], KeyOff], "- | - | - | off | -"),
    ]);
}

/// Same clause, (iii): 600 s, 300 s at 40 km/h and 30 s of unbroken idle, all in one driving cycle, in any
/// weather.
#[test]
fn path_3_each_part_of_the_drive_is_needed_in_one_cycle() {
    let erased = |events: &[&[Event]]| {
        let mut car = cleared_circuit();
        car.happen_all(&[Ambient(-30.0), Barometer(60.0), Start, PASS_CIRCUIT[1]]);
        for cycle in events {
            car.happen_all(cycle);
            car.happen_all(&[KeyOff, KeyOn, Start]);
        }
        car.memory.permanent().next().is_none()
    };
    assert!(erased(&[&[Drive(300, 40.0), Idle(300)]]));
    assert!(!erased(&[&[Drive(300, 40.0), Idle(299)]]), "599 s of running");
    assert!(!erased(&[&[Drive(299, 40.0), Idle(400)]]), "299 s of speed");
    assert!(!erased(&[&[Drive(400, 39.0), Idle(400)]]), "too slow");
    assert!(erased(&[&[Drive(570, 60.0), Idle(30)]]));
    assert!(!erased(&[&[Drive(580, 60.0), Idle(29)]]), "29 s of idle");
    assert!(
        !erased(&[&[Drive(580, 60.0), Idle(20), Drive(1, 5.0), Idle(20)]]),
        "broken idle"
    );
    assert!(
        !erased(&[&[Drive(580, 60.0), Idle(20), Drive(1, 0.0), Idle(20)]]),
        "pedal pressed"
    );
    assert!(erased(&[&[Drive(580, 60.0), Coast(30, 1.5)]]), "creeping");
    assert!(!erased(&[&[Drive(580, 60.0), Coast(30, 2.0)]]), "rolling");
    assert!(
        !erased(&[&[Drive(400, 60.0)], &[Idle(400)]]),
        "two driving cycles"
    );
}

/// 1968.2(d)(2.5.2): while the MIL is commanded on, nothing is erased by the paths for cleared codes.
#[test]
fn cleared_codes_wait_while_another_fault_lights_the_mil() {
    let mut car = confirmed_car(CATALYST_WEAK);
    car.happen_all(&[KeyOn, Clear, KeyOff]);
    cycle(&mut car, &[Fail(THROTTLE_TRACKS), Pass(CATALYST_WEAK)]);
    assert_eq!(car.stored(), "P2135 | P2135 | P0420 P2135 | on | P2135");
    cycle(&mut car, &[Pass(THROTTLE_TRACKS), Pass(CATALYST_WEAK)]);
    cycle(&mut car, &[Pass(THROTTLE_TRACKS), Pass(CATALYST_WEAK)]);
    assert_eq!(car.stored(), "- | P2135 | P0420 P2135 | on | P2135");
    cycle(&mut car, &[Pass(THROTTLE_TRACKS), Pass(CATALYST_WEAK)]);
    assert_eq!(car.stored(), "- | P2135 | - | off | P2135");
}

/// 1968.2(d)(2.5) (from memory): confirmed again after a clear, path 1 applies again, and the entry keeps its
/// place.
#[test]
fn confirmed_again_it_heals_by_path_1() {
    let mut car = cleared_circuit();
    cycle(&mut car, &[Fail(COOLANT_HIGH)]);
    cycle(&mut car, &[Fail(COOLANT_HIGH)]);
    for expected in [
        "- | P0118 | P0118 | on | P0118",
        "- | P0118 | P0118 | on | P0118",
        "- | P0118 | - | off | P0118",
    ] {
        car.play(&[(&[KeyOn, Start, PASS_CIRCUIT[1], KeyOff], expected)]);
    }
}

/// 1968.2(g)(4.4.6) (from memory): no number of clears erases it, and each begins the proof anew.
#[test]
fn clearing_again_voids_what_was_proved() {
    let mut car = cleared_circuit();
    car.happen_all(&[Start, PASS_CIRCUIT[1], KeyOff]);
    assert!(car.memory.status(COOLANT_HIGH).unwrap().permanent_passed);
    car.play(&[(&[KeyOn, Clear, Clear], "- | - | P0118 | off | -")]);
    assert!(!car.memory.status(COOLANT_HIGH).unwrap().permanent_passed);
    car.happen(Start);
    car.happen_all(&DRIVE);
    car.play(&[(&[KeyOff], "- | - | P0118 | off | -")]);
    assert!(car.memory.status(COOLANT_HIGH).unwrap().permanent_driven);
}

/// 1968.2(g)(4.4.6)(A) (from memory): room for four at least; here for every code there is.
#[test]
fn there_is_room_for_more_than_four() {
    let mut car = Car::new();
    let codes = [
        COOLANT_LOW,
        COOLANT_HIGH,
        CATALYST_WEAK,
        GROSS_LEAK,
        SMALL_LEAK,
        NO_PURGE,
        THROTTLE_TRACKS,
    ];
    for _ in 0..2 {
        cycle(&mut car, &codes.map(Fail));
    }
    assert_eq!(car.memory.permanent().count(), codes.len());
    car.happen_all(&[KeyOn, Clear, Clear, KeyOff]);
    assert_eq!(car.memory.permanent().count(), codes.len());
}
