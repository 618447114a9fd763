//! Heaters, by their current.

use super::*;
use crate::monitors::{
    FRONT_HEATER_1, FRONT_HEATER_2, P0135, P0141, P0155, P0161, REAR_HEATER_1, REAR_HEATER_2, oxygen::Heater,
};

/// Both heaters of a bank, A; the other bank is well.
fn draws(bank: usize, [front, rear]: [f64; 2]) -> impl Fn(u32) -> Signals + Copy {
    move |step| {
        let mut signals = warm(step);
        signals.banks[bank].heater_front = Current::from_amperes(front);
        signals.banks[bank].heater_rear = Current::from_amperes(rear);
        signals
    }
}

/// Published: a fault outside 0.2 to 1.5 A, 0.6 to 0.7 A usual (2002 model year); ours begins at 0.25 A.
#[test]
fn a_current_outside_its_range_fails() {
    for (amperes, good) in [
        (0.0, false),
        (0.24, false),
        (0.26, true),
        (0.65, true),
        (1.49, true),
        (1.51, false),
    ] {
        for (front, verdicts) in [
            (true, run::<Heater<0, 0>>(12, draws(0, [amperes, 0.65]))),
            (false, run::<Heater<0, 1>>(12, draws(0, [0.65, amperes]))),
        ] {
            let (code, monitor) = if front {
                (P0135, FRONT_HEATER_1)
            } else {
                (P0141, REAR_HEATER_1)
            };
            let expected: [&[Dtc]; 2] = if good { [&[], &[code]] } else { [&[code], &[]] };
            assert_eq!(
                [verdicts.failed(), verdicts.passed()],
                expected,
                "{amperes} A, front: {front}"
            );
            assert!(verdicts.completed(monitor));
            let [(_, figure)] = verdicts.figures()[..] else {
                panic!("one figure");
            };
            assert!((figure - amperes).abs() < 0.02, "{figure} A");
        }
    }
}

#[test]
fn each_bank_has_its_codes() {
    let ran = run::<Heater<1, 0>>(12, draws(1, [0.0, 0.65]));
    assert_eq!(ran.failed(), [P0155]);
    assert!(ran.completed(FRONT_HEATER_2));
    let ran = run::<Heater<1, 1>>(12, draws(1, [0.65, 0.0]));
    assert_eq!(ran.failed(), [P0161]);
    assert!(ran.completed(REAR_HEATER_2));
}

#[test]
fn a_moment_decides_nothing() {
    let flickers = |step: u32| draws(0, [if step % 100 < 95 { 0.0 } else { 0.65 }, 0.65])(step);
    assert_eq!(run::<Heater<0, 0>>(60, flickers).said, []);
    // What breaks after it has passed is found too.
    let mut monitor = Heater::<0, 0>::default();
    run_on(&mut monitor, 12, Inhibits::default(), draws(0, [0.65; 2]));
    let ran = run_on(&mut monitor, 12, Inhibits::default(), draws(0, [0.0, 0.65]));
    assert_eq!(ran.failed(), [P0135]);
}

/// Published: after 60 s of running, above 10 V (2002 model year).
#[test]
fn it_waits_for_a_running_engine_and_its_supply() {
    waits_for::<Heater<0, 0>>(
        40,
        &[
            ("early", |signals| {
                signals.run_time = Some(Duration::from_secs(59))
            }),
            ("weak supply", |signals| {
                signals.supply = Voltage::from_volts(10.4)
            }),
        ],
        || std::boxed::Box::new(draws(0, [0.0, 0.65])),
    );
    let mut monitor = Heater::<0, 0>::default();
    let ran = run_on(&mut monitor, 40, blocked(FRONT_HEATER_1), draws(0, [0.0, 0.65]));
    assert_eq!((ran.said.len(), ran.state), (0, State::Disabled));
}
