//! The valve of exhaust-gas recirculation when shut, and whether its stem goes where it is told.
//!
//! Leak: at a warm idle the cylinders draw more gas than the meter sees air, while the mixture is right; an air leak would make
//! it lean (13 CCR 1968.2(e)(8), from memory; own design, limits calibrated). Stem: against its command, all the time.

use twotrip_units::Limit;

use super::{
    EGR_LEAK, EGR_VALVE, Inhibits, P0402, P0404, Signals, TestResult,
    frame::{CLOSED_LOOP, COOLANT, Condition, Gate, Monitor, RUN_TIME, Rules, STANDING_TIME, Test, gated},
};

static LEAK_CONDITIONS: [Condition; 5] = [
    RUN_TIME.at_least(60.0),
    COOLANT.at_least(70.0),
    CLOSED_LOOP,
    STANDING_TIME.at_least(4.0),
    Condition::state("the EGR valve commanded shut", |signals| {
        signals.egr_commanded.fraction() <= 0.0
    }),
];
static LEAK_RULES: Rules = Rules::once(&[EGR_LEAK], &LEAK_CONDITIONS);
/// Gas by speed-density over metered air. Clean engines stay within 7 %.
static EXCESS: Test = Test::new("gas drawn against air metered at idle, EGR valve shut", "")
    .at_most(1.20)
    .of(&[P0402]);
/// Steps of 100 ms whose mean decides.
const LEAK_STEPS: u32 = 100;
/// Total correction of the mixture with which an excess is exhaust, and not air past the meter or a meter that errs: as a
/// mean, and at the end, for just after a stop the loop is still on its way to what an air leak asks for.
const TRIMS_WITHIN: f64 = 0.12;

/// What the monitors measure.
pub(super) static TESTS: &[&Test] = &[&EXCESS, &BEHIND, &BEYOND];

/// The valve's leak.
#[derive(Clone, Debug, Default)]
pub struct EgrLeak {
    gate: Gate,
    ticks: u32,
    ratio: f64,
    trim: f64,
}

impl Monitor for EgrLeak {
    gated!(&LEAK_RULES, forgets all);

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&LEAK_RULES, signals, inhibits).runs() {
            self.reset();
            return;
        }
        self.ticks += 1;
        self.ratio += signals.gas_by_meter.fraction();
        let banks = signals.banks();
        let share = 1.0 / f64::from(u32::try_from(banks.len()).unwrap_or(1).max(1));
        let now: f64 = banks
            .iter()
            .map(|bank| (1.0 + bank.mean_short_term.fraction()) * (1.0 + bank.long_term.fraction()) - 1.0)
            .map(|total| total * share)
            .sum();
        self.trim += now;
        if self.ticks < LEAK_STEPS {
            return;
        }
        let (ratio, trim) = (
            self.ratio / f64::from(LEAK_STEPS),
            self.trim / f64::from(LEAK_STEPS),
        );
        self.reset();
        let found = EXCESS.found(ratio);
        if found.passed || trim.abs() <= TRIMS_WITHIN && now.abs() <= TRIMS_WITHIN {
            found.judge(report);
            self.gate.complete(&LEAK_RULES, report);
        }
        // Else the mixture is wrong too: not exhaust, and not this monitor's.
    }
}

static VALVE_RULES: Rules = Rules::continuous(&[EGR_VALVE], &VALVE_CONDITIONS);
static VALVE_CONDITIONS: [Condition; 1] = [RUN_TIME.at_least(5.0)];
/// Lift as a share of a command that is worth judging.
static BEHIND: Test = Test::new("lift of the EGR valve against its command", "%")
    .at_least(40.0)
    .of(&[P0404]);
/// Lift beyond the command, points.
static BEYOND: Test = Test::new("lift of the EGR valve beyond its command", "%")
    .at_most(15.0)
    .of(&[P0404]);
/// A command worth judging.
const WORTH: f64 = 0.04;
/// Steps of 100 ms in a row.
const VALVE_STEPS: u32 = 50;

/// The valve's stem.
#[derive(Clone, Debug, Default)]
pub struct EgrValve {
    gate: Gate,
    behind: u32,
    beyond: u32,
    good: u32,
    passed: bool,
}

