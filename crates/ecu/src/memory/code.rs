//! The life of one code: pending, confirmed, healed, grown old, permanent (13 CCR 1968.2(d)(2.2) to (2.5)).
//!
//! Pending and confirmed can hold together (a confirmed code whose latest result is a failure), and a
//! permanent entry outlives both, so each is a part of its own. Which way a permanent code leaves is not
//! stored: it follows from whether the code still commands the MIL. Misfire and fuel system have further
//! rules (similar conditions) that are not here.

use twotrip_obd::Dtc;

use super::{CodeDefinition, Effect, Effects, MonitorDefinition, MonitorId, Profile};

/// Numbers entries, so that codes are listed in the order in which they were stored.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Order(u64);

impl Order {
    pub(super) const fn next(&mut self) -> u64 {
        self.0 += 1;
        self.0
    }
}

/// What a code's definition says, and what is assumed of a guest.
#[derive(Clone, Copy, Debug)]
struct Rule {
    monitor: Option<MonitorId>,
    minimum_ratio: bool,
    commands_mil: bool,
    driving_cycles_to_confirm: u8,
}

#[derive(Clone, Copy, Debug)]
struct Pending {
    since: u64,
    failed_cycles: u8,
}

#[derive(Clone, Copy, Debug)]
struct Confirmed {
    since: u64,
    phase: Phase,
}

#[derive(Clone, Copy, Debug)]
enum Phase {
    /// Commands the MIL.
    Commanding { passed_cycles: u8 },
    /// Lets the MIL alone: healed, or of no concern to it.
    Ageing { warm_ups: u8 },
}

/// A permanent entry, and what has been proved since the last clear.
#[derive(Clone, Copy, Debug)]
struct Permanent {
    since: u64,
    passed: bool,
    driven: bool,
}

/// What is stored of a code, for explanations.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
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
}

/// What the end of a driving cycle, or another event, means to the freeze frame of a code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum FrameFate {
    Keep,
    Erase,
}

/// One code and its life.
#[derive(Clone, Copy, Debug)]
pub(super) struct Record {
    dtc: Dtc,
    rule: Rule,
    pending: Option<Pending>,
    confirmed: Option<Confirmed>,
    permanent: Option<Permanent>,
    passed: bool,
    failed: bool,
}

impl Record {
    pub(super) const fn new(code: &CodeDefinition, monitor: Option<&MonitorDefinition>) -> Self {
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
                driving_cycles_to_confirm: code.driving_cycles_to_confirm,
            },
        )
    }

    /// A code that the ECU has no monitor for: commands the MIL, two driving cycles.
    pub(super) const fn guest(dtc: Dtc) -> Self {
        Self::from_rule(
            dtc,
            Rule {
                monitor: None,
                minimum_ratio: false,
                commands_mil: true,
                driving_cycles_to_confirm: 2,
            },
        )
    }

    const fn from_rule(dtc: Dtc, rule: Rule) -> Self {
        Self {
            dtc,
            rule,
            pending: None,
            confirmed: None,
            permanent: None,
            passed: false,
            failed: false,
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
        }
    }

    pub(super) const fn begin_cycle(&mut self) {
        self.passed = false;
        self.failed = false;
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
    pub(super) fn fail(&mut self, order: &mut Order, effects: &mut Effects) -> bool {
        if self.failed {
            return false;
        }
        self.failed = true;
        if let Some(permanent) = &mut self.permanent {
            permanent.passed = false;
        }
        match self.confirmed.as_mut().map(|confirmed| &mut confirmed.phase) {
            Some(Phase::Commanding { passed_cycles }) => *passed_cycles = 0,
            Some(Phase::Ageing { warm_ups }) => *warm_ups = 0,
            None => {}
        }
        self.detect(order, effects)
    }

    /// Counts one more driving cycle with the fault; returns whether it is a new detection.
    pub(super) fn detect(&mut self, order: &mut Order, effects: &mut Effects) -> bool {
        if let Some(pending) = &mut self.pending {
            pending.failed_cycles = pending.failed_cycles.saturating_add(1);
            return false;
        }
        self.pending = Some(Pending {
            since: order.next(),
            failed_cycles: 1,
        });
        effects.push(Effect::PendingStored(self.dtc));
        !self.commands_mil()
    }

    /// Confirms the code once it has failed in enough driving cycles; returns whether it was confirmed now.
    pub(super) fn establish(&mut self, order: &mut Order, effects: &mut Effects) -> bool {
        let enough = self
            .pending
            .is_some_and(|pending| pending.failed_cycles >= self.rule.driving_cycles_to_confirm);
        enough && self.confirm(order, effects)
    }

    /// Confirms the code if it is not, or no longer commands the MIL though it should.
    pub(super) fn confirm(&mut self, order: &mut Order, effects: &mut Effects) -> bool {
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
        if commands {
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

    /// Settles the driving cycle just ended, all but the permanent codes of cleared faults.
    pub(super) fn settle(&mut self, profile: &Profile, warmed_up: bool, effects: &mut Effects) -> FrameFate {
        let clean = self.passed && !self.failed;
        let mut erased = false;
        if clean && self.pending.take().is_some() {
            effects.push(Effect::PendingErased(self.dtc));
            erased = true;
        }
        match self.confirmed.as_mut().map(|confirmed| &mut confirmed.phase) {
            Some(Phase::Commanding { passed_cycles }) if clean => {
                *passed_cycles += 1;
                if *passed_cycles >= profile.passing_cycles_to_mil_off
                    && let Some(confirmed) = &mut self.confirmed
                {
                    confirmed.phase = Phase::Ageing { warm_ups: 0 };
                    self.erase_permanent(effects);
                }
            }
            Some(Phase::Ageing { warm_ups }) if warmed_up && !self.failed => {
                *warm_ups += 1;
                if *warm_ups >= profile.warm_ups_to_erase {
                    self.confirmed = None;
                    effects.push(Effect::ConfirmedErased(self.dtc));
                    erased = true;
                }
            }
            _ => {}
        }
        if erased && self.pending.is_none() && self.confirmed.is_none() {
            FrameFate::Erase
        } else {
            FrameFate::Keep
        }
    }

    /// Settles the permanent code of a fault that was cleared. While the code itself commands the MIL it
    /// heals first ([`Self::settle`]); while any other code commands it, nothing is erased here
    /// (1968.2(d)(2.5.2)).
    ///
    /// A guest has no monitor that could pass or fail: the drive alone is asked of it.
    pub(super) fn prove(&mut self, mil_commanded: bool, driven: bool, effects: &mut Effects) {
        let clean = self.passed && !self.failed;
        let given = clean || self.is_guest();
        if self.commands_mil() {
            return;
        }
        let Some(permanent) = &mut self.permanent else {
            return;
        };
        permanent.passed |= given;
        permanent.driven |= driven;
        let proved = if self.rule.minimum_ratio {
            clean
        } else {
            permanent.passed && permanent.driven
        };
        if proved && !mil_commanded {
            self.erase_permanent(effects);
        }
    }

    fn erase_permanent(&mut self, effects: &mut Effects) {
        if self.permanent.take().is_some() {
            effects.push(Effect::PermanentErased(self.dtc));
        }
    }

    /// Service $04: everything but the permanent entry, whose proof begins anew.
    pub(super) const fn clear(&mut self) {
        self.pending = None;
        self.confirmed = None;
        self.begin_cycle();
        if let Some(permanent) = &mut self.permanent {
            permanent.passed = false;
            permanent.driven = false;
        }
    }
}
