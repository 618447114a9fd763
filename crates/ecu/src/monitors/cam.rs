//! The phaser of a bank's intake cam: does it go where it is told, and does it go fast enough (13 CCR 1968.2(e)(13), from memory).
//!
//! Limits and conditions as published (service information, 2014 model year): less than 3.4 degrees moved 0.8 s after a step of
//! 12 in a quarter of the steps is slow; an error that adds up to 45 degrees times seconds is off target. The error adds up
//! while the cam stands still: one that crawls is slow, not stuck.

use twotrip_harness::PerBank;
use twotrip_obd::Dtc;
use twotrip_units::Limit;

use super::{
    CAM_PHASER, CAM_PHASER_2, Inhibits, MonitorId, P000A, P000C, P0011, P0012, P0021, P0022, Signals,
    TestResult,
    frame::{Condition, ENGINE_SPEED, Gate, Monitor, OIL, RUN_TIME, Rules, SUPPLY, Test, gated},
};
use crate::control::CAM_VALVES;

/// Of a bank, the first with number 0.
struct Bank {
    rules: Rules,
    monitor: MonitorId,
    /// Lower quartile of the steps.
    moved: Test,
    ahead: Test,
    behind: Test,
}

const fn conditions<const BANK: usize>() -> [Condition; 5] {
    [
        RUN_TIME.at_least(5.0),
        OIL.between(20.0, 110.0),
        ENGINE_SPEED.between(600.0, 5000.0),
        SUPPLY.between(11.0, 16.0),
        Condition::state("the circuits of cam valve and cam sensor", |signals| {
            signals.drivers.is_sound(CAM_VALVES[BANK]) && !signals.circuits.cam_silent[BANK]
        }),
    ]
}
static CONDITIONS: PerBank<[Condition; 5]> = [conditions::<0>(), conditions::<1>()];

