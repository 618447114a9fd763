//! What happens to a fault memory, and what came of it.

use core::time::Duration;

use twotrip_obd::{Dtc, Group};
use twotrip_units::{AngularSpeed, Pressure, Ratio, Speed, Temperature};

use super::{CatalystMisfire, Lamp, MisfireWindow, MonitorId, OperatingPoint};

/// Something that happened. Repeating a fact is harmless.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fact {
    /// The key was switched on: the bulb check begins.
    KeyOn,
    /// The key was switched off: ends the driving cycle if the engine still ran.
    KeyOff,
    /// The starter turns: ends the bulb check.
    Cranking,
    /// The engine reached its start condition: a driving cycle begins.
    EngineStarted,
    /// The engine stopped: the driving cycle ends and is settled, once.
    EngineStopped,
    /// A monitor found no fault behind this code. Ignored outside a driving cycle, like the other results (but
    /// for [`engine-off monitors`](super::MonitorDefinition::engine_off)).
    Passed {
        /// The code judged.
        dtc: Dtc,
    },
    /// A monitor found the fault behind this code; the conditions are those of the freeze frame.
    Failed {
        /// The code judged.
        dtc: Dtc,
    },
    /// Too many revolutions misfired; how many such spans decide is for the memory to count.
    Misfire {
        /// The code of the cylinder or cylinders.
        dtc: Dtc,
        /// Which threshold was exceeded.
        window: MisfireWindow,
        /// Where the engine ran then.
        at: OperatingPoint,
    },
    /// Misfire that endangers the catalyst begins or ends; it ends with the driving cycle by itself.
    CatalystMisfire(CatalystMisfire),
    /// A monitor ran to its end; the results of its codes were given before.
    Completed {
        /// The monitor.
        monitor: MonitorId,
    },
    /// Everything needed to find a fault with this monitor, and to store it, was met in this driving cycle.
    CouldDetect {
        /// The monitor.
        monitor: MonitorId,
    },
    /// The output that a monitor watches is commanded on or off, tests of it not counted (for its in-use
    /// denominator).
    Commanded {
        /// The monitor.
        monitor: MonitorId,
        /// On?
        on: bool,
    },
    /// Whether a monitor can still run in this driving cycle (PID $41); every cycle begins with yes.
    Possible {
        /// The monitor.
        monitor: MonitorId,
        /// Can it?
        possible: bool,
    },
    /// What the car did since the last fact of this kind: about every 100 ms while the ECU is awake.
    Conditions(Conditions),
    /// Another ECU asks for the MIL, or does so no longer: the one with the lamp commands it then as for a code of its own.
    LampRequest(bool),
    /// Service $04. The server decides whether the state of the car allows it.
    Clear,
}

/// State of the car over a short span, as measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conditions {
    /// Time since the last such fact.
    pub span: Duration,
    /// Vehicle speed.
    pub vehicle_speed: Speed,
    /// Accelerator pedal at rest.
    pub pedal_released: bool,
    /// Coolant temperature, a model of it where its sensor is not believed.
    pub coolant_temperature: Temperature,
    /// Whether that was measured.
    pub coolant_is_measured: bool,
    /// Ambient temperature.
    pub ambient_temperature: Temperature,
    /// Barometric pressure, absolute.
    pub barometric_pressure: Pressure,
    /// Engine speed.
    pub engine_speed: AngularSpeed,
    /// Calculated load.
    pub load: Ratio,
}

/// One consequence of a fact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effect {
    /// A driving cycle began.
    DrivingCycleStarted,
    /// A driving cycle ended; what follows was settled at its end.
    DrivingCycleEnded,
    /// The engine warmed up: a warm-up cycle was counted.
    WarmUpCycle,
    /// A pending code was stored.
    PendingStored(Dtc),
    /// A pending code was erased.
    PendingErased(Dtc),
    /// A code was confirmed, or established once more while it grew old.
    Confirmed(Dtc),
    /// A confirmed code grew old and was erased.
    ConfirmedErased(Dtc),
    /// A permanent code was stored.
    PermanentStored(Dtc),
    /// A permanent code was erased.
    PermanentErased(Dtc),
    /// The MIL is commanded on from now.
    MilOn,
    /// The MIL is no longer commanded on.
    MilOff,
    /// What misfire that endangers the catalyst makes of the lamp from now: blinking, steady, or nothing.
    MisfireLamp(Lamp),
    /// A freeze frame was stored for this code, perhaps over another's.
    FreezeFrameStored(Dtc),
    /// The freeze frame of this code was erased.
    FreezeFrameErased(Dtc),
    /// A readiness group became complete since the last clear.
    GroupCompleted(Group),
    /// The in-use numerator of a monitor was counted.
    NumeratorCounted(MonitorId),
    /// The in-use denominator of a monitor was counted.
    DenominatorCounted(MonitorId),
    /// The general denominator was counted.
    GeneralDenominatorCounted,
    /// Emission-related data were cleared.
    Cleared,
}

/// The consequences of one fact, in the order in which they came.
///
/// Holds [`Self::CAPACITY`]; what does not fit is missing here, never in the memory, and [`Self::is_cut`]
/// says so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effects {
    list: [Effect; Self::CAPACITY],
    count: usize,
    cut: bool,
}

impl Effects {
    /// How many fit.
    pub const CAPACITY: usize = 48;
    /// Nothing came of it.
    pub const NONE: Self = Self {
        list: [Effect::Cleared; Self::CAPACITY],
        count: 0,
        cut: false,
    };

    /// The consequences, oldest first.
    pub fn iter(&self) -> impl Iterator<Item = Effect> + '_ {
        self.list[..self.count].iter().copied()
    }

    /// Whether nothing came of the fact.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// Whether this consequence is among them.
    #[must_use]
    pub fn contains(&self, effect: Effect) -> bool {
        self.list[..self.count].contains(&effect)
    }

    /// Whether there were more than fit.
    #[must_use]
    pub const fn is_cut(&self) -> bool {
        self.cut
    }

    pub(super) fn push(&mut self, effect: Effect) {
        match self.list.get_mut(self.count) {
            Some(place) => {
                *place = effect;
                self.count += 1;
            }
            None => self.cut = true,
        }
    }
}
