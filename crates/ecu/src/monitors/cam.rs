//! The phaser of the intake cam: does it go where it is told, and does it go fast enough (13 CCR 1968.2(e)(13), from memory).
//!
//! Limits and conditions as published (service information, 2014 model year): less than 3.4 degrees moved 0.8 s after a step of
//! 12 in a quarter of the steps is slow; an error that adds up to 45 degrees times seconds is off target. The error adds up
//! while the cam stands still: one that crawls is slow, not stuck.

use twotrip_harness::Output;
use twotrip_units::Limit;

use super::{
    CAM_PHASER, Inhibits, P000A, P0011, P0012, Signals, TestResult,
    frame::{Condition, ENGINE_SPEED, Gate, Monitor, OIL, RUN_TIME, Rules, SUPPLY, Test, gated},
};

static CONDITIONS: [Condition; 5] = [
    RUN_TIME.at_least(5.0),
    OIL.between(20.0, 110.0),
    ENGINE_SPEED.between(600.0, 5000.0),
    SUPPLY.between(11.0, 16.0),
    Condition::state("the circuits of cam valve and cam sensor", |signals| {
        signals.drivers.is_sound(Output::CamValve) && !signals.circuits.cam_silent
    }),
];
static RULES: Rules = Rules {
    pause: Rules::PAUSES,
    ..Rules::once(&[CAM_PHASER], &CONDITIONS)
};
/// Lower quartile of the steps.
static MOVED: Test = Test::new(
    "cam movement 0.8 s after a step of 12 degrees, lower quartile",
    "deg",
)
.at_least(3.4)
.of(&[P000A])
.reported_as(0x35, 0x80, 0x1C);
static AHEAD: Test = Test::new("cam ahead of its target, degrees times seconds", "deg s")
    .at_most(45.0)
    .of(&[P0011]);
static BEHIND: Test = Test::new("cam behind its target, degrees times seconds", "deg s")
    .at_most(45.0)
    .of(&[P0012]);
/// What the monitor measures.
pub(super) static TESTS: &[&Test] = &[&MOVED, &AHEAD, &BEHIND];

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

/// The monitor.
#[derive(Clone, Debug, Default)]
pub struct CamPhaser {
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

impl CamPhaser {
    /// Off target: how far, times how long, standing.
    fn add_error(&mut self, error: f64, report: &mut dyn FnMut(TestResult)) -> bool {
        if error.abs() < ERROR {
            self.error *= 1.0 - FADES;
            return false;
        }
        let stands = self.known == SECOND && (self.places[0] - self.places[SECOND - 1]).abs() < STANDS;
        if !stands {
            return false;
        }
        if self.error * error < 0.0 {
            self.error = 0.0;
        }
        self.error += 0.1 * error;
        let test = if error > 0.0 { &BEHIND } else { &AHEAD };
        let found = test.found(self.error.abs());
        if !found.passed {
            found.judge(report);
            self.gate.complete(&RULES, report);
        }
        !found.passed
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

impl Monitor for CamPhaser {
    gated!(&RULES, forgets all);

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        let away = signals.cam_target.degrees() > 1.0;
        if away != self.commanded {
            self.commanded = away;
            report(TestResult::Commanded(CAM_PHASER, away));
        }
        if !self.gate.step(&RULES, signals, inhibits).runs() {
            self.known = 0;
            self.step = None;
            return;
        }
        let (target, place) = (signals.cam_target.degrees(), signals.cam_place.degrees());
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
            MOVED.judge(sorted[STEPS / 4].within(-99.0, 99.0), report);
            report(TestResult::Passed(P0011));
            report(TestResult::Passed(P0012));
            self.gate.complete(&RULES, report);
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use twotrip_units::{Angle, AngularSpeed, Temperature, Voltage};

    use super::*;

    /// City driving: 12 s home, 8 s at 15 degrees, with a cam that goes at so many degrees a second from `place`.
    fn city(rate: f64, mut place: f64, stuck: bool) -> Vec<TestResult> {
        let mut monitor = CamPhaser::default();
        let mut said = Vec::new();
        for tick in 0_u32..2000 {
            let target = if tick % 200 < 120 { 0.0 } else { 15.0 };
            if !stuck {
                place += (target - place).clamp(-0.1 * rate, 0.1 * rate);
            }
            let signals = Signals {
                run_time: Some(core::time::Duration::from_secs(60)),
                oil: Temperature::from_celsius(80.0),
                engine_speed: AngularSpeed::from_rpm(1500.0),
                supply: Voltage::from_volts(14.0),
                cam_target: Angle::from_degrees(target),
                cam_place: Angle::from_degrees(place),
                ..Signals::default()
            };
            monitor.step(&signals, Inhibits::default(), &mut |result| said.push(result));
        }
        said
    }

    /// What is said of each code: passed, failed, nothing.
    #[test]
    fn slow_is_told_from_stuck() {
        let (pass, fail) = (Some(true), Some(false));
        for (what, said, expected) in [
            ("good", city(100.0, 0.0, false), [pass, pass, pass]),
            ("20 deg/s", city(20.0, 0.0, false), [pass, pass, pass]),
            ("3 deg/s", city(3.0, 0.0, false), [fail, pass, pass]),
            ("stuck home", city(0.0, 0.0, true), [None, None, fail]),
            ("stuck at 10", city(0.0, 10.0, true), [None, fail, None]),
            ("stuck at 20", city(0.0, 20.0, true), [None, fail, None]),
        ] {
            let found = [P000A, P0011, P0012].map(|dtc| {
                if said.contains(&TestResult::Failed(dtc)) {
                    Some(false)
                } else {
                    said.contains(&TestResult::Passed(dtc)).then_some(true)
                }
            });
            assert_eq!(found, expected, "{what}");
            assert!(said.contains(&TestResult::Completed(CAM_PHASER)), "{what}");
        }
    }

    #[test]
    fn cold_oil_is_not_judged() {
        let mut monitor = CamPhaser::default();
        let mut said = Vec::new();
        let cold = Signals {
            run_time: Some(core::time::Duration::from_secs(60)),
            oil: Temperature::from_celsius(5.0),
            engine_speed: AngularSpeed::from_rpm(1500.0),
            supply: Voltage::from_volts(14.0),
            cam_target: Angle::from_degrees(20.0),
            ..Signals::default()
        };
        for _ in 0..600 {
            monitor.step(&cold, Inhibits::default(), &mut |result| said.push(result));
        }
        assert_eq!(said, [TestResult::Commanded(CAM_PHASER, true)]);
    }
}
