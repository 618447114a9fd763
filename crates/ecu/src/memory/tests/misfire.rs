//! Misfire: 13 CCR 1968.2(e)(3.4), mostly from memory.

use super::{wide::*, *};
use crate::memory::Lamp;

/// Endangers the catalyst, inside the speeds and loads of the test.
const A_INSIDE: Event = Misfire(CYLINDER_1, MisfireWindow::Catalyst { in_test_area: true });
/// Endangers the catalyst, elsewhere.
const A_OUTSIDE: Event = Misfire(CYLINDER_1, MisfireWindow::Catalyst { in_test_area: false });
/// Raises emissions in the first 1000 revolutions.
const B_START: Event = Misfire(CYLINDER_1, MisfireWindow::EmissionAtStart);
/// Raises emissions later.
const B_LATER: Event = Misfire(CYLINDER_1, MisfireWindow::EmissionLater);
const ELSEWHERE: Event = At(4000.0, 90.0);
const THERE: Event = At(2000.0, 40.0);
const NOTHING: &str = "- | - | - | off | -";
const PENDING: &str = "P0301 | - | - | off | P0301";
const BOTH: &str = "P0301 | P0301 | P0301 | on | P0301";

/// A car with the code pending from an earlier driving cycle: found at 2000 rpm, 40 %, cold.
fn pending_by(events: &[Event]) -> Car {
    let mut car = wide_car();
    car.happen_all(&[KeyOn, THERE, Start]);
    car.happen_all(events);
    car.play(&[(&[KeyOff], PENDING)]);
    car
}

/// The same, and one driving cycle between without similar conditions.
fn pending_longer(events: &[Event]) -> Car {
    let mut car = pending_by(events);
    car.play(&[(&[KeyOn, ELSEWHERE, Start, Idle(1), KeyOff], PENDING)]);
    car
}

fn lamp(car: &Car) -> Lamp {
    car.memory.lamp(car.now)
}

/// (3.4.1)(A)(i): three times inside the area of the test, or once anywhere else.
#[test]
fn catalyst_damage_is_pending_after_three_exceedances_in_the_area_or_one_outside() {
    wide_car().play(&[
        (&[KeyOn, Start, A_INSIDE, A_INSIDE], NOTHING),
        (&[A_INSIDE], PENDING),
    ]);
    wide_car().play(&[(&[KeyOn, Start, A_OUTSIDE], PENDING)]);
    // Two today and one tomorrow are not three.
    wide_car().play(&[(
        &[KeyOn, Start, A_INSIDE, A_INSIDE, Stop, Start, A_INSIDE],
        NOTHING,
    )]);
}

/// (3.4.1)(B)(i): one exceedance confirms in the very next driving cycle, whatever the conditions.
#[test]
fn catalyst_damage_is_confirmed_by_one_exceedance_in_the_next_driving_cycle() {
    pending_by(&[A_OUTSIDE]).play(&[(&[KeyOn, ELSEWHERE, Start, A_INSIDE], BOTH)]);
}

/// Same clause: in a later driving cycle it takes similar conditions, met before or after.
#[test]
fn catalyst_damage_is_confirmed_later_under_similar_conditions() {
    pending_longer(&[A_OUTSIDE]).play(&[
        (&[KeyOn, ELSEWHERE, Start, A_INSIDE], PENDING),
        (&[THERE, Idle(1)], BOTH),
    ]);
    pending_longer(&[A_OUTSIDE]).play(&[(&[KeyOn, THERE, Start, A_INSIDE], BOTH)]);
    pending_longer(&[A_OUTSIDE]).play(&[
        (&[KeyOn, ELSEWHERE, Start, A_INSIDE, KeyOff], PENDING),
        (&[KeyOn, THERE, Start, A_INSIDE], BOTH),
    ]);
}

