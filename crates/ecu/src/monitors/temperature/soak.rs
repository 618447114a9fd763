//! What a long soak ought to make equal: coolant, intake air, and the air outside.

use core::time::Duration;

use super::{Condition, PER_SECOND, Signals};
use crate::monitors::{
    TestResult,
    frame::{Gate, Rules, SOAK},
};
use twotrip_units::{AngularSpeed, Limit as _, Speed, Temperature};

/// Coolant and intake air apart by more than this is not of the soak, K (published: 16.6 to 42).
pub(super) const APART: f64 = 17.0;
/// The first minute of driving tells a warm block from a wrong sensor: by its end the coolant has fallen by more than this
/// from where it started, for cold coolant comes in from the hoses, K.
const HEATER_FALL: f64 = 3.0;
pub(super) const LOOKED_AT: u32 = 60 * PER_SECOND;
const STANDING: AngularSpeed = AngularSpeed::from_rpm(20.0);
const DRIVING: Speed = Speed::from_kilometres_per_hour(10.0);

/// No monitor of these without a soak, after which coolant and intake air have come together (published: 360 min).
static LONG_SOAK: Condition = SOAK.at_least(6.0);
/// A block heater has warmed the coolant alone.
pub(super) static NO_BLOCK_HEATER: Condition = Condition::own(
    "fall of the coolant from the start to the first minute of driving, as after a block heater",
    "K",
)
.at_most(HEATER_FALL);

/// The coolant before the engine was cranked, °C, if the ECU has looked: a long cranking mixes warm coolant with cold.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Parked(Option<f64>);

impl Parked {
    /// One step without a running engine.
    pub(super) fn look(&mut self, signals: &Signals) {
        if signals.engine_speed < STANDING {
            self.0 = Some(signals.coolant.celsius());
        }
    }

    /// The warmer one of then and of the start.
    pub(super) fn warmest(self, start: f64) -> f64 {
        self.0.map_or(start, |parked| parked.at_least(start))
    }
}

/// Who is off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Suspect {
    /// Nobody: they agree.
    None,
    /// The coolant sensor.
    Coolant,
    /// The intake-air sensor.
    IntakeAir,
    /// A block heater explains it.
    BlockHeater,
}

/// A start after a soak, and the first minute of driving after it.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct SoakedStart {
    pub(super) coolant: f64,
    pub(super) intake: f64,
    outside: f64,
    /// Coolant before the start or at it, and since: a long cranking mixes it already.
    warmest: f64,
    lowest: f64,
    /// Intake air when driving began, and since.
    intake_before: f64,
    intake_highest: f64,
    driven: u32,
}

impl SoakedStart {
    /// A driving cycle begins for a monitor that compares after a long soak: without one it does not run.
    pub(super) fn begin(
        gate: &mut Gate,
        rules: &Rules,
        signals: &Signals,
        (soak, parked): (Duration, Parked),
        report: &mut dyn FnMut(TestResult),
    ) -> Self {
        gate.begin_after_soak(rules, &LONG_SOAK, soak, report);
        let celsius = Temperature::celsius;
        let coolant = celsius(signals.coolant);
        Self {
            coolant,
            warmest: parked.warmest(coolant),
            lowest: coolant,
            intake: celsius(signals.intake_air),
            outside: celsius(signals.ambient),
            ..Self::default()
        }
    }

    /// Coolant above intake air at the start, K.
    pub(super) fn apart(&self) -> f64 {
        self.coolant - self.intake
    }

    /// How far the coolant fell from the start to the end of the first minute of driving, K.
    pub(super) fn fall(&self) -> f64 {
        self.warmest - self.lowest
    }

    /// One step; who is off, when the first minute of driving is over.
    pub(super) fn step(&mut self, signals: &Signals) -> Option<Suspect> {
        if self.driven >= LOOKED_AT {
            return None;
        }
        self.lowest = self.lowest.min(signals.coolant.celsius());
        if signals.vehicle_speed < DRIVING {
            return None;
        }
        let intake = signals.intake_air.celsius();
        if self.driven == 0 {
            self.intake_before = intake;
            self.intake_highest = intake;
        }
        self.intake_highest = self.intake_highest.max(intake);
        self.driven += 1;
        (self.driven >= LOOKED_AT).then(|| self.suspect())
    }

    fn suspect(&self) -> Suspect {
        let apart = self.apart();
        if apart.abs() <= APART {
            Suspect::None
        } else if apart > 0.0 && self.fall() > HEATER_FALL && self.intake_highest >= self.intake_before {
            Suspect::BlockHeater
        } else if (self.intake - self.outside).abs() > (self.coolant - self.outside).abs() {
            Suspect::IntakeAir
        } else {
            Suspect::Coolant
        }
    }
}
