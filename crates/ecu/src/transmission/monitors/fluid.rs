//! Whether the fluid's thermistor is plausible: after a night it shows what the coolant shows.

use core::time::Duration;

use super::{
    super::catalogue::{FLUID_TEMPERATURE, P0711},
    Look, Report, runs,
};
use crate::{
    memory::FaultMemory,
    monitors::{TestResult, frame::Test},
};

/// From this time of standing on both are as warm.
const NIGHT: Duration = Duration::from_secs(6 * 3600);
/// The coolant itself has to be this near to the air around, K: no block heater, no sun.
const NEAR_AMBIENT: f64 = 12.0;

static APART: Test = Test::new("fluid against coolant after a night", "K")
    .at_least(-15.0)
    .at_most(15.0)
    .of(&[P0711]);

#[derive(Clone, Debug, Default)]
pub(super) struct Fluid {
    /// A start after a night, not judged yet.
    due: bool,
}

impl Fluid {
    pub(super) fn engine_started(&mut self, soak: Duration) {
        self.due = soak >= NIGHT;
    }

    pub(super) fn step(&mut self, look: Look<'_>, memory: &mut FaultMemory, report: &mut Report<'_>) {
        let measured = look.measured;
        if !core::mem::take(&mut self.due)
            || !measured.hears_engine
            || !measured.fluid_is_measured()
            || !runs(memory, FLUID_TEMPERATURE)
        {
            return;
        }
        let coolant = measured.coolant.celsius();
        if (coolant - measured.ambient.celsius()).abs() > NEAR_AMBIENT {
            return;
        }
        let _ = APART
            .found(measured.fluid.celsius() - coolant)
            .judge(&mut |result| report(memory, result));
        report(memory, TestResult::Completed(FLUID_TEMPERATURE));
    }
}
