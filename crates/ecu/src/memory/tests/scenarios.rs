//! Fourteen scenarios: what the public source of the SAE J1699-3 conformance test expects of a
//! vehicle, and the life of permanent codes (13 CCR 1968.2(d)(2.5)).

use super::*;

const PASS_CIRCUIT: [Event; 2] = [Pass(COOLANT_LOW), Pass(COOLANT_HIGH)];
const SETTLE: [Event; 2] = [KeyOff, KeyOn];

/// J1699-3 test 6: the first detection is pending, with a freeze frame, and nothing more.
fn t1() -> Car {
    let mut car = Car::new();
    car.play(&[
        (&[KeyOn, Crank, Start, Idle(10)], "- | - | - | off | -"),
        (&[Fail(COOLANT_HIGH)], "P0118 | - | - | off | P0118"),
        (&[Idle(60), Fail(COOLANT_HIGH)], "P0118 | - | - | off | P0118"),
    ]);
    car
}

/// J1699-3 test 7: confirmed in the next driving cycle, pending beside it.
fn t2() -> Car {
    let mut car = t1();
    car.play(&[
        (&SETTLE, "P0118 | - | - | off | P0118"),
        (
            &[Crank, Start, Fail(COOLANT_HIGH)],
            "P0118 | P0118 | P0118 | on | P0118",
        ),
    ]);
    assert_eq!(car.memory.confirmed_count(), 1);
    car
}

/// J1699-3 tests 8.3 to 8.6: one passing driving cycle erases the pending code only.
fn t4() -> Car {
    let mut car = t2();
    car.play(&[
        (&SETTLE, "P0118 | P0118 | P0118 | on | P0118"),
        (
            &[Start, PASS_CIRCUIT[0], PASS_CIRCUIT[1]],
            "P0118 | P0118 | P0118 | on | P0118",
        ),
        (&[KeyOff, KeyOn, Start], "- | P0118 | P0118 | on | P0118"),
    ]);
    car
}

/// 1968.2(d)(2.3) and (2.5.1): three passing driving cycles put out the MIL and erase the permanent
/// code.
fn t5() -> Car {
    let mut car = t4();
    car.play(&[
        (&PASS_CIRCUIT, "- | P0118 | P0118 | on | P0118"),
        (&[KeyOff, KeyOn, Start], "- | P0118 | P0118 | on | P0118"),
        (&PASS_CIRCUIT, "- | P0118 | P0118 | on | P0118"),
        (&[KeyOff], "- | P0118 | - | off | P0118"),
    ]);
    car
}

/// J1699-3 tests 9.13 to 9.15: repaired and cleared with the engine off.
fn t7() -> Car {
    let mut car = t2();
    car.play(&[
        (&SETTLE, "P0118 | P0118 | P0118 | on | P0118"),
        (&[Clear], "- | - | P0118 | off | -"),
    ]);
    car
}

#[test]
fn t1_first_detection_is_pending_only() {
    t1();
}

#[test]
fn t2_recurrence_in_the_next_driving_cycle_confirms() {
    t2();
}

/// J1699-3 tests 9.10 to 9.11.
#[test]
fn t3_confirmed_and_permanent_are_read_with_the_engine_off() {
    let mut car = t2();
    car.play(&[(&SETTLE, "P0118 | P0118 | P0118 | on | P0118")]);
}

#[test]
fn t4_one_passing_cycle_erases_the_pending_code_only() {
    t4();
}

#[test]
fn t5_three_passing_cycles_put_out_the_mil_and_erase_the_permanent_code() {
    t5();
}

/// 1968.2(d)(2.4), from memory.
#[test]
fn t6_forty_warm_up_cycles_later_the_confirmed_code_is_erased() {
    let mut car = t5();
    for _ in 0..39 {
        car.play(&[(&[KeyOn, Start, WarmUp, KeyOff], "- | P0118 | - | off | P0118")]);
    }
    car.play(&[
        (&[KeyOn, Start, WarmUp], "- | P0118 | - | off | P0118"),
        (&[KeyOff], "- | - | - | off | -"),
    ]);
}

