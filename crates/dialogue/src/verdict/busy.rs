//! After 7F xx 21 a tool repeats its request: after 200 ms, up to six times (SAE J1979 and ISO 15765-4, from memory).

use alloc::{format, string::String};
use core::time::Duration;

use twotrip_units::BusInstant;

use super::{Answered, Asked, Observe, Verdict, talk::Talk};
use crate::{Ecu, Role};

/// How long to wait before a request is repeated, and how much sooner an onlooker lets pass.
const PAUSE: Duration = Duration::from_millis(200);
const TOLERANCE: Duration = Duration::from_millis(10);
/// How often it is repeated.
const REPEATS: u32 = 6;
/// A tool is given so long to repeat it (our choice).
const PATIENCE: Duration = Duration::from_secs(5);

/// A request that was answered by 7F xx 21.
#[derive(Clone, Copy, Debug)]
struct Turned {
    asked: Asked,
    ecu: Ecu,
    at: BusInstant,
    /// Repeated since then.
    is_repeated: bool,
    repeats: u32,
}

/// Watches whether a busy ECU is asked again, in time.
#[derive(Clone, Debug, Default)]
pub(super) struct Repeats {
    turned: Option<Turned>,
    answered: u64,
    in_vain: u64,
    wrong: Option<String>,
}

impl Observe for Repeats {
    fn on_hit(&mut self, _: BusInstant, _: Role, _: &Talk) {}

    fn on_question(&mut self, asked: &Asked, _: &Talk) {
        let Some(turned) = &mut self.turned else { return };
        if !asked.role.reaches(turned.ecu) || !asked.asks_again(&turned.asked) {
            return;
        }
        let gap = asked.at.saturating_since(turned.at);
        if !turned.is_repeated && gap + TOLERANCE < PAUSE {
            let ms = gap.as_millis();
            self.wrong
                .get_or_insert_with(|| format!("repeated after {ms} ms, which ought to be 200"));
        }
        turned.is_repeated = true;
        turned.repeats += 1;
        if turned.repeats > REPEATS {
            self.wrong
                .get_or_insert_with(|| "repeated more often than six times".into());
        }
    }

    fn on_answer(&mut self, answered: &Answered<'_>, _: &Talk) {
        let Some(question) = answered.question else { return };
        if matches!(answered.bytes, [0x7F, _, 0x21]) {
            let repeats = self
                .turned
                .filter(|turned| turned.ecu == answered.ecu && turned.asked.asks_again(&question))
                .map_or(0, |turned| turned.repeats);
            if let Some(before) = self.turned.filter(|before| !before.is_repeated) {
                self.give_up(&before);
            }
            self.turned = Some(Turned {
                asked: question,
                ecu: answered.ecu,
                at: answered.at,
                is_repeated: false,
                repeats,
            });
        } else if self
            .turned
            .is_some_and(|turned| turned.ecu == answered.ecu && turned.asked.asks_again(&question))
        {
            self.answered += 1;
            self.turned = None;
        }
    }

    fn verdict(&self, now: BusInstant) -> (Verdict, String) {
        if let Some(wrong) = &self.wrong {
            return (Verdict::Failed, wrong.clone());
        }
        match self.turned {
            Some(turned) if turned.repeats >= REPEATS => (
                Verdict::Held,
                "repeated six times, and the ECU was busy each time".into(),
            ),
            Some(turned) if !turned.is_repeated && now.saturating_since(turned.at) > PATIENCE => {
                (Verdict::Failed, "never repeated what a busy ECU was asked".into())
            }
            _ if self.answered > 0 => (
                Verdict::Held,
                format!("repeated after 200 ms or more, and answered: {}", self.answered),
            ),
            Some(_) => (Verdict::NotTried, "the tool may still repeat it".into()),
            None => (Verdict::NotTried, "no ECU was busy when it was asked".into()),
        }
    }
}

impl Repeats {
    /// Another request was turned away before this one was repeated.
    fn give_up(&mut self, turned: &Turned) {
        if turned.repeats < REPEATS {
            self.wrong.get_or_insert_with(|| {
                "asked for something else before it repeated what the ECU was too busy for".into()
            });
        }
        self.in_vain += 1;
    }
}
