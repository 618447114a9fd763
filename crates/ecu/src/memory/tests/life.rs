//! The life of a fault, rule by rule: 13 CCR 1968.2(d)(2.2) to (2.4), and what follows from them.

use super::*;

/// 1968.2(d)(2.2.1): a pending code at the first detection.
#[test]
fn seen_once_and_not_again_is_forgotten() {
    Car::new().play(&[
        (
            &[KeyOn, Start, Fail(GROSS_LEAK), Done(LEAK)],
            "P0455 | - | - | off | P0455",
        ),
        (&[KeyOff], "P0455 | - | - | off | P0455"),
        (
            &[KeyOn, Start, Pass(GROSS_LEAK), Pass(SMALL_LEAK)],
            "P0455 | - | - | off | P0455",
        ),
        (&[KeyOff], "- | - | - | off | -"),
    ]);
}

/// 1968.2(d)(2.2.2): only the next driving cycle "in which monitoring occurs" counts.
#[test]
fn a_cycle_without_a_run_keeps_the_pending_code() {
    let mut car = Car::new();
    car.play(&[(
        &[KeyOn, Start, Fail(GROSS_LEAK), KeyOff],
        "P0455 | - | - | off | P0455",
    )]);
    for _ in 0..20 {
        car.play(&[(
            &[KeyOn, Start, Pass(CATALYST_WEAK), KeyOff],
            "P0455 | - | - | off | P0455",
        )]);
    }
    car.play(&[(
        &[KeyOn, Start, Fail(GROSS_LEAK)],
        "P0455 | P0455 | P0455 | on | P0455",
    )]);
}

/// 1968.2(d)(2.2.2): confirmation needs a second driving cycle, however often the monitor fails in the first.
#[test]
fn failing_twice_in_one_cycle_confirms_nothing() {
    Car::new().play(&[
        (
            &[KeyOn, Start, Fail(GROSS_LEAK), Fail(GROSS_LEAK), Done(LEAK)],
            "P0455 | - | - | off | P0455",
        ),
        (
            &[Fail(GROSS_LEAK), Pass(GROSS_LEAK), Fail(GROSS_LEAK)],
            "P0455 | - | - | off | P0455",
        ),
        // A restart without key-off is a new driving cycle.
        (
            &[Stop, Start, Fail(GROSS_LEAK)],
            "P0455 | P0455 | P0455 | on | P0455",
        ),
    ]);
}

/// 1968.2(d)(2.2.2): erasing needs that there was no indication at any time in the driving cycle.
#[test]
fn a_cycle_with_a_pass_and_a_fail_counts_as_a_fail() {
    Car::new().play(&[
        (
            &[KeyOn, Start, Fail(COOLANT_LOW), Pass(COOLANT_LOW), KeyOff],
            "P0117 | - | - | off | P0117",
        ),
        (
            &[KeyOn, Start, Pass(COOLANT_LOW), Fail(COOLANT_LOW)],
            "P0117 | P0117 | P0117 | on | P0117",
        ),
        (&[Pass(COOLANT_LOW), KeyOff], "P0117 | P0117 | P0117 | on | P0117"),
    ]);
}

/// 1968.2(d)(2.2.3), J1699-3 test 9.8: pending, confirmed and MIL together; healing like any other.
#[test]
fn a_one_cycle_fault_confirms_at_once() {
    let mut car = Car::new();
    car.play(&[(
        &[KeyOn, Start, Fail(THROTTLE_TRACKS)],
        "P2135 | P2135 | P2135 | on | P2135",
    )]);
    car.play(&[
        (
            &[KeyOff, KeyOn, Start, Pass(THROTTLE_TRACKS), KeyOff],
            "- | P2135 | P2135 | on | P2135",
        ),
        (
            &[KeyOn, Start, Pass(THROTTLE_TRACKS), KeyOff],
            "- | P2135 | P2135 | on | P2135",
        ),
        (
            &[KeyOn, Start, Pass(THROTTLE_TRACKS), KeyOff],
            "- | P2135 | - | off | P2135",
        ),
    ]);
}

/// 1968.2(d)(2.3) (from memory): three passing driving cycles in sequence; one without a run neither counts
/// nor breaks.
#[test]
fn healing_waits_for_runs_of_the_monitor() {
    let mut car = confirmed_car(CATALYST_WEAK);
    let passed = |car: &Car| car.memory.status(CATALYST_WEAK).unwrap().passed_cycles;
    cycle(&mut car, &[Pass(CATALYST_WEAK)]);
    cycle(&mut car, &[Pass(GROSS_LEAK)]);
    cycle(&mut car, &[]);
    assert_eq!(passed(&car), 1);
    cycle(&mut car, &[Pass(CATALYST_WEAK)]);
    assert_eq!((passed(&car), car.memory.mil_commanded()), (2, true));
    let effects = cycle(&mut car, &[Pass(CATALYST_WEAK)]);
    assert!(effects.contains(Effect::MilOff) && effects.contains(Effect::PermanentErased(CATALYST_WEAK)));
    assert_eq!(car.stored(), "- | P0420 | - | off | P0420");
}

