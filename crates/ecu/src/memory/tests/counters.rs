//! PIDs $21, $30, $31, $4D, $4E: SAE J1979, from memory; zero after a clear also in the public source of
//! J1699-3.

use super::*;

/// $30: a rise of 22.2 K and 71.1 °C, both, in one driving cycle, counted once (1968.2(c), from memory).
#[test]
fn a_warm_up_needs_rise_and_temperature() {
    let warm_ups = |events: &[Event]| {
        let mut car = Car::new();
        car.happen_all(&[KeyOn, Start]);
        car.happen_all(events);
        car.memory.counters().warm_ups_since_clear
    };
    assert_eq!(warm_ups(&[Coolant(20.0), Idle(1), Coolant(70.0), Idle(1)]), 0);
    assert_eq!(warm_ups(&[Coolant(20.0), Idle(1), Coolant(72.0), Idle(1)]), 1);
    assert_eq!(warm_ups(&[Coolant(60.0), Idle(1), Coolant(80.0), Idle(1)]), 0);
    assert_eq!(warm_ups(&[Coolant(60.0), Idle(1), Coolant(83.0), Idle(1)]), 1);
    assert_eq!(warm_ups(&[WarmUp, WarmUp, WarmUp]), 1);
    assert_eq!(warm_ups(&[WarmUp, Stop, Start, Idle(1), Stop, Start, WarmUp]), 2);
    assert_eq!(warm_ups(&[Stop, WarmUp]), 0, "the engine does not run");
}

/// What the ECU works out in place of a sensor that it does not believe is no temperature that the coolant reached: not
/// at the start, not at the end (reading of 1968.2(c)).
#[test]
fn a_warm_up_is_measured() {
    for (events, count) in [
        (
            [ModelledCoolant(20.0), Idle(1), ModelledCoolant(90.0), Idle(1)],
            0,
        ),
        ([Coolant(20.0), Idle(1), ModelledCoolant(90.0), Idle(1)], 0),
        ([ModelledCoolant(20.0), Idle(1), Coolant(90.0), Idle(1)], 0),
        ([Coolant(20.0), Idle(1), Coolant(90.0), Idle(1)], 1),
    ] {
        let mut car = Car::new();
        car.happen_all(&[KeyOn, Start]);
        car.happen_all(&events);
        let counters = |car: &Car| car.memory.counters().warm_ups_since_clear;
        assert_eq!(counters(&car), count, "{events:?}");
        // The next driving cycle has its own start.
        car.happen_all(&[Stop, Start, WarmUp]);
        assert_eq!(counters(&car), count + 1, "{events:?}");
    }
    // The circuit fails for a while and is believed again.
    let mut car = Car::new();
    car.happen_all(&[
        KeyOn,
        Start,
        Coolant(20.0),
        Idle(1),
        ModelledCoolant(75.0),
        Idle(1),
    ]);
    car.happen_all(&[Coolant(72.0), Idle(1)]);
    assert_eq!(car.memory.counters().warm_ups_since_clear, 1);
}

#[test]
fn warm_ups_hold_at_255() {
    let mut car = Car::new();
    for _ in 0..300 {
        cycle(&mut car, &[WarmUp]);
    }
    assert_eq!(car.memory.counters().warm_ups_since_clear, 255);
}

/// $31 and $4E: kilometres and engine minutes; a rolling car with the engine off gains distance only.
#[test]
fn distance_and_time_since_the_clear() {
    let mut car = Car::new();
    car.happen_all(&[KeyOn, Start, Drive(100, 35.0)]);
    assert_eq!(car.memory.counters().distance_since_clear, 0, "972 m");
    car.happen(Drive(500, 72.0));
    let counters = car.memory.counters();
    assert_eq!(
        (counters.distance_since_clear, counters.time_since_clear),
        (10, 10)
    );
    car.happen_all(&[Stop, Coast(60, 72.0)]);
    let counters = car.memory.counters();
    assert_eq!(
        (counters.distance_since_clear, counters.time_since_clear),
        (12, 10)
    );
    assert_eq!((counters.distance_with_mil, counters.time_with_mil), (0, 0));
    car.happen(Clear);
    assert_eq!(car.memory.counters(), crate::memory::Counters::default());
}

