//! With another tester on the bus a tool goes on as before: it asks, is answered, and steers its long answers.

use alloc::{format, string::String};

use twotrip_units::BusInstant;

use super::{Answered, Asked, Observe, Verdict, debts::Debts, talk::Talk};
use crate::Role;

/// Watches the tool beside another one, whose questions are the hits.
#[derive(Clone, Debug, Default)]
pub(super) struct Beside {
    /// Questions of the other that are told and have not passed.
    others: u32,
    /// The tool's own last question.
    own: Option<Asked>,
    asked: u64,
    answered: u64,
    is_over: bool,
    /// Long answers, until they are whole.
    long: Debts,
}

impl Observe for Beside {
    fn on_hit(&mut self, _: BusInstant, _: Role, _: &Talk) {
        self.others = self.others.saturating_add(1);
    }

    fn on_question(&mut self, asked: &Asked, talk: &Talk) {
        if let Some(left) = self.others.checked_sub(1) {
            self.others = left;
            return;
        }
        self.asked += u64::from(!self.is_over);
        self.own = Some(*asked);
        self.long.on_question(asked, talk);
    }

    fn on_answer(&mut self, answered: &Answered<'_>, talk: &Talk) {
        let is_own = |own: Asked| {
            answered
                .question
                .is_some_and(|question| question.number == own.number)
        };
        self.answered += u64::from(!self.is_over && self.own.is_some_and(is_own));
        self.long.on_answer(answered, talk);
    }

    fn on_begun(&mut self, at: BusInstant, role: Role, _: &Talk) {
        if let (Role::Answer(ecu), Some(own)) = (role, self.own.filter(|_| !self.is_over)) {
            self.long.owe(at, &own, Some(ecu), true);
        }
    }

    fn on_end(&mut self, _: BusInstant) {
        self.is_over = true;
    }

    fn verdict(&self, now: BusInstant) -> (Verdict, String) {
        let (long, seen) = self.long.verdict(now);
        match (self.asked, self.answered) {
            (0, _) => (
                Verdict::NotTried,
                "nothing was asked beside the other tester".into(),
            ),
            _ if long == Verdict::Failed => (long, format!("a long answer broke off: {seen}")),
            (asked, 0) => (
                Verdict::NotTried,
                format!("{asked} questions, and nobody answered any"),
            ),
            (asked, answered) => (
                Verdict::Held,
                format!("asked {asked} times beside the other tester, had {answered} answers"),
            ),
        }
    }
}
