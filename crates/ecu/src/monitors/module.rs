//! The control module's tests of itself as codes ([`crate::SelfTest`]). One that cannot trust its program, its figures,
//! its RAM or its processor lights the lamp at once and leaves the throttle at rest; learned values that are gone show
//! after two nights.

use core::time::Duration;

use super::{
    Inhibits, MODULE, P0601, P0603, P0604, P0605, P0606, Signals, TestResult,
    frame::{Gate, Monitor, Rules, gated},
};
use crate::control::Requests;

static RULES: Rules = Rules::continuous(&[MODULE], &[]);

/// Wrong answers of the processor, less right ones since, that decide; right ones that pass.
const WRONG: u32 = 5;
const RIGHT: u32 = 50;

/// The monitor.
#[derive(Clone, Debug, Default)]
pub(super) struct Module {
    gate: Gate,
    wrong: u32,
    right: u32,
    passed: bool,
    distrusts: bool,
}

impl Monitor for Module {
    gated!(&RULES, forgets all);

    fn engine_started(&mut self, signals: &Signals, _soak: Duration, report: &mut dyn FnMut(TestResult)) {
        self.reset();
        self.gate.begin_cycle();
        let found = signals.self_test;
        for (dtc, failed) in [
            (P0601, found.calibration),
            (P0603, found.keep_alive),
            (P0604, found.ram),
            (P0605, found.program),
        ] {
            report(TestResult::verdict(dtc, !failed));
        }
        self.distrusts = found.calibration || found.ram || found.program;
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&RULES, signals, inhibits).runs() || self.wrong >= WRONG {
            return;
        }
        if signals.self_test.processor {
            self.wrong += 1;
            self.right = 0;
        } else {
            self.wrong = self.wrong.saturating_sub(1);
            self.right = (self.right + 1).min(RIGHT);
        }
        let fails = self.wrong >= WRONG;
        let passes = self.right == RIGHT && !self.passed;
        if fails || passes {
            self.distrusts |= fails;
            self.passed |= passes;
            report(TestResult::verdict(P0606, passes));
            self.gate.complete(&RULES, report);
        }
    }

    fn clear(&mut self) {
        // What the module does not trust it does not trust after service $04 either.
        let distrusts = self.distrusts;
        self.reset();
        self.distrusts = distrusts;
        self.gate.clear();
    }

    fn requests(&self) -> Requests {
        Requests {
            limp_home: self.distrusts,
            ..Requests::default()
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use super::*;
    use crate::SelfTest;

    /// Codes that failed and passed over a start and some steps, and whether limp-home is asked for.
    fn drive(at_start: SelfTest, processor: impl Fn(u32) -> bool) -> (Vec<TestResult>, bool) {
        let mut monitor = Module::default();
        let mut said = Vec::new();
        let mut signals = Signals {
            run_time: Some(Duration::ZERO),
            self_test: at_start,
            ..Signals::default()
        };
        let report = &mut |result| said.push(result);
        monitor.engine_started(&signals, Duration::ZERO, report);
        for step in 0..200 {
            signals.self_test.processor = processor(step);
            monitor.step(&signals, Inhibits::default(), report);
        }
        said.retain(|result| matches!(result, TestResult::Failed(_) | TestResult::Passed(_)));
        (said, monitor.requests().limp_home)
    }

    #[test]
    fn each_test_has_its_code() {
        let sound = SelfTest::default();
        let codes = [P0601, P0603, P0604, P0605, P0606];
        for (found, failing, limps) in [
            (sound, None, false),
            (
                SelfTest {
                    calibration: true,
                    ..sound
                },
                Some(P0601),
                true,
            ),
            (
                SelfTest {
                    keep_alive: true,
                    ..sound
                },
                Some(P0603),
                false,
            ),
            (SelfTest { ram: true, ..sound }, Some(P0604), true),
            (
                SelfTest {
                    program: true,
                    ..sound
                },
                Some(P0605),
                true,
            ),
        ] {
            let expected: Vec<TestResult> = codes
                .iter()
                .map(|&dtc| TestResult::verdict(dtc, Some(dtc) != failing))
                .collect();
            assert_eq!(drive(found, |_| false), (expected, limps), "{found:?}");
        }
    }

    #[test]
    fn the_processor_is_judged_by_several_answers() {
        let said = |processor: fn(u32) -> bool| {
            let (said, limps) = drive(SelfTest::default(), processor);
            (said[4..].to_vec(), limps)
        };
        assert_eq!(said(|_| true), ([TestResult::Failed(P0606)].to_vec(), true));
        assert_eq!(
            said(|step| step < 4),
            ([TestResult::Passed(P0606)].to_vec(), false)
        );
        assert_eq!(
            said(|step| step % 2 == 0),
            (Vec::new(), false),
            "as many right as wrong"
        );
        let later = said(|step| step > 100);
        let both = [TestResult::Passed(P0606), TestResult::Failed(P0606)];
        assert_eq!(later, (both.to_vec(), true));
    }

    #[test]
    fn a_clear_brings_no_trust_back() {
        let mut monitor = Module {
            distrusts: true,
            ..Module::default()
        };
        monitor.clear();
        assert!(monitor.requests().limp_home);
    }
}