#[test]
fn distance_and_time_hold_at_their_limit() {
    let mut car = Car::new();
    car.conditions.span = Duration::from_secs(3600);
    car.happen_all(&[KeyOn, Start, Drive(70, 100.0)]);
    assert_eq!(car.memory.counters().distance_since_clear, 65_535);
    car.happen(Drive(70, 100.0));
    let counters = car.memory.counters();
    assert_eq!(
        (counters.distance_since_clear, counters.time_since_clear),
        (65_535, 65_535)
    );
}

/// $21 and $4D: while the MIL is on; held when it goes out; from zero when it comes on again.
#[test]
fn distance_with_the_mil_on() {
    let mut car = Car::new();
    let with_mil = |car: &Car| {
        (
            car.memory.counters().distance_with_mil,
            car.memory.counters().time_with_mil,
        )
    };
    cycle(&mut car, &[Fail(GROSS_LEAK), Drive(120, 72.0)]);
    assert_eq!(with_mil(&car), (0, 0));
    cycle(&mut car, &[Fail(GROSS_LEAK), Drive(300, 72.0)]);
    assert_eq!(with_mil(&car), (6, 5));
    for _ in 0..3 {
        cycle(&mut car, &[Pass(GROSS_LEAK)]);
    }
    assert!(!car.memory.mil_commanded());
    cycle(&mut car, &[Drive(300, 72.0)]);
    assert_eq!(with_mil(&car), (6, 5));
    cycle(&mut car, &[Fail(GROSS_LEAK)]);
    assert_eq!(with_mil(&car), (6, 5));
    car.happen_all(&[KeyOn, Start, Fail(GROSS_LEAK)]);
    assert_eq!(with_mil(&car), (0, 0));
    car.happen(Drive(60, 72.0));
    assert_eq!(with_mil(&car), (1, 1));
    car.happen_all(&[KeyOff, KeyOn, Clear]);
    assert_eq!(with_mil(&car), (0, 0));
}

/// $21 and $4D forget after 40 warm-up cycles with the MIL off, counted from when it went out; $30, $31, $4E
/// count on from the clear.
#[test]
fn forty_warm_ups_with_the_mil_off_forget_the_distance() {
    let mut car = Car::new();
    for _ in 0..20 {
        cycle(&mut car, &[WarmUp]);
    }
    for _ in 0..2 {
        cycle(&mut car, &[Fail(GROSS_LEAK)]);
    }
    for _ in 0..3 {
        cycle(&mut car, &[WarmUp, Pass(GROSS_LEAK), Drive(100, 72.0)]);
    }
    for _ in 0..39 {
        cycle(&mut car, &[WarmUp]);
    }
    assert_eq!(car.memory.counters().distance_with_mil, 6);
    cycle(&mut car, &[WarmUp]);
    let counters = car.memory.counters();
    assert_eq!((counters.distance_with_mil, counters.time_with_mil), (0, 0));
    assert_eq!(
        (counters.distance_since_clear, counters.warm_ups_since_clear),
        (6, 63)
    );
    assert_eq!(car.memory.confirmed_count(), 0);
}

/// PID $01 A6-0: confirmed codes, MIL on or off, at most 127.
#[test]
fn confirmed_codes_are_counted_with_the_mil_off_too() {
    let mut car = confirmed_car(GROSS_LEAK);
    cycle(&mut car, &[Fail(NO_MIL)]);
    assert_eq!(car.memory.confirmed_count(), 1);
    cycle(&mut car, &[Fail(NO_MIL)]);
    assert_eq!(car.memory.confirmed_count(), 2);
}