/// (3.4.1)(B): with an emission-level code pending from an earlier driving cycle it is confirmed at once.
#[test]
fn catalyst_damage_confirms_a_pending_emission_code_at_once() {
    for stored in [&[B_START][..], &[B_LATER; 4]] {
        pending_longer(stored).play(&[(&[KeyOn, ELSEWHERE, Start, A_INSIDE], BOTH)]);
    }
    // In the driving cycle that stored it, it is not.
    wide_car().play(&[(&[KeyOn, Start, B_START, A_OUTSIDE], PENDING)]);
}

/// (3.4.2)(A): once in the first 1000 revolutions; confirmed when it recurs there in any later driving cycle.
#[test]
fn emission_misfire_at_the_start_is_confirmed_at_a_later_start() {
    pending_longer(&[B_START]).play(&[(&[KeyOn, ELSEWHERE, Start, B_START], BOTH)]);
    // Four in the later part of the next driving cycle do as well, one does not.
    pending_by(&[B_START]).play(&[
        (&[KeyOn, ELSEWHERE, Start, B_LATER, B_LATER, B_LATER], PENDING),
        (&[B_LATER], BOTH),
    ]);
    // What was found later is not confirmed by one at the start.
    pending_by(&[B_LATER; 4]).play(&[
        (&[KeyOn, THERE, Start, B_START, KeyOff], PENDING),
        (&[KeyOn, ELSEWHERE, Start, B_START], BOTH),
    ]);
}

/// (3.4.2)(B): no later than the fourth exceedance of a driving cycle, and four again.
#[test]
fn emission_misfire_needs_four_exceedances_each_time() {
    wide_car().play(&[
        (&[KeyOn, Start, B_LATER, B_LATER, B_LATER], NOTHING),
        (&[KeyOff, KeyOn, Start, B_LATER], NOTHING),
        (&[B_LATER, B_LATER, B_LATER], PENDING),
        (&[B_LATER, B_LATER, B_LATER, B_LATER], PENDING),
        (
            &[KeyOff, KeyOn, ELSEWHERE, Start, B_LATER, B_LATER, B_LATER],
            PENDING,
        ),
        (&[B_LATER], BOTH),
    ]);
    pending_longer(&[B_LATER; 4]).play(&[
        (
            &[
                KeyOn, ELSEWHERE, Start, B_LATER, B_LATER, B_LATER, B_LATER, KeyOff,
            ],
            PENDING,
        ),
        (&[KeyOn, Start, B_LATER, B_LATER, B_LATER, B_LATER], PENDING),
        (&[THERE, Idle(1)], BOTH),
    ]);
}

/// (3.4.1)(C), (3.4.2): a driving cycle with similar conditions and without exceedance erases the pending code; too
/// few exceedances to decide keep it.
#[test]
fn a_pending_misfire_code_goes_with_a_clean_similar_cycle() {
    let mut car = pending_by(&[A_OUTSIDE]);
    car.play(&[
        (
            &[KeyOn, ELSEWHERE, Start, Idle(1), Pass(CYLINDER_1), KeyOff],
            PENDING,
        ),
        (
            &[KeyOn, THERE, Start, Idle(1), Pass(CYLINDER_1), B_LATER, KeyOff],
            PENDING,
        ),
        (&[KeyOn, Start, Idle(1), Pass(CYLINDER_1), KeyOff], NOTHING),
    ]);
}

/// (3.4.1)(C): or 80 driving cycles without similar conditions.
#[test]
fn a_pending_misfire_code_expires_after_80_driving_cycles() {
    let mut car = pending_by(&[A_OUTSIDE]);
    for _ in 0..79 {
        car.play(&[(&[KeyOn, ELSEWHERE, Start, Idle(1), KeyOff], PENDING)]);
    }
    car.play(&[(&[KeyOn, Start, Idle(1), KeyOff], NOTHING)]);
}

