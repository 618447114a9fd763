//! What a fault memory watches over: the monitors of the ECU and the codes they set.

use twotrip_obd::{Dtc, Group, InUseItem};

use super::MonitorSet;
use crate::{Calibration, calibration::Equipment};

/// A monitor, as its place in [`Catalogue::monitors`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct MonitorId(pub u8);

/// What the regulation needs to know of a monitor. Built from [`Self::named`], so that what is not said is usual.
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
    /// Its pair in service $09 InfoType $08, if it is tracked there.
    pub in_use: Option<InUseTracking>,
    /// Decides with the key off, for the driving cycle that has ended: its results are taken until the next
    /// start, and settled at once (1968.2(c), from memory: the time up to the next start may be counted with
    /// the driving cycle before it).
    pub engine_off: bool,
    /// Codes that keep it from running while pending or commanding the MIL: they freeze its in-use pair
    /// (1968.2(d)(4.5.1), from memory) and take its enabled bit in PID $41.
    pub disabled_by: &'static [Dtc],
    /// The bank that it watches, from 0 on, if it watches one: misfire of a cylinder of another does not disable it.
    pub bank: Option<usize>,
    /// What the engine must have for there to be such a monitor.
    pub needs: Option<Equipment>,
}

impl MonitorDefinition {
    /// A monitor that runs once a driving cycle, is not tracked in use and never disabled.
    #[must_use]
    pub const fn named(name: &'static str, group: Group) -> Self {
        Self {
            name,
            group,
            minimum_ratio: false,
            continuous: false,
            in_use: None,
            engine_off: false,
            disabled_by: &[],
            bank: None,
            needs: None,
        }
    }
}

/// How a monitor is tracked in use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct InUseTracking {
    /// Where it is reported; of several monitors of one item the lowest ratio is.
    pub item: InUseItem,
    /// What its denominator asks.
    pub denominator: Denominator,
}

/// What a denominator asks beyond the general one: 1968.2(d)(4.3.2) (from memory).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Denominator {
    /// Nothing: catalyst, exhaust sensors, exhaust gas recirculation.
    General,
    /// Mild weather and a cold start: evaporative system, (C).
    Evap,
    /// An output commanded on for a while, tests not counted: secondary air, (B).
    SecondaryAir,
    /// An output commanded on often enough or for long enough: valve timing and the like, (E).
    Output,
}

/// How a code is confirmed, and what it waits for until it goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Logic {
    /// As many driving cycles with a failure as [`super::Profile::driving_cycles_to_confirm`] says.
    Standard,
    /// At the first failure: entry into a default mode, fault of the computer (1968.2(d)(2.2.3)).
    OneCycle,
    /// Misfire: 1968.2(e)(3.4), mostly from memory.
    Misfire,
    /// Fuel system without cylinder imbalance, which is [`Self::Standard`]: 1968.2(e)(6.4).
    FuelSystem,
}

impl Logic {
    /// Whether similar conditions of engine speed, load and warmth decide with it, and its freeze frame takes
    /// the place of others.
    #[must_use]
    pub const fn is_similar_conditions(self) -> bool {
        matches!(self, Self::Misfire | Self::FuelSystem)
    }

    /// What a code without a definition is taken for, by the ranges of SAE J2012: P0300 to P0312 misfire,
    /// P0170 to P0175 fuel system.
    #[must_use]
    pub const fn assumed(dtc: Dtc) -> Self {
        match u16::from_be_bytes(dtc.to_bytes()) {
            0x0300..=0x0312 => Self::Misfire,
            0x0170..=0x0175 => Self::FuelSystem,
            _ => Self::Standard,
        }
    }
}

/// A code and how it lives. Built from [`Self::standard`], so that what is not said is usual.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CodeDefinition {
    /// The code.
    pub dtc: Dtc,
    /// The monitor that sets it.
    pub monitor: MonitorId,
    /// Whether it commands the MIL once confirmed. One that does not never becomes permanent.
    pub commands_mil: bool,
    /// How it is confirmed.
    pub logic: Logic,
    /// Its part is needed to judge the general denominator (vehicle speed, ambient temperature, elevation,
    /// idle, cold start, time): while pending or commanding the MIL it freezes that and all pairs
    /// (1968.2(d)(4.5.3), from memory).
    pub freezes_in_use: bool,
    /// The cylinder that it names, from 0 on: of misfire and coils.
    pub cylinder: Option<u8>,
    /// What it means, for people.
    pub text: &'static str,
}

impl CodeDefinition {
    /// A code of the standard logic that commands the MIL.
    #[must_use]
    pub const fn standard(dtc: Dtc, monitor: MonitorId, text: &'static str) -> Self {
        Self {
            dtc,
            monitor,
            commands_mil: true,
            logic: Logic::Standard,
            freezes_in_use: false,
            cylinder: None,
            text,
        }
    }
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

    /// The monitors that there is nothing for in an engine.
    #[must_use]
    pub fn absent(&self, calibration: &Calibration) -> MonitorSet {
        let places = (0..=u8::MAX).zip(self.monitors);
        let absent = places.filter(|(_, monitor)| monitor.needs.is_some_and(|needs| !calibration.has(needs)));
        absent.fold(MonitorSet::default(), |set, (place, _)| {
            set.with(MonitorId(place))
        })
    }

    /// The definition of a monitor.
    #[must_use]
    pub fn monitor(&self, id: MonitorId) -> Option<&'static MonitorDefinition> {
        self.monitors.get(usize::from(id.0))
    }
}
