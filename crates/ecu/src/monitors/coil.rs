//! Ignition coils: whether each primary winding draws current when its driver switches it, which the driver sees by
//! itself (comprehensive component, 13 CCR 1968.2(e)(15)). Three seconds decide (common practice, no source).

use super::{
    COIL_CIRCUIT, Fast, Inhibits, P0351, P0352, P0353, P0354, P0355, P0356, Signals, TestResult,
    frame::{Condition, ENGINE_SPEED, Gate, Monitor, Rules, SUPPLY, Step, gated},
};
use twotrip_obd::Dtc;

/// The code of each coil.
const OF_COIL: [Dtc; 6] = [P0351, P0352, P0353, P0354, P0355, P0356];
/// Steps of 100 ms that decide.
const DECIDED: u8 = 30;

static CONDITIONS: [Condition; 2] = [ENGINE_SPEED.at_least(400.0), SUPPLY.at_least(9.0)];
static RULES: Rules = Rules::continuous(&[COIL_CIRCUIT], &CONDITIONS);

/// The monitor.
#[derive(Clone, Debug, Default)]
pub struct Coils {
    gate: Gate,
    open_now: u8,
    /// Steps without current, and with it, of each coil in sequence.
    open: [u8; 6],
    good: [u8; 6],
}

impl Monitor for Coils {
    gated!(&RULES, forgets all);

    fn fast(&mut self, fast: &Fast<'_>) {
        self.open_now = fast.pins.coils_open;
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !matches!(self.gate.step(&RULES, signals, inhibits), Step::Begin | Step::Run) {
            return;
        }
        for (coil, dtc) in OF_COIL.into_iter().enumerate() {
            let open = self.open_now & (1 << coil) != 0;
            let (count, other) = if open {
                (&mut self.open[coil], &mut self.good[coil])
            } else {
                (&mut self.good[coil], &mut self.open[coil])
            };
            *other = 0;
            if *count < DECIDED {
                *count += 1;
                if *count == DECIDED {
                    report(TestResult::verdict(dtc, !open));
                    if coil == 0 {
                        self.gate.complete(&RULES, report);
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use core::time::Duration;
    use std::vec::Vec;

    use twotrip_units::{AngularSpeed, Voltage};

    use super::*;

    /// One coil opens for too short, then for good, then is mended: only its code fails, and passes again.
    #[test]
    fn an_open_coil_is_named_after_three_seconds() {
        let signals = Signals {
            run_time: Some(Duration::from_secs(10)),
            engine_speed: AngularSpeed::from_rpm(700.0),
            supply: Voltage::from_volts(14.0),
            ..Signals::default()
        };
        let mut coils = Coils::default();
        let mut lives = |open_now: u8, steps: u32| {
            let mut said = Vec::new();
            for _ in 0..steps {
                coils.open_now = open_now;
                coils.step(&signals, Inhibits::default(), &mut |result| {
                    if matches!(result, TestResult::Passed(_) | TestResult::Failed(_)) {
                        said.push(result);
                    }
                });
            }
            said
        };
        assert_eq!(lives(0, 40).len(), 6, "all pass");
        assert_eq!(lives(0b0100, 29), []);
        assert_eq!(lives(0, 1), []);
        assert_eq!(lives(0b0100, 40), [TestResult::Failed(P0353)]);
        assert_eq!(lives(0, 40), [TestResult::Passed(P0353)]);
    }
}
