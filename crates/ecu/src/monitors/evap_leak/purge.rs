//! Does the purge valve flow: opened on a shut tank it pulls the pressure down, or it moves mixture or air.
//!
//! Published service information asks for 0.3 kPa in 10 s (2021 model year), or 0.5 kPa (2005). It ends as soon as
//! enough is seen: a tight tank would soon leave the sensor's range.

use super::{EvapLeak, FLOW, Mean, P0441, PER_SECOND, Stage};
use crate::monitors::{EVAP_LEAK, Signals, TestResult};

/// Vent open, then shut: where the pressure starts from.
pub(super) const VENTED: u32 = 3 * PER_SECOND;
pub(super) const BEFORE: u32 = 2 * PER_SECOND;
/// Purge open, at the most.
const OPEN: u32 = 10 * PER_SECOND;
/// What closed loop needs to show it.
const LAG: u32 = 3 * PER_SECOND;

/// Why the valve is looked at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Cause {
    /// The leak test has passed.
    #[default]
    Passed,
    /// There was no cold start, and so no leak test.
    Alone,
}

impl EvapLeak {
    /// Begins the test.
    pub(super) fn look_at_purge(&mut self, cause: Cause) {
        self.cause = cause;
        self.run.correction_before = Mean::default();
        self.run.correction_after = Mean::default();
        self.run.behind_before = Mean::default();
        self.run.behind_after = Mean::default();
        self.enter(Stage::PurgeVent);
    }

    pub(super) fn purge_shut(&mut self, absolute: f64, signals: &Signals) {
        if self.ticks > BEFORE - PER_SECOND {
            self.run.last.add(absolute);
        }
        self.run.correction_before.add(signals.fuel_correction.fraction());
        self.run
            .behind_before
            .add(signals.air_behind_meter.grams_per_second());
        if self.ticks >= BEFORE {
            self.run.pulled_to = self.run.last.value();
            self.enter(Stage::PurgeOpen);
        }
    }

    pub(super) fn purge_open(
        &mut self,
        absolute: f64,
        signals: &Signals,
        report: &mut dyn FnMut(TestResult),
    ) {
        let params = &Self::PARAMS;
        if self.ticks > LAG {
            self.run.correction_after.add(signals.fuel_correction.fraction());
        }
        if self.ticks > PER_SECOND {
            self.run
                .behind_after
                .add(signals.air_behind_meter.grams_per_second());
        }
        let moved = self.run.pulled_to - absolute;
        if moved < params.flow_plain.pascals() && self.ticks < OPEN {
            return;
        }
        let run = &self.run;
        let apart = |before: Mean, after: Mean| (after.value() - before.value()).abs();
        let mixture = apart(run.correction_before, run.correction_after) >= params.flow_correction.fraction();
        let air = run.behind_after.value() - run.behind_before.value() >= params.flow_air.grams_per_second();
        let judged = FLOW.found(moved);
        if judged.passed {
            judged.report(report);
        }
        if judged.passed || mixture || air {
            self.purge_flows(report);
        } else {
            judged.report(report);
            self.purge_over = true;
            self.fail(P0441, EVAP_LEAK, report);
        }
    }

    fn purge_flows(&mut self, report: &mut dyn FnMut(TestResult)) {
        self.purge_over = true;
        match self.cause {
            // The pull has passed it.
            Cause::Passed => self.enter(Stage::Done),
            Cause::Alone => {
                report(TestResult::Passed(P0441));
                self.enter(Stage::Recover);
            }
        }
    }
}
