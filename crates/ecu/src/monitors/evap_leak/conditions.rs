//! When the leak test may begin, and what breaks it off (own design; 13 CCR 1968.2(e)(4.3) for what may
//! be left out).

use twotrip_harness::Circuit;

use core::fmt;

use super::{EvapLeak, LEVELS, Stage};
use crate::{circuits::CircuitSet, monitors::Signals};

/// Why the test does not run, or broke off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// The engine was not started cold.
    NoColdStart,
    /// A code blocks it.
    Blocked,
    /// Too early after the start.
    TooEarly,
    /// Mixture not in closed loop.
    OpenLoop,
    /// Too little or too much fuel in the tank.
    FuelLevel,
    /// Barometric pressure too low.
    Altitude,
    /// Road speed, acceleration or manifold pressure outside its window.
    Driving,
    /// The circuit of tank pressure or fuel level is out of range.
    Sensor,
    /// The fuel moves.
    Slosh,
    /// The tank pressure is noisy.
    Noise,
    /// The fuel gives off too much vapour.
    HotFuel,
}

/// Pressure and level are what the test measures with; the rest blocks it by its code.
fn sensor_is_lost(signals: &Signals) -> bool {
    const MEASURED: CircuitSet = CircuitSet::of(&[Circuit::TankPressureSensor, Circuit::FuelLevelSensor]);
    signals.circuits.out_of_range().meets(MEASURED)
}

impl Reason {
    /// How many there are.
    pub const COUNT: usize = Self::ALL.len();
    /// All of them.
    pub const ALL: [Self; 11] = [
        Self::NoColdStart,
        Self::Blocked,
        Self::TooEarly,
        Self::OpenLoop,
        Self::FuelLevel,
        Self::Altitude,
        Self::Driving,
        Self::Sensor,
        Self::Slosh,
        Self::Noise,
        Self::HotFuel,
    ];
}

impl fmt::Display for Reason {
    /// What is asked for, with the limits in use.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let params = &EvapLeak::PARAMS;
        match self {
            Self::NoColdStart => write!(
                f,
                "a cold start: {} h of standing, or coolant and intake air within {} K, both from {:.0} to {:.0} C",
                params.soak.as_secs() / 3600,
                params.start_apart.kelvins(),
                params.start_minimum.celsius(),
                params.start_maximum.celsius()
            ),
            Self::Blocked => f.write_str("no code of the sensors it needs, pending or commanding the lamp"),
            Self::TooEarly => write!(f, "{} s of running engine", params.earliest.as_secs()),
            Self::OpenLoop => f.write_str("closed-loop fuel control"),
            Self::FuelLevel => write!(
                f,
                "a fuel level from {:.0} to {:.0} %",
                params.level_minimum.percent(),
                params.level_maximum.percent()
            ),
            Self::Altitude => write!(
                f,
                "a barometric pressure above {:.0} kPa",
                params.barometer.kilopascals()
            ),
            Self::Driving => write!(
                f,
                "steady driving: at most {:.0} km/h, {:.0} kPa in the manifold and {} m/s2",
                params.fastest.kilometres_per_hour(),
                params.manifold.kilopascals(),
                params.acceleration.metres_per_second_squared()
            ),
            Self::Sensor => f.write_str("sensor circuits within their range"),
            Self::Slosh => write!(
                f,
                "fuel at rest: a level that moves by less than {:.0} % in 5 s",
                params.slosh.percent()
            ),
            Self::Noise => write!(
                f,
                "a quiet tank pressure: noise below {:.0} Pa",
                params.noise.pascals()
            ),
            Self::HotFuel => write!(
                f,
                "cooler fuel: vapour that raises the pressure by less than {:.0} Pa/s, looked at again after {} min",
                params.vapour_limit.pascals(),
                params.hot_fuel_pause / 600
            ),
        }
    }
}

impl EvapLeak {
    /// Keeps the noise estimate and the level's past.
    pub(super) fn watch_signals(&mut self, signals: &Signals) {
        let pressure = signals.tank_pressure.pascals();
        // The second difference of white noise has about twice its standard deviation in the mean; a slope has none.
        let bend = (pressure - 2.0 * self.before[1] + self.before[0]).abs();
        self.noise += (bend / 2.0 - self.noise) * 0.05;
        self.before = [self.before[1], pressure];
        if self.ticks <= 3 {
            // A valve has just moved: what bends the curve now is no noise.
            self.noise = self.noise.min(Self::PARAMS.noise.pascals() / 2.0);
        }
        self.levels[self.level_place] = signals.level_now.fraction();
        self.level_place = (self.level_place + 1) % LEVELS;
        self.level_count = (self.level_count + 1).min(LEVELS);
    }

    fn fuel_moves(&self) -> bool {
        let known = &self.levels[..self.level_count];
        let low = known.iter().copied().fold(f64::INFINITY, f64::min);
        let high = known.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        high - low > Self::PARAMS.slosh.fraction()
    }

    /// Driving conditions of the moment.
    fn driving_fits(signals: &Signals) -> bool {
        let params = &Self::PARAMS;
        signals.vehicle_speed <= params.fastest
            && signals.manifold_pressure <= params.manifold
            && signals.acceleration.abs() <= params.acceleration
    }

    /// What keeps the test from beginning.
    pub(super) fn missing(&self, signals: &Signals) -> Option<Reason> {
        let params = &Self::PARAMS;
        let run_time = signals.run_time.unwrap_or_default();
        if !self.cold_start {
            Some(Reason::NoColdStart)
        } else if self.blocked {
            Some(Reason::Blocked)
        } else if run_time < params.earliest {
            Some(Reason::TooEarly)
        } else if self.hot_fuel_pause > 0 {
            Some(Reason::HotFuel)
        } else if sensor_is_lost(signals) {
            Some(Reason::Sensor)
        } else if signals.level < params.level_minimum || signals.level > params.level_maximum {
            Some(Reason::FuelLevel)
        } else if signals.barometer <= params.barometer {
            Some(Reason::Altitude)
        } else if !signals.closed_loop {
            Some(Reason::OpenLoop)
        } else if !Self::driving_fits(signals) {
            Some(Reason::Driving)
        } else if self.level_count < LEVELS || self.fuel_moves() {
            Some(Reason::Slosh)
        } else if self.noise > params.noise.pascals() {
            Some(Reason::Noise)
        } else {
            None
        }
    }

    /// What breaks a running test off. Closed loop is asked at the beginning only: a fuel cut on the way disturbs
    /// neither vent nor tank.
    pub(super) fn must_abort(&mut self, signals: &Signals) -> Option<Reason> {
        let params = &Self::PARAMS;
        self.breach = if Self::driving_fits(signals) {
            0
        } else {
            self.breach + 1
        };
        if self.blocked {
            Some(Reason::Blocked)
        } else if sensor_is_lost(signals) {
            Some(Reason::Sensor)
        } else if self.breach > params.longest_break {
            Some(Reason::Driving)
        } else if self.stage == Stage::Release {
            None
        } else if self.fuel_moves() {
            Some(Reason::Slosh)
        } else if self.noise > params.noise.pascals() {
            Some(Reason::Noise)
        } else {
            None
        }
    }
}
