//! What a fault memory watches over: the monitors of the ECU and the codes they set.

use twotrip_obd::{Dtc, Group};

/// A monitor, as its place in [`Catalogue::monitors`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct MonitorId(pub u8);

/// What the regulation needs to know of a monitor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MonitorDefinition {
    /// Name for people and logs.
    pub name: &'static str,
    /// Readiness group it belongs to.
    pub group: Group,
    /// Subject to the minimum in-use ratio: a passing run alone then erases a cleared permanent code
    /// (1968.2(d)(2.5.2)(A)), otherwise a drive is asked as well.
    pub minimum_ratio: bool,
    /// Watches all the time, and so is done for a driving cycle once it has judged each of its codes; the
    /// others say so with [`super::Fact::Completed`].
    pub continuous: bool,
    /// Has a pair in service $09 InfoType $08.
    pub tracked_in_use: bool,
    /// Codes that keep it from running while pending or commanding the MIL: they freeze its in-use pair
    /// (1968.2(d)(4.5.1), from memory) and take its enabled bit in PID $41.
    pub disabled_by: &'static [Dtc],
}

/// A code and how it lives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CodeDefinition {
    /// The code.
    pub dtc: Dtc,
    /// The monitor that sets it.
    pub monitor: MonitorId,
    /// Whether it commands the MIL once confirmed. One that does not never becomes permanent.
    pub commands_mil: bool,
    /// Driving cycles with a failure that confirm it: 2, or 1 for the faults of 1968.2(d)(2.2.3).
    pub driving_cycles_to_confirm: u8,
    /// What it means, for people.
    pub text: &'static str,
}

/// Monitors and codes of one ECU.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Catalogue {
    /// Monitors; a [`MonitorId`] is a place here. At most [`Self::MONITORS`].
    pub monitors: &'static [MonitorDefinition],
    /// Codes, each once.
    pub codes: &'static [CodeDefinition],
}

impl Catalogue {
    /// How many monitors there can be.
    pub const MONITORS: usize = 64;

    /// The definition of a code, if the ECU has a monitor for it.
    #[must_use]
    pub fn code(&self, dtc: Dtc) -> Option<&'static CodeDefinition> {
        self.codes.iter().find(|definition| definition.dtc == dtc)
    }

    /// The definition of a monitor.
    #[must_use]
    pub fn monitor(&self, id: MonitorId) -> Option<&'static MonitorDefinition> {
        self.monitors.get(usize::from(id.0))
    }
}
