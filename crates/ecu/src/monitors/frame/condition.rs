//! Enable conditions as data: a row names a quantity and its window, and is shown with the value of the moment.

use core::fmt;

use crate::monitors::Signals;

/// How a condition is read.
#[derive(Clone, Copy, Debug)]
enum Read {
    /// A quantity of the signals.
    Number(fn(&Signals) -> f64),
    /// A state of the car that is or is not.
    State(fn(&Signals) -> bool),
    /// By the monitor itself, which says when it is missing ([`super::Gate::wait_for`], [`super::Gate::rule_out`]).
    Own,
}

/// One enable condition.
#[derive(Clone, Copy, Debug)]
pub struct Condition {
    /// What it is about.
    pub what: &'static str,
    /// Unit of value and limits; empty for a state.
    pub unit: &'static str,
    /// Least value that fits.
    pub least: Option<f64>,
    /// Largest value that fits.
    pub most: Option<f64>,
    /// What there is where a state is missing; empty where that goes without saying.
    instead: &'static str,
    read: Read,
}

impl Condition {
    /// A quantity of the signals, without limits yet.
    #[must_use]
    pub const fn of(what: &'static str, unit: &'static str, read: fn(&Signals) -> f64) -> Self {
        Self {
            what,
            unit,
            least: None,
            most: None,
            instead: "",
            read: Read::Number(read),
        }
    }

    /// A state of the car that is needed.
    #[must_use]
    pub const fn state(what: &'static str, read: fn(&Signals) -> bool) -> Self {
        Self {
            read: Read::State(read),
            ..Self::own(what, "")
        }
    }

    /// What the monitor itself looks at; without a unit something that is or is not.
    #[must_use]
    pub const fn own(what: &'static str, unit: &'static str) -> Self {
        Self {
            what,
            unit,
            least: None,
            most: None,
            instead: "",
            read: Read::Own,
        }
    }

    /// With a word for what there is where the state is missing.
    #[must_use]
    pub const fn instead_of(self, instead: &'static str) -> Self {
        Self { instead, ..self }
    }

    /// With a lower limit.
    #[must_use]
    pub const fn at_least(self, least: f64) -> Self {
        Self {
            least: Some(least),
            ..self
        }
    }

    /// With an upper limit.
    #[must_use]
    pub const fn at_most(self, most: f64) -> Self {
        Self {
            most: Some(most),
            ..self
        }
    }

    /// With both.
    #[must_use]
    pub const fn between(self, least: f64, most: f64) -> Self {
        self.at_least(least).at_most(most)
    }

    /// Whether a value lies in the window.
    #[must_use]
    pub fn admits(&self, value: f64) -> bool {
        self.least.is_none_or(|least| value >= least) && self.most.is_none_or(|most| value <= most)
    }

    /// What is missing of it now, if anything is. A monitor's own condition is never missing here.
    #[must_use]
    pub fn missing(&'static self, signals: &Signals) -> Option<Missing> {
        let value = match self.read {
            Read::Number(read) => {
                let value = read(signals);
                if self.admits(value) {
                    return None;
                }
                value
            }
            Read::State(read) if read(signals) => return None,
            Read::State(_) => 0.0,
            Read::Own => return None,
        };
        Some(Missing {
            condition: self,
            value,
        })
    }

    /// That this is missing, with the value found.
    #[must_use]
    pub const fn with(&'static self, value: f64) -> Missing {
        Missing {
            condition: self,
            value,
        }
    }

    /// Whether only the monitor itself can read it.
    pub(super) const fn is_own(&self) -> bool {
        matches!(self.read, Read::Own)
    }

    const fn is_state(&self) -> bool {
        self.least.is_none() && self.most.is_none()
    }

    fn window(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unit = self.unit;
        match (self.least.map(Number), self.most.map(Number)) {
            (Some(least), Some(most)) => write!(f, "{least} to {most} {unit}"),
            (Some(least), None) => write!(f, "at least {least} {unit}"),
            (None, Some(most)) => write!(f, "at most {most} {unit}"),
            (None, None) => Ok(()),
        }
    }
}

impl fmt::Display for Condition {
    /// `fuel level: 15 to 85 %`, or the state that is needed.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.what)?;
        if self.is_state() {
            return Ok(());
        }
        f.write_str(": ")?;
        self.window(f)
    }
}

/// A condition that does not hold.
#[derive(Clone, Copy, Debug)]
pub struct Missing {
    /// Which.
    pub condition: &'static Condition,
    /// What stands there instead, in its unit.
    pub value: f64,
}

