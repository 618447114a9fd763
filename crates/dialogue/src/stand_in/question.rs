//! A question has come: what was answered to it then is owed now.

use twotrip_can::Frame;
use twotrip_isotp::{Dlc, Pdu};
use twotrip_obd::Response;
use twotrip_units::BusInstant;

use super::{AfterLast, Found, Head, StandIn, StandInEvent, Unknown, node::Push};
use crate::{QuestionId, Role, answers::Entry, conversation::FRAME_BYTES};

/// Different unknown questions that are kept word by word.
pub(super) const UNKNOWN: usize = 256;

/// What a question gets.
#[derive(Clone, Copy, Debug)]
struct Given {
    question: QuestionId,
    time: Option<usize>,
    times: usize,
    replies: u32,
}

/// Whether a reply is a refusal that an ECU gives only when it is asked alone (AUTOSAR SWS_Dcm_00001).
fn is_for_one_only(reply: &[u8]) -> bool {
    matches!(
        Response::parse(reply),
        Ok(Response::Negative(_, code)) if code.is_suppressed_when_functional()
    )
}

impl StandIn {
    /// A frame that can only be a whole question: to all, or to somebody who is not there.
    pub(super) fn on_single(&mut self, now: BusInstant, role: Role, frame: &Frame) {
        // A classic one has no more, and one of CAN FD may.
        if self.dlc == Dlc::Strict && frame.len() < FRAME_BYTES {
            self.counts.short_frames += 1;
            return;
        }
        match Pdu::parse(frame.data()) {
            Ok(Pdu::SingleFrame { payload }) => {
                let question = self.answers.find(role, payload.as_slice());
                self.on_question(now, role, question, payload.as_slice());
            }
            // Its beginning is all that will ever come of it.
            Ok(Pdu::FirstFrame { payload, .. }) if matches!(role, Role::Ask(_)) => {
                self.on_question(now, role, None, payload.as_slice());
            }
            Ok(Pdu::FlowControl { .. } | Pdu::ConsecutiveFrame { .. }) if matches!(role, Role::Ask(_)) => {}
            _ => self.counts.ignored += 1,
        }
    }

    pub(super) fn on_question(
        &mut self,
        now: BusInstant,
        role: Role,
        question: Option<QuestionId>,
        request: &[u8],
    ) {
        let head = Head::of(request);
        if let Some(question) = question {
            return self.on_known(now, role, question, head);
        }
        if self.settings.any_addressing && self.on_known_elsewhere(now, role, request, head) {
            return;
        }
        self.counts.requests += 1;
        self.counts.unknown += 1;
        let known = self.unknown.iter_mut().find(|unknown| unknown.is(role, request));
        if let Some(unknown) = known {
            unknown.count += 1;
        } else if self.unknown.len() < UNKNOWN {
            self.unknown.push(Unknown::new(role, request, now));
        } else {
            self.counts.unknown_unlisted += 1;
        }
        self.tell(StandInEvent::Asked {
            at: now,
            role,
            request: head,
            found: Found::Unknown,
        });
    }

    pub(super) fn on_known(&mut self, now: BusInstant, role: Role, question: QuestionId, request: Head) {
        self.counts.requests += 1;
        let given = self.give(now, question, |_, _| true);
        self.settle(now, role, request, given);
    }

    /// A question that was not asked in this way then, but in the other one; says whether it was.
    fn on_known_elsewhere(&mut self, now: BusInstant, role: Role, request: &[u8], head: Head) -> bool {
        let mut found: Option<Given> = None;
        for place in 0..self.nodes.len() {
            let (ecu, number) = (self.nodes[place].ecu, self.nodes[place].number);
            let extended = ecu.response().is_extended();
            let other = match role {
                Role::AskAll { extended: size } if size == extended => Role::Ask(ecu),
                Role::Ask(asked) if asked == ecu => Role::AskAll { extended },
                _ => continue,
            };
            let Some(question) = self.answers.find(other, request) else {
                continue;
            };
            if found.is_none() {
                self.counts.requests += 1;
            }
            let to_all = matches!(role, Role::AskAll { .. });
            let given = self.give(now, question, |entry, reply| {
                entry.ecu == number && !(to_all && is_for_one_only(reply))
            });
            let replies = found.map_or(0, |found| found.replies);
            let first = found.get_or_insert(given);
            first.replies = replies + given.replies;
        }
        let Some(given) = found else {
            return false;
        };
        self.settle(now, role, head, given);
        true
    }

    /// Lets the ECUs owe what came to this question, as far as it is wanted.
    fn give(
        &mut self,
        now: BusInstant,
        question: QuestionId,
        is_wanted: impl Fn(&Entry, &[u8]) -> bool,
    ) -> Given {
        let before = self.asked[question.index()];
        self.asked[question.index()] += 1;
        let times = self.answers.times(question);
        let time = usize::try_from(before).unwrap_or(usize::MAX);
        let time = match self.settings.after_last {
            _ if time < times => Some(time),
            AfterLast::Last => Some(times - 1),
            AfterLast::Anew => Some(time % times),
            AfterLast::Silence => None,
        };
        let occasion = time
            .and_then(|time| self.answers.occasion(question, time))
            .unwrap_or_default();
        let asked = now - self.settings.lead;
        let mut replies = 0;
        for number in occasion.begin..occasion.end {
            let Some(entry) = self.answers.entry(number) else {
                continue;
            };
            if !is_wanted(&entry, self.answers.message(entry)) {
                continue;
            }
            replies += 1;
            let place = self.places[usize::from(entry.ecu)];
            let rest = (number, occasion.end);
            match self.nodes[place].push(self.counts.requests, asked, asked + entry.after, rest) {
                Push::Taken => {}
                Push::Dropped => {
                    self.counts.dropped += 1;
                    let ecu = self.nodes[place].ecu;
                    self.tell(StandInEvent::Busy { at: now, ecu });
                }
            }
        }
        Given {
            question,
            time,
            times,
            replies,
        }
    }

    fn settle(&mut self, now: BusInstant, role: Role, request: Head, given: Given) {
        let Given {
            question,
            time,
            times,
            replies,
        } = given;
        match (time, replies) {
            (None, _) => self.counts.exhausted += 1,
            (_, 0) => self.counts.silent += 1,
            _ => self.counts.answered += 1,
        }
        self.tell(StandInEvent::Asked {
            at: now,
            role,
            request,
            found: Found::Recorded {
                question,
                time,
                times,
                replies,
            },
        });
    }
}
