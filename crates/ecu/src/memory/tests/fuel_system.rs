//! Fuel system: 13 CCR 1968.2(e)(6.4); similar conditions: (c), from memory.

use super::{wide::*, *};

/// A car with the code pending since an earlier driving cycle, found at 2000 rpm and 40 %, cold.
fn pending_car() -> Car {
    let mut car = wide_car();
    car.play(&[(
        &[KeyOn, Start, Idle(1), Fail(LEAN), KeyOff],
        "P0171 | - | - | off | P0171",
    )]);
    car
}

/// Confirmed in the next driving cycle, cold; pending beside it.
fn confirmed_lean() -> Car {
    let mut car = pending_car();
    car.play(&[(
        &[KeyOn, Start, Fail(LEAN), KeyOff],
        "P0171 | P0171 | P0171 | on | P0171",
    )]);
    car
}

/// Far from the conditions of the first event.
const ELSEWHERE: Event = At(4000.0, 90.0);
const THERE: Event = At(2000.0, 40.0);

/// (6.4.1): pending at once when the criteria are exceeded.
#[test]
fn a_fuel_system_fault_is_pending_at_once() {
    let car = pending_car();
    let status = car.memory.status(LEAN).unwrap();
    assert_eq!(status.similar_to, Some(car.point()));
}

/// (6.4.2)(a): in the very next driving cycle it is confirmed whatever the conditions.
#[test]
fn it_is_confirmed_in_the_next_driving_cycle_under_any_conditions() {
    let mut car = pending_car();
    car.play(&[(
        &[KeyOn, ELSEWHERE, Start, Idle(1), Fail(LEAN)],
        "P0171 | P0171 | P0171 | on | P0171",
    )]);
}

/// (6.4.2)(b): in a later driving cycle it takes similar conditions, before the recurrence or after it.
#[test]
fn it_is_confirmed_in_a_later_driving_cycle_with_similar_conditions() {
    let mut car = pending_car();
    car.play(&[
        (
            &[KeyOn, ELSEWHERE, Start, Idle(1), KeyOff],
            "P0171 | - | - | off | P0171",
        ),
        (
            &[KeyOn, Start, Idle(1), Fail(LEAN), KeyOff],
            "P0171 | - | - | off | P0171",
        ),
        (
            &[KeyOn, Start, Idle(1), Fail(LEAN)],
            "P0171 | - | - | off | P0171",
        ),
        (&[THERE, Idle(1)], "P0171 | P0171 | P0171 | on | P0171"),
    ]);
    let mut car = pending_car();
    car.happen_all(&[KeyOn, ELSEWHERE, Start, Idle(1), KeyOff]);
    car.happen_all(&[KeyOn, THERE, Start, Idle(1), ELSEWHERE, Idle(1)]);
    car.play(&[(&[Fail(LEAN)], "P0171 | P0171 | P0171 | on | P0171")]);
}

/// 1968.2(c) (from memory): 375 rpm, 20 points of load, both either way, and the same warm-up state.
#[test]
fn similar_is_within_375_rpm_20_points_and_the_same_warmth() {
    let similar = |event: Event| {
        let mut car = pending_car();
        car.happen_all(&[KeyOn, event, Start, Idle(1), KeyOff]);
        car.memory.status(LEAN).unwrap().similar_met
    };
    for (rpm, load, met) in [
        (2374.9, 40.0, true),
        (2375.1, 40.0, false),
        (1625.1, 40.0, true),
        (1624.9, 40.0, false),
        (2000.0, 59.9, true),
        (2000.0, 60.1, false),
        (2000.0, 20.1, true),
        (2000.0, 19.9, false),
    ] {
        assert_eq!(similar(At(rpm, load)), met, "{rpm} rpm, {load} %");
    }
    assert!(similar(Coolant(71.0)) && !similar(Coolant(71.1)));
}

/// The coolant circuit has failed and shows 150 °C, the ECU goes by its model: the state is that of the model.
#[test]
fn warm_or_cold_is_what_the_ecu_believes() {
    let mut car = wide_car();
    car.live.coolant_temperature = Temperature::from_celsius(150.0);
    car.happen_all(&[KeyOn, Start, Idle(1), Fail(LEAN)]);
    let at = car.memory.status(LEAN).unwrap().similar_to.unwrap();
    assert!(!at.warm && car.point().warm);
    car.happen_all(&[Stop, Start, Idle(1), Pass(LEAN)]);
    car.play(&[(&[KeyOff], "- | - | - | off | -")]);
}

/// (6.4.3): the pending code goes with the next driving cycle that meets similar conditions without the fault;
/// other driving cycles keep it.
#[test]
fn a_clean_cycle_counts_only_under_similar_conditions() {
    pending_car().play(&[
        (
            &[KeyOn, ELSEWHERE, Start, Idle(1), Pass(LEAN), KeyOff],
            "P0171 | - | - | off | P0171",
        ),
        (
            &[KeyOn, THERE, Start, Idle(1), KeyOff],
            "P0171 | - | - | off | P0171",
        ),
        (
            &[KeyOn, Start, Idle(1), Pass(LEAN), KeyOff],
            "- | - | - | off | -",
        ),
    ]);
}

/// (6.4.3): or when similar conditions are not met for 80 driving cycles.
#[test]
fn without_similar_conditions_it_expires_after_80_driving_cycles() {
    let mut car = pending_car();
    for _ in 0..79 {
        car.play(&[(
            &[KeyOn, ELSEWHERE, Start, Idle(1), Pass(LEAN), KeyOff],
            "P0171 | - | - | off | P0171",
        )]);
    }
    assert_eq!(car.memory.status(LEAN).unwrap().cycles_without_similar, 79);
    car.play(&[(&[KeyOn, Start, Idle(1), KeyOff], "- | - | - | off | -")]);
    assert_eq!(car.memory.status(LEAN).unwrap().similar_to, None);
}

