//! The clutch of the torque converter: closed, it leaves no slip; open, a converter that passes on torque has some.

use super::{
    super::catalogue::{CONVERTER_CLUTCH, P0741, P0742},
    Look, Need, Report, Stand, hold,
    need::{HEARS_ENGINE, IN_DRIVE, is},
    runs,
};
use crate::{
    memory::FaultMemory,
    monitors::{
        TestResult,
        frame::{Condition, Test},
    },
};

/// Judged with the engine giving at least this, N m.
const DRIVES_NM: f64 = 30.0;
/// After the command and after a shift the clutch has this time, s.
const SETTLED_S: f64 = 2.0;
/// Steps of 100 ms in one mean, and how many means in a row fail.
const MEAN_OF: u32 = 20;
const BAD: u32 = 2;

static NEEDS: [Need; 6] = [
    IN_DRIVE,
    HEARS_ENGINE,
    // In first the clutch has no feed.
    Need::of(Condition::own("second gear or a higher one", ""), |look| {
        is(look.control.gear() > 0)
    }),
    Need::of(
        Condition::own("torque of the engine", "Nm").at_least(DRIVES_NM),
        |look| look.measured.torque_nm,
    ),
    Need::of(
        Condition::own("time since the last shift", "s").at_least(SETTLED_S),
        |look| look.control.since_shift_s(),
    ),
    Need::of(
        Condition::own("time since the last command to the clutch", "s").at_least(SETTLED_S),
        |look| look.control.lock_up().1,
    ),
];
/// What else it waits for, where it has judged the clutch as it is commanded now.
static OPENED: Condition = Condition::own("the clutch commanded open", "");
static CLOSING: Condition = Condition::own("the clutch commanded closed", "");

static CLOSED: Test = Test::new("slip of the converter, its clutch closed", "rpm")
    .at_most(60.0)
    .of(&[P0741]);
static OPEN: Test = Test::new("slip of the converter, its clutch open", "rpm")
    .at_least(20.0)
    .of(&[P0742]);

/// Of one command: a mean under way, and what means have said.
#[derive(Clone, Copy, Debug, Default)]
struct Mean {
    sum: f64,
    steps: u32,
    bad: u32,
    passed: bool,
    failed: bool,
}

impl Mean {
    fn step(
        &mut self,
        slip: f64,
        test: &'static Test,
        memory: &mut FaultMemory,
        report: &mut Report<'_>,
    ) -> bool {
        self.sum += slip;
        self.steps += 1;
        if self.steps < MEAN_OF {
            return false;
        }
        let found = test.found(self.sum / f64::from(self.steps));
        (self.sum, self.steps) = (0.0, 0);
        self.bad = if found.passed { 0 } else { self.bad + 1 };
        let fails = self.bad >= BAD && !self.failed;
        let passes = found.passed && !self.passed && !self.failed;
        self.failed |= fails;
        self.passed |= passes;
        if fails || passes {
            let _ = found.judge(&mut |result| report(memory, result));
        }
        fails || passes
    }

    const fn break_off(&mut self) {
        (self.sum, self.steps, self.bad) = (0.0, 0, 0);
    }
}

#[derive(Clone, Debug, Default)]
pub(super) struct Converter {
    closed: Mean,
    open: Mean,
}

impl Converter {
    pub(super) const fn failed(&self) -> bool {
        self.closed.failed || self.open.failed
    }

    pub(super) fn stand(&self, look: &Look<'_>, memory: &FaultMemory) -> Stand {
        let judged = |mean: &Mean| mean.passed || mean.failed;
        let done = self.failed() || judged(&self.open) && judged(&self.closed);
        let other = if look.control.lock_up().0 {
            judged(&self.closed).then(|| OPENED.with(0.0))
        } else {
            judged(&self.open).then(|| CLOSING.with(0.0))
        };
        Stand::of(CONVERTER_CLUTCH, &NEEDS, look, memory, done).and(other)
    }

    pub(super) fn step(&mut self, look: Look<'_>, memory: &mut FaultMemory, report: &mut Report<'_>) {
        let measured = look.measured;
        let (closed, _) = look.control.lock_up();
        if !hold(&NEEDS, &look) || !runs(memory, CONVERTER_CLUTCH) {
            self.closed.break_off();
            self.open.break_off();
            return;
        }
        let slip = measured.converter_slip();
        let judged = if closed {
            self.closed.step(slip, &CLOSED, memory, report)
        } else {
            self.open.step(slip, &OPEN, memory, report)
        };
        if judged {
            report(memory, TestResult::Completed(CONVERTER_CLUTCH));
        }
    }
}