/// 1968.2(d)(2.3) (reading of it): a failure while healing sets the count back, the MIL stays on.
#[test]
fn a_failure_while_healing_begins_the_count_anew() {
    let mut car = confirmed_car(CATALYST_WEAK);
    cycle(&mut car, &[Pass(CATALYST_WEAK)]);
    cycle(&mut car, &[Pass(CATALYST_WEAK)]);
    car.play(&[
        (&[], "- | P0420 | P0420 | on | P0420"),
        (
            &[KeyOn, Start, Fail(CATALYST_WEAK)],
            "P0420 | P0420 | P0420 | on | P0420",
        ),
        (&[KeyOff], "P0420 | P0420 | P0420 | on | P0420"),
    ]);
    assert_eq!(car.memory.status(CATALYST_WEAK).unwrap().passed_cycles, 0);
    for _ in 0..2 {
        car.play(&[(
            &[KeyOn, Start, Pass(CATALYST_WEAK), KeyOff],
            "- | P0420 | P0420 | on | P0420",
        )]);
    }
    car.play(&[(
        &[KeyOn, Start, Pass(CATALYST_WEAK), KeyOff],
        "- | P0420 | - | off | P0420",
    )]);
}

/// 1968.2(d)(2.3): the MIL stays on for another fault.
#[test]
fn the_mil_goes_out_with_the_last_code_that_commands_it() {
    let mut car = confirmed_car(CATALYST_WEAK);
    cycle(&mut car, &[Fail(GROSS_LEAK), Pass(CATALYST_WEAK)]);
    cycle(&mut car, &[Fail(GROSS_LEAK), Pass(CATALYST_WEAK)]);
    car.play(&[
        (
            &[KeyOn, Start, Pass(CATALYST_WEAK), KeyOff],
            "P0455 | P0420 P0455 | P0455 | on | P0420",
        ),
        (
            &[KeyOn, Start, Pass(GROSS_LEAK), KeyOff],
            "- | P0420 P0455 | P0455 | on | P0420",
        ),
        (
            &[KeyOn, Start, Pass(GROSS_LEAK), KeyOff],
            "- | P0420 P0455 | P0455 | on | P0420",
        ),
        (
            &[KeyOn, Start, Pass(GROSS_LEAK), KeyOff],
            "- | P0420 P0455 | - | off | P0420",
        ),
    ]);
}

fn healed_car(dtc: Dtc) -> Car {
    let mut car = confirmed_car(dtc);
    for _ in 0..3 {
        cycle(&mut car, &[WarmUp, Pass(dtc)]);
    }
    assert!(!car.memory.mil_commanded());
    car
}

/// 1968.2(d)(2.4) (from memory): the count begins when the MIL goes out; cycles that did not warm up do not
/// count; no run of the monitor is asked, only that it did not detect.
#[test]
fn a_healed_code_ages_by_warm_up_cycles() {
    let mut car = healed_car(GROSS_LEAK);
    let warm_ups = |car: &Car| car.memory.status(GROSS_LEAK).unwrap().warm_ups;
    assert_eq!(warm_ups(&car), 0);
    cycle(&mut car, &[Pass(GROSS_LEAK)]);
    assert_eq!(warm_ups(&car), 0, "no warm-up in it");
    for counted in 1..40 {
        cycle(&mut car, &[WarmUp, Idle(1)]);
        assert_eq!(warm_ups(&car), counted);
    }
    let effects = cycle(&mut car, &[WarmUp]);
    assert!(effects.contains(Effect::ConfirmedErased(GROSS_LEAK)));
    assert!(effects.contains(Effect::FreezeFrameErased(GROSS_LEAK)));
    assert_eq!(car.stored(), "- | - | - | off | -");
}

/// 1968.2(d)(2.4) (reading of it): a detection sets the count back; the second one lights the MIL again.
#[test]
fn a_code_that_comes_back_while_ageing_lives_again() {
    let mut car = healed_car(GROSS_LEAK);
    for _ in 0..39 {
        cycle(&mut car, &[WarmUp]);
    }
    car.play(&[
        (
            &[KeyOn, Start, WarmUp, Fail(GROSS_LEAK)],
            "P0455 | P0455 | - | off | P0455",
        ),
        (&[KeyOff], "P0455 | P0455 | - | off | P0455"),
    ]);
    assert_eq!(car.memory.status(GROSS_LEAK).unwrap().warm_ups, 0);
    // Healed at once: the pending code goes, the confirmed one and its frame stay.
    let mut healed = car.clone();
    healed.play(&[(
        &[KeyOn, Start, Pass(GROSS_LEAK), KeyOff],
        "- | P0455 | - | off | P0455",
    )]);
    car.play(&[(
        &[KeyOn, Start, Fail(GROSS_LEAK)],
        "P0455 | P0455 | P0455 | on | P0455",
    )]);
}