const fn bank(
    monitor: &'static [MonitorId; 1],
    conditions: &'static [Condition],
    mid: u8,
    slow: &'static [Dtc; 1],
    [ahead, behind]: [&'static [Dtc; 1]; 2],
) -> Bank {
    Bank {
        rules: Rules {
            pause: Rules::PAUSES,
            ..Rules::once(monitor, conditions)
        },
        monitor: monitor[0],
        moved: Test::new(
            "cam movement 0.8 s after a step of 12 degrees, lower quartile",
            "deg",
        )
        .at_least(3.4)
        .of(slow)
        .reported_as(mid, 0x80, 0x1C),
        ahead: Test::new("cam ahead of its target, degrees times seconds", "deg s")
            .at_most(45.0)
            .of(ahead),
        behind: Test::new("cam behind its target, degrees times seconds", "deg s")
            .at_most(45.0)
            .of(behind),
    }
}
static OF: PerBank<Bank> = [
    bank(
        &[CAM_PHASER],
        &CONDITIONS[0],
        0x35,
        &[P000A],
        [&[P0011], &[P0012]],
    ),
    bank(
        &[CAM_PHASER_2],
        &CONDITIONS[1],
        0x36,
        &[P000C],
        [&[P0021], &[P0022]],
    ),
];
/// What the monitors measure.
pub(super) static TESTS: &[&Test] = &[
    &OF[0].moved,
    &OF[0].ahead,
    &OF[0].behind,
    &OF[1].moved,
    &OF[1].ahead,
    &OF[1].behind,
];

/// Least step, degrees.
const STEP: f64 = 12.0;
/// Steps of 100 ms over which a target may make it, and after which the cam is looked at.
const RISE: usize = 3;
const LOOKED_AT: u32 = 8;
/// How far the target may go on meanwhile, degrees.
const HELD: f64 = 6.0;
/// Steps that decide.
const STEPS: usize = 5;
/// An error below this is none, degrees: what has added up fades then, by this share a step.
const ERROR: f64 = 3.0;
const FADES: f64 = 0.002;
/// A cam that moves this far in a second, or after a step, does not stand, degrees.
const STANDS: f64 = 1.0;
const SECOND: usize = 10;

/// A step under way.
#[derive(Clone, Copy, Debug)]
struct Move {
    from: f64,
    to: f64,
    ticks: u32,
}

/// The monitor of the bank with that number, from 0 on.
#[derive(Clone, Debug, Default)]
pub struct CamPhaser<const BANK: usize> {
    gate: Gate,
    /// Target and place of the last second, the latest first.
    targets: [f64; SECOND],
    places: [f64; SECOND],
    known: usize,
    step: Option<Move>,
    moved: [f64; STEPS],
    count: usize,
    error: f64,
    commanded: bool,
}

impl<const BANK: usize> CamPhaser<BANK> {
    /// Off target: how far, times how long, standing.
    fn add_error(&mut self, error: f64, report: &mut dyn FnMut(TestResult)) -> bool {
        if error.abs() < ERROR {
            self.error *= 1.0 - FADES;
            return false;
        }
        if !self.stands() {
            return false;
        }
        if self.error * error < 0.0 {
            self.error = 0.0;
        }
        self.error += 0.1 * error;
        let test = if error > 0.0 {
            &OF[BANK].behind
        } else {
            &OF[BANK].ahead
        };
        let found = test.found(self.error.abs());
        if !found.passed {
            found.judge(report);
            self.gate.complete(&OF[BANK].rules, report);
        }
        !found.passed
    }

    /// All second long: one that has gone and come back meanwhile does not stand.
    fn stands(&self) -> bool {
        let [least, most] = self
            .places
            .iter()
            .fold([f64::MAX, f64::MIN], |[least, most], place| {
                [least.at_most(*place), most.at_least(*place)]
            });
        self.known == SECOND && most - least < STANDS
    }

    fn watch_steps(&mut self, target: f64, place: f64) {
        if let Some(step) = &mut self.step {
            step.ticks += 1;
            if (target - step.to).abs() > HELD {
                self.step = None;
            } else if step.ticks >= LOOKED_AT {
                let way = step.to - step.from;
                self.moved[self.count] = (place - step.from) * STEP / way;
                self.count += 1;
                self.step = None;
            }
            return;
        }
        if self.known > RISE {
            let from = self.places[RISE];
            let jumped = (target - self.targets[RISE]).abs() >= STEP;
            if jumped && (target - from).abs() >= STEP {
                self.step = Some(Move {
                    from,
                    to: target,
                    ticks: u32::try_from(RISE).unwrap_or(0),
                });
            }
        }
    }
}

impl<const BANK: usize> Monitor for CamPhaser<BANK> {
    gated!(&OF[BANK].rules, forgets all);

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        let away = signals.cam_target[BANK].degrees() > 1.0;
        if away != self.commanded {
            self.commanded = away;
            report(TestResult::Commanded(OF[BANK].monitor, away));
        }
        if !self.gate.step(&OF[BANK].rules, signals, inhibits).runs() {
            self.known = 0;
            self.step = None;
            return;
        }
        let (target, place) = (
            signals.cam_target[BANK].degrees(),
            signals.cam_place[BANK].degrees(),
        );
        self.targets.copy_within(0..SECOND - 1, 1);
        self.places.copy_within(0..SECOND - 1, 1);
        self.targets[0] = target;
        self.places[0] = place;
        self.known = (self.known + 1).min(SECOND);
        if self.add_error(target - place, report) {
            return;
        }
        self.watch_steps(target, place);
        if self.count == STEPS && self.moved.iter().all(|moved| moved.abs() < STANDS) {
            // It stands: the error will tell.
            self.count = 0;
        }
        if self.count == STEPS {
            let mut sorted = self.moved;
            sorted.sort_unstable_by(f64::total_cmp);
            OF[BANK]
                .moved
                .judge(sorted[STEPS / 4].within(-99.0, 99.0), report);
            for &dtc in OF[BANK].ahead.codes.iter().chain(OF[BANK].behind.codes) {
                report(TestResult::Passed(dtc));
            }
            self.gate.complete(&OF[BANK].rules, report);
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use twotrip_units::{Angle, AngularSpeed, Temperature, Voltage};

    use super::*;
    use crate::monitors::driven::run;

    /// A warm engine at speed, with both cams where they are to stand.
    fn at_degrees(target: f64) -> Signals {
        Signals {
            run_time: Some(core::time::Duration::from_secs(60)),
            oil: Temperature::from_celsius(80.0),
            engine_speed: AngularSpeed::from_rpm(1500.0),
            supply: Voltage::from_volts(14.0),
            cam_target: [Angle::from_degrees(target); 2],
            cam_place: [Angle::from_degrees(target); 2],
            ..Signals::default()
        }
    }

    /// City driving: 12 s home, 8 s at 15 degrees, with a cam that goes at so many degrees a second from `place`; that of the
    /// other bank is good.
    fn city<const BANK: usize>(rate: f64, mut place: f64, stuck: bool) -> Vec<TestResult> {
        let ran = run::<CamPhaser<BANK>>(200, |tick| {
            let target = if tick % 200 < 120 { 0.0 } else { 15.0 };
            if !stuck {
                place += (target - place).clamp(-0.1 * rate, 0.1 * rate);
            }
            let mut signals = at_degrees(target);
            signals.cam_place[BANK] = Angle::from_degrees(place);
            signals
        });
        ran.said
    }

    /// What is said of each code of a bank: passed, failed, nothing.
    fn told<const BANK: usize>(codes: [Dtc; 3], monitor: MonitorId) {
        let (pass, fail) = (Some(true), Some(false));
        for (what, said, expected) in [
            ("good", city::<BANK>(100.0, 0.0, false), [pass, pass, pass]),
            ("20 deg/s", city::<BANK>(20.0, 0.0, false), [pass, pass, pass]),
            ("3 deg/s", city::<BANK>(3.0, 0.0, false), [fail, pass, pass]),
            ("stuck home", city::<BANK>(0.0, 0.0, true), [None, None, fail]),
            ("stuck at 10", city::<BANK>(0.0, 10.0, true), [None, fail, None]),
            ("stuck at 20", city::<BANK>(0.0, 20.0, true), [None, fail, None]),
        ] {
            let found = codes.map(|dtc| {
                if said.contains(&TestResult::Failed(dtc)) {
                    Some(false)
                } else {
                    said.contains(&TestResult::Passed(dtc)).then_some(true)
                }
            });
            assert_eq!(found, expected, "{what}, {codes:?}");
            assert!(said.contains(&TestResult::Completed(monitor)), "{what}");
        }
    }

    #[test]
    fn slow_is_told_from_stuck_on_each_bank() {
        told::<0>([P000A, P0011, P0012], CAM_PHASER);
        told::<1>([P000C, P0021, P0022], CAM_PHASER_2);
    }

    /// A foot that plays with the pedal sends the cam to and fro: wherever it is each time it is looked at, it does not stand.
    #[test]
    fn a_cam_that_swings_does_not_stand() {
        let ran = run::<CamPhaser<0>>(200, |tick| {
            let swing = f64::from((tick % 9).abs_diff(4));
            Signals {
                cam_place: [Angle::from_degrees(8.0 + 2.0 * swing); 2],
                ..at_degrees(0.0)
            }
        });
        assert_eq!(ran.said, []);
    }

    #[test]
    fn cold_oil_is_not_judged() {
        let ran = run::<CamPhaser<0>>(60, |_| Signals {
            oil: Temperature::from_celsius(5.0),
            cam_place: [Angle::ZERO; 2],
            ..at_degrees(20.0)
        });
        assert_eq!(ran.said, [TestResult::Commanded(CAM_PHASER, true)]);
    }
}
