//! After 7F xx 78 a tool waits for the answer: 5 s from each (P2*, ISO 14229-1 and ISO 15765-3, from public summaries).

use alloc::{format, string::String};
use core::time::Duration;

use twotrip_units::BusInstant;

use super::{Answered, Asked, Observe, Verdict, talk::Talk};
use crate::{Ecu, Role};

const P2_STAR: Duration = Duration::from_secs(5);

/// An ECU that has asked for time.
#[derive(Clone, Copy, Debug)]
struct Waiting {
    ecu: Ecu,
    first: BusInstant,
    last: BusInstant,
}

/// Watches whether the tool waits.
#[derive(Clone, Debug, Default)]
pub(super) struct Waits {
    /// Whether it may give up once it has waited for P2* in all: the answer never comes.
    never_comes: bool,
    waiting: Option<Waiting>,
    answered: u64,
    given_up: u64,
    wrong: Option<String>,
}

impl Waits {
    /// For an answer that never comes.
    pub(super) fn in_vain() -> Self {
        Self {
            never_comes: true,
            ..Self::default()
        }
    }
}

impl Observe for Waits {
    fn on_hit(&mut self, _: BusInstant, _: Role, _: &Talk) {}

    fn on_question(&mut self, asked: &Asked, _: &Talk) {
        let Some(waiting) = self.waiting.take_if(|waiting| asked.role.reaches(waiting.ecu)) else {
            return;
        };
        let since = if self.never_comes {
            waiting.first
        } else {
            waiting.last
        };
        let waited = asked.at.saturating_since(since);
        if waited < P2_STAR {
            let ms = waited.as_millis();
            self.wrong.get_or_insert_with(|| {
                format!("asked again {ms} ms after 7F xx 78, in place of waiting 5 s")
            });
        } else {
            self.given_up += 1;
        }
    }

    fn on_answer(&mut self, answered: &Answered<'_>, _: &Talk) {
        if matches!(answered.bytes, [0x7F, _, 0x78]) {
            let first = self
                .waiting
                .filter(|waiting| waiting.ecu == answered.ecu)
                .map_or(answered.at, |waiting| waiting.first);
            self.waiting = Some(Waiting {
                ecu: answered.ecu,
                first,
                last: answered.at,
            });
        } else if self
            .waiting
            .take_if(|waiting| waiting.ecu == answered.ecu)
            .is_some()
        {
            self.answered += 1;
        }
    }

    fn verdict(&self, now: BusInstant) -> (Verdict, String) {
        if let Some(wrong) = &self.wrong {
            return (Verdict::Failed, wrong.clone());
        }
        let waited = self.waiting.map(|waiting| now.saturating_since(waiting.first));
        match (self.answered, self.given_up) {
            (0, 0) if self.never_comes && waited.is_some_and(|waited| waited > P2_STAR) => {
                (Verdict::Held, "waited, and asked nothing more".into())
            }
            (0, 0) if waited.is_some() => (Verdict::NotTried, "the tool still waits".into()),
            (0, 0) => (Verdict::NotTried, "no ECU asked it for time".into()),
            (answered, given_up) => (
                Verdict::Held,
                format!("waited after 7F xx 78: {answered} answers came, {given_up} never did"),
            ),
        }
    }
}
