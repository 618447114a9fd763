//! Readiness: 13 CCR 1968.2(g)(4.1) and SAE J1979 PIDs $01 and $41, from memory; places of the bits agree
//! with the public source of the J1699-3 conformance test.

use super::{wide::*, *};

const PASS_LEAK: [Event; 3] = [Pass(GROSS_LEAK), Pass(SMALL_LEAK), Done(LEAK)];
const PASS_PURGE: [Event; 2] = [Pass(NO_PURGE), Done(PURGE_FLOW)];

fn since_clear(car: &Car, group: Group) -> bool {
    car.memory.readiness_since_clear().is_complete(group)
}

fn this_cycle(car: &Car, group: Group) -> bool {
    car.memory.readiness_this_cycle().is_complete(group)
}

/// J1699-3: only groups with monitors are supported; an unsupported one reads complete, and in PID $41 not
/// enabled.
#[test]
fn only_groups_with_monitors_are_announced() {
    let car = Car::new();
    // Misfire and components; catalyst and evap, both not complete.
    assert_eq!(
        car.memory.readiness_since_clear().to_bytes(),
        [0b0000_0101, 0b0000_0101, 0b0000_0101]
    );
    assert_eq!(
        car.memory.readiness_this_cycle().to_bytes(),
        [0b0101_0101, 0b0000_0101, 0b0000_0101]
    );
}

/// (g)(4.1): complete when every monitor of the group has run and passed, and told once.
#[test]
fn a_group_is_complete_when_each_of_its_monitors_has_passed() {
    let mut car = Car::new();
    let effects = cycle(&mut car, &PASS_LEAK);
    assert!(!since_clear(&car, Group::Evap) && !effects.contains(Effect::GroupCompleted(Group::Evap)));
    let effects = cycle(&mut car, &PASS_PURGE);
    assert!(since_clear(&car, Group::Evap) && effects.contains(Effect::GroupCompleted(Group::Evap)));
    assert!(!since_clear(&car, Group::Catalyst));
    let effects = cycle(&mut car, &PASS_PURGE);
    assert!(!effects.contains(Effect::GroupCompleted(Group::Evap)));
}

/// (g)(4.1): a single fail leaves the group not complete; enough of them to light the MIL complete it.
#[test]
fn a_failing_monitor_is_ready_once_it_has_lit_the_mil() {
    let mut car = Car::new();
    cycle(&mut car, &PASS_PURGE);
    cycle(&mut car, &[Fail(GROSS_LEAK), Done(LEAK)]);
    assert!(!since_clear(&car, Group::Evap));
    assert!(
        !this_cycle(&car, Group::Evap),
        "purge flow has not run in this cycle"
    );
    car.happen_all(&[KeyOn, Start, Fail(GROSS_LEAK)]);
    assert!(car.memory.mil_commanded() && since_clear(&car, Group::Evap));
}

/// Follows from the two rules: complete in PID $41 and not in PID $01 after a first fail.
#[test]
fn done_this_cycle_is_not_ready_since_the_clear() {
    let mut car = Car::new();
    car.happen_all(&[KeyOn, Start, Fail(CATALYST_WEAK), Done(CATALYST)]);
    assert!(this_cycle(&car, Group::Catalyst) && !since_clear(&car, Group::Catalyst));
    // The next run passes: ready, in the same driving cycle or another.
    car.happen_all(&[Pass(CATALYST_WEAK), Done(CATALYST)]);
    assert!(since_clear(&car, Group::Catalyst));
}

/// 86.1806(e)(4), (g)(4.1): neither keys nor driving cycles nor self-healing reset PID $01; PID $41 begins
/// anew.
#[test]
fn only_a_clear_resets_readiness() {
    let mut car = confirmed_car(CATALYST_WEAK);
    cycle(&mut car, &PASS_LEAK);
    cycle(&mut car, &PASS_PURGE);
    for _ in 0..45 {
        cycle(&mut car, &[WarmUp, Pass(CATALYST_WEAK), Done(CATALYST)]);
    }
    assert_eq!(car.stored(), "- | - | - | off | -");
    assert!(since_clear(&car, Group::Catalyst) && since_clear(&car, Group::Evap));
    assert!(this_cycle(&car, Group::Catalyst));
    car.happen_all(&[KeyOn, Start]);
    assert!(!this_cycle(&car, Group::Catalyst) && since_clear(&car, Group::Catalyst));
    car.happen_all(&[Pass(CATALYST_WEAK), Done(CATALYST), KeyOff, KeyOn, Clear]);
    for group in [Group::Catalyst, Group::Evap] {
        assert!(!since_clear(&car, group) && !this_cycle(&car, group));
    }
}

/// SAE J1979 before model year 2019: the continuous groups always read complete in PID $01; in PID $41 they
/// are done once each of their codes has been judged in the driving cycle.
#[test]
fn continuous_groups_always_read_complete() {
    let mut car = confirmed_car(COOLANT_HIGH);
    car.happen_all(&[KeyOn, Clear, Start]);
    for group in [Group::Misfire, Group::Components] {
        assert!(since_clear(&car, group) && !this_cycle(&car, group));
    }
    car.happen(Pass(MISFIRE_RANDOM));
    assert!(this_cycle(&car, Group::Misfire));
    car.happen_all(&[Pass(COOLANT_LOW), Pass(THROTTLE_TRACKS), Pass(NO_MIL)]);
    assert!(!this_cycle(&car, Group::Components));
    car.happen(Fail(COOLANT_HIGH));
    assert!(this_cycle(&car, Group::Components) && since_clear(&car, Group::Components));
}

