//! Is there pressure enough in the fuel rail, by its sensor (13 CCR 1968.2(e)(15.2), from memory: rationality of inputs; the
//! limit is ours).
//!
//! A pump that is worn, or a filter that is blocked, holds its pressure until fuel flows: low pressure counts whenever it
//! is seen, good pressure while much is injected.

use super::{
    Inhibits, P0087, RAIL_PRESSURE, Signals, TestResult,
    frame::{Condition, Gate, Monitor, RUN_TIME, Rules, SUPPLY, Test, gated},
    rail_sensor::RAIL_SENSOR_SOUND,
};
use crate::control::SLOW_SECONDS;

/// The regulator holds 350 kPa, and a good pump keeps that at full load (calibrated: the correction of the fuel for less
/// than 200 to 250 kPa is beyond what published limits of the fuel trim allow).
static PRESSURE: Test = Test::new("pressure of the fuel rail", "kPa")
    .at_least(250.0)
    .of(&[P0087]);
/// What the monitor measures.
pub(super) static TESTS: &[&Test] = &[&PRESSURE];

/// The rail is full by then, s; a pump with less supply turns slowly, V.
static CONDITIONS: [Condition; 3] = [RUN_TIME.at_least(10.0), SUPPLY.at_least(10.5), RAIL_SENSOR_SOUND];
static RULES: Rules = Rules::continuous(&[RAIL_PRESSURE], &CONDITIONS);

/// Time of low pressure that decides, less the time of good pressure since, s.
const FAILS_AFTER: f64 = 10.0;
/// Time of good pressure, in sum, at so much fuel for a 2.0-litre engine that passes, s and g/s: the pulls of a town cycle
/// have it.
const PASSES_AFTER: f64 = 10.0;
const MUCH_FUEL: f64 = 1.2;

/// The monitor.
#[derive(Clone, Debug, Default)]
pub(super) struct RailPressure {
    gate: Gate,
    low_seconds: f64,
    good_seconds: f64,
    passed: bool,
}

impl RailPressure {
    fn fails(&self) -> bool {
        self.low_seconds > FAILS_AFTER
    }
}

impl Monitor for RailPressure {
    gated!(&RULES, forgets all);

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&RULES, signals, inhibits).runs() || self.fails() {
            return;
        }
        let measured = PRESSURE.found(signals.rail_pressure.kilopascals());
        if !measured.passed {
            self.low_seconds += SLOW_SECONDS;
            self.good_seconds = 0.0;
        } else {
            self.low_seconds = (self.low_seconds - SLOW_SECONDS).max(0.0);
            if signals.fuel_flow.grams_per_second() > MUCH_FUEL * signals.engine_size {
                self.good_seconds += SLOW_SECONDS;
            }
        }
        let passes = self.good_seconds > PASSES_AFTER && !self.passed;
        if self.fails() || passes {
            self.passed |= passes;
            measured.judge(report);
            self.gate.complete(&RULES, report);
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use core::time::Duration;
    use std::vec::Vec;

    use twotrip_units::{MassFlow, Pressure, Voltage};

    use super::*;

    /// Verdicts of a drive in spans of seconds with kPa and g/s.
    fn drive(supply: f64, spans: &[(u32, f64, f64)]) -> Vec<TestResult> {
        let mut monitor = RailPressure::default();
        let mut said = Vec::new();
        let mut steps = 0;
        for &(seconds, kilopascals, grams) in spans {
            for _ in 0..seconds * 10 {
                steps += 1;
                let signals = Signals {
                    run_time: Some(Duration::from_millis(100 * steps)),
                    supply: Voltage::from_volts(supply),
                    rail_pressure: Pressure::from_kilopascals(kilopascals),
                    fuel_flow: MassFlow::from_grams_per_second(grams),
                    engine_size: 1.0,
                    ..Signals::default()
                };
                monitor.step(&signals, Inhibits::default(), &mut |result| said.push(result));
            }
        }
        said.retain(|result| matches!(result, TestResult::Passed(_) | TestResult::Failed(_)));
        said
    }

    #[test]
    fn low_pressure_is_found_whenever_and_good_pressure_counts_under_load() {
        let [failed, passed] = [TestResult::Failed(P0087), TestResult::Passed(P0087)];
        for (what, spans, said) in [
            ("low everywhere", &[(30, 180.0, 0.3)][..], &[failed][..]),
            ("a little low", &[(30, 249.0, 0.3)], &[failed]),
            ("good at idle", &[(600, 350.0, 0.3)], &[]),
            (
                "good under load",
                &[(30, 350.0, 0.3), (11, 349.0, 1.5)],
                &[passed],
            ),
            ("low under load", &[(60, 350.0, 0.3), (11, 200.0, 2.5)], &[failed]),
            (
                "a moment",
                &[(60, 350.0, 0.3), (9, 200.0, 2.5), (60, 350.0, 0.3)],
                &[],
            ),
            (
                "pulls with pauses",
                &[
                    (20, 350.0, 0.3),
                    (8, 200.0, 2.5),
                    (3, 350.0, 0.3),
                    (8, 200.0, 2.5),
                ],
                &[failed],
            ),
            (
                "good, then low: the last word is the fault",
                &[(10, 350.0, 0.3), (11, 350.0, 1.5), (11, 200.0, 2.5)],
                &[passed, failed],
            ),
            ("before the rail is full", &[(9, 0.0, 0.3), (30, 350.0, 0.3)], &[]),
        ] {
            assert_eq!(drive(14.0, spans), said, "{what}");
        }
        assert_eq!(drive(10.0, &[(60, 180.0, 0.3)]), [], "the pump turns slowly");
    }
}
