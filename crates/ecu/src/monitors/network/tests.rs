extern crate std;

use core::time::Duration;
use std::vec::Vec;

use twotrip_units::{AngularSpeed, Ratio, Speed, Voltage};

use super::*;

fn running() -> Signals {
    Signals {
        run_time: Some(Duration::from_secs(100)),
        supply: Voltage::from_volts(14.0),
        engine_speed: AngularSpeed::from_rpm(2500.0),
        load: Ratio::from_percent(60.0),
        in_gear: true,
        ..Signals::default()
    }
}

/// What a monitor says of its codes over some tenths of a second, each with the number of its step.
fn said(monitor: &mut impl Monitor, pieces: &[(usize, Signals)]) -> Vec<(usize, TestResult)> {
    let mut said = Vec::new();
    let mut step = 0;
    for &(count, signals) in pieces {
        for _ in 0..count {
            step += 1;
            monitor.step(&signals, Inhibits::default(), &mut |result| {
                if matches!(result, TestResult::Passed(_) | TestResult::Failed(_)) {
                    said.push((step, result));
                }
            });
        }
    }
    said
}

#[test]
fn a_silent_gearbox_fails_once_and_heals_after_ten_good_seconds() {
    let lost = Signals {
        gearbox_lost: true,
        gearbox_silence: 0.6,
        ..running()
    };
    let found = said(
        &mut GearboxMessages::default(),
        &[
            (50, running()),
            (3, lost),
            (50, running()),
            (4, lost),
            (200, running()),
        ],
    );
    assert_eq!(
        found,
        [
            (20, TestResult::Passed(U0101)),
            (51, TestResult::Failed(U0101)),
            (207, TestResult::Passed(U0101))
        ]
    );
}

#[test]
fn a_weak_supply_and_the_first_seconds_excuse_the_gearbox() {
    let lost = Signals {
        gearbox_lost: true,
        ..running()
    };
    for excused in [
        Signals {
            supply: Voltage::from_volts(10.9),
            ..lost
        },
        Signals {
            run_time: Some(Duration::from_millis(1900)),
            ..lost
        },
    ] {
        assert_eq!(said(&mut GearboxMessages::default(), &[(100, excused)]), []);
    }
}

#[test]
fn driven_without_speed_fails_after_five_seconds() {
    let rolling = Signals {
        vehicle_speed: Speed::from_kilometres_per_hour(40.0),
        ..running()
    };
    let fail = |signals: Signals, steps| {
        let found = said(&mut VehicleSpeed::default(), &[(100, signals)]);
        assert_eq!(found, [(steps, TestResult::Failed(P0500))]);
    };
    fail(running(), 50);
    let coasting = Signals {
        load: Ratio::from_percent(10.0),
        fuel_cut: true,
        ..running()
    };
    fail(coasting, 40);
    for excused in [
        rolling,
        Signals {
            brake: true,
            ..running()
        },
        Signals {
            in_gear: false,
            ..running()
        },
        Signals {
            engine_speed: AngularSpeed::from_rpm(1900.0),
            ..running()
        },
        Signals {
            load: Ratio::from_percent(39.0),
            ..running()
        },
        Signals {
            gearbox_lost: true,
            ..running()
        },
        Signals {
            gearbox_silence: 0.2,
            ..coasting
        },
        Signals {
            engine_speed: AngularSpeed::from_rpm(4100.0),
            ..coasting
        },
    ] {
        let found = said(&mut VehicleSpeed::default(), &[(300, excused)]);
        assert!(
            !found
                .iter()
                .any(|(_, result)| matches!(result, TestResult::Failed(_))),
            "{excused:?}"
        );
    }
    let found = said(&mut VehicleSpeed::default(), &[(60, running()), (100, rolling)]);
    assert_eq!(
        found,
        [(50, TestResult::Failed(P0500)), (110, TestResult::Passed(P0500))]
    );
}