/// PID $41: a monitor that cannot run any more in this driving cycle takes the enabled bit; done before, it
/// keeps it.
#[test]
fn a_monitor_that_cannot_run_any_more_is_not_enabled() {
    let mut car = Car::new();
    let enabled = |car: &Car| car.memory.readiness_this_cycle().is_supported(Group::Evap);
    car.happen_all(&[KeyOn, Start]);
    assert!(enabled(&car));
    car.happen(Possible(LEAK, false));
    assert!(!enabled(&car) && car.memory.readiness_since_clear().is_supported(Group::Evap));
    car.happen(Possible(LEAK, true));
    assert!(enabled(&car));
    car.happen_all(&PASS_LEAK);
    car.happen(Possible(LEAK, false));
    assert!(enabled(&car));
    car.happen_all(&[Possible(PURGE_FLOW, false), KeyOff, KeyOn, Start]);
    assert!(enabled(&car), "a new driving cycle begins with yes");

    // A fault that disables it does the same, until it is gone.
    car.happen(Fail(COOLANT_HIGH));
    assert!(!enabled(&car));
    car.happen_all(&[KeyOff, KeyOn, Start, Pass(COOLANT_HIGH)]);
    assert!(!enabled(&car));
    car.happen(KeyOff);
    assert!(enabled(&car));
}

/// SAE J1979, PID $41 (from memory): the components go on being watched where one of their checks cannot run in this
/// driving cycle (a rationality check after a hot start); that one is not waited for.
#[test]
fn a_check_that_cannot_run_does_not_disable_the_components() {
    let mut car = wide_car();
    let components = |car: &Car| {
        let readiness = car.memory.readiness_this_cycle();
        (
            readiness.is_supported(Group::Components),
            readiness.is_complete(Group::Components),
        )
    };
    car.happen_all(&[KeyOn, Start, Pass(NO_SPEED)]);
    assert_eq!(components(&car), (true, false), "rationality can still run");
    car.happen(Possible(RATIONALITY, false));
    assert_eq!(components(&car), (true, true));
    car.happen_all(&[Stop, Start, Possible(RATIONALITY, false)]);
    assert_eq!(components(&car), (true, false));
    car.happen(Possible(VEHICLE_SPEED, false));
    assert_eq!(components(&car), (false, false), "none can run");
    car.happen_all(&[Stop, Start, Pass(SPEED_ODD), Done(RATIONALITY)]);
    assert_eq!(components(&car), (true, false));
    car.happen_all(&[Pass(NO_SPEED), Possible(RATIONALITY, false)]);
    assert_eq!(
        components(&car),
        (true, true),
        "done before it could not run any more"
    );
}

/// J1699-3 test 5.6: key on after a clear, every group of bytes C and D reads "not complete" in PID $41.
#[test]
fn after_a_clear_nothing_is_done() {
    let mut car = Car::new();
    cycle(&mut car, &PASS_LEAK);
    cycle(&mut car, &PASS_PURGE);
    cycle(&mut car, &[Pass(CATALYST_WEAK), Done(CATALYST)]);
    car.happen_all(&[KeyOn, Clear]);
    let [_, supported, _] = car.memory.readiness_since_clear().to_bytes();
    for readiness in [
        car.memory.readiness_since_clear(),
        car.memory.readiness_this_cycle(),
    ] {
        assert_eq!(readiness.to_bytes()[2], supported);
    }
}

/// 1968.2(g)(4.4.6)(D), (g)(5.2.1)(A) (from memory): a memory made anew, as reprogramming leaves it, has neither
/// permanent codes nor counts, and no group complete.
#[test]
fn a_new_memory_has_run_nothing() {
    let car = wide_car();
    assert_eq!(car.stored(), "- | - | - | off | -");
    assert_eq!(car.memory.in_use().counters(), &[0; 20]);
    let [_, supported, incomplete] = car.memory.readiness_since_clear().to_bytes();
    assert_eq!(supported, incomplete);
    assert_ne!(supported, 0);
}

/// SAE J1979 from model year 2019 on (from memory): misfire and fuel system report what has run, components do not.
#[test]
fn continuous_groups_may_report_what_has_run() {
    static LATER: Profile = Profile {
        continuous_groups_always_complete: false,
        ..Profile::US_2010
    };
    let mut car = Car::with(&LATER, &WIDE);
    car.happen_all(&[KeyOn, Start]);
    assert!(since_clear(&car, Group::Components) && !since_clear(&car, Group::Misfire));
    car.happen_all(&[Pass(MISFIRE_RANDOM), Pass(CYLINDER_1), Pass(CYLINDER_2)]);
    assert!(since_clear(&car, Group::Misfire) && !since_clear(&car, Group::FuelSystem));
    car.happen_all(&[Pass(LEAN), Pass(RICH), Pass(IMBALANCE)]);
    assert!(
        !since_clear(&car, Group::FuelSystem),
        "imbalance has not run to its end"
    );
    car.happen_all(&[Done(MonitorId(2)), KeyOff, KeyOn]);
    assert!(since_clear(&car, Group::FuelSystem));
    car.happen(Clear);
    assert!(!since_clear(&car, Group::Misfire) && !since_clear(&car, Group::FuelSystem));
}
