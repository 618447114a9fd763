//! Messages become questions and answers; timing and conduct are judged.

mod asked;
mod kind;
mod on_uds;
mod steering;

use alloc::{collections::VecDeque, vec::Vec};
use core::time::Duration;

use twotrip_can::{Frame, FrameKind};
use twotrip_isotp::Pdu;
use twotrip_obd::{Request, Response, ResponseCode, Service, uds};
use twotrip_units::BusInstant;

use self::kind::{Kind, Kinds};
use crate::{
    Breach, Ecu, Event, Message, Role, Sign, Unit,
    assembly::{Assembly, Spare, Whole},
    few::Few,
    known::{Known, Numbers},
    looks::Looks,
    manners::{Manners, Short},
};

/// P2: an answer begins within this time of the request's end (ISO 15765-4).
pub(crate) const P2: Duration = Duration::from_millis(50);
/// P2*: the same after the ECU has asked for time (7F xx 78).
const P2_STAR: Duration = Duration::from_secs(5);
/// Questions remembered, for answers that come late.
pub(crate) const QUESTIONS: usize = 8;
pub(crate) use self::kind::FRAME_BYTES;

/// What was asked, and who has answered.
#[derive(Clone, Debug)]
struct Question {
    number: u64,
    role: Role,
    request: Short,
    service: u8,
    ended: BusInstant,
    last_frame: u64,
    answered: Vec<Ecu>,
    /// Who has asked for time, and when last.
    pending: Vec<(Ecu, BusInstant)>,
    /// A tester did not wait for those: told once.
    given_up: bool,
}

/// Listens to a bus.
///
/// ```
/// use twotrip_can::{CanId, Frame};
/// use twotrip_dialogue::{Dialogue, Event};
/// use twotrip_units::BusInstant;
///
/// let mut dialogue = Dialogue::default();
/// let ask = Frame::padded(CanId::Standard(0x7DF), &[2, 0x01, 0x0C], 0);
/// let answer = Frame::padded(CanId::Standard(0x7E8), &[4, 0x41, 0x0C, 0x1A, 0xF8], 0);
/// dialogue.on_frame(0, BusInstant::ZERO, &ask);
/// dialogue.on_frame(1, BusInstant::from_millis(3), &answer);
/// let messages = core::iter::from_fn(|| dialogue.poll_event()).filter_map(|event| match event {
///     Event::Message(message) => Some(message),
///     _ => None,
/// });
/// let latencies: Vec<_> = messages.map(|message| message.answers.map(|(_, latency)| latency.as_millis())).collect();
/// assert_eq!(latencies, [None, Some(3)]);
/// ```
#[derive(Clone, Debug, Default)]
pub struct Dialogue {
    assemblies: Few<Role, Assembly>,
    questions: VecDeque<Question>,
    known: Few<Ecu, Known>,
    events: VecDeque<Event>,
    spare: Spare,
    /// Closed ones, for their lists.
    closed: Vec<Question>,
    /// An empty list.
    breaches: Vec<Breach>,
    messages: u64,
    /// Units are not told.
    only_messages: bool,
    manners: Manners,
    kinds: Kinds,
    looks: Looks,
    /// Some question may have an ECU that has asked for time.
    any_pending: bool,
    /// How much later than on the wire a frame may be heard.
    slack: Duration,
    /// Codes or a freeze frame have been read.
    codes_read: bool,
    last_frame: u64,
}

impl Dialogue {
    /// One that does not tell of units: for who has no use for them.
    #[must_use]
    pub fn without_units() -> Self {
        Self {
            only_messages: true,
            ..Self::default()
        }
    }

    /// The same for frames that are heard up to so much later than they were on the wire: what may come from that is no breach
    /// of a least time.
    #[must_use]
    pub const fn with_slack(mut self, slack: Duration) -> Self {
        self.set_slack(slack);
        self
    }

    /// See [`Self::with_slack`]: from now on.
    pub const fn set_slack(&mut self, slack: Duration) {
        self.slack = slack;
    }

    /// Takes the frame with this number. Poll the events before the next one.
    pub fn on_frame(&mut self, number: u64, at: BusInstant, frame: &Frame) {
        self.on_frame_between(number, at, at, frame);
    }

