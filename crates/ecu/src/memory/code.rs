//! The life of one code: pending, confirmed, healed, grown old, permanent (13 CCR 1968.2(d)(2.2) to (2.5)).
//!
//! Pending and confirmed can hold together (a confirmed code whose latest result is a failure), and a
//! permanent entry outlives both, so each is a part of its own. Which way a permanent code leaves is not
//! stored: it follows from whether the code still commands the MIL. What passes and failures make of it stands in
//! `detect`, what misfire and fuel system have beyond that in `similar`, the end of a driving cycle in `settle`.

use serde::{Deserialize, Serialize};
use twotrip_obd::Dtc;

use super::{
    CodeDefinition, Logic, MonitorDefinition, MonitorId, OperatingPoint, Profile,
    similar::{Similar, StoredSimilar},
};

/// Numbers entries, so that codes are listed in the order in which they were stored.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Order(u64);

impl Order {
    pub(super) const fn next(&mut self) -> u64 {
        self.0 += 1;
        self.0
    }

    /// Goes on behind this number.
    pub(super) fn pass(&mut self, number: u64) {
        self.0 = self.0.max(number);
    }
}

/// What a code's definition says, and what is assumed of a guest.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rule {
    pub(super) monitor: Option<MonitorId>,
    pub(super) minimum_ratio: bool,
    pub(super) commands_mil: bool,
    pub(super) logic: Logic,
    pub(super) freezes_in_use: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Pending {
    pub(super) since: u64,
    pub(super) failed_cycles: u8,
    /// Driving cycles that have ended since it was stored, that one included.
    pub(super) age: u8,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Confirmed {
    pub(super) since: u64,
    pub(super) phase: Phase,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Phase {
    /// Commands the MIL.
    Commanding { passed_cycles: u8 },
    /// Lets the MIL alone: healed, or of no concern to it.
    Ageing { warm_ups: u8 },
}

/// A permanent entry, and what has been proved since the last clear.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Permanent {
    pub(super) since: u64,
    pub(super) passed: bool,
    pub(super) driven: bool,
}

/// What is stored of a code, for explanations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CodeStatus {
    /// Listed by service $07.
    pub pending: bool,
    /// Listed by service $03.
    pub confirmed: bool,
    /// Listed by service $0A.
    pub permanent: bool,
    /// Commands the MIL on.
    pub commands_mil: bool,
    /// Driving cycles with a failure, towards confirmation.
    pub failed_cycles: u8,
    /// Healing count: passing driving cycles in sequence while it commands the MIL.
    pub passed_cycles: u8,
    /// Ageing count: warm-up cycles without detection since it let go of the MIL.
    pub warm_ups: u8,
    /// A cleared permanent code: its monitor has passed and not failed since.
    pub permanent_passed: bool,
    /// A cleared permanent code: the drive that it may wait for has been driven.
    pub permanent_driven: bool,
    /// Passed in this or, with the engine off, the last driving cycle.
    pub passed_this_cycle: bool,
    /// Failed in this or, with the engine off, the last driving cycle.
    pub failed_this_cycle: bool,
    /// Misfire and fuel system: where the engine ran at the first event.
    pub similar_to: Option<OperatingPoint>,
    /// Misfire and fuel system: similar conditions were met in this or the last driving cycle.
    pub similar_met: bool,
    /// Misfire and fuel system: driving cycles in sequence without similar conditions while pending.
    pub cycles_without_similar: u8,
}

/// One code and its life.
#[derive(Clone, Copy, Debug)]
pub(super) struct Record {
    pub(super) dtc: Dtc,
    pub(super) rule: Rule,
    pub(super) pending: Option<Pending>,
    pub(super) confirmed: Option<Confirmed>,
    pub(super) permanent: Option<Permanent>,
    pub(super) passed: bool,
    pub(super) failed: bool,
    pub(super) similar: Similar,
}

impl Record {
    pub(super) fn new(code: &CodeDefinition, monitor: Option<&MonitorDefinition>) -> Self {
        let minimum_ratio = match monitor {
            Some(monitor) => monitor.minimum_ratio,
            None => false,
        };
        Self::from_rule(
            code.dtc,
            Rule {
                monitor: Some(code.monitor),
                minimum_ratio,
                commands_mil: code.commands_mil,
                logic: code.logic,
                freezes_in_use: code.freezes_in_use,
            },
        )
    }

    /// A code that the ECU has no monitor for: commands the MIL, the logic of its range.
    pub(super) fn guest(dtc: Dtc) -> Self {
        Self::from_rule(
            dtc,
            Rule {
                monitor: None,
                minimum_ratio: false,
                commands_mil: true,
                logic: Logic::assumed(dtc),
                freezes_in_use: false,
            },
        )
    }

    /// A code that lives by the rule of another.
    pub(super) fn companion(dtc: Dtc, with: &Self) -> Self {
        Self::from_rule(dtc, with.rule)
    }

    pub(super) const fn rule(&self) -> &Rule {
        &self.rule
    }

    fn from_rule(dtc: Dtc, rule: Rule) -> Self {
        Self {
            dtc,
            rule,
            pending: None,
            confirmed: None,
            permanent: None,
            passed: false,
            failed: false,
            similar: Similar::default(),
        }
    }

