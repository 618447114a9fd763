//! Where nothing is lost a tool goes on as before.
//!
//! It has asked meanwhile, was answered, and steered every long answer to its end, or asked again for what broke off.

use alloc::{format, string::String};

use twotrip_units::BusInstant;

use super::{Answered, Asked, Observe, Verdict, debts::Debts, talk::Talk};
use crate::Role;

/// Watches whether the tool goes on.
#[derive(Clone, Debug, Default)]
pub(super) struct GoesOn {
    asked: u64,
    answered: u64,
    is_over: bool,
    /// Long answers, until they are whole.
    long: Debts,
}

impl Observe for GoesOn {
    fn on_hit(&mut self, _: BusInstant, _: Role, _: &Talk) {}

    fn on_question(&mut self, asked: &Asked, talk: &Talk) {
        self.asked += u64::from(!self.is_over);
        self.long.on_question(asked, talk);
    }

    fn on_answer(&mut self, answered: &Answered<'_>, talk: &Talk) {
        self.answered += u64::from(!self.is_over);
        self.long.on_answer(answered, talk);
    }

    fn on_begun(&mut self, at: BusInstant, role: Role, talk: &Talk) {
        if !self.is_over
            && matches!(role, Role::Answer(_))
            && let Some((asked, ecu)) = Debts::at_stake(role, talk)
        {
            self.long.owe(at, asked, ecu, true);
        }
    }

    fn on_end(&mut self, _: BusInstant) {
        self.is_over = true;
    }

    fn verdict(&self, now: BusInstant) -> (Verdict, String) {
        let (verdict, seen) = self.long.verdict(now);
        if verdict == Verdict::Failed {
            return (verdict, format!("a long answer broke off: {seen}"));
        }
        match (self.asked, self.answered) {
            (0, _) => (Verdict::NotTried, "nothing was asked meanwhile".into()),
            (asked, 0) => (
                Verdict::NotTried,
                format!("{asked} questions, and nobody answered any"),
            ),
            (asked, answered) => (
                Verdict::Held,
                format!("asked {asked} times meanwhile, had {answered} answers"),
            ),
        }
    }
}