impl PartialEq for Missing {
    fn eq(&self, other: &Self) -> bool {
        core::ptr::eq(self.condition, other.condition) && self.value == other.value
    }
}

impl fmt::Display for Missing {
    /// `fuel level 91 %, needs 15 to 85 %`, or the state that is needed.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let condition = self.condition;
        if condition.is_state() {
            if !condition.instead.is_empty() {
                write!(f, "{}, ", condition.instead)?;
            }
            return write!(f, "needs {}", condition.what);
        }
        // A value that would round into the window is shown as exactly as it takes.
        let places = (0..4).find(|&places| !condition.admits(rounded(self.value, places)));
        let value = libm::round(self.value * 100.0) / 100.0;
        match places {
            Some(places) => write!(f, "{} {:.*}", condition.what, places, self.value)?,
            None => write!(f, "{} {}", condition.what, Number(value))?,
        }
        write!(f, " {}, needs ", condition.unit)?;
        condition.window(f)
    }
}

fn rounded(value: f64, places: usize) -> f64 {
    let factor = [1.0, 10.0, 100.0, 1000.0].get(places).copied().unwrap_or(1.0);
    libm::round(value * factor) / factor
}

/// A number for people: at most two decimals, no zeros at its end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Number(pub f64);

impl fmt::Display for Number {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let value = rounded(self.0, 2);
        let places = (0..2)
            .find(|&places| (rounded(value, places) - value).abs() < 1e-6)
            .unwrap_or(2);
        // No "-0".
        write!(f, "{:.*}", places, if value == 0.0 { 0.0 } else { value })
    }
}

/// Since the engine started.
pub const RUN_TIME: Condition = Condition::of("run time", "s", |signals| {
    signals.run_time.unwrap_or_default().as_secs_f64()
});
/// Standing before the engine started: [`super::Gate::begin_after_soak`] asks for it.
pub const SOAK: Condition = Condition::own("standing before the start", "h");
/// Coolant as measured.
pub const COOLANT: Condition = Condition::of("coolant", "C", |signals| signals.coolant.celsius());
/// Intake air as measured.
pub const INTAKE_AIR: Condition = Condition::of("intake air", "C", |signals| signals.intake_air.celsius());
/// Outside air.
pub const AMBIENT: Condition = Condition::of("outside air", "C", |signals| signals.ambient.celsius());
/// Oil.
pub const OIL: Condition = Condition::of("oil", "C", |signals| signals.oil.celsius());
/// Road speed.
pub const SPEED: Condition = Condition::of("speed", "km/h", |signals| {
    signals.vehicle_speed.kilometres_per_hour()
});
/// Change of road speed, either way.
pub const ACCELERATION: Condition = Condition::of("acceleration", "m/s2", |signals| {
    signals.acceleration.metres_per_second_squared().abs()
});
/// Engine speed.
pub const ENGINE_SPEED: Condition =
    Condition::of("engine speed", "rpm", |signals| signals.engine_speed.rpm());
/// Air through the meter.
pub const AIR_FLOW: Condition = Condition::of("air flow", "g/s", |signals| {
    signals.air_metered.grams_per_second()
});
/// Calculated load.
pub const LOAD: Condition = Condition::of("load", "%", |signals| signals.load.percent());
/// Manifold pressure.
pub const MANIFOLD: Condition = Condition::of("manifold pressure", "kPa", |signals| {
    signals.manifold_pressure.kilopascals()
});
/// Barometer.
pub const BAROMETER: Condition = Condition::of("barometric pressure", "kPa", |signals| {
    signals.barometer.kilopascals()
});
/// Fuel level as the gauge shows it.
pub const FUEL_LEVEL: Condition = Condition::of("fuel level", "%", |signals| signals.level.percent());
/// Supply of the control module.
pub const SUPPLY: Condition = Condition::of("supply", "V", |signals| signals.supply.volts());
/// Duty of the purge valve.
pub const PURGE: Condition = Condition::of("purge", "%", |signals| signals.purge.percent());
/// The catalyst of a bank, by the ECU's model.
pub const fn catalyst<const BANK: usize>() -> Condition {
    Condition::of("catalyst by the model", "C", |signals| {
        signals.banks[BANK].catalyst.celsius()
    })
}
/// Time for which the mixture of a bank has been in closed loop without a break.
pub const fn loop_time<const BANK: usize>() -> Condition {
    Condition::of("time in closed loop", "s", |signals| {
        signals.banks[BANK].closed_loop_seconds
    })
}
/// No misfire of a bank's cylinders worth mentioning of late.
pub const fn no_misfire<const BANK: usize>() -> Condition {
    Condition::state("no misfire in the last 200 turns", |signals| {
        signals.banks[BANK].misfiring.percent() < 1.0
    })
}
/// Time since the last fuel cut.
pub const SINCE_FUEL_CUT: Condition = Condition::of("time since the last fuel cut", "s", |signals| {
    signals.since_fuel_cut_seconds
});
/// Time in the present fuel cut.
pub const FUEL_CUT_TIME: Condition =
    Condition::of("time of the fuel cut", "s", |signals| signals.fuel_cut_seconds);
