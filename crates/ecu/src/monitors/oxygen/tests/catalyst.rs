//! The catalyst, by the length of the rear sensor's way over the front's.

use std::boxed::Box;

use super::*;
use crate::monitors::{CATALYST_1, CATALYST_2, P0420, P0430, oxygen::Catalyst};

/// Both rear sensors go so far for each way of the front ones.
fn copies(index: f64, front: Swing) -> Box<dyn FnMut(u32) -> Signals> {
    let mut sensors = Sensors::new(
        move |seconds| front.volts(seconds),
        move |seconds| 0.6 + index * (front.volts(seconds) - 0.46),
    );
    Box::new(move |step| {
        let mut signals = warm(step);
        let seen = sensors.seen();
        signals.banks.iter_mut().for_each(|bank| bank.seen = seen);
        signals
    })
}

fn fails(index: f64) -> bool {
    let ran = run::<Catalyst<0>>(125, copies(index, GOOD));
    assert!(ran.completed(CATALYST_1), "{index}");
    let [(_, figure)] = ran.figures()[..] else {
        panic!("one figure: {:?}", ran.figures());
    };
    assert!((figure - index).abs() < 0.01, "{figure}");
    let failed = ran.failed() == [P0420];
    assert_eq!(ran.passed() == [P0420], !failed, "{index}");
    failed
}

/// Published kinds of this test: signal length over 10 to 20 s (2007 model year), switching ratio near 1 (2003).
#[test]
fn a_rear_sensor_that_copies_the_front_one_fails() {
    for (index, failed) in [
        (0.15, false),
        (0.35, false),
        (0.59, false),
        (0.61, true),
        (0.87, true),
    ] {
        assert_eq!(fails(index), failed, "{index}");
    }
}

#[test]
fn each_bank_has_its_code() {
    let ran = run::<Catalyst<1>>(125, copies(0.8, GOOD));
    assert_eq!(ran.failed(), [P0430]);
    assert!(ran.completed(CATALYST_2));
}

/// One that has failed passes again below 0.50, in the driving cycles that follow until a clear.
#[test]
fn it_takes_more_to_pass_again() {
    let mut monitor = Catalyst::<0>::default();
    let mut cycle = |index: f64, clear: bool| {
        if clear {
            monitor.clear();
        }
        monitor.engine_started(&warm(0), Duration::ZERO, &mut |_| {});
        let ran = run_on(&mut monitor, 125, Inhibits::default(), copies(index, GOOD));
        ran.failed() == [P0420]
    };
    let cycles = [
        (0.55, false),
        (0.65, true),
        (0.55, true),
        (0.49, false),
        (0.55, false),
    ];
    for (index, failed) in cycles {
        assert_eq!(cycle(index, false), failed, "{index}");
    }
    assert!(cycle(0.65, false));
    assert!(!cycle(0.55, true), "cleared");
}

#[test]
fn what_a_slow_front_sensor_shows_is_thrown_away() {
    for front in [
        Swing {
            rise: 0.2,
            period: 1.6,
            ..GOOD
        },
        Swing {
            fall: 0.2,
            period: 1.6,
            ..GOOD
        },
        Swing { period: 2.6, ..GOOD },
        Swing { high: 0.5, ..GOOD },
    ] {
        let ran = run::<Catalyst<0>>(400, copies(0.9, front));
        assert_eq!(ran.said, []);
    }
}

/// Published entries: 1500 to 3000 rpm and 28 to 120 km/h (2003), brick over 500 C at 1720 to 2800 rpm (2013 model year).
#[test]
fn it_waits_for_steady_driving_with_a_hot_catalyst() {
    waits_for::<Catalyst<0>>(
        125,
        &[
            ("cold", |signals| signals.coolant = celsius(69.0)),
            ("a catalyst that is not hot", |signals| {
                signals.banks[0].catalyst = celsius(449.0)
            }),
            ("loop just closed", just_closed),
            ("after a fuel cut", |signals| signals.since_fuel_cut_seconds = 9.0),
            ("slow engine", |signals| rpm(signals, 1190.0)),
            ("fast engine", |signals| rpm(signals, 2810.0)),
            ("in town", |signals| {
                signals.vehicle_speed = Speed::from_kilometres_per_hour(39.0)
            }),
            ("on the motorway", |signals| {
                signals.vehicle_speed = Speed::from_kilometres_per_hour(101.0)
            }),
            ("little air", |signals| air(signals, 4.9)),
            ("much air", |signals| air(signals, 14.1)),
            ("slowing down", hard),
            ("mixture not learned", not_learned),
        ],
        || copies(0.3, GOOD),
    );
    // Hot for a minute, then a minute of measuring.
    assert_eq!(run::<Catalyst<0>>(118, copies(0.3, GOOD)).said, []);
    let mut monitor = Catalyst::<0>::default();
    let ran = run_on(&mut monitor, 125, blocked(CATALYST_1), copies(0.9, GOOD));
    assert_eq!((ran.said.len(), ran.state), (0, State::Disabled));
}