/// 1968.2(e)(15.4.2) (from memory): a component that cannot raise emissions needs no MIL; never permanent;
/// ages from its last failing driving cycle on.
#[test]
fn a_code_without_mil_is_confirmed_in_the_dark() {
    let mut car = Car::new();
    cycle(&mut car, &[Fail(NO_MIL)]);
    car.play(&[
        (
            &[KeyOn, Start, WarmUp, Fail(NO_MIL), KeyOff],
            "P0532 | P0532 | - | off | P0532",
        ),
        (
            &[KeyOn, Start, WarmUp, Fail(NO_MIL), KeyOff],
            "P0532 | P0532 | - | off | P0532",
        ),
        (
            &[KeyOn, Start, WarmUp, Pass(NO_MIL), KeyOff],
            "- | P0532 | - | off | P0532",
        ),
    ]);
    assert_eq!(car.memory.status(NO_MIL).unwrap().warm_ups, 1);
    for _ in 0..38 {
        cycle(&mut car, &[WarmUp]);
    }
    car.play(&[
        (&[], "- | P0532 | - | off | P0532"),
        (&[KeyOn, Start, WarmUp, KeyOff], "- | - | - | off | -"),
    ]);
}

/// Codes are listed in the order in which they were stored, each list by itself.
#[test]
fn codes_are_listed_in_order_of_entry() {
    let mut car = Car::new();
    cycle(
        &mut car,
        &[Fail(NO_PURGE), Fail(COOLANT_LOW), Fail(CATALYST_WEAK)],
    );
    assert_eq!(car.stored(), "P0441 P0117 P0420 | - | - | off | P0441");
    cycle(&mut car, &[Fail(CATALYST_WEAK), Fail(NO_PURGE)]);
    assert_eq!(
        car.stored(),
        "P0441 P0117 P0420 | P0420 P0441 | P0420 P0441 | on | P0441"
    );
}

/// SAE J1979 service $04: everything about the fault but the permanent entry; a present fault begins again as
/// pending, and does not return confirmed inside the driving cycle of the clear.
#[test]
fn cleared_with_the_fault_present_it_begins_again_as_pending() {
    let mut car = confirmed_car(GROSS_LEAK);
    let effects = car.happen_all(&[KeyOn, Clear]);
    assert!(effects.contains(Effect::MilOff) && effects.contains(Effect::FreezeFrameErased(GROSS_LEAK)));
    car.play(&[
        (
            &[Start, Fail(GROSS_LEAK), Fail(GROSS_LEAK), Done(LEAK)],
            "P0455 | - | P0455 | off | P0455",
        ),
        (
            &[KeyOff, KeyOn, Start, Fail(GROSS_LEAK)],
            "P0455 | P0455 | P0455 | on | P0455",
        ),
    ]);
}

/// A clear erases healing and ageing counts too: nothing of the old life shortens the new one.
#[test]
fn cleared_counts_do_not_come_back() {
    let mut car = healed_car(GROSS_LEAK);
    for _ in 0..20 {
        cycle(&mut car, &[WarmUp]);
    }
    car.happen_all(&[KeyOn, Clear, KeyOff]);
    cycle(&mut car, &[Fail(GROSS_LEAK)]);
    let status = car.memory.status(GROSS_LEAK).unwrap();
    assert_eq!(
        (status.failed_cycles, status.confirmed, status.warm_ups),
        (1, false, 0)
    );
}

/// 1968.2(d)(2.3) (from memory): the lamp goes out when the last code lets go of it, each having healed by itself.
#[test]
fn each_code_heals_by_itself_and_the_last_puts_the_lamp_out() {
    let mut car = Car::new();
    for _ in 0..2 {
        cycle(&mut car, &[Fail(GROSS_LEAK), Fail(CATALYST_WEAK)]);
    }
    let healing = |car: &Car, dtc| car.memory.status(dtc).unwrap().passed_cycles;
    cycle(&mut car, &[Pass(GROSS_LEAK), Fail(CATALYST_WEAK)]);
    cycle(&mut car, &[Pass(GROSS_LEAK), Pass(CATALYST_WEAK)]);
    assert_eq!((healing(&car, GROSS_LEAK), healing(&car, CATALYST_WEAK)), (2, 1));
    let pass = [KeyOn, Start, Pass(GROSS_LEAK), Pass(CATALYST_WEAK), KeyOff];
    car.play(&[
        (&pass, "- | P0455 P0420 | P0420 | on | P0455"),
        (&pass, "- | P0455 P0420 | - | off | P0455"),
    ]);
    // The first to go dark grows old first.
    for _ in 0..39 {
        cycle(&mut car, &[WarmUp]);
    }
    assert_eq!(car.memory.status(GROSS_LEAK).unwrap().warm_ups, 39);
    car.play(&[(&[KeyOn, Start, WarmUp, KeyOff], "- | - | - | off | -")]);
}
