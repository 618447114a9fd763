//! Leak test of the parked car by natural vacuum: the very small leak of 0.020 in (13 CCR 1968.2(e)(4.2.2), (4.3.2)).
//!
//! After a drive that has warmed the fuel the tank warms on, then cools. A tight one shows it as pressure and vacuum;
//! through a hole of half a millimetre it breathes. The ECU shuts the vent and looks, once a second, for 45 minutes at
//! the most; [`Night`] is one such test, [`Average`] what several of them say. The result belongs to the driving cycle
//! that has ended; the key ends the test without one. Entry after published service information, 2010 model year; that
//! the fuel has to be warmed is our choice: else the tank hardly breathes, and a hole that the law allows would look
//! like a leak.

use core::time::Duration;

use twotrip_units::Pressure;

use super::{
    Inhibits, NATURAL_VACUUM, P0456, Signals, TestResult,
    frame::{
        AMBIENT, BAROMETER, COOLANT, Condition, FUEL_LEVEL, Gate, Missing, Monitor, RUN_TIME, Rules, Test,
        gated,
    },
};
use crate::control::{Requests, SLOW_SECONDS};

mod average;
mod night;

pub use average::Average;
pub use night::{Night, Phase};

use night::{End, Params};

/// Coolant at start, most, °C, and how far from the intake air, K.
const START_COOLANT: f64 = 42.0;
const START_APART: f64 = 10.0;
/// Driving warms the fuel towards so many K above the air, over so long, and standing cools it over so long (s):
/// figures of this car's tank (calibrated).
const WARM_TOWARDS: f64 = 22.0;
const WARM_SECONDS: f64 = 4000.0;
const COOL_SECONDS: f64 = 18_000.0;

/// The drive before, and the place where it ends.
static CONDITIONS: &[Condition] = &[
    RUN_TIME.at_least(600.0),
    COOLANT.at_least(74.0),
    AMBIENT.between(1.5, 32.0),
    FUEL_LEVEL.between(15.0, 85.0),
    BAROMETER.at_least(68.0),
];
static START: Condition = Condition::own(
    "a start with coolant up to 42 C and within 10 K of the intake air",
    "",
);
static DISTANCE: Condition = Condition::own("distance driven", "km").at_least(8.0);
static WARMTH: Condition =
    Condition::own("warming of the fuel by the drive, by the model", "K").at_least(5.0);
static KEY_OFF: Condition = Condition::own("the key off, for up to 45 min", "");
static UNDISTURBED: Condition = Condition::own("a tank that nobody fills, and fuel that does not boil", "");

static RULES: Rules = Rules::once(&[NATURAL_VACUUM], CONDITIONS);

/// The average over nights.
static INDEX: Test = Test::new("share of the natural vacuum that is missing, averaged", "")
    .at_most(average::LEAK)
    .of(&[P0456])
    .reported_as(0x3C, 0x84, 0x04);
pub(super) static TESTS: &[&Test] = &[&INDEX];

/// The monitor.
#[derive(Clone, Debug, Default)]
pub struct NaturalVacuum {
    gate: Gate,
    /// Driven in this driving cycle, m.
    metres: f64,
    /// How much warmer than the air the fuel is, K.
    warmth: f64,
    /// All that the drive has to bring is there.
    ready: bool,
    night: Option<Night>,
    average: Average,
}

impl NaturalVacuum {
    /// The night under way.
    #[must_use]
    pub const fn night(&self) -> Option<&Night> {
        self.night.as_ref()
    }

    /// What the nights said so far.
    #[must_use]
    pub const fn average(&self) -> &Average {
        &self.average
    }

    /// Puts back what was kept without power.
    pub(crate) const fn take_over(&mut self, average: Average) {
        self.average = average;
    }

    fn missing(&self, signals: &Signals) -> Option<Missing> {
        let asked = |condition: &'static Condition, value: f64| {
            (!condition.admits(value)).then(|| condition.with(value))
        };
        // What was missing last is most likely missing still.
        self.gate
            .missing()
            .and_then(|missing| missing.condition.missing(signals))
            .or_else(|| asked(&WARMTH, self.warmth))
            .or_else(|| asked(&DISTANCE, self.metres / 1000.0))
            .or_else(|| CONDITIONS.iter().find_map(|condition| condition.missing(signals)))
    }

    fn end(&mut self, averages: bool, end: End, report: &mut dyn FnMut(TestResult)) {
        self.night = None;
        let End::Index(index) = end else {
            self.gate.abort(UNDISTURBED.with(0.0));
            return;
        };
        let tight = self.average.take(averages, index);
        INDEX
            .found(self.average.index())
            .with_verdict(tight != Some(false))
            .report(report);
        match tight {
            Some(true) => report(TestResult::Passed(P0456)),
            Some(false) => report(TestResult::Failed(P0456)),
            None => {}
        }
        if tight.is_some() {
            self.gate.complete(&RULES, report);
        } else {
            report(TestResult::CouldDetect(NATURAL_VACUUM));
            self.gate.finish();
        }
    }
}

impl Monitor for NaturalVacuum {
    gated!(&RULES);

    fn reset(&mut self) {
        self.metres = 0.0;
        self.ready = false;
        self.night = None;
    }

    fn engine_started(&mut self, signals: &Signals, soak: Duration, report: &mut dyn FnMut(TestResult)) {
        self.reset();
        self.gate.begin_cycle();
        self.warmth *= libm::exp(-soak.as_secs_f64() / COOL_SECONDS);
        let apart = (signals.coolant - signals.intake_air).abs().kelvins();
        if signals.coolant.celsius() > START_COOLANT || apart > START_APART {
            self.gate.rule_out(&RULES, START.with(0.0), report);
        }
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, _report: &mut dyn FnMut(TestResult)) {
        self.metres += signals.vehicle_speed.metres_per_second() * SLOW_SECONDS;
        self.warmth += (WARM_TOWARDS - self.warmth) * (SLOW_SECONDS / WARM_SECONDS);
        if self.gate.is_ruled_out() {
            return;
        }
        if inhibits.blocks(NATURAL_VACUUM) {
            self.ready = false;
            self.gate.disable();
            return;
        }
        let missing = self.missing(signals);
        self.ready = missing.is_none();
        self.gate.wait_for(missing.unwrap_or_else(|| KEY_OFF.with(0.0)));
    }

    fn key_off(&mut self, signals: &Signals) {
        if core::mem::take(&mut self.ready) {
            self.night = Some(Night::new(signals.level_now.percent()));
        }
    }

    fn key_on(&mut self, _signals: &Signals) {
        if self.night.take().is_some() {
            self.gate.abort(KEY_OFF.with(0.0));
        }
    }

    fn engine_stopped(&mut self) {}

    fn works_at_rest(&self) -> bool {
        self.night.is_some()
    }

    fn rest_second(&mut self, signals: &Signals, report: &mut dyn FnMut(TestResult)) {
        let Some(night) = &mut self.night else {
            return;
        };
        let pressure: Pressure = signals.tank_pressure;
        let end = night.second(&Params::DEFAULT, pressure.pascals(), signals.level_now.percent());
        let doing = night.phase().name();
        self.gate.run(doing);
        if let Some(end) = end {
            self.end(signals.averaging.engine_off_leak, end, report);
        }
    }

    fn clear(&mut self) {
        self.reset();
        self.average.clear();
        self.gate.clear();
    }

    fn requests(&self) -> Requests {
        Requests {
            shut_vent: self.night.as_ref().is_some_and(Night::shuts_vent),
            ..Requests::default()
        }
    }
}