/// (6.4.6) (from memory): the MIL goes out after three driving cycles with similar conditions and without the
/// fault; others in between neither count nor break, a failure begins anew.
#[test]
fn the_mil_waits_for_three_clean_cycles_with_similar_conditions() {
    let clean = [KeyOn, THERE, Start, Idle(1), Pass(LEAN), KeyOff];
    let elsewhere = [KeyOn, ELSEWHERE, Start, Idle(1), Pass(LEAN), KeyOff];
    let mut car = confirmed_lean();
    car.play(&[
        (&elsewhere, "P0171 | P0171 | P0171 | on | P0171"),
        (&clean, "- | P0171 | P0171 | on | P0171"),
        (&clean, "- | P0171 | P0171 | on | P0171"),
        (
            &[KeyOn, ELSEWHERE, Start, Fail(LEAN), KeyOff],
            "P0171 | P0171 | P0171 | on | P0171",
        ),
        (&clean, "- | P0171 | P0171 | on | P0171"),
        (&elsewhere, "- | P0171 | P0171 | on | P0171"),
        (&clean, "- | P0171 | P0171 | on | P0171"),
        (&elsewhere, "- | P0171 | P0171 | on | P0171"),
        (&clean, "- | P0171 | - | off | P0171"),
    ]);
}

/// Grown old, it goes by warm-ups alone (1968.2(d)(2.4), from memory); coming back before that, its new first event
/// sets the conditions.
#[test]
fn coming_back_it_takes_new_conditions() {
    let mut car = confirmed_lean();
    for _ in 0..3 {
        car.happen_all(&[KeyOn, THERE, Start, Idle(1), Pass(LEAN), KeyOff]);
    }
    let mut old = car.clone();
    for _ in 0..40 {
        cycle(&mut old, &[WarmUp]);
    }
    old.play(&[(&[], "- | - | - | off | -")]);
    car.play(&[
        (
            &[KeyOn, ELSEWHERE, Start, Fail(LEAN), KeyOff],
            "P0171 | P0171 | - | off | P0171",
        ),
        (
            &[KeyOn, THERE, Start, Idle(1), KeyOff],
            "P0171 | P0171 | - | off | P0171",
        ),
        (
            &[KeyOn, Start, Fail(LEAN), KeyOff],
            "P0171 | P0171 | - | off | P0171",
        ),
        (
            &[KeyOn, ELSEWHERE, Start, Idle(1), Fail(LEAN)],
            "P0171 | P0171 | P0171 | on | P0171",
        ),
    ]);
}

/// (6.4): imbalance of cylinders follows the standard logic, and its frame is one like others.
#[test]
fn imbalance_is_standard() {
    let mut car = wide_car();
    car.play(&[
        (
            &[KeyOn, Start, Fail(IMBALANCE), KeyOff],
            "P219A | - | - | off | P219A",
        ),
        (
            &[KeyOn, ELSEWHERE, Start, Idle(1), Pass(IMBALANCE), KeyOff],
            "- | - | - | off | -",
        ),
        (
            &[KeyOn, Start, Fail(IMBALANCE), Fail(LEAN), KeyOff],
            "P219A P0171 | - | - | off | P0171",
        ),
    ]);
}

/// (6.4.4) (from memory) and common practice: the first frame of misfire and fuel system stays, whichever of the
/// two it is of.
#[test]
fn the_first_frame_of_high_rank_stays() {
    let mut car = wide_car();
    car.play(&[(
        &[
            KeyOn,
            Start,
            Fail(SPEED_ODD),
            Fail(RICH),
            Misfire(CYLINDER_1, MisfireWindow::EmissionAtStart),
        ],
        "P0501 P0172 P0301 | - | - | off | P0172",
    )]);
}

/// SAE J1979 service $04: the conditions go too; the permanent code takes the path without minimum ratio
/// (1968.2(d)(2.5.2)(B), from memory), which asks for no similar conditions.
#[test]
fn a_clear_forgets_the_conditions() {
    let mut car = confirmed_lean();
    car.play(&[(&[KeyOn, Clear], "- | - | P0171 | off | -")]);
    assert_eq!(car.memory.status(LEAN).unwrap().similar_to, None);
    car.happen_all(&[ELSEWHERE, Start, Pass(LEAN)]);
    car.happen_all(&DRIVE);
    car.play(&[(&[KeyOff], "- | - | - | off | -")]);
}

/// A pending code put in by hand has the conditions of the moment, and waits 80 driving cycles for them, guest or
/// not; a guest's are never proved by a pass.
#[test]
fn a_preloaded_fuel_code_expires() {
    for catalogue in [&WIDE, &CATALOGUE] {
        let mut car = Car::with(&Profile::US_2010, catalogue);
        car.memory.preload_pending(LEAN, &car.live).unwrap();
        assert_eq!(car.memory.status(LEAN).unwrap().similar_to, Some(car.point()));
        for _ in 0..79 {
            car.happen_all(&[KeyOn, ELSEWHERE, Start, Idle(1), KeyOff]);
        }
        car.play(&[
            (&[], "P0171 | - | - | off | P0171"),
            (&[KeyOn, Start, Idle(1), KeyOff], "- | - | - | off | -"),
        ]);
    }
    let mut car = Car::new();
    car.memory.preload_pending(LEAN, &car.live).unwrap();
    for _ in 0..100 {
        car.happen_all(&[KeyOn, Start, Idle(1), Pass(LEAN), KeyOff]);
    }
    car.play(&[(&[], "P0171 | - | - | off | P0171")]);
}
