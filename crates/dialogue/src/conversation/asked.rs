//! What a request tells of its tester: whether it waited for the answers before, and asks what there is.

use alloc::vec::Vec;
use core::time::Duration;

use twotrip_isotp::Pdu;
use twotrip_obd::{Control, Request};
use twotrip_units::BusInstant;

use super::{Dialogue, P2, P2_STAR, steering::owed_by};
use crate::{
    Breach, Role,
    assembly::{Assembly, CLOCK_TOLERANCE},
    known::{Known, Numbers},
    manners::Short,
};

impl Dialogue {
    /// Whether the tester of a request has waited for what was asked before; says whether it asks a busy ECU again.
    pub(super) fn judge_wait(
        &mut self,
        frame: u64,
        at: BusInstant,
        role: Role,
        began: BusInstant,
        request: Short,
        breaches: &mut Vec<Breach>,
    ) -> bool {
        // It does not ask for anything, and may be sent at any time (ISO 14229-1, service $3E).
        if request.is_presence() {
            return false;
        }
        let slack = self.slack + CLOCK_TOLERANCE;
        let interrupts = self.break_in(frame, at, role, began);
        if let Some(breach) = self
            .gave_up(role, began, slack)
            .or(interrupts)
            .or_else(|| self.impatient(role, began, slack))
        {
            breaches.push(breach);
        }
        self.manners.on_request(role, request, began, slack, breaches)
    }

    /// Answers of these ECUs that wait for flow control will not get it any more; says whether another one is under way.
    fn break_in(&mut self, frame: u64, at: BusInstant, role: Role, began: BusInstant) -> Option<Breach> {
        let (mut abandoned, mut interrupted) = (None, None);
        for (sender, assembly) in self.assemblies.iter_mut() {
            if let Role::Answer(ecu) = *sender
                && assembly.is_open()
                && role.reaches(ecu)
            {
                // Within N_Bs it may still come: from another tester then.
                if !assembly.is_late(at) && assembly.pass_over() {
                    continue;
                }
                if let Some(breach) = assembly.abandon() {
                    abandoned = abandoned.or(Some((*sender, breach)));
                } else if assembly.is_under_way(began) {
                    interrupted = interrupted.or(Some(Breach::Interrupts(ecu)));
                }
            }
        }
        if let Some((sender, breach)) = abandoned {
            self.breach(frame, at, owed_by(sender, &breach), breach);
        }
        interrupted
    }

    /// What an ECU says next, where another request came before the flow control that its answer waited for: that answer is
    /// given up, for want of it.
    pub(super) fn pass_over(&mut self, frame: u64, at: BusInstant, role: Role, pdu: &Pdu) {
        if !matches!(role, Role::Answer(_))
            || !matches!(pdu, Pdu::SingleFrame { .. } | Pdu::FirstFrame { .. })
        {
            return;
        }
        let assembly = self
            .assemblies
            .get_mut(role)
            .filter(|assembly| assembly.is_passed_over());
        if let Some(breach) = assembly.and_then(Assembly::abandon) {
            self.breach(frame, at, owed_by(role, &breach), breach);
        }
    }

    /// Whether one of these ECUs has asked for time that is not over.
    fn gave_up(&mut self, role: Role, began: BusInstant, slack: Duration) -> Option<Breach> {
        if !self.any_pending {
            return None;
        }
        self.any_pending = self.questions.iter().any(|asked| !asked.pending.is_empty());
        let mut open = self.questions.iter_mut().filter(|asked| !asked.given_up);
        open.find_map(|asked| {
            let waits = |&&(ecu, since): &&(_, BusInstant)| {
                role.reaches(ecu) && began.saturating_since(since) + slack < P2_STAR
            };
            let &(ecu, since) = asked.pending.iter().find(waits)?;
            asked.given_up = true;
            Some(Breach::GaveUp {
                ecu,
                after: began.saturating_since(since),
                limit: P2_STAR,
            })
        })
    }

    /// A question is over when everybody has answered it, or P2.
    fn impatient(&self, role: Role, began: BusInstant, slack: Duration) -> Option<Breach> {
        let before = self.questions.back()?;
        let after = began.saturating_since(before.ended);
        if after + slack >= P2 || before.request.wants_no_answer() {
            return None;
        }
        // Who has spoken before may do so again; if nobody has, anybody may.
        let mut heard = self.known.keys().filter(|ecu| before.role.reaches(*ecu));
        let others_may_answer =
            before.answered.is_empty() || heard.any(|ecu| !before.answered.contains(&ecu));
        if !others_may_answer {
            return None;
        }
        Some(if before.role.is_extended() == role.is_extended() {
            Breach::Impatient { after, limit: P2 }
        } else {
            Breach::TalksOver { after }
        })
    }

    /// The first parameter of a request that is known to be supported by none of these ECUs.
    pub(super) fn unsupported(&self, role: Role, request: &Request<'_>) -> Option<Breach> {
        let service = request.service();
        let rules_out = |number: &u8| {
            !number.is_multiple_of(0x20)
                && self.all_known_say(role, |known| known.rules_out(Numbers::Of(service), *number))
        };
        let number = match *request {
            Request::CurrentData(asked)
            | Request::TestResults(asked)
            | Request::VehicleInformation(asked) => asked.numbers().iter().copied().find(rules_out),
            Request::FreezeFrame(asked) => {
                let mut pairs = asked.pairs().iter();
                pairs.find_map(|&[number, _]| rules_out(&number).then_some(number))
            }
            Request::Control(Control::Test(test, _)) => Some(test.number()).filter(rules_out),
            _ => None,
        }?;
        Some(Breach::AskedUnsupported {
            service: service.to_byte(),
            number: number.into(),
        })
    }

    /// Whether anybody is known of those whom a request reaches, and this holds of each.
    pub(super) fn all_known_say(&self, role: Role, holds: impl Fn(&Known) -> bool) -> bool {
        let mut asked = self.known.iter().filter(|(ecu, _)| role.reaches(*ecu)).peekable();
        asked.peek().is_some() && asked.all(|(_, known)| holds(known))
    }
}