/// (3.4.5) (from memory): three driving cycles in sequence with similar conditions and without any exceedance.
#[test]
fn the_mil_goes_out_after_three_clean_similar_cycles() {
    let clean = [KeyOn, THERE, Start, Idle(1), Pass(CYLINDER_1), KeyOff];
    let mut car = pending_by(&[A_OUTSIDE]);
    car.happen_all(&[KeyOn, Start, A_OUTSIDE, KeyOff]);
    let healing = "- | P0301 | P0301 | on | P0301";
    car.play(&[
        (
            &[KeyOn, ELSEWHERE, Start, Idle(1), Pass(CYLINDER_1), KeyOff],
            BOTH,
        ),
        (&clean, healing),
        (&clean, healing),
        // Not enough to decide, but not without exceedance.
        (
            &[KeyOn, THERE, Start, Idle(1), Pass(CYLINDER_1), B_LATER, KeyOff],
            healing,
        ),
        (&clean, healing),
        (&clean, healing),
        (&clean, "- | P0301 | - | off | P0301"),
    ]);
}

/// (3.4.4) (from memory): speed, load and warm-up state of the first event that stored the pending code.
#[test]
fn the_conditions_of_the_first_event_are_kept() {
    let mut car = wide_car();
    car.happen_all(&[KeyOn, THERE, Start, B_LATER, B_LATER, B_LATER, ELSEWHERE, B_LATER]);
    let first = car.point();
    car.happen_all(&[THERE, B_LATER, A_OUTSIDE, KeyOff, KeyOn, Start, A_OUTSIDE]);
    let status = car.memory.status(CYLINDER_1).unwrap();
    assert_eq!((status.similar_to, status.confirmed), (Some(first), true));
}

/// Each cylinder is a code of its own.
#[test]
fn cylinders_are_counted_apart() {
    let other = Misfire(CYLINDER_2, MisfireWindow::EmissionLater);
    wide_car().play(&[
        (&[KeyOn, Start, B_LATER, B_LATER, other, other, other], NOTHING),
        (&[other], "P0302 | - | - | off | P0302"),
    ]);
}

/// (3.4.1)(A)(ii): once pending, the lamp blinks while the misfire is there, and may be dark in pauses; the status
/// bit goes with it (the rule does not say: our choice).
#[test]
fn the_lamp_blinks_while_misfire_endangers_the_catalyst() {
    let mut car = wide_car();
    car.happen_all(&[KeyOn, Start, Catalyst(CatalystMisfire::Present), A_INSIDE]);
    assert_eq!((lamp(&car), car.memory.mil_commanded()), (Lamp::Off, false));
    car.happen_all(&[A_INSIDE]);
    let effects = car.happen(A_INSIDE);
    assert!(effects.contains(Effect::MisfireLamp(Lamp::Blinking)));
    assert_eq!((lamp(&car), car.memory.mil_commanded()), (Lamp::Blinking, true));
    assert_eq!(car.memory.confirmed_count(), 0);
    let effects = car.happen(Catalyst(CatalystMisfire::Gone));
    assert!(effects.contains(Effect::MisfireLamp(Lamp::Off)));
    assert_eq!((lamp(&car), car.memory.mil_commanded()), (Lamp::Off, false));
    car.happen(Catalyst(CatalystMisfire::Present));
    assert_eq!(lamp(&car), Lamp::Blinking);
    // The driving cycle ends, and the misfire with it; a standing engine has none.
    car.happen_all(&[Stop]);
    assert_eq!(lamp(&car), Lamp::Off);
    assert!(car.happen(Catalyst(CatalystMisfire::Present)).is_empty());
}

/// (3.4.1)(A)(ii): once per second.
#[test]
fn blinking_is_once_per_second() {
    let shining: std::vec::Vec<bool> = (0..8)
        .map(|quarter| Lamp::Blinking.shines(CarInstant::from_millis(250 * quarter)))
        .collect();
    assert_eq!(shining, [true, true, false, false, true, true, false, false]);
    assert!(Lamp::On.shines(CarInstant::from_millis(700)) && !Lamp::Off.shines(CarInstant::ZERO));
}

