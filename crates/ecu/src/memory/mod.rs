//! The regulated life of a code: a reducer over facts.
//!
//! ```text
//!  monitors --Passed, Failed, Completed--+                       +--> Effects (logs, reports)
//!  engine, key --EngineStarted, KeyOff --+--> FaultMemory::apply +
//!  every 100 ms --Conditions-------------+      (profile, catalogue)  queries <-- services $01-$0A
//!  service $04 --Clear-------------------+
//! ```
//!
//! Neither messages nor sensors occur here. What is stored are facts; pending, confirmed, permanent and the
//! lamp follow from them. Source: 13 CCR 1968.2 (text of 9 November 2007) sections (c), (d), (e), (g) and
//! SAE J1979, the numbers in [`Profile`]. A driving cycle lasts from [`Fact::EngineStarted`] to
//! [`Fact::EngineStopped`] or [`Fact::KeyOff`], whichever comes first, and is settled then, once. Monitors
//! decide only inside it; those that need the engine off decide after it, for it, until the next start.
//!
//! | file | subject |
//! |---|---|
//! | `profile` | the regulation's numbers |
//! | `catalogue` | monitors and codes |
//! | `fact` | what goes in, what came of it |
//! | `code`, `detect`, `settle` | the life of one code; what results and the end of a driving cycle make of it |
//! | `similar` | similar conditions and counted exceedances of misfire and fuel system |
//! | `cycle` | the driving cycle: warm-up, driven pattern, its longest length |
//! | `results` | what monitors report |
//! | `freeze_frame`, `readiness`, `counters`, `in_use`, `lamp` | as named |
//! | `queries` | what the services read |
//! | `detail` | what SAE J1979-2 tells of each code |
//! | `companion` | codes of a maker's own beside the standard's |
//! | `preload` | filling without a fault, for authors of tools |
//! | `stored` | what is kept without power, and putting it back |
//!
//! Not here: statistical MIL strategies, the fuel-cap message that may stand in for the MIL, completeness without
//! a run in extreme weather, a limit on permanent codes: what the rules leave to the maker, and this one leaves.

mod catalogue;
mod code;
mod companion;
mod counters;
mod cycle;
mod detail;
mod detect;
mod fact;
mod freeze_frame;
mod in_use;
mod lamp;
mod preload;
mod profile;
mod queries;
mod readiness;
mod results;
mod settle;
mod similar;
mod stored;
#[cfg(test)]
mod tests;

use alloc::{boxed::Box, vec::Vec};

use twotrip_obd::Dtc;
use twotrip_units::CarInstant;

pub use catalogue::{
    Catalogue, CodeDefinition, Denominator, InUseTracking, Logic, MonitorDefinition, MonitorId,
};
pub use code::CodeStatus;
pub use companion::Companion;
pub use counters::Counters;
pub use detail::{CodeDetail, FramePair};
pub use fact::{Conditions, Effect, Effects, Fact};
pub use freeze_frame::FreezeFrame;
pub use lamp::Lamp;
pub use preload::PreloadError;
pub use profile::{
    DrivePattern, EvapDenominator, MisfireCounts, OutputDenominator, Profile, SimilarConditions,
};
pub use readiness::MonitorSet;
pub use similar::{CatalystMisfire, MisfireWindow, OperatingPoint};
pub use stored::{StoredError, StoredMemory};

use crate::data::LiveData;
use code::{Order, Record};
use counters::Odometers;
use cycle::DrivingCycle;
use detail::Detail;
use freeze_frame::Slot;
use in_use::InUse;
use lamp::Key;
use settle::FrameFate;

/// The fault memory of one ECU. Cloning forks it.
#[derive(Clone, Debug)]
pub struct FaultMemory {
    profile: &'static Profile,
    catalogue: &'static Catalogue,
    /// The codes of the catalogue in its order, then those of the maker's own, then guests.
    records: Vec<Record>,
    companions: Vec<Companion>,
    order: Order,
    frame: Slot,
    key: Key,
    /// While the engine runs.
    cycle: Option<DrivingCycle>,
    /// A driving cycle has ended, and neither a start nor a clear came after it: monitors that need the engine off
    /// may decide for it.
    after_cycle: bool,
    readiness: readiness::Progress,
    odometers: Odometers,
    in_use: InUse,
    /// Another ECU asks for the MIL.
    lamp_requested: bool,
    /// Whether any record commands the MIL, or another ECU asks for it; renewed whenever one may have changed.
    mil_commanded: bool,
    /// As last told.
    catalyst_misfire: CatalystMisfire,
    /// What that makes of the lamp; renewed likewise.
    misfire_lamp: Lamp,
    /// Whether any record waits for similar conditions; renewed likewise.
    watches_conditions: bool,
    /// Whether a fault of what the driving is judged by keeps all in-use counters still; renewed likewise.
    in_use_frozen: bool,
    /// Monitors that faults now present keep from running; renewed likewise.
    disabled: MonitorSet,
    shows_readiness: bool,
    /// What the engine has nothing for.
    absent: MonitorSet,
    /// By cylinder, the first first: whether it belongs to bank 2.
    second_bank: [bool; 6],
    /// Of an ECU that tells of each code by itself.
    detail: Option<Box<Detail>>,
}

