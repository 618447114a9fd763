//! What a monitor of the transmission ECU needs to judge, as rows that its step goes by and that are shown with the value of
//! the moment.

use alloc::vec::Vec;

use super::Look;
use crate::{
    memory::{FaultMemory, MonitorId},
    monitors::frame::{Condition, Missing, State},
};

/// One thing that is needed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Need {
    condition: Condition,
    read: fn(&Look<'_>) -> f64,
}

impl Need {
    /// A quantity within the limits of the condition.
    pub(super) const fn of(condition: Condition, read: fn(&Look<'_>) -> f64) -> Self {
        Self { condition, read }
    }

    /// What is missing of it now, if anything is.
    pub(super) fn missing(&'static self, look: &Look<'_>) -> Option<Missing> {
        let value = (self.read)(look);
        let is_state = self.condition.least.is_none() && self.condition.most.is_none();
        let holds = if is_state {
            value != 0.0
        } else {
            self.condition.admits(value)
        };
        (!holds).then(|| self.condition.with(value))
    }
}

/// Something that is or is not: any figure but 0.
pub(super) const fn is(holds: bool) -> f64 {
    if holds { 1.0 } else { 0.0 }
}

/// Whether nothing is missing.
pub(super) fn hold(needs: &'static [Need], look: &Look<'_>) -> bool {
    needs.iter().all(|need| need.missing(look).is_none())
}

/// The engine runs: a driving cycle is under way.
static RUNNING: Condition = Condition::own("the engine running", "");
/// Selector in a driving position.
pub(super) const IN_DRIVE: Need =
    Need::of(Condition::own("the selector in a driving position", ""), |look| {
        is(look.measured.in_drive)
    });
/// The messages of the engine ECU.
pub(super) const HEARS_ENGINE: Need = Need::of(Condition::own("the engine's messages", ""), |look| {
    is(look.measured.hears_engine)
});

/// How a monitor stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Stand {
    /// Which.
    pub monitor: MonitorId,
    /// Whether it runs, waits, or has judged.
    pub state: State,
    /// What is missing for it to run.
    pub missing: Vec<Missing>,
    /// Whether it cannot run any more in this driving cycle.
    pub ruled_out: bool,
}

impl Stand {
    /// One that has judged, or whose needs are these.
    pub(super) fn of(
        monitor: MonitorId,
        needs: &'static [Need],
        look: &Look<'_>,
        memory: &FaultMemory,
        done: bool,
    ) -> Self {
        let engine = (!memory.is_driving_cycle()).then(|| RUNNING.with(0.0));
        let missing: Vec<Missing> = engine
            .into_iter()
            .chain(needs.iter().filter_map(|need| need.missing(look)))
            .collect();
        let state = if done {
            State::Done
        } else if memory.disabled().contains(monitor) {
            State::Disabled
        } else if missing.is_empty() {
            State::Running
        } else {
            State::Waiting
        };
        Self {
            monitor,
            state,
            missing: if state == State::Waiting {
                missing
            } else {
                Vec::new()
            },
            ruled_out: false,
        }
    }

    /// The same, which waits for this as well.
    pub(super) fn and(self, missing: Option<Missing>) -> Self {
        match (self.state, missing) {
            (State::Running | State::Waiting, Some(missing)) => Self {
                state: State::Waiting,
                missing: self.missing.into_iter().chain([missing]).collect(),
                ..self
            },
            _ => self,
        }
    }
}
