//! Who sends a message of several frames does what flow control says (ISO 15765-2:2016 9.6.5, from public summaries).

use alloc::string::{String, ToString as _};

use twotrip_units::BusInstant;

use super::{Answered, Asked, Observe, Verdict, talk::Talk};
use crate::{Breach, Role};

/// Watches a tool that sends a longer request.
#[derive(Clone, Debug, Default)]
pub(super) struct Steered {
    hits: u64,
    /// A longer request has begun.
    is_sending: bool,
    sent: u64,
    wrong: Option<String>,
}

impl Observe for Steered {
    fn on_hit(&mut self, _: BusInstant, _: Role, _: &Talk) {
        self.hits += 1;
    }

    fn on_question(&mut self, _: &Asked, _: &Talk) {
        self.sent += u64::from(core::mem::take(&mut self.is_sending));
    }

    fn on_begun(&mut self, _: BusInstant, role: Role, _: &Talk) {
        self.is_sending = matches!(role, Role::Ask(_));
    }

    fn on_answer(&mut self, _: &Answered<'_>, _: &Talk) {}

    fn on_breach(&mut self, _: BusInstant, role: Role, breach: &Breach, _: &Talk) {
        let is_disobedient = matches!(
            breach,
            Breach::NoFlowControl
                | Breach::BlockOverrun
                | Breach::TooClose { .. }
                | Breach::NothingToContinue
        );
        if self.hits > 0 && is_disobedient && matches!(role, Role::Ask(_)) {
            self.wrong.get_or_insert_with(|| breach.to_string());
        }
    }

    fn verdict(&self, _: BusInstant) -> (Verdict, String) {
        match (&self.wrong, self.hits, self.sent) {
            (Some(wrong), ..) => (Verdict::Failed, wrong.clone()),
            (None, 0, _) => (Verdict::NotTried, "no request of several frames was sent".into()),
            (None, _, 0) => (Verdict::Held, "nothing was sent without leave".into()),
            (None, ..) => (
                Verdict::Held,
                "what was sent was sent as flow control said".into(),
            ),
        }
    }
}