impl FaultMemory {
    /// A new ECU: nothing stored, no monitor has run, all counters 0.
    #[must_use]
    pub fn new(profile: &'static Profile, catalogue: &'static Catalogue) -> Self {
        debug_assert!(
            catalogue.monitors.len() <= Catalogue::MONITORS,
            "too many monitors"
        );
        let mut records = Vec::with_capacity(catalogue.codes.len() + Self::GUESTS);
        records.extend(
            catalogue
                .codes
                .iter()
                .map(|code| Record::new(code, catalogue.monitor(code.monitor))),
        );
        Self {
            profile,
            catalogue,
            records,
            companions: Vec::new(),
            order: Order::default(),
            frame: Slot::default(),
            key: Key::default(),
            cycle: None,
            after_cycle: false,
            readiness: readiness::Progress::default(),
            odometers: Odometers::default(),
            in_use: InUse::new(catalogue, MonitorSet::default()),
            lamp_requested: false,
            mil_commanded: false,
            catalyst_misfire: CatalystMisfire::Gone,
            misfire_lamp: Lamp::Off,
            watches_conditions: false,
            in_use_frozen: false,
            disabled: MonitorSet::default(),
            shows_readiness: false,
            absent: MonitorSet::default(),
            second_bank: [false; 6],
            detail: None,
        }
    }

    /// The same for an engine that has nothing for these monitors: they are in no group, and counted nowhere.
    #[must_use]
    pub fn without(mut self, absent: MonitorSet) -> Self {
        self.absent = absent;
        self.readiness = readiness::Progress::without(absent);
        self.in_use = InUse::new(self.catalogue, absent);
        self
    }

    /// The same for an engine with these cylinders on its second bank, the first cylinder first.
    #[must_use]
    pub const fn with_second_bank(mut self, second_bank: [bool; 6]) -> Self {
        self.second_bank = second_bank;
        self
    }

    /// The same, and whether the lamp shows readiness after its check, as a maker may choose (1968.2(d)(2.1.3)): lit
    /// until cranking where every monitor is complete, else it blinks for ten seconds.
    #[must_use]
    pub const fn showing_readiness(mut self, shows: bool) -> Self {
        self.shows_readiness = shows;
        self
    }

    /// Takes in one fact. `live` is what a freeze frame would hold.
    ///
    /// Facts about codes and monitors that the catalogue does not have are ignored.
    pub fn apply(&mut self, now: CarInstant, fact: &Fact, live: &LiveData) -> Effects {
        let mut effects = Effects::NONE;
        match *fact {
            Fact::Conditions(ref conditions) => self.on_conditions(conditions, &mut effects),
            Fact::Passed { dtc } => {
                self.on_passed(dtc, &mut effects);
                self.companions_passed(dtc, &mut effects);
            }
            Fact::Failed { dtc } => {
                self.on_failed(dtc, live, &mut effects);
                self.companions_failed(dtc, live, &mut effects);
            }
            Fact::Misfire { dtc, window, at } => self.on_misfire(dtc, window, at, live, &mut effects),
            Fact::CatalystMisfire(misfire) => {
                if self.cycle.is_some() {
                    self.catalyst_misfire = misfire;
                    self.renew(&mut effects);
                }
            }
            Fact::Completed { monitor } => self.on_completed(monitor, &mut effects),
            Fact::CouldDetect { monitor } => self.on_could_detect(monitor, &mut effects),
            Fact::Commanded { monitor, on } => self.in_use.command(monitor, on),
            Fact::Possible { monitor, possible } => self.readiness.possible(monitor, possible),
            Fact::KeyOn => self.key.on(now),
            Fact::Cranking => self.key.end_check(),
            Fact::EngineStarted => self.on_engine_started(&mut effects),
            Fact::EngineStopped => self.on_engine_stopped(&mut effects),
            Fact::KeyOff => {
                self.on_engine_stopped(&mut effects);
                self.key.off();
            }
            Fact::LampRequest(asked) => {
                self.lamp_requested = asked;
                self.renew(&mut effects);
            }
            Fact::Clear => self.on_clear(&mut effects),
        }
        effects
    }

