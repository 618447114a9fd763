//! The monitors of the transmission ECU, every 100 ms while the engine runs. Each judges by [`Test`]s, as those of the
//! engine ECU do.
//!
//! Limits and times are of the kind that makers publish for such gearboxes: a ratio or a slip that is off for one to some
//! seconds, a circuit for half a second (common practice, no source).

mod circuits;
mod converter;
mod fluid;
mod need;
mod ratio;
mod speeds;

use alloc::vec::Vec;
use core::time::Duration;

use super::{Gearing, control::Control, measured::Measured};
use crate::{
    memory::{FaultMemory, MonitorId},
    monitors::{TestResult, frame::Test},
};

pub use need::Stand;
use need::{Need, hold};

/// Takes what a monitor says to the memory, which the next one asks again.
pub(super) type Report<'a> = dyn FnMut(&mut FaultMemory, TestResult) + 'a;

/// What all monitors look at.
#[derive(Clone, Copy)]
struct Look<'a> {
    measured: &'a Measured,
    control: &'a Control,
    gearing: &'a Gearing,
    /// For so long the selector has been in a driving position, s.
    in_drive_s: f64,
}

/// All of them.
#[derive(Clone, Debug, Default)]
pub(super) struct Monitors {
    speeds: speeds::Speeds,
    circuits: circuits::Circuits,
    ratio: ratio::Ratio,
    converter: converter::Converter,
    fluid: fluid::Fluid,
    in_drive_s: f64,
}

impl Monitors {
    /// The key is switched on.
    pub(super) fn key_on(&mut self) {
        self.clear();
    }

    /// A driving cycle begins, after so long a time of standing.
    pub(super) fn engine_started(&mut self, soak: Duration) {
        self.clear();
        self.fluid.engine_started(soak);
    }

    /// What was gathered is forgotten: a clear, or a new driving cycle.
    pub(super) fn clear(&mut self) {
        *self = Self {
            fluid: self.fluid.clone(),
            ..Self::default()
        };
    }

    /// Whether something found in this driving cycle leaves no gear to be trusted.
    pub(super) const fn lose_the_gears(&self) -> bool {
        self.speeds.output_lost() || self.circuits.a_shift_solenoid_failed() || self.ratio.failed()
    }

    /// Whether something found in this driving cycle leaves the lock-up clutch open.
    pub(super) const fn lose_the_lock_up(&self) -> bool {
        self.speeds.turbine_lost() || self.circuits.converter_solenoid_failed() || self.converter.failed()
    }

    const fn look<'a>(&self, measured: &'a Measured, control: &'a Control, gearing: &'a Gearing) -> Look<'a> {
        Look {
            measured,
            control,
            gearing,
            in_drive_s: self.in_drive_s,
        }
    }

    /// How all of them stand, in the order of the catalogue.
    pub(super) fn stands(
        &self,
        measured: &Measured,
        control: &Control,
        gearing: &Gearing,
        memory: &FaultMemory,
    ) -> Vec<Stand> {
        let look = self.look(measured, control, gearing);
        let mut stands = Vec::new();
        stands.extend(self.circuits.stands(&look, memory));
        stands.extend(self.speeds.stands(&look, memory));
        stands.extend(self.ratio.stands(&look, memory));
        stands.push(self.converter.stand(&look, memory));
        stands.push(self.fluid.stand(&look, memory));
        stands.sort_by_key(|stand| stand.monitor);
        stands
    }

    /// Every 100 ms of a driving cycle.
    pub(super) fn step(
        &mut self,
        measured: &Measured,
        control: &Control,
        gearing: &Gearing,
        memory: &mut FaultMemory,
        report: &mut Report<'_>,
    ) {
        self.in_drive_s = if measured.in_drive {
            self.in_drive_s + 0.1
        } else {
            0.0
        };
        let look = self.look(measured, control, gearing);
        self.circuits.step(look, memory, report);
        self.speeds.step(look, memory, report);
        self.fluid.step(look, memory, report);
        self.ratio.step(look, memory, report);
        self.converter.step(look, memory, report);
    }
}

/// Whether nothing that is held to be there keeps the monitor from running.
fn runs(memory: &FaultMemory, monitor: MonitorId) -> bool {
    !memory.disabled().contains(monitor)
}

/// Counts steps for and against a fault, and judges once in a driving cycle each way.
#[derive(Clone, Copy, Debug, Default)]
struct Debounce {
    bad: u32,
    good: u32,
    failed: bool,
    passed: bool,
}

impl Debounce {
    /// One step: whether the figure is good now. Says when it has been so for long enough: for `bad_for` steps, or
    /// `good_for`. A failure stands for the driving cycle.
    fn step(&mut self, good: bool, [bad_for, good_for]: [u32; 2]) -> Option<bool> {
        if good {
            (self.bad, self.good) = (0, self.good.saturating_add(1));
        } else {
            (self.bad, self.good) = (self.bad.saturating_add(1), 0);
        }
        if self.bad == bad_for && !self.failed {
            self.failed = true;
            return Some(false);
        }
        if self.good == good_for && !self.failed && !self.passed {
            self.passed = true;
            return Some(true);
        }
        None
    }

    /// The same, and what comes of it.
    fn judge(
        &mut self,
        test: &'static Test,
        value: f64,
        times: [u32; 2],
        memory: &mut FaultMemory,
        report: &mut Report<'_>,
    ) {
        let found = test.found(value);
        if self.step(found.passed, times).is_some() {
            let _ = found.judge(&mut |result| report(memory, result));
        }
    }
}
