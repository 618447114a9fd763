//! Coolant and intake air: does the thermostat close, do the sensors tell what is (13 CCR 1968.2(e)(10) and (15), from
//! memory; limits set beside published ones).

mod closed_loop;
mod coolant;
mod intake_air;
mod soak;
mod thermostat;

pub use closed_loop::ClosedLoopTemperature;
pub use coolant::CoolantRationality;
pub use intake_air::IntakeAirRationality;
pub use thermostat::Thermostat;

use twotrip_harness::Circuit;

use super::{
    Signals,
    frame::{Condition, Test},
};
use crate::circuits::CircuitSet;

/// What these monitors measure.
pub(super) static TESTS: &[&Test] = &[
    &thermostat::HIGHEST,
    &coolant::APART,
    &coolant::MOVED,
    &intake_air::APART,
    &intake_air::MOVED,
    &closed_loop::REACHED,
];

/// Steps of 100 ms in a second.
const PER_SECOND: u32 = 10;

/// The sensors that the others are held against.
const THERMISTORS: CircuitSet = CircuitSet::of(&[Circuit::CoolantSensor, Circuit::IntakeAirSensor]);

/// Both circuits within their range.
const SOUND: Condition = Condition::state(
    "the circuits of coolant and intake air sensor within their range",
    |signals| !signals.circuits.out_of_range().meets(THERMISTORS),
);

/// How much of the time the engine only idled or was turned by the wheels.
#[derive(Clone, Copy, Debug, Default)]
struct Idling {
    steps: u32,
    idle: u32,
}

impl Idling {
    fn step(&mut self, signals: &Signals) {
        self.steps += 1;
        self.idle += u32::from(signals.standing_seconds > 0.0 || signals.fuel_cut);
    }

    /// Share of the time, %.
    fn percent(self) -> f64 {
        100.0 * f64::from(self.idle) / f64::from(self.steps.max(1))
    }
}
