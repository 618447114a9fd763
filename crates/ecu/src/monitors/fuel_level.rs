//! Does the level follow what is burnt (13 CCR 1968.2(e)(15.2.1), from memory: rationality of inputs; limits of ours).
//!
//! The injected fuel is summed over driving cycles until the level has moved by two points. A sender that has not, after
//! twelve litres, sticks. One that moves with the fuel in a bend or is filled up moves too. The sum is forgotten with the
//! power.

use core::time::Duration;

use twotrip_harness::Circuit;

use super::{
    FUEL_LEVEL, Inhibits, P0461, Signals, TestResult,
    frame::{Condition, Gate, Monitor, Rules, Test, gated},
};
use crate::control::SLOW_SECONDS;

/// Petrol, g/l.
const PETROL: f64 = 745.0;
/// What is burnt before a sender that stands still is called stuck, l.
const BURNT: f64 = 12.0;

/// By how much the level has moved.
static MOVED: Test = Test::new("movement of the fuel level while 12 l were burnt", "%")
    .at_least(2.0)
    .of(&[P0461]);
/// What the monitor measures.
pub(super) static TESTS: &[&Test] = &[&MOVED];

static CONDITIONS: &[Condition] = &[Condition::state(
    "the circuit of the fuel level within its range",
    |signals| !signals.circuits.out_of_range().contains(Circuit::FuelLevelSensor),
)];
static RULES: Rules = Rules {
    pause: Rules::PAUSES,
    ..Rules::once(&[FUEL_LEVEL], CONDITIONS)
};

/// The monitor.
#[derive(Clone, Debug, Default)]
pub(super) struct FuelLevel {
    gate: Gate,
    /// Burnt since the level last moved enough, l.
    burnt: f64,
    /// The least and the most shown since then, %.
    range: Option<[f64; 2]>,
}

impl Monitor for FuelLevel {
    gated!(&RULES);

    fn reset(&mut self) {
        self.burnt = 0.0;
        self.range = None;
    }

    /// What was burnt in driving cycles before counts on.
    fn engine_started(&mut self, _signals: &Signals, _soak: Duration, _report: &mut dyn FnMut(TestResult)) {
        self.gate.begin_cycle();
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&RULES, signals, inhibits).runs() {
            return;
        }
        self.burnt += signals.fuel_flow.grams_per_second() * (SLOW_SECONDS / PETROL);
        let level = signals.level.percent();
        let [low, high] = self.range.unwrap_or([level; 2]);
        let [low, high] = [low.min(level), high.max(level)];
        self.range = Some([low, high]);
        let moved = high - low;
        if MOVED.found(moved).passed || self.burnt >= BURNT {
            MOVED.judge(moved, report);
            self.gate.complete(&RULES, report);
            self.reset();
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use twotrip_units::{MassFlow, Ratio};

    use super::*;
    use crate::{
        circuits::{CircuitSet, Readings},
        monitors::frame::State,
    };

    /// What the monitor says of a drive that burns so much, from one level to another.
    fn drive(monitor: &mut FuelLevel, litres: f64, levels: [f64; 2], lost: bool) -> Vec<TestResult> {
        let mut said = Vec::new();
        monitor.engine_started(&Signals::default(), Duration::ZERO, &mut |_| {});
        for step in 0..1000 {
            let share = f64::from(step) / 999.0;
            let signals = Signals {
                run_time: Some(Duration::from_secs(1)),
                circuits: Readings {
                    high: if lost {
                        CircuitSet::of(&[Circuit::FuelLevelSensor])
                    } else {
                        CircuitSet::default()
                    },
                    ..Readings::default()
                },
                level: Ratio::from_percent(levels[0] + share * (levels[1] - levels[0])),
                fuel_flow: MassFlow::from_grams_per_second(litres * PETROL / 100.0),
                ..Signals::default()
            };
            monitor.step(&signals, Inhibits::default(), &mut |result| said.push(result));
        }
        said.retain(|result| matches!(result, TestResult::Passed(_) | TestResult::Failed(_)));
        said
    }

    /// Published: less than 2 % over 12 to 20 l is a stuck sender.
    #[test]
    fn a_sender_that_stands_still_is_called_after_twelve_litres() {
        for (litres, levels, said) in [
            (13.0, [60.0, 60.0], &[TestResult::Failed(P0461)][..]),
            (13.0, [60.0, 61.5], &[TestResult::Failed(P0461)]),
            (11.5, [60.0, 60.0], &[]),
            (2.0, [60.0, 56.0], &[TestResult::Passed(P0461)]),
            (0.1, [20.0, 90.0], &[TestResult::Passed(P0461)]),
        ] {
            let mut monitor = FuelLevel::default();
            assert_eq!(
                drive(&mut monitor, litres, levels, false),
                said,
                "{litres} l, {levels:?} %"
            );
        }
    }

    #[test]
    fn litres_count_over_driving_cycles() {
        let mut monitor = FuelLevel::default();
        assert_eq!(drive(&mut monitor, 7.0, [0.0; 2], false), []);
        assert_eq!(
            drive(&mut monitor, 7.0, [0.0; 2], false),
            [TestResult::Failed(P0461)]
        );
        assert_eq!(drive(&mut monitor, 7.0, [0.0; 2], false), []);
    }

    #[test]
    fn without_its_circuit_nothing_is_judged() {
        let mut monitor = FuelLevel::default();
        assert_eq!(drive(&mut monitor, 20.0, [100.0; 2], true), []);
        assert_eq!(monitor.gate().state(), State::Waiting);
    }
}
