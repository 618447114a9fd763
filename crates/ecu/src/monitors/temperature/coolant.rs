//! Does the coolant sensor tell what is: after a soak it agrees with the intake air, and it moves when the engine warms
//! (13 CCR 1968.2(e)(10.2), from memory).

use core::time::Duration;

use super::{
    PER_SECOND, SOUND,
    soak::{self, NO_BLOCK_HEATER, Parked, SoakedStart, Suspect},
};
use crate::monitors::{
    COOLANT_RATIONALITY, Inhibits, P0116, Signals, TestResult,
    frame::{Condition, Gate, Monitor, Rules, Test, gated},
};

/// Time of running engine in which a cold coolant moves (published: 190 s), and by how much at least, K.
const WARMING: u32 = 190 * PER_SECOND;

pub(super) static APART: Test = Test::new("coolant above intake air after the soak", "K")
    .at_least(-soak::APART)
    .at_most(soak::APART)
    .of(&[P0116])
    .reported_as(0xE1, 0x81, 0x96);
pub(super) static MOVED: Test = Test::new("movement of the coolant in 190 s of running engine", "K")
    .at_least(2.0)
    .of(&[P0116])
    .reported_as(0xE1, 0x82, 0x96);

static CONDITIONS: [Condition; 1] = [SOUND];
static RULES: Rules = Rules {
    pause: Rules::PAUSES,
    ..Rules::once(&[COOLANT_RATIONALITY], &CONDITIONS)
};

/// The monitor.
#[derive(Clone, Debug, Default)]
pub struct CoolantRationality {
    gate: Gate,
    parked: Parked,
    start: SoakedStart,
    agrees: Option<bool>,
    ran: u32,
    lowest: f64,
    highest: f64,
}

impl Monitor for CoolantRationality {
    gated!(&RULES, forgets all);

    fn step_off(&mut self, signals: &Signals, _inhibits: Inhibits, _report: &mut dyn FnMut(TestResult)) {
        self.parked.look(signals);
    }

    fn engine_started(&mut self, signals: &Signals, soak: Duration, report: &mut dyn FnMut(TestResult)) {
        let parked = self.parked;
        self.reset();
        self.start = SoakedStart::begin(&mut self.gate, &RULES, signals, (soak, parked), report);
        self.lowest = self.start.coolant;
        self.highest = self.start.coolant;
    }

    /// The start is not forgotten: what it showed holds for this driving cycle.
    fn clear(&mut self) {
        self.gate.clear();
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&RULES, signals, inhibits).runs() {
            return;
        }
        self.ran = self.ran.saturating_add(1);
        self.lowest = self.lowest.min(signals.coolant.celsius());
        self.highest = self.highest.max(signals.coolant.celsius());
        match self.start.step(signals) {
            Some(Suspect::BlockHeater) => {
                let fall = NO_BLOCK_HEATER.with(self.start.fall());
                self.gate.rule_out(&RULES, fall, report);
                return;
            }
            Some(suspect) => {
                let good = suspect != Suspect::Coolant;
                APART.found(self.start.apart()).with_verdict(good).report(report);
                self.agrees = Some(good);
            }
            None => {}
        }
        if self.agrees == Some(false) {
            self.end(false, report);
            return;
        }
        let moved = MOVED.found(self.highest - self.lowest);
        if self.ran == WARMING {
            moved.report(report);
            if !moved.passed {
                self.end(false, report);
            }
        }
        if self.agrees == Some(true) && self.ran >= WARMING && moved.passed {
            self.end(true, report);
        }
    }
}

impl CoolantRationality {
    fn end(&mut self, passed: bool, report: &mut dyn FnMut(TestResult)) {
        report(TestResult::verdict(P0116, passed));
        self.gate.complete(&RULES, report);
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use twotrip_units::{AngularSpeed, Speed, Temperature};

    use super::*;

    /// What is said of a block that was warm before the start and has mixed with its cold hoses by the end of it, as in a
    /// long cranking.
    fn said(parked_celsius: f64) -> Vec<TestResult> {
        let celsius = Temperature::from_celsius;
        let parked = Signals {
            coolant: celsius(parked_celsius),
            intake_air: celsius(-10.0),
            ambient: celsius(-20.0),
            ..Signals::default()
        };
        let started = Signals {
            coolant: celsius(12.0),
            engine_speed: AngularSpeed::from_rpm(1500.0),
            vehicle_speed: Speed::from_kilometres_per_hour(40.0),
            run_time: Some(Duration::from_secs(30)),
            ..parked
        };
        let mut monitor = CoolantRationality::default();
        let mut verdicts = Vec::new();
        let mut report = |result| {
            if matches!(result, TestResult::Passed(_) | TestResult::Failed(_)) {
                verdicts.push(result);
            }
        };
        monitor.step_off(&parked, Inhibits::default(), &mut report);
        monitor.engine_started(&started, Duration::from_secs(8 * 3600), &mut report);
        for _ in 0..soak::LOOKED_AT + 10 {
            monitor.step(&started, Inhibits::default(), &mut report);
        }
        verdicts
    }

    #[test]
    fn a_block_heater_shows_in_what_the_coolant_was_before_the_engine_was_cranked() {
        assert_eq!(said(20.0), []);
        assert_eq!(
            said(12.0),
            [TestResult::Failed(P0116)],
            "nothing has fallen: the sensor"
        );
    }
}
