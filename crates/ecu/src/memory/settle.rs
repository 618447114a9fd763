//! What the end of a driving cycle and service $04 make of one code: healing, ageing, proof of repair (13 CCR
//! 1968.2(d)(2.2.2), (2.3) to (2.5); similar conditions: (e)(3.4.1)(C), (3.4.5), (6.4.3), (6.4.5)).

use super::{
    Effect, Effects, Profile,
    code::{Phase, Record},
};

/// What the end of a driving cycle means to the freeze frame of a code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum FrameFate {
    Keep,
    Erase,
}

impl Record {
    /// The driving cycle shows the fault gone: the monitor passed, never failed, and misfire or the fuel system
    /// did so under similar conditions.
    const fn is_refuted(&self) -> bool {
        self.is_clean() && (!self.rule.logic.is_similar_conditions() || self.similar.met())
    }

    /// The monitor passed, and nothing was wrong.
    const fn is_clean(&self) -> bool {
        self.passed && !self.failed && !self.similar.exceeded()
    }

    /// Settles the driving cycle just ended, all but the permanent codes of cleared faults.
    pub(super) fn settle(&mut self, profile: &Profile, warmed_up: bool, effects: &mut Effects) -> FrameFate {
        let refuted = self.is_refuted();
        let mut erased = self.settle_pending(profile, refuted, effects);
        match self.confirmed.as_mut().map(|confirmed| &mut confirmed.phase) {
            Some(Phase::Commanding { passed_cycles }) if refuted => {
                *passed_cycles = passed_cycles.saturating_add(1);
                if *passed_cycles >= profile.passing_cycles_to_mil_off
                    && let Some(confirmed) = &mut self.confirmed
                {
                    confirmed.phase = Phase::Ageing { warm_ups: 0 };
                    self.erase_permanent(effects);
                }
            }
            Some(Phase::Ageing { warm_ups }) if warmed_up && !self.failed => {
                *warm_ups = warm_ups.saturating_add(1);
                if *warm_ups >= profile.warm_ups_to_erase {
                    self.confirmed = None;
                    effects.push(Effect::ConfirmedErased(self.dtc));
                    erased = true;
                }
            }
            _ => {}
        }
        if erased && self.pending.is_none() && self.confirmed.is_none() {
            self.similar.forget();
            FrameFate::Erase
        } else {
            FrameFate::Keep
        }
    }

    /// Erases the pending code, if it is to go, and returns whether it did.
    fn settle_pending(&mut self, profile: &Profile, refuted: bool, effects: &mut Effects) -> bool {
        let Some(pending) = &mut self.pending else {
            return false;
        };
        let old = pending.age > 0;
        pending.age = pending.age.saturating_add(1);
        let expired = self.rule.logic.is_similar_conditions() && self.similar.settle_pending(profile, old);
        if !refuted && !expired {
            return false;
        }
        self.pending = None;
        effects.push(Effect::PendingErased(self.dtc));
        true
    }

    /// Settles the permanent code of a fault that was cleared. While the code itself commands the MIL it
    /// heals first ([`Self::settle`]); while any other code commands it, nothing is erased here
    /// (1968.2(d)(2.5.2)). Similar conditions are not asked for.
    ///
    /// A guest has no monitor that could pass or fail: the drive alone is asked of it.
    pub(super) fn prove(&mut self, mil_commanded: bool, driven: bool, effects: &mut Effects) {
        let clean = self.is_clean();
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
    pub(super) fn clear(&mut self) {
        self.pending = None;
        self.confirmed = None;
        self.similar.forget();
        self.begin_cycle();
        if let Some(permanent) = &mut self.permanent {
            permanent.passed = false;
            permanent.driven = false;
        }
    }
}