    /// The same for a frame that was on the wire not before `at` and not after `latest`: by the later one nobody is late who
    /// steers it, by the earlier one nobody is early who waits after it.
    pub fn on_frame_between(&mut self, number: u64, at: BusInstant, latest: BusInstant, frame: &Frame) {
        let Some(role) = Role::of(frame.id()).filter(|_| frame.kind() != FrameKind::Error) else {
            self.on_other(number, at, frame);
            return;
        };
        self.last_frame = number;
        let Kind::Spoken { is_fd } = self.kinds.take(number, at, role, frame) else {
            self.breach(number, at, role, Breach::Kind);
            return;
        };
        if let Some((number, at, role)) = self.kinds.settled(false) {
            self.breach(number, at, role, Breach::Kind);
        }
        if let Some(breach) = kind::judge_length(frame, is_fd) {
            self.breach(number, at, role, breach);
        }
        let pdu = match Pdu::parse(frame.data()) {
            Ok(pdu) => pdu,
            Err(error) => return self.breach(number, at, role, Breach::Transport(error)),
        };
        if !self.only_messages {
            self.events.push_back(Event::Unit(Unit {
                frame: number,
                at,
                role,
                pdu,
            }));
        }
        if !is_fd
            && role.is_testers()
            && let Some(breach) = self.looks.on_frame(role, frame, &pdu)
        {
            self.breach(number, at, role, breach);
        }
        self.pass_over(number, at, role, &pdu);
        let Self {
            assemblies,
            spare,
            breaches,
            ..
        } = self;
        let when = (at, latest);
        let whole = assemble(
            assemblies,
            spare,
            (number, when, is_fd),
            role,
            &pdu,
            &mut |breach| {
                breaches.push(breach);
            },
        );
        if !self.breaches.is_empty() {
            self.tell_breaches(number, at, role);
        }
        if let Some(whole) = whole {
            self.on_message(number, at, role, whole);
        }
    }

    /// No more frames come, until this instant: what should have come by then is told.
    pub fn on_end(&mut self, at: BusInstant) {
        let ended: Vec<_> = self
            .assemblies
            .iter_mut()
            .filter_map(|(role, assembly)| Some((*role, assembly.end(at)?)))
            .collect();
        for (role, breach) in ended {
            self.breach(self.last_frame, at, steering::owed_by(role, &breach), breach);
        }
        while let Some(question) = self.questions.pop_front() {
            self.close(question, at);
        }
        if let Some((number, at, role)) = self.kinds.settled(true) {
            self.breach(number, at, role, Breach::Kind);
        }
        let forgotten: Vec<_> = self.manners.on_end(at).collect();
        for (ecu, breach) in forgotten {
            self.breach(self.last_frame, at, Role::Ask(ecu), breach);
        }
    }

    /// Takes back a message that has been told, for the memory in it. Who does so with each has nothing allocated for
    /// the next.
    pub fn recycle(&mut self, message: Message) {
        self.spare.take_back(message.bytes);
    }

    /// The next thing to tell.
    #[must_use]
    pub fn poll_event(&mut self) -> Option<Event> {
        self.events.pop_front()
    }

    fn breach(&mut self, frame: u64, at: BusInstant, role: Role, breach: Breach) {
        self.events.push_back(Event::Breach {
            frame,
            at,
            role,
            breach,
        });
    }

    /// Empties the list of breaches, and keeps its memory for the next ones.
    #[cold]
    fn tell_breaches(&mut self, frame: u64, at: BusInstant, role: Role) {
        let mut breaches = core::mem::take(&mut self.breaches);
        for breach in breaches.drain(..) {
            self.breach(frame, at, role, breach);
        }
        self.breaches = breaches;
    }

    fn on_message(&mut self, frame: u64, at: BusInstant, role: Role, whole: Whole) {
        let number = self.messages;
        self.messages += 1;
        let mut breaches = core::mem::take(&mut self.breaches);
        let answers = match role {
            Role::Answer(ecu) => self.on_answer(ecu, at, &whole, &mut breaches),
            Role::AskAll { .. } | Role::Ask(_) => {
                self.on_request(number, frame, at, role, &whole, &mut breaches);
                None
            }
        };
        self.events.push_back(Event::Message(Message {
            number,
            role,
            frames: (whole.first_frame, frame),
            pieces: whole.pieces,
            began: whole.began,
            ended: at,
            answers,
            bytes: whole.bytes,
        }));
        self.breaches = breaches;
        if !self.breaches.is_empty() {
            self.tell_breaches(frame, at, role);
        }
    }