    fn on_conditions(&mut self, conditions: &Conditions, effects: &mut Effects) {
        self.odometers
            .step(conditions, self.cycle.is_some(), self.mil_commanded);
        let Some(cycle) = &mut self.cycle else {
            return;
        };
        if cycle.step(self.profile, conditions) {
            self.odometers.warm_up();
            effects.push(Effect::WarmUpCycle);
        }
        let run_time = cycle.run_time();
        let full = cycle.is_full(self.profile);
        let drive = cycle
            .general_drive(self.profile)
            .then(|| cycle.evap_drive(self.profile));
        self.in_use.step(conditions.span);
        if run_time >= self.profile.ignition_cycle_minimum {
            self.in_use.count_ignition_cycle();
        }
        if let Some(evap_drive) = drive {
            self.count_denominators(evap_drive, effects);
        }
        if self.watches_conditions {
            self.visit(conditions, effects);
        }
        if full {
            self.on_engine_stopped(effects);
            self.on_engine_started(effects);
            self.in_use.go_on();
        }
    }

    /// The drive of the general denominator is complete: each monitor's own follows, once per driving cycle.
    fn count_denominators(&mut self, evap_drive: bool, effects: &mut Effects) {
        if self.in_use_frozen || !self.in_use.is_waiting() {
            return;
        }
        if self.in_use.count_general() {
            effects.push(Effect::GeneralDenominatorCounted);
        }
        for (place, monitor) in (0..=u8::MAX).zip(self.catalogue.monitors) {
            let id = MonitorId(place);
            if let Some(tracking) = monitor.in_use
                && !self.in_use.is_denominator_counted(id)
                && self
                    .in_use
                    .is_met(id, tracking.denominator, evap_drive, self.profile)
                && !self.is_disabled(id)
            {
                self.in_use.count_denominator(id);
                effects.push(Effect::DenominatorCounted(id));
            }
        }
    }

    /// The conditions of the engine may be similar to those of a code that waits for them.
    fn visit(&mut self, conditions: &Conditions, effects: &mut Effects) {
        let at = OperatingPoint::of_conditions(conditions, self.profile);
        let mut met = false;
        for place in 0..self.records.len() {
            if self.records[place].visit(&at, self.profile) {
                met = true;
                self.reconsider(place, at, effects);
            }
        }
        if met {
            self.renew(effects);
        }
    }

    /// Whether a fault now present keeps the monitor from running.
    fn is_disabled(&self, monitor: MonitorId) -> bool {
        self.disabled.contains(monitor)
    }

    /// Whether a fault behind this code, where it is present, keeps the monitor from running.
    #[must_use]
    pub fn disables(&self, dtc: Dtc, monitor: &MonitorDefinition) -> bool {
        monitor.disabled_by.contains(&dtc) && !self.is_of_other_bank(dtc, monitor)
    }

    /// Whether the code names misfire or the coil of a cylinder that does not feed the bank which the monitor watches.
    fn is_of_other_bank(&self, dtc: Dtc, monitor: &MonitorDefinition) -> bool {
        let cylinder = self.catalogue.code(dtc).and_then(|code| code.cylinder);
        let second = cylinder.and_then(|cylinder| self.second_bank.get(usize::from(cylinder)));
        match (monitor.bank, second) {
            (Some(bank), Some(&second)) => usize::from(second) != bank,
            _ => false,
        }
    }

    /// What has run since the clear is not known any more.
    pub(crate) fn forget_readiness(&mut self) {
        self.readiness.clear();
        if let Some(detail) = &mut self.detail {
            detail.forget_readiness();
        }
    }

    /// The monitors that the engine has nothing for.
    #[must_use]
    pub const fn absent(&self) -> MonitorSet {
        self.absent
    }

    /// The monitors that a fault now present keeps from running, and those that there are none of.
    #[must_use]
    pub(crate) const fn disabled(&self) -> MonitorSet {
        self.absent.and(self.disabled)
    }