#[test]
fn t7_clearing_leaves_the_permanent_code() {
    let car = t7();
    let counters = car.memory.counters();
    assert_eq!(counters, crate::memory::Counters::default());
    let readiness = car.memory.readiness_since_clear();
    for group in [Group::Catalyst, Group::Evap] {
        assert!(readiness.is_supported(group) && !readiness.is_complete(group));
    }
}

/// J1699-3 tests 9.18 and 9.22; 1968.2(d)(2.5.2)(B), from memory.
#[test]
fn t8_t9_a_circuit_code_stays_permanent_until_the_drive_is_driven() {
    let mut car = t7();
    car.play(&[
        (
            &[Start, Idle(60), PASS_CIRCUIT[0], PASS_CIRCUIT[1]],
            "- | - | P0118 | off | -",
        ),
        (&[KeyOff, KeyOn, Start, Idle(5)], "- | - | P0118 | off | -"),
        (&DRIVE, "- | - | P0118 | off | -"),
        (&[KeyOff, KeyOn, Start], "- | - | - | off | -"),
    ]);
}

/// 1968.2(d)(2.5.2)(A).
#[test]
fn t10_a_ratio_monitor_needs_its_passing_run_only() {
    let mut car = confirmed_car(CATALYST_WEAK);
    car.play(&[
        (&[KeyOn, Clear], "- | - | P0420 | off | -"),
        (&[Start, Idle(60), KeyOff], "- | - | P0420 | off | -"),
        (
            &[KeyOn, Start, Pass(CATALYST_WEAK), Done(CATALYST)],
            "- | - | P0420 | off | -",
        ),
        (&[KeyOff], "- | - | - | off | -"),
    ]);
}

/// 1968.2(d)(2.5), from memory.
#[test]
fn t11_cleared_with_the_fault_present_the_permanent_code_never_goes() {
    let mut car = t7();
    car.play(&[
        (&[Start, Fail(COOLANT_HIGH)], "P0118 | - | P0118 | off | P0118"),
        (&DRIVE, "P0118 | - | P0118 | off | P0118"),
        (&[KeyOff, KeyOn, Start], "P0118 | - | P0118 | off | P0118"),
        (&[Fail(COOLANT_HIGH)], "P0118 | P0118 | P0118 | on | P0118"),
        (&[KeyOff], "P0118 | P0118 | P0118 | on | P0118"),
    ]);
}

/// J1699-3 test 10; 1968.2(d)(4.3.2)(A), from memory.
#[test]
fn t12_one_drive_counts_once_in_the_general_denominator() {
    let mut car = Car::new();
    let general = |car: &Car| {
        let in_use = car.memory.in_use();
        (in_use.counters()[0], in_use.counters()[1])
    };
    car.happen_all(&[KeyOn, Start, Idle(1)]);
    assert_eq!(general(&car), (0, 0));
    car.happen(Idle(1));
    assert_eq!(general(&car), (0, 1));
    car.happen_all(&DRIVE);
    assert_eq!(general(&car), (1, 1));
    car.happen_all(&DRIVE);
    car.happen_all(&DRIVE);
    assert_eq!(general(&car), (1, 1));
    car.happen_all(&[KeyOff, KeyOn, Start]);
    car.happen_all(&DRIVE);
    assert_eq!(general(&car), (2, 2));
}

/// Service $04 is refused while the engine runs. The server refuses; what it asks the memory is this.
#[test]
fn t13_the_server_can_tell_that_the_engine_runs() {
    let mut car = t2();
    assert!(car.memory.is_driving_cycle());
    car.happen(Stop);
    assert!(!car.memory.is_driving_cycle());
}

/// 1968.2(g)(5.2), from memory.
#[test]
fn t14_clearing_leaves_the_in_use_counters() {
    let mut car = Car::new();
    car.happen_all(&[KeyOn, Start, CouldDetect(CATALYST)]);
    car.happen_all(&DRIVE);
    car.happen_all(&SETTLE);
    let before = car.memory.in_use();
    assert_eq!(before.group(Group::Catalyst), Some((1, 1)));
    car.happen(Clear);
    assert_eq!(car.memory.in_use(), before);
}
