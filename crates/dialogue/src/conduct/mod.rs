//! What testers did on a bus: a log of each, with every breach of a rule that is a tester's to keep.
//!
//! The rules are found broken by a [`Dialogue`](crate::Dialogue); here they are sorted by tester, by rule and by gravity, and counted. Memory is
//! bounded whatever comes, and nothing is allocated for a request that breaks no rule, once its service was seen.

mod log;
mod rule;

use alloc::{collections::BTreeSet, vec::Vec};

use twotrip_obd::{
    Dtc, Response, Service,
    uds::{self, Status},
};

pub use self::{
    log::{EXAMPLES, Example, Tally, TesterId, TesterLog},
    rule::{Rule, Severity},
};
use crate::{Breach, Ecu, Event, Message, Role, conversation::QUESTIONS};

/// Testers told apart. More than two are a mistake already.
const TESTERS: usize = 8;
/// Codes kept that were read.
const CODES: usize = 256;

/// The log of all testers.
///
/// ```
/// use twotrip_can::{CanId, Frame};
/// use twotrip_dialogue::{Dialogue, conduct::{Conduct, Rule}};
/// use twotrip_units::BusInstant;
///
/// let (mut dialogue, mut conduct) = (Dialogue::without_units(), Conduct::default());
/// let clear = Frame::padded(CanId::Standard(0x7DF), &[1, 0x04], 0);
/// dialogue.on_frame(1, BusInstant::ZERO, &clear);
/// while let Some(event) = dialogue.poll_event() {
///     conduct.on_event(&event);
/// }
/// let [tester] = conduct.testers() else { panic!("one tester") };
/// assert_eq!(tester.tallies[0].rule, Rule::ClearedUnread);
/// ```
#[derive(Clone, Debug, Default)]
pub struct Conduct {
    testers: Vec<TesterLog>,
    answers: u64,
    codes: BTreeSet<(Ecu, Service, Dtc)>,
    /// Answers of codes, by service $03, $07, $0A.
    lists: [u64; 3],
    /// Which codes the last questions of SAE J1979-2 were for, by the number of their messages: no answer repeats it.
    wanted: [Option<(u64, Status)>; QUESTIONS],
}

impl Conduct {
    /// Takes what a dialogue tells.
    #[inline]
    pub fn on_event(&mut self, event: &Event) {
        match event {
            Event::Unit(_) => {}
            Event::Message(message) => self.on_message(message),
            Event::Breach {
                frame,
                at,
                role,
                breach,
            } => self.on_breach(Example {
                at: *at,
                frame: *frame,
                role: *role,
                breach: *breach,
            }),
        }
    }

    /// Everybody who has sent anything as a tester, in the order of their first words.
    #[must_use]
    pub fn testers(&self) -> &[TesterLog] {
        &self.testers
    }

    /// Answers of ECUs, refusals and requests for time included.
    #[must_use]
    pub const fn answers(&self) -> u64 {
        self.answers
    }

    /// How often codes of this service ($03, $07 or $0A) were read, or the same ones in SAE J1979-2.
    #[must_use]
    pub fn times_read(&self, service: Service) -> u64 {
        place(service).map_or(0, |place| self.lists[place])
    }