    fn on_request(
        &mut self,
        number: u64,
        frame: u64,
        at: BusInstant,
        role: Role,
        whole: &Whole,
        breaches: &mut Vec<Breach>,
    ) {
        let request = Short::of(&whole.bytes);
        let repeats = self.judge_wait(frame, at, role, whole.began, request, breaches);
        self.close_old(at);
        match Request::parse(&whole.bytes) {
            Ok(Request::Clear | Request::Other(Service::ClearByGroup, _)) if !self.codes_read => {
                breaches.push(Breach::ClearedUnread);
            }
            // A busy ECU is asked again in the same words.
            Ok(_) if repeats => {}
            Ok(Request::Other(service, _)) if uds::is_service(service) => {
                self.judge_on_uds(role, &whole.bytes, breaches);
            }
            Ok(request) => breaches.extend(self.unsupported(role, &request)),
            Err(error) => breaches.push(Breach::Request(error)),
        }
        if self.questions.len() == QUESTIONS
            && let Some(oldest) = self.questions.pop_front()
        {
            self.close(oldest, at);
        }
        let (answered, pending) = match self.closed.pop() {
            Some(closed) => (closed.answered, closed.pending),
            None => (Vec::new(), Vec::new()),
        };
        self.questions.push_back(Question {
            number,
            role,
            request,
            service: whole.bytes.first().copied().unwrap_or_default(),
            ended: at,
            last_frame: frame,
            answered,
            pending,
            given_up: false,
        });
    }

    /// Closes the questions whose time is over: from the oldest on, unless an ECU has asked for more of it.
    fn close_old(&mut self, at: BusInstant) {
        let is_over =
            |question: &Question| at.saturating_since(question.ended) > P2 && question.pending.is_empty();
        while self.questions.front().is_some_and(is_over)
            && let Some(question) = self.questions.pop_front()
        {
            self.close(question, at);
        }
        if !self.any_pending {
            return;
        }
        for _ in 0..self.questions.len() {
            match self.questions.pop_front() {
                Some(question) if is_over(&question) => self.close(question, at),
                Some(question) => self.questions.push_back(question),
                None => break,
            }
        }
    }

    /// Nobody answers a question any more.
    fn close(&mut self, mut question: Question, at: BusInstant) {
        if question.answered.is_empty()
            && at.saturating_since(question.ended) > P2
            && !question.request.is_quiet()
        {
            self.breach(question.last_frame, at, question.role, Breach::Unanswered);
            let Question {
                role, request, ended, ..
            } = question;
            // An ECU that asked for time is awake.
            if question.pending.is_empty()
                && let Some(breach) = self.manners.on_unanswered(role, request, ended)
            {
                self.breach(question.last_frame, at, role, breach);
            }
        }
        if self.closed.len() < QUESTIONS {
            question.answered.clear();
            question.pending.clear();
            self.closed.push(question);
        }
    }