/// (3.4.1)(A)(ii)b, (B): lit for another fault, or confirmed, the lamp blinks during the misfire and is steady
/// after it.
#[test]
fn a_lit_lamp_blinks_and_returns_to_steady() {
    let mut car = wide_car();
    for _ in 0..2 {
        car.happen_all(&[KeyOn, Start, Fail(NO_SPEED), KeyOff]);
    }
    car.happen_all(&[KeyOn, Start, Catalyst(CatalystMisfire::Present)]);
    assert_eq!(lamp(&car), Lamp::On, "not pending yet");
    car.happen(A_OUTSIDE);
    assert_eq!(lamp(&car), Lamp::Blinking);
    car.happen(Catalyst(CatalystMisfire::Gone));
    assert_eq!(lamp(&car), Lamp::On);

    let mut car = pending_by(&[A_OUTSIDE]);
    car.happen_all(&[KeyOn, Start, Catalyst(CatalystMisfire::Present), A_INSIDE]);
    assert_eq!((lamp(&car), car.stored().as_str()), (Lamp::Blinking, BOTH));
    car.happen(Catalyst(CatalystMisfire::Gone));
    assert_eq!(lamp(&car), Lamp::On);
}

/// (3.4.1)(D) (from memory): with the cylinder's fuel cut the lamp may be steady; emission-level misfire alone never
/// makes it blink.
#[test]
fn a_cut_off_cylinder_lights_the_lamp_steadily() {
    let mut car = wide_car();
    car.happen_all(&[KeyOn, Start, A_OUTSIDE, Catalyst(CatalystMisfire::CutOff)]);
    assert_eq!((lamp(&car), car.memory.mil_commanded()), (Lamp::On, true));
    let mut car = pending_by(&[B_START]);
    car.happen_all(&[KeyOn, Start, Catalyst(CatalystMisfire::Present)]);
    assert_eq!(lamp(&car), Lamp::Off);
}

/// Blinking for a pending code is no lit MIL to the counters of distance and time with it (our choice).
#[test]
fn blinking_counts_no_distance() {
    let mut car = wide_car();
    car.happen_all(&[KeyOn, Start, A_OUTSIDE, Catalyst(CatalystMisfire::Present)]);
    car.happen(Drive(300, 72.0));
    assert_eq!(car.memory.counters().distance_with_mil, 0);
    assert_eq!(car.memory.permanent().next(), None);
}

/// (3.4.3) (from memory): its frame takes the place of any that is not of misfire or fuel system.
#[test]
fn misfire_takes_the_freeze_frame() {
    wide_car().play(&[
        (&[KeyOn, Start, Fail(NO_SPEED)], "P0500 | - | - | off | P0500"),
        (&[A_OUTSIDE], "P0500 P0301 | - | - | off | P0301"),
        (&[Fail(LEAN)], "P0500 P0301 P0171 | - | - | off | P0301"),
    ]);
}

/// A misfire monitor that counts by itself may report failures; facts about codes of other logics are ignored.
#[test]
fn a_plain_failure_of_misfire_is_an_emission_level_one() {
    let mut car = wide_car();
    car.play(&[
        (
            &[KeyOn, Start, Misfire(LEAN, MisfireWindow::EmissionAtStart)],
            NOTHING,
        ),
        (&[Fail(CYLINDER_1), KeyOff], PENDING),
        (&[KeyOn, ELSEWHERE, Start, Idle(1), KeyOff], PENDING),
        (&[KeyOn, Start, Fail(CYLINDER_1), KeyOff], PENDING),
        (&[KeyOn, THERE, Start, Fail(CYLINDER_1)], BOTH),
    ]);
    assert!(car.memory.readiness_this_cycle().is_supported(Group::Misfire));
    car.happen_all(&[Pass(MISFIRE_RANDOM), Pass(CYLINDER_2)]);
    assert!(car.memory.readiness_this_cycle().is_complete(Group::Misfire));
}
