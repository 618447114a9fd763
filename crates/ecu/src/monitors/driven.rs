//! For tests of monitors by themselves: one is driven with signals of the test's making, and what it says is looked at.

extern crate std;

use std::{boxed::Box, vec::Vec};

use twotrip_obd::Dtc;

use super::{
    Inhibits, Signals, TestResult,
    frame::{Monitor, State},
};
use crate::{
    control::Requests,
    memory::{MonitorId, MonitorSet},
};

/// What a monitor said and where it came to stand.
#[derive(Debug)]
pub(super) struct Ran {
    pub(super) said: Vec<TestResult>,
    pub(super) state: State,
    pub(super) requests: Requests,
}

impl Ran {
    /// Codes that failed, and codes that passed.
    pub(super) fn verdicts(&self) -> [Vec<Dtc>; 2] {
        [self.failed(), self.passed()]
    }

    /// Codes that failed.
    pub(super) fn failed(&self) -> Vec<Dtc> {
        let failed = self.said.iter().filter_map(|result| match result {
            TestResult::Failed(dtc) => Some(*dtc),
            _ => None,
        });
        failed.collect()
    }

    /// Codes that passed.
    pub(super) fn passed(&self) -> Vec<Dtc> {
        let passed = self.said.iter().filter_map(|result| match result {
            TestResult::Passed(dtc) => Some(*dtc),
            _ => None,
        });
        passed.collect()
    }

    /// The figures in the order in which they came.
    pub(super) fn figures(&self) -> Vec<(&'static str, f64)> {
        let figures = self.said.iter().filter_map(|result| match result {
            TestResult::Measured(measured) => Some((measured.test.what, measured.value)),
            _ => None,
        });
        figures.collect()
    }

    pub(super) fn completed(&self, monitor: MonitorId) -> bool {
        self.said.contains(&TestResult::Completed(monitor))
            && self.said.contains(&TestResult::CouldDetect(monitor))
    }
}

/// Lets a monitor run for some time; the signals may answer to what it asks for.
pub(super) fn run_asked(
    monitor: &mut impl Monitor,
    seconds: u32,
    inhibits: Inhibits,
    mut signals: impl FnMut(u32, Requests) -> Signals,
) -> Ran {
    let mut said = Vec::new();
    for step in 0..seconds * 10 {
        let asked = monitor.requests();
        monitor.step(&signals(step, asked), inhibits, &mut |result| said.push(result));
    }
    Ran {
        said,
        state: monitor.gate().state(),
        requests: monitor.requests(),
    }
}

/// The same with signals that do not.
pub(super) fn run_on(
    monitor: &mut impl Monitor,
    seconds: u32,
    inhibits: Inhibits,
    mut signals: impl FnMut(u32) -> Signals,
) -> Ran {
    run_asked(monitor, seconds, inhibits, |step, _| signals(step))
}

/// The same for a new monitor.
pub(super) fn run<M: Monitor + Default>(seconds: u32, signals: impl FnMut(u32) -> Signals) -> Ran {
    run_on(&mut M::default(), seconds, Inhibits::default(), signals)
}

/// A code that disables a monitor is held.
pub(super) fn blocked(monitor: MonitorId) -> Inhibits {
    Inhibits {
        blocked: MonitorSet::of(&[monitor]),
        ..Inhibits::default()
    }
}

/// What is missing for a monitor to run: what it is, and how it looks.
type Missing = (&'static str, fn(&mut Signals));

/// With each of these missing nothing is said; with all there it would be.
pub(super) fn waits_for<M: Monitor + Default>(
    seconds: u32,
    missing: &[Missing],
    mut signals: impl FnMut() -> Box<dyn FnMut(u32) -> Signals>,
) {
    assert_ne!(run::<M>(seconds, signals()).said, [], "it runs");
    for (what, change) in missing {
        let mut of_step = signals();
        let ran = run::<M>(seconds, |step| {
            let mut signals = of_step(step);
            change(&mut signals);
            signals
        });
        assert_eq!(ran.said, [], "{what}");
        assert_eq!(ran.state, State::Waiting, "{what}");
    }
}