    fn on_answer(
        &mut self,
        ecu: Ecu,
        at: BusInstant,
        whole: &Whole,
        breaches: &mut Vec<Breach>,
    ) -> Option<(u64, Duration)> {
        let response = Response::parse(&whole.bytes);
        let service = match response {
            Ok(Response::Negative(service, _)) => service.to_byte(),
            _ => whole
                .bytes
                .first()
                .copied()
                .unwrap_or_default()
                .wrapping_sub(0x40),
        };
        match response {
            Ok(Response::Other(service, _)) if uds::is_service(service) => {
                self.learn_on_uds(ecu, &whole.bytes, breaches);
            }
            _ => self.learn(ecu, &response, breaches),
        }
        let asked = |question: &&mut Question| question.service == service && question.role.reaches(ecu);
        let Some(question) = self.questions.iter_mut().rev().find(asked) else {
            breaches.push(Breach::Unasked);
            return None;
        };
        let latency = whole.began.saturating_since(question.ended);
        let waited = question.pending.iter_mut().find(|(who, _)| *who == ecu);
        let (since, limit) = match &waited {
            Some((_, since)) => (*since, P2_STAR),
            None => (question.ended, P2),
        };
        let took = whole.began.saturating_since(since);
        if took > limit {
            breaches.push(Breach::LateAnswer { latency: took, limit });
        }
        if let Ok(Response::Negative(_, ResponseCode::ResponsePending)) = response {
            self.any_pending = true;
            match waited {
                Some((_, since)) => *since = at,
                None => question.pending.push((ecu, at)),
            }
            if !question.answered.contains(&ecu) {
                return Some((question.number, latency));
            }
        }
        let is_busy = matches!(
            response,
            Ok(Response::Negative(_, ResponseCode::BusyRepeatRequest))
        );
        let is_first = question.answered.is_empty();
        self.manners
            .on_answer(ecu, question.request, is_first, is_busy, at);
        if let Ok(Response::Negative(_, code)) = response
            && matches!(question.role, Role::AskAll { .. })
            && code.is_suppressed_when_functional()
        {
            breaches.push(Breach::RefusedToAll(code));
        }
        question.pending.retain(|(who, _)| *who != ecu);
        if question.answered.contains(&ecu) {
            breaches.push(Breach::AnsweredTwice);
        } else {
            question.answered.push(ecu);
        }
        Some((question.number, latency))
    }

    /// What an answer tells of its ECU, and of the tester's conduct.
    fn learn(
        &mut self,
        ecu: Ecu,
        response: &Result<Response<'_>, twotrip_obd::ResponseError>,
        breaches: &mut Vec<Breach>,
    ) {
        let known = self.known.entry(ecu);
        let mut number = |service: Service, number: u8| {
            if known.leaves_out(Numbers::Of(service), number) {
                let (service, number) = (service.to_byte(), number.into());
                breaches.push(Breach::NotSupported { service, number });
            }
        };
        match response {
            Ok(Response::Codes(..)) => self.codes_read = true,
            Ok(Response::CurrentData(records) | Response::FreezeFrame(records)) => {
                let service = match response {
                    Ok(Response::FreezeFrame(_)) => {
                        self.codes_read = true;
                        Service::FreezeFrame
                    }
                    _ => Service::CurrentData,
                };
                let mut masks = false;
                for record in records.flatten() {
                    if record.pid.is_mask() {
                        masks = true;
                    } else {
                        number(service, record.pid.number());
                    }
                }
                // They count from the next answer on.
                let masks = masks.then_some(*records).into_iter().flatten().flatten();
                for record in masks.filter(|record| record.pid.is_mask()) {
                    if let Ok(mask) = record.data.try_into() {
                        known.add(Numbers::Of(service), record.pid.number(), mask);
                    }
                }
            }
            Ok(Response::Masks(service, masks)) => {
                for &[base, ref mask @ ..] in *masks {
                    known.add(Numbers::Of(*service), base, *mask);
                }
            }
            Ok(Response::TestResults(results)) => {
                for result in results.iter() {
                    number(Service::TestResults, result.mid.number());
                }
            }
            Ok(Response::Information(information)) => {
                number(Service::VehicleInformation, information.info_type().number());
            }
            Ok(_) => {}
            Err(error) => breaches.push(Breach::Answer(*error)),
        }
    }
}

/// Takes a unit of transport; the message that it makes whole.
fn assemble(
    assemblies: &mut Few<Role, Assembly>,
    spare: &mut Spare,
    (number, when, is_fd): (u64, (BusInstant, BusInstant), bool),
    role: Role,
    pdu: &Pdu,
    breach: &mut impl FnMut(Breach),
) -> Option<Whole> {
    if let Pdu::FlowControl {
        status,
        block_size,
        st_min,
    } = *pdu
    {
        steering::steer(assemblies, when.0, role, (status, block_size, st_min), breach);
        return None;
    }
    if matches!(role, Role::AskAll { .. }) && !matches!(pdu, Pdu::SingleFrame { .. }) {
        breach(Breach::LongRequestToAll);
        return None;
    }
    let assembly = assemblies.entry(role);
    if role.is_testers() && assembly.goes_on_behind(when.0, pdu) {
        breach(Breach::TwoAtOnce(Sign::ContinuesBehindRequest));
        return None;
    }
    assembly.on_unit(number, when, pdu, is_fd, spare, breach)
}
