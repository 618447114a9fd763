//! Valves of the evaporative system that do not do what they are told.
//!
//! The leaking purge valve passes what 3 % of duty would (our choice: enough to pull the sealed tank down).

use twotrip_harness::ActuatorPins;
use twotrip_units::Ratio;

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

/// What the valves pass of a leaking purge valve, as a duty.
const LEAK: Ratio = Ratio::from_percent(3.0);

/// The valves, each with at most one fault.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Valves {
    pub(crate) purge: Option<ValveFault>,
    pub(crate) vent: Option<ValveFault>,
}

impl Valves {
    /// The purge valve's opening under this command.
    #[inline]
    pub(crate) const fn purge(&self, actuators: &ActuatorPins) -> Ratio {
        match self.purge {
            None => actuators.purge,
            Some(ValveFault::PurgeStuckShut) => Ratio::ZERO,
            Some(_) => actuators.purge.max(LEAK),
        }
    }

    /// Whether the vent valve is shut under this command.
    #[inline]
    pub(crate) const fn vent_shut(&self, commanded: bool) -> bool {
        match self.vent {
            None => commanded,
            Some(ValveFault::VentStuckOpen) => false,
            Some(_) => true,
        }
    }

    pub(crate) const fn set(&mut self, fault: ValveFault) {
        match fault {
            ValveFault::PurgeStuckShut | ValveFault::PurgeLeaking => self.purge = Some(fault),
            ValveFault::VentStuckOpen | ValveFault::VentStuckShut => self.vent = Some(fault),
        }
    }
}
