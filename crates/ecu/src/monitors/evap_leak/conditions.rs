//! When the leak test may begin, and what breaks it off (own design; 13 CCR 1968.2(e)(4.3) for what may
//! be left out).

use twotrip_harness::Circuit;

use super::{EvapLeak, LEVELS, Params, Stage};
use crate::{
    circuits::CircuitSet,
    monitors::{
        Inhibits, Signals,
        frame::{
            ACCELERATION, BAROMETER, CLOSED_LOOP, Condition, FUEL_LEVEL, MANIFOLD, Missing, RUN_TIME, SPEED,
        },
    },
};

const PARAMS: Params = Params::DEFAULT;

/// What is asked of the car, in the order in which it is told. Pressure and level are what the test measures with; the
/// other sensors block it by their codes.
pub(super) static CONDITIONS: &[Condition] = &[
    RUN_TIME.at_least(PARAMS.earliest.as_secs() as f64),
    Condition::state(
        "the circuits of tank pressure and fuel level within their range",
        |signals| !sensor_is_lost(signals),
    ),
    FUEL_LEVEL.between(PARAMS.level_minimum.percent(), PARAMS.level_maximum.percent()),
    BAROMETER.at_least(PARAMS.barometer.kilopascals()),
    CLOSED_LOOP,
    SPEED.at_most(PARAMS.fastest.kilometres_per_hour()),
    MANIFOLD.at_most(PARAMS.manifold.kilopascals()),
    ACCELERATION.at_most(PARAMS.acceleration.metres_per_second_squared()),
];

/// The engine was not started cold.
pub(super) static COLD_START: Condition = Condition::own(
    "a cold start: 6 h of standing, or coolant and intake air within 7 K, both from 4 to 35 C",
    "",
);
/// A code blocks it: the rest of the driving cycle is over with it.
pub(super) static BLOCKED: Condition = Condition::own(
    "no code of the sensors it needs, pending or commanding the lamp",
    "",
);
/// The fuel moves.
static SLOSH: Condition =
    Condition::own("movement of the fuel level in 5 s", "%").at_most(PARAMS.slosh.percent());
/// The tank pressure is noisy.
static NOISE: Condition = Condition::own("noise of the tank pressure", "Pa").at_most(PARAMS.noise.pascals());
/// The fuel gives off too much vapour.
pub(super) static HOT_FUEL: Condition = Condition::own(
    "rise of the pressure by vapour of hot fuel, looked at again after 5 min",
    "Pa/s",
)
.at_most(PARAMS.vapour_limit.pascals());

fn sensor_is_lost(signals: &Signals) -> bool {
    const MEASURED: CircuitSet = CircuitSet::of(&[Circuit::TankPressureSensor, Circuit::FuelLevelSensor]);
    signals.circuits.out_of_range().meets(MEASURED)
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

    /// By how much the level moved, percent points.
    fn level_movement(&self) -> f64 {
        let known = &self.levels[..self.level_count];
        let low = known.iter().copied().fold(f64::INFINITY, f64::min);
        let high = known.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (high - low) * 100.0
    }

    /// What of the driving conditions of the moment is missing.
    fn driving_misses(signals: &Signals) -> Option<Missing> {
        let driving = &CONDITIONS[CONDITIONS.len() - 3..];
        driving.iter().find_map(|condition| condition.missing(signals))
    }

    fn fuel_moves(&self) -> Option<Missing> {
        let movement = self.level_movement();
        (!SLOSH.admits(movement)).then(|| SLOSH.with(movement))
    }

    fn is_noisy(&self) -> Option<Missing> {
        (!NOISE.admits(self.noise)).then(|| NOISE.with(self.noise))
    }

    /// Level, barometer and sensors allow a look at the tank.
    pub(super) fn tank_fits(signals: &Signals) -> bool {
        CONDITIONS[1..4]
            .iter()
            .all(|condition| condition.missing(signals).is_none())
    }

    /// After the leak test, or without a cold start by itself, the purge valve is looked at, once, where all else fits
    /// and the tank has not been found leaking.
    pub(super) fn may_look_at_purge(
        &self,
        missing: Option<Missing>,
        signals: &Signals,
        inhibits: Inhibits,
    ) -> bool {
        let fits = if self.cold_start {
            self.leak_over && missing.is_none()
        } else {
            self.missing_but_cold_start(signals).is_none()
        };
        fits && !self.purge_over && !self.blocked && inhibits.gross_leak_held.is_none()
    }

    /// Nothing is purged in a fuel cut, and for a moment after it mixture and air still move: that time does not count.
    pub(super) fn lacks_flow(&self, signals: &Signals) -> bool {
        const SETTLED: f64 = 6.0;
        match self.stage {
            Stage::Pull => signals.fuel_cut,
            Stage::FlowCheck | Stage::PurgeShut | Stage::PurgeOpen => {
                signals.fuel_cut || signals.since_fuel_cut_seconds < SETTLED
            }
            _ => false,
        }
    }

    /// What keeps the test from beginning.
    pub(super) fn missing(&self, signals: &Signals) -> Option<Missing> {
        if !self.cold_start {
            return Some(COLD_START.with(0.0));
        }
        if self.blocked {
            return Some(BLOCKED.with(0.0));
        }
        self.missing_but_cold_start(signals)
    }

    fn missing_but_cold_start(&self, signals: &Signals) -> Option<Missing> {
        let (early, rest) = CONDITIONS.split_first()?;
        early
            .missing(signals)
            .or_else(|| {
                let slope = self.run.figures.vapour_per_second.pascals();
                (self.hot_fuel_pause > 0).then(|| HOT_FUEL.with(slope))
            })
            .or_else(|| rest.iter().find_map(|condition| condition.missing(signals)))
            .or_else(|| (self.level_count < LEVELS).then(|| SLOSH.with(self.level_movement())))
            .or_else(|| self.fuel_moves())
            .or_else(|| self.is_noisy())
    }

    /// What breaks a running test off.
    pub(super) fn must_abort(&mut self, signals: &Signals) -> Option<Missing> {
        let driving = Self::driving_misses(signals);
        self.breach = if driving.is_none() { 0 } else { self.breach + 1 };
        if self.blocked {
            Some(BLOCKED.with(0.0))
        } else if sensor_is_lost(signals) {
            CONDITIONS[1].missing(signals)
        } else if self.breach > PARAMS.longest_break {
            driving
        } else if self.stage == Stage::Release {
            None
        } else {
            self.fuel_moves().or_else(|| self.is_noisy())
        }
    }
}
