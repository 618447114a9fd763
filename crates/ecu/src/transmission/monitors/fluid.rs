//! Whether the fluid's thermistor is plausible: after a night it shows what the coolant shows.

use core::time::Duration;

use super::{
    super::catalogue::{FLUID_TEMPERATURE, P0711},
    Look, Need, Report, Stand,
    need::{HEARS_ENGINE, is},
    runs,
};
use crate::{
    memory::FaultMemory,
    monitors::{
        TestResult,
        frame::{Condition, Missing, Test},
    },
};

/// From this time of standing on both are as warm.
const NIGHT: Duration = Duration::from_secs(6 * 3600);
const NIGHT_H: f64 = NIGHT.as_secs() as f64 / 3600.0;
/// The coolant itself has to be this near to the air around, K: no block heater, no sun.
const NEAR_AMBIENT: f64 = 12.0;

static AFTER_A_NIGHT: Condition = Condition::own("standing before the start", "h").at_least(NIGHT_H);
static NEEDS: [Need; 3] = [
    HEARS_ENGINE,
    Need::of(
        Condition::own("the circuit of the fluid's sensor within its range", ""),
        |look| is(look.measured.fluid_is_measured()),
    ),
    Need::of(
        Condition::own("coolant against outside air", "K").between(-NEAR_AMBIENT, NEAR_AMBIENT),
        |look| look.measured.coolant.celsius() - look.measured.ambient.celsius(),
    ),
];

static APART: Test = Test::new("fluid against coolant after a night", "K")
    .at_least(-15.0)
    .at_most(15.0)
    .of(&[P0711]);

#[derive(Clone, Debug, Default)]
pub(super) struct Fluid {
    /// A start after a night, not judged yet.
    due: bool,
    judged: bool,
    /// Why it was not judged in this driving cycle.
    missed: Option<Missing>,
}

impl Fluid {
    pub(super) fn engine_started(&mut self, soak: Duration) {
        self.due = soak >= NIGHT;
        self.judged = false;
        self.missed = (!self.due).then(|| AFTER_A_NIGHT.with(soak.as_secs_f64() / 3600.0));
    }

    pub(super) fn stand(&self, look: &Look<'_>, memory: &FaultMemory) -> Stand {
        let stand = Stand::of(FLUID_TEMPERATURE, &[], look, memory, self.judged);
        Stand {
            ruled_out: self.missed.is_some() && memory.is_driving_cycle(),
            ..stand.and(self.missed)
        }
    }

    pub(super) fn step(&mut self, look: Look<'_>, memory: &mut FaultMemory, report: &mut Report<'_>) {
        let measured = look.measured;
        if !core::mem::take(&mut self.due) || !runs(memory, FLUID_TEMPERATURE) {
            return;
        }
        self.missed = NEEDS.iter().find_map(|need| need.missing(&look));
        if self.missed.is_some() {
            return;
        }
        let coolant = measured.coolant.celsius();
        self.judged = true;
        let _ = APART
            .found(measured.fluid.celsius() - coolant)
            .judge(&mut |result| report(memory, result));
        report(memory, TestResult::Completed(FLUID_TEMPERATURE));
    }
}
