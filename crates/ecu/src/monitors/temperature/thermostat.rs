//! Does the thermostat close: a model of the warm-up with a shut one tells when the coolant has to be warm (13 CCR
//! 1968.2(e)(10.2.1), from memory: within 11 K of the regulating temperature by the time of a model).
//!
//! The model is that of published lumped warm-up models: two masses, warmed by the ECU's own fuel and friction, with a
//! reserve. The intake air is taken for the air outside.

use core::time::Duration;

use twotrip_units::Limit;

use super::{
    Idling, PER_SECOND, SOUND,
    soak::{NO_BLOCK_HEATER, Parked},
};
use crate::monitors::{
    Inhibits, P0128, Signals, THERMOSTAT, TestResult,
    frame::{Condition, Gate, Monitor, Rules, Test, gated},
};

/// Heating value of petrol, J/g (textbook).
const HEATING_VALUE: f64 = 42_600.0;
/// Share of the model's heat that is believed: the rest is reserve.
const RESERVE: f64 = 0.85;
/// Share of the fuel's heat that warms the engine, over fuel power, kW (calibrated).
const HEAT_SHARE: twotrip_units::Table<7> = twotrip_units::Table::new([
    (0.0, 0.42),
    (5.0, 0.40),
    (10.0, 0.37),
    (20.0, 0.32),
    (50.0, 0.27),
    (100.0, 0.25),
    (250.0, 0.22),
]);
/// Share of it that goes to the coolant, and of friction that goes to the block.
const TO_COOLANT: f64 = 0.8;
const FRICTION: f64 = 0.5;
/// Coolant with head, and block with oil, J/K; their link, W/K; their losses, W/K and W/K for each m/s.
const COOLANT_HEAT: f64 = 24_000.0;
const BLOCK_HEAT: f64 = 46_000.0;
const LINK: f64 = 420.0;
const COOLANT_LOSS: (f64, f64) = (4.0, 0.25);
const BLOCK_LOSS: (f64, f64) = (5.0, 0.4);
/// What the cabin's heater takes at full, W/K.
const CABIN_HEATER: f64 = 60.0;
/// So long after the start cold coolant from the hoses may come to the sensor, where a block heater has warmed the rest:
/// nobody knows then how warm the block is.
const MIXING: u32 = 30 * PER_SECOND;

/// The model's coolant at which the real one is looked at, °C.
const GATE: f64 = 80.0;
/// Where the thermostat begins to open is 82 °C; the coolant has to come within 11 K of that.
pub(super) static HIGHEST: Test =
    Test::new("highest coolant when the model of the warm-up reaches 80 C", "C")
        .at_least(71.0)
        .of(&[P0128])
        .reported_as(0xE1, 0x80, 0x96);

static START: Condition = Condition::own("coolant at the start", "C").between(-8.0, 65.0);
static INTAKE: Condition = Condition::own("intake air at the start", "C").at_least(-10.0);
/// The intake air under the bonnet of an engine that stood for minutes says nothing of the frost outside.
static OUTSIDE: Condition = Condition::own("air outside at the start", "C").at_least(-10.0);
static IDLING: Condition = Condition::own("share of idling and fuel cut", "%").at_most(50.0);
static AIR: Condition = Condition::own("mean air flow for 2.0 l of engine", "g/s").at_least(3.0);
static CONDITIONS: [Condition; 1] = [SOUND];
static RULES: Rules = Rules {
    pause: Rules::PAUSES,
    ..Rules::once(&[THERMOSTAT], &CONDITIONS)
};

/// The monitor.
#[derive(Clone, Debug, Default)]
pub struct Thermostat {
    gate: Gate,
    parked: Parked,
    /// Coolant before the start or at it, °C.
    warmest: f64,
    /// The model, °C.
    coolant: f64,
    block: f64,
    /// Since the model's last second: steps, fuel in g/s and friction in W, summed.
    steps: u32,
    fuel: f64,
    friction: f64,
    idling: Idling,
    air: f64,
    highest: f64,
}

impl Thermostat {
    /// What the model has come to.
    #[must_use]
    pub const fn model(&self) -> twotrip_units::Temperature {
        twotrip_units::Temperature::from_celsius(self.coolant)
    }

