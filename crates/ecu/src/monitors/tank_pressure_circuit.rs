//! Circuit of the tank pressure sensor: P0452 (low), P0453 (high) (limits of the kind that
//! makers publish in their service information).
//!
//! Two counters for each direction, one step per 100 ms: an up/down counter that ends after 4 s without a break, and
//! a sum that ends after 30 s of bad readings in one driving cycle. Judged with the engine running only (a choice:
//! whether a fault seen before the start belongs to the cycle before or after it is open in 13 CCR 1968.2).

use twotrip_units::Voltage;

use super::{P0452, P0453, TANK_PRESSURE_CIRCUIT, TestResult};

/// Limits and debounce.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Params {
    /// Below this the circuit is low.
    pub low: Voltage,
    /// Above this the circuit is high.
    pub high: Voltage,
    /// Samples of 100 ms without a break.
    pub continuous_samples: u16,
    /// Samples of 100 ms in sum.
    pub total_samples: u16,
}

impl Params {
    /// This car's.
    pub const DEFAULT: Self = Self {
        low: Voltage::from_volts(0.12),
        high: Voltage::from_volts(4.85),
        continuous_samples: 40,
        total_samples: 300,
    };

    /// Whether the pin reads neither low nor high.
    #[must_use]
    pub fn in_range(&self, pin: Voltage) -> bool {
        pin >= self.low && pin <= self.high
    }
}

/// Debounce of one direction.
#[derive(Clone, Copy, Debug, Default)]
struct Debounce {
    counter: u16,
    total: u16,
    failed: bool,
}

impl Debounce {
    /// Whether this sample decides for a fault.
    fn step(&mut self, bad: bool, params: &Params) -> bool {
        if bad {
            self.counter = (self.counter + 1).min(params.continuous_samples);
            self.total = (self.total + 1).min(params.total_samples);
        } else {
            self.counter = self.counter.saturating_sub(1);
        }
        let decided = bad
            && !self.failed
            && (self.counter >= params.continuous_samples || self.total >= params.total_samples);
        self.failed |= decided;
        decided
    }
}

/// The monitor.
#[derive(Clone, Debug, Default)]
pub struct TankPressureCircuit {
    low: Debounce,
    high: Debounce,
    good: u16,
    passed: bool,
}

impl TankPressureCircuit {
    /// Limits in use.
    pub const PARAMS: Params = Params::DEFAULT;

    /// A driving cycle begins: each cycle judges afresh.
    pub(crate) fn engine_started(&mut self) {
        *self = Self::default();
    }

    /// Service $04.
    pub(crate) fn clear(&mut self) {
        *self = Self::default();
    }

    /// One sample of the pin; every 100 ms while the engine runs.
    pub(crate) fn step(&mut self, pin: Voltage, report: &mut dyn FnMut(TestResult)) {
        let params = &Self::PARAMS;
        let low = pin < params.low;
        let high = pin > params.high;
        for (debounce, bad, dtc) in [(&mut self.low, low, P0452), (&mut self.high, high, P0453)] {
            if debounce.step(bad, params) {
                self.passed = false;
                report(TestResult::Failed(dtc));
                report(TestResult::Completed(TANK_PRESSURE_CIRCUIT));
            }
        }
        if low || high {
            self.good = 0;
        } else if !self.passed {
            self.good += 1;
            if self.good >= params.continuous_samples {
                self.good = 0;
                self.passed = true;
                self.low.failed = false;
                self.high.failed = false;
                report(TestResult::Passed(P0452));
                report(TestResult::Passed(P0453));
                report(TestResult::Completed(TANK_PRESSURE_CIRCUIT));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    /// Feeds (samples, volts) one after another; tells which codes passed and failed, with the sample's number.
    fn run(pieces: &[(usize, f64)]) -> Vec<(usize, TestResult)> {
        let mut monitor = TankPressureCircuit::default();
        let mut found = Vec::new();
        let mut sample = 0;
        for &(count, volts) in pieces {
            for _ in 0..count {
                sample += 1;
                monitor.step(Voltage::from_volts(volts), &mut |result| {
                    if matches!(result, TestResult::Passed(_) | TestResult::Failed(_)) {
                        found.push((sample, result));
                    }
                });
            }
        }
        found
    }

    #[test]
    fn four_seconds_without_a_break_decide() {
        assert_eq!(run(&[(39, 0.0)]), []);
        assert_eq!(run(&[(41, 0.0)]), [(40, TestResult::Failed(P0452))]);
        assert_eq!(run(&[(41, 4.98)]), [(40, TestResult::Failed(P0453))]);
        assert_eq!(
            run(&[(41, 0.12)]),
            [(40, TestResult::Passed(P0452)), (40, TestResult::Passed(P0453))]
        );
        assert_eq!(run(&[(41, 4.85)]).len(), 2, "the limits themselves are in range");
    }

    #[test]
    fn thirty_seconds_in_sum_decide() {
        // 1 s bad, 1.5 s good, again and again: the up/down counter never gets there, the sum does after 30 s bad.
        let found = run(&[[(10, 0.0), (15, 2.5)]; 31].concat());
        assert_eq!(found, [(29 * 25 + 10, TestResult::Failed(P0452))]);
    }

    #[test]
    fn a_circuit_that_comes_back_passes_after_the_failure() {
        let found = run(&[(60, 0.0), (60, 2.5)]);
        assert_eq!(
            found,
            [
                (40, TestResult::Failed(P0452)),
                (100, TestResult::Passed(P0452)),
                (100, TestResult::Passed(P0453))
            ]
        );
    }
}
