//! Two rules about asking once more: a list that is not whole is read again, a refused clear is not repeated at once.
//!
//! Only of confirmed codes another message tells the number (PID $01): who does not read another list again fails nothing.

use alloc::{format, string::String};
use core::time::Duration;

use twotrip_units::BusInstant;

use super::{Answered, Asked, Observe, Verdict, talk::Talk};
use crate::Role;

/// A tool is given so long to read again (our choice).
const PATIENCE: Duration = Duration::from_secs(5);
/// A refused clear may be tried anew after this: something may have been done about the conditions (our choice).
const AT_ONCE: Duration = Duration::from_millis(500);

/// Watches whether a list of codes that lacked one is read again.
#[derive(Clone, Debug, Default)]
pub(super) struct ReadsAgain {
    /// When it was last told without a code, and what was asked for then.
    told: Option<(BusInstant, Asked)>,
    is_due: bool,
    read_again: u64,
}

impl Observe for ReadsAgain {
    fn on_hit(&mut self, _: BusInstant, _: Role, _: &Talk) {
        self.is_due = true;
    }

    fn on_question(&mut self, _: &Asked, _: &Talk) {}

    fn on_answer(&mut self, answered: &Answered<'_>, _: &Talk) {
        let Some(question) = answered.question.filter(|_| answered.is_final()) else {
            return;
        };
        if core::mem::take(&mut self.is_due) {
            self.told = Some((answered.at, question));
        } else if self
            .told
            .take_if(|(_, asked)| asked.asks_again(&question))
            .is_some()
        {
            self.read_again += 1;
        }
    }

    fn verdict(&self, now: BusInstant) -> (Verdict, String) {
        match self.told {
            Some((at, asked)) if now.saturating_since(at) > PATIENCE && asked.asks_for_confirmed() => (
                Verdict::Failed,
                "never read again, though PID $01 counts more codes than the list has".into(),
            ),
            Some((_, asked)) if !asked.asks_for_confirmed() => (
                Verdict::NotTried,
                "a list was read whose number nothing tells, such as that of pending codes".into(),
            ),
            Some(_) => (Verdict::NotTried, "the tool may still read it again".into()),
            None if self.read_again > 0 => (Verdict::Held, format!("read again: {}", self.read_again)),
            None => (Verdict::NotTried, "no list was read".into()),
        }
    }
}

/// Watches what is done about a refused clear.
#[derive(Clone, Debug, Default)]
pub(super) struct TakesRefusal {
    refused: Option<BusInstant>,
    refusals: u64,
    wrong: Option<String>,
}

impl Observe for TakesRefusal {
    fn on_hit(&mut self, _: BusInstant, _: Role, _: &Talk) {}

    fn on_question(&mut self, asked: &Asked, _: &Talk) {
        let is_clear = matches!(asked.bytes(), [0x04] | [0x14, ..]);
        if let Some(refused) = self.refused.filter(|_| is_clear) {
            let gap = asked.at.saturating_since(refused);
            if gap < AT_ONCE {
                let ms = gap.as_millis();
                self.wrong
                    .get_or_insert_with(|| format!("asked to clear again {ms} ms after it was refused"));
            }
        }
    }

    fn on_answer(&mut self, answered: &Answered<'_>, _: &Talk) {
        if matches!(answered.bytes, [0x7F, 0x04 | 0x14, 0x22]) {
            self.refused = Some(answered.at);
            self.refusals += 1;
        }
    }

    fn verdict(&self, now: BusInstant) -> (Verdict, String) {
        match (&self.wrong, self.refused) {
            (Some(wrong), _) => (Verdict::Failed, wrong.clone()),
            (None, Some(at)) if now.saturating_since(at) >= AT_ONCE => (
                Verdict::Held,
                format!(
                    "{} refusals, and none was met by the same request at once",
                    self.refusals
                ),
            ),
            (None, Some(_)) => (Verdict::NotTried, "the refusal has only just come".into()),
            (None, None) => (Verdict::NotTried, "nothing was refused".into()),
        }
    }
}