    /// One second of the model, implicitly: two equations, linear.
    fn warm(&mut self, signals: &Signals) {
        // All masses, losses and heat go with the size of the engine.
        let per_second = 1.0 / (f64::from(PER_SECOND) * signals.engine_size.at_least(0.1));
        let (fuel, friction) = (self.fuel * per_second, self.friction * per_second);
        (self.steps, self.fuel, self.friction) = (0, 0.0, 0.0);
        let watts = fuel * HEATING_VALUE;
        let heat = RESERVE * watts * HEAT_SHARE.at(watts * 1e-3);
        let to_coolant = TO_COOLANT * heat;
        let to_block = heat - to_coolant + RESERVE * FRICTION * friction;
        let outside = signals.intake_air.celsius();
        let speed = signals.vehicle_speed.metres_per_second();
        let mut coolant_loss = COOLANT_LOSS.0 + COOLANT_LOSS.1 * speed;
        if signals.cabin_heater {
            coolant_loss += CABIN_HEATER / signals.engine_size.at_least(0.1);
        }
        let block_loss = BLOCK_LOSS.0 + BLOCK_LOSS.1 * speed;
        let coolant = COOLANT_HEAT + LINK + coolant_loss;
        let block = BLOCK_HEAT + LINK + block_loss;
        let coolant_right = COOLANT_HEAT * self.coolant + coolant_loss * outside + to_coolant;
        let block_right = BLOCK_HEAT * self.block + block_loss * outside + to_block;
        let determinant = coolant * block - LINK * LINK;
        self.coolant = (coolant_right * block + LINK * block_right) / determinant;
        self.block = (coolant * block_right + LINK * coolant_right) / determinant;
    }
}

impl Monitor for Thermostat {
    gated!(&RULES, forgets all);

    fn step_off(&mut self, signals: &Signals, _inhibits: Inhibits, _report: &mut dyn FnMut(TestResult)) {
        self.parked.look(signals);
    }

    fn engine_started(&mut self, signals: &Signals, _soak: Duration, report: &mut dyn FnMut(TestResult)) {
        let parked = self.parked;
        self.reset();
        self.gate.begin_cycle();
        let start = signals.coolant.celsius();
        let intake = signals.intake_air.celsius();
        self.warmest = parked.warmest(start);
        (self.coolant, self.block, self.highest) = (start, start, start);
        if !START.admits(start) {
            self.gate.rule_out(&RULES, START.with(start), report);
        } else if !INTAKE.admits(intake) {
            self.gate.rule_out(&RULES, INTAKE.with(intake), report);
        } else if !OUTSIDE.admits(signals.ambient.celsius()) {
            self.gate
                .rule_out(&RULES, OUTSIDE.with(signals.ambient.celsius()), report);
        }
    }

    /// The model goes on: it is of the engine, not of the fault memory.
    fn clear(&mut self) {
        self.gate.clear();
    }

    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
        let runs = self.gate.step(&RULES, signals, inhibits).runs();
        if self.gate.is_ruled_out() || self.coolant >= GATE {
            return;
        }
        self.steps += 1;
        // What finds no air warms nothing.
        let burns = signals.air_metered.grams_per_second() * (1.0 / 14.7);
        self.fuel += signals.fuel_flow.grams_per_second().min(burns);
        self.friction += signals.friction.watts();
        self.idling.step(signals);
        self.air += signals.air_metered.grams_per_second();
        if runs {
            self.highest = self.highest.max(signals.coolant.celsius());
        }
        let fall = self.warmest - signals.coolant.celsius();
        if self.idling.steps < MIXING && !NO_BLOCK_HEATER.admits(fall) {
            self.gate.rule_out(&RULES, NO_BLOCK_HEATER.with(fall), report);
            return;
        }
        if self.steps < PER_SECOND {
            return;
        }
        self.warm(signals);
        // Whoever is not allowed to judge at that moment does not judge at all.
        if self.coolant < GATE || !runs {
            return;
        }
        let idling = self.idling.percent();
        let air = self.air / (f64::from(self.idling.steps) * signals.engine_size).at_least(0.1);
        if !IDLING.admits(idling) {
            self.gate.rule_out(&RULES, IDLING.with(idling), report);
        } else if !AIR.admits(air) {
            self.gate.rule_out(&RULES, AIR.with(air), report);
        } else {
            HIGHEST.judge(self.highest, report);
            self.gate.complete(&RULES, report);
        }
    }
}

#[cfg(test)]
mod tests {
    use twotrip_units::Temperature;

    use super::*;

    /// A warm engine that stood for minutes at -20 C, whose cabin is heated: the coolant of a sound car may stay below 71 C.
    #[test]
    fn frost_outside_is_not_hidden_by_a_warm_bonnet() {
        for (outside, ruled_out) in [(-20.0, true), (-11.0, true), (-9.0, false), (20.0, false)] {
            let signals = Signals {
                coolant: Temperature::from_celsius(19.0),
                intake_air: Temperature::from_celsius(12.0),
                ambient: Temperature::from_celsius(outside),
                ..Signals::default()
            };
            let mut monitor = Thermostat::default();
            monitor.engine_started(&signals, Duration::from_secs(1260), &mut |_| {});
            assert_eq!(monitor.gate.is_ruled_out(), ruled_out, "{outside} C outside");
        }
    }
}
