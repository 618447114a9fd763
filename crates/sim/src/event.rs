//! What the simulator tells: what came of phrases, and what happened inside the ECU.

use twotrip_ecu::memory::Effect;
use twotrip_scenario::{Disturbance, Phrase};
use twotrip_units::CarInstant;

use crate::{EcuName, JobId, Outcome};

/// Something worth telling.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// A phrase was taken up.
    Began {
        /// Which.
        id: JobId,
        /// The phrase.
        phrase: Phrase,
        /// When, in the car's time.
        at: CarInstant,
    },
    /// A phrase has been carried out, or could not be.
    Finished {
        /// Which.
        id: JobId,
        /// The phrase.
        phrase: Phrase,
        /// When, in the car's time.
        at: CarInstant,
        /// What came of it.
        outcome: Outcome,
    },
    /// The key was turned.
    Key {
        /// When, in the car's time.
        at: CarInstant,
        /// Whether it is on now.
        on: bool,
    },
    /// The engine started, or came to a stand.
    Engine {
        /// When, in the car's time.
        at: CarInstant,
        /// Whether it runs now.
        runs: bool,
    },
    /// A disturbance begins, or ends.
    Disturbance {
        /// When, in the car's time.
        at: CarInstant,
        /// Disturbances are counted from 1.
        number: u64,
        /// Which.
        disturbance: Disturbance,
        /// Whether it begins.
        begins: bool,
        /// How often it has acted.
        acted: u64,
    },
    /// A fault memory changed.
    Memory {
        /// When, in the car's time.
        at: CarInstant,
        /// Whose, in a car with several ECUs on its bus.
        ecu: Option<EcuName>,
        /// How.
        effect: Effect,
    },
}