    /// The monitors that a fault now present keeps from running, looked up.
    fn disabled_by_records(&self) -> MonitorSet {
        let mut disabled = MonitorSet::default();
        for record in self.records.iter().filter(|record| record.is_present()) {
            for (place, monitor) in (0..=u8::MAX).zip(self.catalogue.monitors) {
                if self.disables(record.dtc(), monitor) {
                    disabled.insert(MonitorId(place));
                }
            }
        }
        disabled
    }

    fn on_engine_started(&mut self, effects: &mut Effects) {
        self.key.end_check();
        if self.cycle.is_some() {
            return;
        }
        self.cycle = Some(DrivingCycle::default());
        self.after_cycle = false;
        self.records.iter_mut().for_each(Record::begin_cycle);
        self.readiness.begin_cycle();
        self.in_use.begin_cycle();
        effects.push(Effect::DrivingCycleStarted);
        self.renew(effects);
    }

    /// End of the driving cycle: heal and age, then let go of the MIL, then of permanent codes that were
    /// cleared.
    fn on_engine_stopped(&mut self, effects: &mut Effects) {
        let Some(cycle) = self.cycle.take() else {
            return;
        };
        effects.push(Effect::DrivingCycleEnded);
        self.after_cycle = true;
        self.catalyst_misfire = CatalystMisfire::Gone;
        if cycle.warmed_up() && !self.mil_commanded {
            self.odometers
                .warm_up_with_mil_off(self.profile.warm_ups_to_erase);
        }
        for record in &mut self.records {
            if record.settle(self.profile, cycle.warmed_up(), effects) == FrameFate::Erase {
                self.frame.erase(record.dtc(), effects);
                if let Some(detail) = &mut self.detail {
                    detail.erase(record.dtc());
                }
            }
        }
        self.renew(effects);
        let driven = cycle.permanent_drive(self.profile);
        for record in &mut self.records {
            record.prove(self.mil_commanded, driven, effects);
        }
        self.dismiss_guests();
    }

    /// Service $04: all but permanent codes, in-use counters and what the key does.
    fn on_clear(&mut self, effects: &mut Effects) {
        effects.push(Effect::Cleared);
        self.after_cycle = false;
        if let Some(dtc) = self.frame.frame().map(|frame| frame.dtc) {
            self.frame.erase(dtc, effects);
        }
        if let Some(detail) = &mut self.detail {
            detail.clear();
        }
        self.records.iter_mut().for_each(Record::clear);
        self.dismiss_guests();
        self.readiness.clear();
        self.odometers.clear();
        self.renew(effects);
    }

    /// Works out anew what follows from the records: whether the MIL is commanded, what misfire makes of it,
    /// whether conditions are to be watched, whether in-use counters stand still, which monitors cannot run.
    fn renew(&mut self, effects: &mut Effects) {
        let commanded = self.lamp_requested || self.records.iter().any(Record::commands_mil);
        if commanded != self.mil_commanded {
            self.mil_commanded = commanded;
            if commanded {
                self.odometers.mil_on();
            }
            effects.push(if commanded { Effect::MilOn } else { Effect::MilOff });
        }
        self.in_use_frozen = self.records.iter().any(Record::freezes_in_use);
        self.watches_conditions = self.records.iter().any(|record| record.similar.watches());
        self.disabled = self.disabled_by_records();
        let stored = |record: &Record| record.endangers_catalyst(self.profile);
        let lamp = match self.catalyst_misfire {
            CatalystMisfire::Present if self.records.iter().any(stored) => Lamp::Blinking,
            CatalystMisfire::CutOff if self.records.iter().any(stored) => Lamp::On,
            _ => Lamp::Off,
        };
        if lamp != self.misfire_lamp {
            self.misfire_lamp = lamp;
            effects.push(Effect::MisfireLamp(lamp));
        }
    }

    fn record(&self, dtc: Dtc) -> Option<&Record> {
        self.records.iter().find(|record| record.dtc() == dtc)
    }

    /// Codes in the order in which they were stored, without allocation.
    fn in_order(&self, since: fn(&Record) -> Option<u64>) -> impl Iterator<Item = Dtc> + '_ {
        let mut last = 0;
        core::iter::from_fn(move || {
            let stored = self
                .records
                .iter()
                .filter_map(|record| Some((since(record)?, record.dtc())));
            let (place, dtc) = stored
                .filter(|&(place, _)| place > last)
                .min_by_key(|&(place, _)| place)?;
            last = place;
            Some(dtc)
        })
    }
}
