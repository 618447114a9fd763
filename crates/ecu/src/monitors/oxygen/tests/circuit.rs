//! The front sensor's circuit: out of range, stuck, without activity.

use super::*;
use crate::monitors::{
    FRONT_CIRCUIT_1, FRONT_CIRCUIT_2, P0131, P0132, P0134, P0151, P0152, P0154, P2195, P2196, P2197, P2198,
    oxygen::FrontCircuit,
};

/// A front sensor that stays between two voltages, the loop's trim, and what the rear sensor shows.
fn stands(front: [f64; 2], trim: f64, rear: f64) -> impl Fn(u32) -> Signals + Copy {
    move |step| {
        let mut signals = warm(step);
        for bank in &mut signals.banks {
            bank.oxygen_front = Voltage::from_volts(front[1]);
            bank.oxygen_rear = Voltage::from_volts(rear);
            bank.short_term = Ratio::from_percent(trim);
            bank.seen.front = front;
        }
        signals
    }
}

/// Published: stuck lean is never above 0.55 V in 9.6 s with the trim at +25 % (2006 model year); a short to ground stays
/// below 0.05 to 0.1 V.
#[test]
fn a_signal_that_is_stuck_is_told_from_one_that_is_shorted() {
    for (what, front, trim, rear, code) in [
        ("to ground", [0.0, 0.04], 25.0, 0.8, Some(P0131)),
        ("stuck lean", [0.02, 0.2], 25.0, 0.8, Some(P2195)),
        (
            "stuck lean, biased by all it gives",
            [0.36, 0.42],
            25.0,
            0.8,
            Some(P2195),
        ),
        (
            "an input that nothing drives",
            [0.445, 0.455],
            25.0,
            0.8,
            Some(P0134),
        ),
        ("lean, and rich for a moment", [0.02, 0.56], 25.0, 0.8, None),
        ("lean, not at the limit", [0.02, 0.2], 23.0, 0.8, None),
        ("lean, and the rear sensor agrees", [0.02, 0.2], 25.0, 0.1, None),
        ("stuck rich", [0.8, 0.9], -25.0, 0.1, Some(P2196)),
        ("rich, and lean for a moment", [0.34, 0.9], -25.0, 0.1, None),
        ("rich, and the rear sensor agrees", [0.8, 0.9], -25.0, 0.7, None),
        ("above what a sensor gives", [0.8, 1.25], 0.0, 0.6, Some(P0132)),
        ("as high as a sensor gives", [0.7, 1.0], 0.0, 0.6, None),
        ("without activity", [0.44, 0.46], 0.0, 0.6, Some(P0134)),
        ("a little activity", [0.34, 0.46], 0.0, 0.6, None),
    ] {
        let ran = run::<FrontCircuit<0>>(70, stands(front, trim, rear));
        assert_eq!(ran.failed(), code.into_iter().collect::<Vec<_>>(), "{what}");
        assert_eq!(
            ran.requests.open_loop,
            [code.is_some(), false],
            "{what}: the loop goes by it no more"
        );
        assert_eq!(ran.completed(FRONT_CIRCUIT_1), code.is_some(), "{what}");
    }
}

#[test]
fn each_has_its_time() {
    for (front, trim, rear, seconds) in [
        ([0.0, 0.04], 25.0, 0.8, 10),
        ([0.02, 0.2], 25.0, 0.8, 10),
        ([0.8, 1.25], 0.0, 0.6, 10),
        ([0.44, 0.46], 0.0, 0.6, 60),
    ] {
        let signals = stands(front, trim, rear);
        assert_eq!(
            run::<FrontCircuit<0>>(seconds - 1, signals).failed(),
            [],
            "{front:?}"
        );
        assert_eq!(
            run::<FrontCircuit<0>>(seconds + 1, signals).failed().len(),
            1,
            "{front:?}"
        );
    }
}

/// A sensor that is cold gives no activity: its heater has to draw, and the engine to have run for two minutes.
#[test]
fn no_activity_is_a_fault_of_a_sensor_that_should_be_hot() {
    let signals = stands([0.44, 0.46], 0.0, 0.6);
    let cold = |step| {
        let mut signals = signals(step);
        signals.banks[0].heater_front = Current::from_amperes(0.2);
        signals
    };
    assert_eq!(run::<FrontCircuit<0>>(90, cold).failed(), []);
    let early = |step: u32| Signals {
        run_time: Some(Duration::from_millis(100) * step),
        ..signals(step)
    };
    assert_eq!(run::<FrontCircuit<0>>(170, early).failed(), []);
    assert_eq!(run::<FrontCircuit<0>>(190, early).failed(), [P0134]);
}

#[test]
fn a_sensor_that_has_been_on_both_sides_passes() {
    let swings = |step: u32| stands(if step % 8 < 4 { [0.1, 0.2] } else { [0.65, 0.8] }, 0.0, 0.6)(step);
    let ran = run::<FrontCircuit<0>>(5, swings);
    assert_eq!(ran.passed(), [P0131, P0132, P0134, P2195, P2196]);
    assert!(ran.completed(FRONT_CIRCUIT_1));
    let open_loop = |step| {
        let mut signals = swings(step);
        signals.banks[0].closed_loop = false;
        signals
    };
    assert_eq!(run::<FrontCircuit<0>>(5, open_loop).said, []);
    // It passed, and goes wrong later.
    let mut monitor = FrontCircuit::<0>::default();
    run_on(&mut monitor, 5, Inhibits::default(), swings);
    let later = run_on(
        &mut monitor,
        12,
        Inhibits::default(),
        stands([0.0, 0.04], 25.0, 0.8),
    );
    assert_eq!(later.failed(), [P0131]);
}

#[test]
fn each_bank_has_its_codes() {
    for (front, trim, rear, code) in [
        ([0.0, 0.04], 25.0, 0.8, P0151),
        ([0.8, 1.25], 0.0, 0.6, P0152),
        ([0.44, 0.46], 0.0, 0.6, P0154),
        ([0.02, 0.2], 25.0, 0.8, P2197),
        ([0.8, 0.9], -25.0, 0.1, P2198),
    ] {
        let ran = run::<FrontCircuit<1>>(70, stands(front, trim, rear));
        assert_eq!(ran.failed(), [code]);
        assert_eq!(ran.requests.open_loop, [false, true]);
        assert!(ran.completed(FRONT_CIRCUIT_2));
    }
}

#[test]
fn it_waits_for_a_running_engine_and_its_supply() {
    waits_for::<FrontCircuit<0>>(
        40,
        &[
            ("early", |signals| {
                signals.run_time = Some(Duration::from_secs(59))
            }),
            ("weak supply", |signals| {
                signals.supply = Voltage::from_volts(10.4)
            }),
        ],
        || std::boxed::Box::new(stands([0.0, 0.04], 25.0, 0.8)),
    );
    let mut monitor = FrontCircuit::<0>::default();
    let ran = run_on(
        &mut monitor,
        40,
        blocked(FRONT_CIRCUIT_1),
        stands([0.0, 0.04], 25.0, 0.8),
    );
    assert_eq!((ran.said.len(), ran.state), (0, State::Disabled));
}
