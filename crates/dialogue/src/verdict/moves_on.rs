//! What cannot be had is not asked for over and over: a tool asks at most six times more, and goes on.

use alloc::{format, string::String};
use core::time::Duration;

use twotrip_units::BusInstant;

use super::{Answered, Asked, Observe, Verdict, debts::Debts, talk::Talk};
use crate::Role;

/// As often as a busy ECU is asked again (SAE J1979, from memory); our choice for the rest.
const REPEATS: u32 = 6;
/// Who asks the same again later than this does so for another reason, such as to show it live (our choice).
const AT_ONCE: Duration = Duration::from_millis(1000);

/// Watches whether the tool goes on.
#[derive(Clone, Debug, Default)]
pub(super) struct MovesOn {
    hits: u64,
    /// The same question, one after the other.
    last: Option<Asked>,
    in_a_row: u32,
    most: u32,
    asked_since: u64,
    /// Long answers, until they are whole.
    long: Debts,
}

impl Observe for MovesOn {
    fn on_hit(&mut self, _: BusInstant, role: Role, talk: &Talk) {
        self.hits += 1;
        if self.last.is_none() {
            self.last = Debts::at_stake(role, talk).map(|(asked, _)| *asked);
        }
    }

    fn on_question(&mut self, asked: &Asked, talk: &Talk) {
        self.long.on_question(asked, talk);
        if self.hits == 0 {
            return;
        }
        self.asked_since += 1;
        let is_same =
            |last: &Asked| last.bytes() == asked.bytes() && asked.at.saturating_since(last.at) < AT_ONCE;
        self.in_a_row = if self.last.as_ref().is_some_and(is_same) {
            self.in_a_row + 1
        } else {
            0
        };
        self.most = self.most.max(self.in_a_row);
        self.last = Some(*asked);
    }

    fn on_answer(&mut self, answered: &Answered<'_>, talk: &Talk) {
        self.long.on_answer(answered, talk);
    }

    fn on_begun(&mut self, at: BusInstant, role: Role, talk: &Talk) {
        if let (Role::Answer(_), Some((asked, ecu))) = (role, Debts::at_stake(role, talk)) {
            self.long.owe(at, asked, ecu, true);
        }
    }

    fn verdict(&self, now: BusInstant) -> (Verdict, String) {
        let (long, seen) = self.long.verdict(now);
        match (self.hits, self.most) {
            (0, _) => (Verdict::NotTried, "it met nothing of the tool".into()),
            (_, most) if most > REPEATS => (
                Verdict::Failed,
                format!("asked the same {} times in a row", most + 1),
            ),
            _ if long == Verdict::Failed => (long, format!("a long answer broke off: {seen}")),
            (hits, _) => (
                Verdict::Held,
                format!(
                    "met {hits} times; the tool asked {} times after that",
                    self.asked_since
                ),
            ),
        }
    }
}