    pub(super) const fn dtc(&self) -> Dtc {
        self.dtc
    }

    pub(super) const fn monitor(&self) -> Option<MonitorId> {
        self.rule.monitor
    }

    pub(super) const fn is_guest(&self) -> bool {
        self.rule.monitor.is_none()
    }

    pub(super) fn is_misfire(&self) -> bool {
        self.rule.logic == Logic::Misfire
    }

    pub(super) const fn has_failed(&self) -> bool {
        self.failed
    }

    pub(super) const fn is_stored(&self) -> bool {
        self.pending.is_some() || self.confirmed.is_some() || self.permanent.is_some()
    }

    /// The place of its first entry in the order in which entries were stored.
    pub(super) fn stored_since(&self) -> Option<u64> {
        let entries = [
            self.pending_since(),
            self.confirmed_since(),
            self.permanent_since(),
        ];
        entries.into_iter().flatten().min()
    }

    pub(super) fn pending_since(&self) -> Option<u64> {
        self.pending.map(|pending| pending.since)
    }

    pub(super) fn confirmed_since(&self) -> Option<u64> {
        self.confirmed.map(|confirmed| confirmed.since)
    }

    pub(super) fn permanent_since(&self) -> Option<u64> {
        self.permanent.map(|permanent| permanent.since)
    }

    pub(super) const fn is_judged(&self) -> bool {
        self.passed || self.failed
    }

    pub(super) const fn commands_mil(&self) -> bool {
        matches!(
            self.confirmed,
            Some(Confirmed {
                phase: Phase::Commanding { .. },
                ..
            })
        )
    }

    /// Whether the fault is held to be there: pending, or commanding the MIL.
    pub(super) const fn is_present(&self) -> bool {
        self.pending.is_some() || self.commands_mil()
    }

    /// Whether it keeps all in-use counters still.
    pub(super) const fn freezes_in_use(&self) -> bool {
        self.rule.freezes_in_use && self.is_present()
    }

    /// Whether misfire that endangers the catalyst may blink with the lamp for this code.
    pub(super) fn endangers_catalyst(&self, profile: &Profile) -> bool {
        self.rule.logic == Logic::Misfire
            && (self.commands_mil() || self.pending.is_some() && self.similar.endangers_catalyst(profile))
    }

    pub(super) fn status(&self) -> CodeStatus {
        let (passed_cycles, warm_ups) = match self.confirmed.map(|confirmed| confirmed.phase) {
            Some(Phase::Commanding { passed_cycles }) => (passed_cycles, 0),
            Some(Phase::Ageing { warm_ups }) => (0, warm_ups),
            None => (0, 0),
        };
        CodeStatus {
            pending: self.pending.is_some(),
            confirmed: self.confirmed.is_some(),
            permanent: self.permanent.is_some(),
            commands_mil: self.commands_mil(),
            failed_cycles: self.pending.map_or(0, |pending| pending.failed_cycles),
            passed_cycles,
            warm_ups,
            permanent_passed: self.permanent.is_some_and(|permanent| permanent.passed),
            permanent_driven: self.permanent.is_some_and(|permanent| permanent.driven),
            passed_this_cycle: self.passed,
            failed_this_cycle: self.failed,
            similar_to: self.similar.first().copied(),
            similar_met: self.similar.met(),
            cycles_without_similar: self.similar.cycles_without(),
        }
    }
}

/// What is kept of a code without power.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct StoredCode {
    code: Dtc,
    pending: Option<Pending>,
    confirmed: Option<Confirmed>,
    permanent: Option<Permanent>,
    similar: Option<StoredSimilar>,
}

impl StoredCode {
    pub(super) const fn dtc(&self) -> Dtc {
        self.code
    }

    /// The places of its entries in the order in which entries were stored.
    pub(super) fn numbers(&self) -> impl Iterator<Item = u64> + use<> {
        let pending = self.pending.map(|pending| pending.since);
        let confirmed = self.confirmed.map(|confirmed| confirmed.since);
        let permanent = self.permanent.map(|permanent| permanent.since);
        [pending, confirmed, permanent].into_iter().flatten()
    }
}

impl Record {
    /// What is kept.
    pub(super) fn store(&self, profile: &Profile) -> StoredCode {
        let Self {
            dtc: code,
            rule,
            pending,
            confirmed,
            permanent,
            passed: _,
            failed: _,
            similar,
        } = *self;
        StoredCode {
            code,
            pending,
            confirmed,
            permanent,
            similar: rule
                .logic
                .is_similar_conditions()
                .then(|| similar.stored(profile)),
        }
    }

    /// Puts back what was kept. The driving cycle in which it was is over.
    pub(super) fn restore(&mut self, stored: &StoredCode) {
        let StoredCode {
            code: _,
            pending,
            confirmed,
            permanent,
            similar,
        } = *stored;
        self.pending = pending.map(|pending| Pending {
            age: pending.age.max(1),
            ..pending
        });
        self.confirmed = confirmed;
        self.permanent = permanent;
        self.similar = similar.map(Similar::restored).unwrap_or_default();
    }
}