/// Time for which speed and load have hardly moved.
pub const STEADY_TIME: Condition = Condition::of("time of steady speed and load", "s", |signals| {
    signals.steady_seconds
});
/// Time for which the car has stood with the pedal at rest.
pub const STANDING_TIME: Condition =
    Condition::of("time of standing with the pedal released", "s", |signals| {
        signals.standing_seconds
    });
/// Mixture in closed loop.
pub const CLOSED_LOOP: Condition =
    Condition::state("closed-loop fuel control", |signals| signals.closed_loop);
/// No injection on the overrun.
pub const FUEL_CUT: Condition = Condition::state("a fuel cut on the overrun", |signals| signals.fuel_cut);
/// Injection goes on.
pub const NO_FUEL_CUT: Condition = Condition::state("no fuel cut", |signals| !signals.fuel_cut);
/// Pedal at rest.
pub const PEDAL_RELEASED: Condition =
    Condition::state("the pedal released", |signals| signals.pedal_released);
/// Selector in a driving position.
pub const IN_GEAR: Condition =
    Condition::state("the selector in a driving position", |signals| signals.in_gear);
/// No monitor moves something that the engine feels.
pub const NO_ACTUATOR_TEST: Condition =
    Condition::state("no test that moves a valve", |signals| !signals.actuator_test);
/// All sensor circuits within their range.
pub const CIRCUITS: Condition = Condition::state("sensor circuits within their range", |signals| {
    signals.circuits.is_sound()
});

#[cfg(test)]
mod tests {
    extern crate std;

    use std::string::ToString as _;

    use super::*;

    #[test]
    fn conditions_are_shown_with_the_value_of_the_moment() {
        static LEVEL: Condition = FUEL_LEVEL.between(15.0, 85.0);
        static EARLY: Condition = RUN_TIME.at_least(120.0);
        static LOOP: Condition = CLOSED_LOOP;
        static HARD: Condition = ACCELERATION.at_most(1.2);
        let signals = |percent: f64| Signals {
            level: twotrip_units::Ratio::from_percent(percent),
            acceleration: twotrip_units::Acceleration::from_metres_per_second_squared(-1.204),
            ..Signals::default()
        };
        let full = signals(91.0);
        let said = |condition: &'static Condition, signals: &Signals| {
            condition.missing(signals).map(|missing| missing.to_string())
        };
        for (condition, text, needs) in [
            (
                &LEVEL,
                "fuel level 91 %, needs 15 to 85 %",
                "fuel level: 15 to 85 %",
            ),
            (
                &EARLY,
                "run time 0 s, needs at least 120 s",
                "run time: at least 120 s",
            ),
            (
                &LOOP,
                "needs closed-loop fuel control",
                "closed-loop fuel control",
            ),
            (
                &HARD,
                "acceleration 1.204 m/s2, needs at most 1.2 m/s2",
                "acceleration: at most 1.2 m/s2",
            ),
        ] {
            assert_eq!(said(condition, &full).as_deref(), Some(text));
            assert_eq!(condition.to_string(), needs);
        }
        assert_eq!(said(&LEVEL, &signals(85.0)), None);
        assert_eq!(
            said(&LEVEL, &signals(85.04)).as_deref(),
            Some("fuel level 85.04 %, needs 15 to 85 %"),
            "not 85 %, which would fit"
        );
        assert!(
            said(&LEVEL, &signals(f64::NAN)).is_some(),
            "what is no number fits nowhere"
        );
    }

    #[test]
    fn numbers_have_no_more_places_than_they_need() {
        for (value, text) in [
            (1.0, "1"),
            (1.5, "1.5"),
            (0.254, "0.25"),
            (-0.001, "0"),
            (1e4, "10000"),
        ] {
            assert_eq!(Number(value).to_string(), text);
        }
    }
}