    /// The codes that were read of this service, and of whom.
    pub fn codes_read(&self, service: Service) -> impl Iterator<Item = (Ecu, Dtc)> + '_ {
        let of_service = self.codes.iter().filter(move |(_, found, _)| *found == service);
        of_service.map(|&(ecu, _, code)| (ecu, code))
    }

    /// Breaches of this severity.
    #[must_use]
    pub fn breaches(&self, severity: Severity) -> u64 {
        let tallies = self.testers.iter().flat_map(|tester| &tester.tallies);
        let grave = tallies.filter(|tally| tally.rule.severity() == severity);
        grave.fold(0, |sum, tally| sum.saturating_add(tally.count))
    }

    #[inline]
    fn on_message(&mut self, message: &Message) {
        let Some(id) = TesterId::of(message.role) else {
            self.answers += 1;
            match message.bytes.first() {
                Some(0x43 | 0x47 | 0x4A) => self.on_codes(message.role, &message.bytes),
                Some(0x59) => self.on_codes_on_uds(message),
                _ => {}
            }
            return;
        };
        let service = message.bytes.first().copied().unwrap_or_default();
        if service == 0x19 {
            self.on_question_of_codes(message);
        }
        if let Some(tester) = self.tester(id) {
            tester.on_request(message.role, service, message.began);
        }
    }

    #[cold]
    fn on_codes(&mut self, role: Role, bytes: &[u8]) {
        let (Role::Answer(ecu), Ok(Response::Codes(service, codes))) = (role, Response::parse(bytes)) else {
            return;
        };
        self.on_list(ecu, service, codes.iter());
    }

    /// Codes of an ECU, as this service would have listed them.
    fn on_list(&mut self, ecu: Ecu, service: Service, codes: impl Iterator<Item = Dtc>) {
        if let Some(place) = place(service) {
            self.lists[place] = self.lists[place].saturating_add(1);
        }
        for code in codes {
            if self.codes.len() == CODES {
                return;
            }
            self.codes.insert((ecu, service, code));
        }
    }

    #[cold]
    fn on_question_of_codes(&mut self, message: &Message) {
        if let Ok(uds::Request::CodesByMask { status, .. }) = uds::Request::parse(&message.bytes) {
            self.wanted.rotate_right(1);
            self.wanted[0] = Some((message.number, status));
        }
    }

    #[cold]
    fn on_codes_on_uds(&mut self, message: &Message) {
        let Role::Answer(ecu) = message.role else { return };
        match uds::Response::parse(&message.bytes) {
            Ok(uds::Response::CodesByMask { codes, .. }) => {
                let asked = message.answers.map(|(number, _)| number);
                let mut wanted = self.wanted.iter().flatten();
                let Some(&(_, status)) = wanted.find(|(number, _)| Some(*number) == asked) else {
                    return;
                };
                for (kind, service) in [
                    (Status::CONFIRMED, Service::ConfirmedCodes),
                    (Status::PENDING, Service::PendingCodes),
                ] {
                    if status.has(kind) {
                        let of_kind = codes.iter().filter(|(_, _, status)| status.has(kind));
                        self.on_list(ecu, service, of_kind.map(|(_, code, _)| code.code));
                    }
                }
            }
            Ok(uds::Response::PermanentCodes { codes, .. }) => {
                self.on_list(
                    ecu,
                    Service::PermanentCodes,
                    codes.iter().map(|(code, _)| code.code),
                );
            }
            _ => {}
        }
    }

    fn on_breach(&mut self, example: Example) {
        let id = match (TesterId::of(example.role), example.breach) {
            (Some(_), Breach::TesterAddress(address)) => TesterId::Extended(address),
            (Some(id), _) => id,
            (None, _) => return,
        };
        let rule = Rule::of(example.role, &example.breach);
        let is_unanswered = example.breach == Breach::Unanswered;
        if rule.is_none() && !is_unanswered {
            return;
        }
        if let Some(tester) = self.tester(id) {
            tester.unanswered = tester.unanswered.saturating_add(is_unanswered.into());
            if let Some(rule) = rule {
                tester.on_breach(rule, example);
            }
        }
    }

    /// The log of a tester; nothing for one beyond those that are told apart.
    fn tester(&mut self, id: TesterId) -> Option<&mut TesterLog> {
        match self.testers.iter().position(|tester| tester.id == id) {
            Some(place) => self.testers.get_mut(place),
            None => self.new_tester(id),
        }
    }

    #[cold]
    fn new_tester(&mut self, id: TesterId) -> Option<&mut TesterLog> {
        if self.testers.len() == TESTERS {
            return None;
        }
        self.testers.push(TesterLog::new(id));
        self.testers.last_mut()
    }
}

const fn place(service: Service) -> Option<usize> {
    match service {
        Service::ConfirmedCodes => Some(0),
        Service::PendingCodes => Some(1),
        Service::PermanentCodes => Some(2),
        _ => None,
    }
}

#[cfg(test)]
mod clean;
#[cfg(test)]
mod fd;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod two_testers;
