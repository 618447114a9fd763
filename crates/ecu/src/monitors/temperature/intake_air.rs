//! Does the intake-air sensor tell what is: after a soak it agrees with coolant and outside air, and it moves on a drive
//! that warms the engine.

use core::time::Duration;

use super::{
    PER_SECOND, SOUND,
    soak::{self, NO_BLOCK_HEATER, Parked, SoakedStart, Suspect},
};
use twotrip_units::Speed;

use crate::monitors::{
    INTAKE_AIR_RATIONALITY, Inhibits, P0111, Signals, TestResult,
    frame::{Condition, Gate, Monitor, Rules, Test, gated},
};

/// So long above so much road speed, and so much warmer coolant, move the intake air (published: 2.2 K in a drive above
/// 20 km/h). Steady driving may bring it back to where it started: for a fault so long a stand over a warm engine is
/// asked for as well.
const DRIVEN: u32 = 300 * PER_SECOND;
const ABOVE: Speed = Speed::from_kilometres_per_hour(20.0);
const WARMED: f64 = 40.0;
const STOOD: u32 = 60 * PER_SECOND;

pub(super) static APART: Test = Test::new("intake air below coolant after the soak", "K")
    .at_least(-soak::APART)
    .at_most(soak::APART)
    .of(&[P0111])
    .reported_as(0xE1, 0x83, 0x96);
pub(super) static MOVED: Test = Test::new("movement of the intake air on the drive", "K")
    .at_least(2.2)
    .of(&[P0111])
    .reported_as(0xE1, 0x84, 0x96);

static CONDITIONS: [Condition; 1] = [SOUND];
static RULES: Rules = Rules {
    pause: Rules::PAUSES,
    ..Rules::once(&[INTAKE_AIR_RATIONALITY], &CONDITIONS)
};

/// The monitor.
#[derive(Clone, Debug, Default)]
pub struct IntakeAirRationality {
    gate: Gate,
    parked: Parked,
    start: SoakedStart,
    agrees: bool,
    driven: u32,
    stood: u32,
    lowest: f64,
    highest: f64,
}

impl Monitor for IntakeAirRationality {
    gated!(&RULES, forgets all);

    fn step_off(&mut self, signals: &Signals, _inhibits: Inhibits, _report: &mut dyn FnMut(TestResult)) {
        self.parked.look(signals);
    }

    fn engine_started(&mut self, signals: &Signals, soak: Duration, report: &mut dyn FnMut(TestResult)) {
        let parked = self.parked;
        self.reset();
        self.start = SoakedStart::begin(&mut self.gate, &RULES, signals, (soak, parked), report);
        self.lowest = self.start.intake;
        self.highest = self.start.intake;
    }

    /// The start is not forgotten: what it showed holds for this driving cycle.
    fn clear(&mut self) {
        self.gate.clear();
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        if !self.gate.step(&RULES, signals, inhibits).runs() {
            return;
        }
        let intake = signals.intake_air.celsius();
        self.lowest = self.lowest.min(intake);
        self.highest = self.highest.max(intake);
        match self.start.step(signals) {
            Some(Suspect::BlockHeater) => {
                let fall = NO_BLOCK_HEATER.with(self.start.fall());
                self.gate.rule_out(&RULES, fall, report);
                return;
            }
            Some(suspect) => {
                let good = suspect != Suspect::IntakeAir;
                APART.found(self.start.apart()).with_verdict(good).report(report);
                self.agrees = good;
                if !good {
                    self.end(false, report);
                    return;
                }
            }
            None => {}
        }
        self.driven += u32::from(signals.vehicle_speed > ABOVE);
        let warmed = signals.coolant.celsius() - self.start.coolant >= WARMED;
        self.stood += u32::from(warmed && signals.standing_seconds > 0.0);
        if !(self.agrees && self.driven >= DRIVEN && warmed) {
            return;
        }
        let moved = MOVED.found(self.highest - self.lowest);
        if moved.passed || self.stood >= STOOD {
            moved.report(report);
            self.end(moved.passed, report);
        }
    }
}

impl IntakeAirRationality {
    fn end(&mut self, passed: bool, report: &mut dyn FnMut(TestResult)) {
        report(TestResult::verdict(P0111, passed));
        self.gate.complete(&RULES, report);
    }
}
