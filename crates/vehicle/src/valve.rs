//! Valves of the evaporative system that do not do what they are told.
//!
//! Sizes are the middle of what such valves show (our choice).

use crate::knobs::Knobs;

/// What is wrong with a valve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ValveFault {
    /// The purge valve never opens.
    PurgeStuckShut,
    /// The purge valve never shuts.
    PurgeLeaking,
    /// The vent valve never shuts.
    VentStuckOpen,
    /// The vent valve never opens.
    VentStuckShut,
}

impl ValveFault {
    /// All of them.
    pub const ALL: [Self; 4] = [
        Self::PurgeStuckShut,
        Self::PurgeLeaking,
        Self::VentStuckOpen,
        Self::VentStuckShut,
    ];
}

/// The valves, each with at most one fault.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Valves {
    pub(crate) purge: Option<ValveFault>,
    pub(crate) vent: Option<ValveFault>,
}

impl Valves {
    /// What the faults make of the valves.
    pub(crate) const fn apply(&self, knobs: &mut Knobs) {
        match self.purge {
            Some(ValveFault::PurgeStuckShut) => knobs.purge_share = 0.0,
            Some(_) => knobs.purge_leak_mm2 = 1.0,
            None => {}
        }
        match self.vent {
            Some(ValveFault::VentStuckOpen) => knobs.vent_hole_mm = 9.0,
            Some(_) => knobs.vent_mm2 = Some(0.1),
            None => {}
        }
    }

    pub(crate) const fn set(&mut self, fault: ValveFault) {
        match fault {
            ValveFault::PurgeStuckShut | ValveFault::PurgeLeaking => self.purge = Some(fault),
            ValveFault::VentStuckOpen | ValveFault::VentStuckShut => self.vent = Some(fault),
        }
    }
}