impl Monitor for EgrValve {
    gated!(&VALVE_RULES, forgets all);

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&VALVE_RULES, signals, inhibits).runs() {
            return;
        }
        let (commanded, lift) = (signals.egr_commanded.fraction(), signals.egr_lift.fraction());
        let share = 100.0 * lift / commanded.at_least(WORTH);
        let beyond = 100.0 * (lift - commanded);
        let worth = commanded >= WORTH;
        // A command hardly worth it neither tells nor takes back that the stem does not move.
        if worth {
            self.behind = if BEHIND.found(share).passed {
                0
            } else {
                self.behind + 1
            };
        }
        self.beyond = if BEYOND.found(beyond).passed {
            0
        } else {
            self.beyond + 1
        };
        if worth && self.behind == 0 && self.beyond == 0 {
            self.good += 1;
        }
        if self.beyond == VALVE_STEPS {
            BEYOND.judge(beyond, report);
            self.good = 0;
        } else if self.behind == VALVE_STEPS && worth {
            BEHIND.judge(share, report);
            self.good = 0;
        } else if self.good >= VALVE_STEPS && !self.passed {
            self.passed = true;
            BEHIND.judge(share.at_most(200.0), report);
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use twotrip_units::{Ratio, Temperature};

    use super::*;
    use crate::monitors::BankSignals;

    fn idle(ratio: f64, trim: f64) -> Signals {
        let bank = BankSignals {
            long_term: Ratio::from_fraction(trim),
            ..BankSignals::default()
        };
        Signals {
            run_time: Some(core::time::Duration::from_secs(600)),
            coolant: Temperature::from_celsius(90.0),
            closed_loop: true,
            standing_seconds: 30.0,
            gas_by_meter: Ratio::from_fraction(ratio),
            bank_count: 1,
            banks: [bank, BankSignals::default()],
            ..Signals::default()
        }
    }

    fn run(monitor: &mut impl Monitor, signals: &Signals, steps: u32) -> Vec<TestResult> {
        let mut said = Vec::new();
        for _ in 0..steps {
            monitor.step(signals, Inhibits::default(), &mut |result| said.push(result));
        }
        said
    }

    /// Exhaust raises the ratio alone, an air leak and a meter that reads low move the trims too.
    #[test]
    fn the_mixture_tells_exhaust_from_air() {
        for (ratio, trim, passed, failed) in [
            (1.02, 0.0, true, false),
            (1.15, 0.01, true, false),
            (1.30, 0.03, false, true),
            (1.30, 0.25, false, false),
            (0.85, -0.15, true, false),
        ] {
            let said = run(&mut EgrLeak::default(), &idle(ratio, trim), 110);
            assert_eq!(
                said.contains(&TestResult::Passed(P0402)),
                passed,
                "{ratio}, {trim}"
            );
            assert_eq!(
                said.contains(&TestResult::Failed(P0402)),
                failed,
                "{ratio}, {trim}"
            );
        }
    }

    /// An air leak just after a stop: the loop goes from nothing to what the leak asks for, and its mean lags behind.
    #[test]
    fn a_loop_on_its_way_is_not_judged() {
        let mut monitor = EgrLeak::default();
        let mut said = Vec::new();
        for step in 0..300_u32 {
            let trim = (0.0017 * f64::from(step)).min(0.21);
            said.extend(run(&mut monitor, &idle(1.21, trim), 1));
        }
        assert_eq!(said, []);
    }

    #[test]
    fn a_stem_that_does_not_follow_is_told_either_way() {
        let at = |commanded: f64, lift: f64| Signals {
            egr_commanded: Ratio::from_fraction(commanded),
            egr_lift: Ratio::from_fraction(lift),
            ..idle(1.0, 0.0)
        };
        for (commanded, lift, passed, failed) in [
            (0.08, 0.08, true, false),
            (0.08, 0.0, false, true),
            (0.02, 0.0, false, false),
            (0.0, 0.4, false, true),
            // Carbon on the seat holds it up a little: the leak's.
            (0.0, 0.13, false, false),
        ] {
            let said = run(&mut EgrValve::default(), &at(commanded, lift), 60);
            assert_eq!(
                said.contains(&TestResult::Passed(P0404)),
                passed,
                "{commanded}, {lift}"
            );
            assert_eq!(
                said.contains(&TestResult::Failed(P0404)),
                failed,
                "{commanded}, {lift}"
            );
        }
        let mut monitor = EgrValve::default();
        assert!(run(&mut monitor, &at(0.08, 0.0), 45).is_empty());
        assert!(
            run(&mut monitor, &at(0.08, 0.08), 10).is_empty(),
            "it stuck for a moment"
        );
    }
}
