//! What passes and failures make of one code: detected, counted, confirmed (13 CCR 1968.2(d)(2.2); misfire and fuel
//! system: (e)(3.4), (6.4)).

use super::{
    Effect, Effects, Logic, MisfireWindow, OperatingPoint, Profile,
    code::{Confirmed, Order, Pending, Permanent, Phase, Record},
};

impl Record {
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
