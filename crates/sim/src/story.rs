//! Living through phrases at full speed: the story of a scenario before its car goes on a bus.
//!
//! One place for all who do it: the car's time passes in pieces, and which ones they are shows in the last bits of what
//! cools down in a parked car. A run can only be repeated if they are the same.

use std::time::Duration;

use twotrip_scenario::{Phrase, Scenario};

use crate::{Event, Simulator};

/// Car time worked off in one go.
pub const SLICE: Duration = Duration::from_secs(60);

/// Lets the car live through the story of a scenario; `told` hears what happens.
pub fn live_through(simulator: &mut Simulator, scenario: &Scenario, mut told: impl FnMut(&Event)) {
    for phrase in scenario.story() {
        carry_out(simulator, phrase.value.clone(), &mut told);
    }
}

/// Gives the car a phrase and lets it be carried out.
pub fn carry_out(simulator: &mut Simulator, phrase: Phrase, mut told: impl FnMut(&Event)) {
    simulator.tell(phrase);
    while simulator.is_busy() {
        simulator.work(SLICE);
        while let Some(event) = simulator.poll_event() {
            told(&event);
        }
    }
}
