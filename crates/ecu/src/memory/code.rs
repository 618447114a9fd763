//! The life of one code: pending, confirmed, healed, grown old, permanent (13 CCR 1968.2(d)(2.2) to (2.5)).
//!
//! Pending and confirmed can hold together (a confirmed code whose latest result is a failure), and a
//! permanent entry outlives both, so each is a part of its own. Which way a permanent code leaves is not
//! stored: it follows from whether the code still commands the MIL. What misfire and fuel system have beyond
//! that stands in `similar`; the end of a driving cycle in `settle`.

use serde::{Deserialize, Serialize};
use twotrip_obd::Dtc;

use super::{
    CodeDefinition, Effect, Effects, Logic, MisfireWindow, MonitorDefinition, MonitorId, OperatingPoint,
    Profile,
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
    monitor: Option<MonitorId>,
    pub(super) minimum_ratio: bool,
    commands_mil: bool,
    pub(super) logic: Logic,
    freezes_in_use: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Pending {
    since: u64,
    failed_cycles: u8,
    /// Driving cycles that have ended since it was stored, that one included.
    pub(super) age: u8,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Confirmed {
    since: u64,
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
    since: u64,
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

    pub(super) fn begin_cycle(&mut self) {
        self.passed = false;
        self.failed = false;
        if self.rule.logic.is_similar_conditions() {
            self.similar.begin_cycle();
        }
    }

    /// A pass; returns whether it is the first of the driving cycle.
    pub(super) const fn pass(&mut self) -> bool {
        let first = !self.passed;
        self.passed = true;
        first
    }

    /// A failure: stores the pending code at the first detection. Only the first failure of a driving cycle
    /// counts. Returns whether it was a new detection, whose conditions a freeze frame may hold;
    /// [`Self::establish`] follows.
    pub(super) fn fail(
        &mut self,
        at: OperatingPoint,
        profile: &Profile,
        order: &mut Order,
        effects: &mut Effects,
    ) -> bool {
        if self.failed {
            return false;
        }
        if self.rule.logic == Logic::Misfire && !self.similar.exceeded() {
            self.similar.assume(profile);
        }
        self.failed = true;
        self.visit(&at, profile);
        if let Some(permanent) = &mut self.permanent {
            permanent.passed = false;
        }
        self.interrupt_healing();
        if let Some(Confirmed {
            phase: Phase::Ageing { warm_ups },
            ..
        }) = &mut self.confirmed
        {
            *warm_ups = 0;
        }
        self.detect(at, order, effects)
    }

    /// Too many revolutions misfired; a failure once there were enough of such spans. Returns as
    /// [`Self::fail`] does.
    pub(super) fn exceed(
        &mut self,
        window: MisfireWindow,
        at: OperatingPoint,
        profile: &Profile,
        order: &mut Order,
        effects: &mut Effects,
    ) -> bool {
        self.similar.exceed(window);
        self.visit(&at, profile);
        self.interrupt_healing();
        (self.similar.decided(profile) || self.has_recurred(profile))
            && self.fail(at, profile, order, effects)
    }

    const fn interrupt_healing(&mut self) {
        if let Some(Confirmed {
            phase: Phase::Commanding { passed_cycles },
            ..
        }) = &mut self.confirmed
        {
            *passed_cycles = 0;
        }
    }

    /// The engine runs at this point; returns whether that met similar conditions for the first time in this
    /// driving cycle.
    pub(super) fn visit(&mut self, at: &OperatingPoint, profile: &Profile) -> bool {
        self.rule.logic.is_similar_conditions() && self.similar.visit(at, profile)
    }

    /// Misfire or a fault of the fuel system that had stored a pending code in an earlier driving cycle is there
    /// again, in the very next one or with similar conditions: (e)(3.4.1)(B), (3.4.2), (6.4.2).
    pub(super) fn has_recurred(&self, profile: &Profile) -> bool {
        let Some(pending) = self.pending.filter(|pending| pending.age > 0) else {
            return false;
        };
        let next = pending.age == 1;
        match self.rule.logic {
            Logic::Misfire => self.similar.misfire_recurred(profile, next),
            Logic::FuelSystem => self.failed && (next || self.similar.met()),
            Logic::Standard | Logic::OneCycle => false,
        }
    }

    /// Counts one more driving cycle with the fault; returns whether it is a new detection.
    pub(super) fn detect(&mut self, at: OperatingPoint, order: &mut Order, effects: &mut Effects) -> bool {
        if let Some(pending) = &mut self.pending {
            pending.failed_cycles = pending.failed_cycles.saturating_add(1);
            return false;
        }
        self.pending = Some(Pending {
            since: order.next(),
            failed_cycles: 1,
            age: 0,
        });
        effects.push(Effect::PendingStored(self.dtc));
        let new = !self.commands_mil();
        if new && self.rule.logic.is_similar_conditions() {
            self.similar.store(at);
        }
        new
    }

    /// The driving cycle that the pending code belongs to has ended already.
    pub(super) fn outlive_cycle(&mut self) {
        if let Some(pending) = &mut self.pending {
            pending.age = pending.age.max(1);
        }
    }

    /// A pending code put in by hand, as if an earlier driving cycle had found it.
    pub(super) fn preload(&mut self, at: OperatingPoint, order: &mut Order, effects: &mut Effects) -> bool {
        let new = self.detect(at, order, effects);
        self.similar.preload();
        self.outlive_cycle();
        new
    }

    /// A confirmed code put in by hand: these are the conditions that it heals under.
    pub(super) fn preload_conditions(&mut self, at: OperatingPoint) {
        if self.rule.logic.is_similar_conditions() && self.similar.first().is_none() {
            self.similar.store(at);
        }
    }

    /// Confirms the code once it has failed often enough; returns whether it was confirmed now.
    pub(super) fn establish(&mut self, profile: &Profile, order: &mut Order, effects: &mut Effects) -> bool {
        let Some(pending) = self.pending else {
            return false;
        };
        let enough = match self.rule.logic {
            Logic::OneCycle => true,
            Logic::Standard => pending.failed_cycles >= profile.driving_cycles_to_confirm,
            Logic::Misfire | Logic::FuelSystem => self.failed && self.has_recurred(profile),
        };
        enough && self.confirm(profile, order, effects)
    }

    /// Confirms the code if it is not, or no longer commands the MIL though it should.
    pub(super) fn confirm(&mut self, profile: &Profile, order: &mut Order, effects: &mut Effects) -> bool {
        let commands = self.rule.commands_mil;
        let phase = if commands {
            Phase::Commanding { passed_cycles: 0 }
        } else {
            Phase::Ageing { warm_ups: 0 }
        };
        match &mut self.confirmed {
            None => {
                self.confirmed = Some(Confirmed {
                    since: order.next(),
                    phase,
                });
            }
            Some(confirmed) if commands && matches!(confirmed.phase, Phase::Ageing { .. }) => {
                confirmed.phase = phase;
            }
            Some(_) => return false,
        }
        effects.push(Effect::Confirmed(self.dtc));
        if commands && profile.permanent_codes {
            let since = match self.permanent {
                Some(permanent) => permanent.since,
                None => {
                    effects.push(Effect::PermanentStored(self.dtc));
                    order.next()
                }
            };
            self.permanent = Some(Permanent {
                since,
                passed: false,
                driven: false,
            });
        }
        true
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
