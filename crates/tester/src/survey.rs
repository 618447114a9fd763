//! The questions behind a scan: which parameters are supported comes first, and what is asked next follows from the
//! answers so far. In which dialect a car is to be asked is found out first.

mod on_uds;

use alloc::{collections::VecDeque, vec, vec::Vec};
use core::time::Duration;

use twotrip_obd::{Dialect, Pid, Response, Service, SupportMask, uds::Did};

use crate::{EcuNumber, Target};

/// What a scan is after.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Topic {
    /// Confirmed codes, service $03; with them their number, so that a list that is not whole is noticed.
    Codes,
    /// The number of confirmed codes, $01 PID $01. Comes with the codes.
    CodeCount,
    /// Pending codes, $07.
    Pending,
    /// Permanent codes, $0A.
    Permanent,
    /// The freeze frame, $02: its code, and if there is one, every parameter of it.
    FreezeFrame,
    /// Readiness since the last clearing and in this driving cycle, $01 PIDs $01 and $41.
    Readiness,
    /// Warm-ups and distance since the last clearing, $01 PIDs $30 and $31.
    SinceClear,
    /// Every supported parameter of $01.
    Live,
    /// Results of on-board tests, $06.
    Tests,
    /// Vehicle information, $09.
    Vehicle,
    /// The vehicle identification number, $09 InfoType $02.
    Vin,
    /// Clearing, $04, once the codes have been read.
    Clear,
}

impl Topic {
    /// All that only read, without what another of them reads too.
    pub const READING: [Self; 8] = [
        Self::Codes,
        Self::Pending,
        Self::Permanent,
        Self::FreezeFrame,
        Self::Readiness,
        Self::Live,
        Self::Tests,
        Self::Vehicle,
    ];

    /// The service whose masks say what can be asked, if any do.
    const fn masks(self) -> Option<Masked> {
        match self {
            Self::FreezeFrame => Some(Masked::FreezeFrame),
            Self::Readiness | Self::SinceClear | Self::Live => Some(Masked::CurrentData),
            Self::Tests => Some(Masked::TestResults),
            Self::Vehicle | Self::Vin => Some(Masked::VehicleInformation),
            Self::Codes | Self::CodeCount | Self::Pending | Self::Permanent | Self::Clear => None,
        }
    }
}

/// Services with masks of what is supported.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Masked {
    CurrentData,
    FreezeFrame,
    TestResults,
    VehicleInformation,
}

impl Masked {
    const COUNT: usize = 4;

    const fn of(service: Service) -> Option<Self> {
        match service {
            Service::CurrentData => Some(Self::CurrentData),
            Service::FreezeFrame => Some(Self::FreezeFrame),
            Service::TestResults => Some(Self::TestResults),
            Service::VehicleInformation => Some(Self::VehicleInformation),
            _ => None,
        }
    }

    const fn service(self) -> Service {
        match self {
            Self::CurrentData => Service::CurrentData,
            Self::FreezeFrame => Service::FreezeFrame,
            Self::TestResults => Service::TestResults,
            Self::VehicleInformation => Service::VehicleInformation,
        }
    }

    const fn index(self) -> usize {
        match self {
            Self::CurrentData => 0,
            Self::FreezeFrame => 1,
            Self::TestResults => 2,
            Self::VehicleInformation => 3,
        }
    }
}

/// A request and whom it is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Question {
    /// Whom.
    pub target: Target,
    /// The topic that it serves; `None` for a question about what is supported.
    pub topic: Option<Topic>,
    bytes: [u8; 7],
    len: u8,
    /// All were asked, and this ECU was silent.
    is_follow_up: bool,
    repeats: u8,
}

impl Question {
    /// Of one to seven bytes, as all of these are; longer ones would be cut.
    fn new(target: Target, topic: Option<Topic>, request: &[u8]) -> Self {
        let mut question = Self {
            target,
            topic,
            bytes: [0; 7],
            len: 0,
            is_follow_up: false,
            repeats: 0,
        };
        for (to, from) in question.bytes.iter_mut().zip(request) {
            *to = *from;
            question.len += 1;
        }
        question
    }

    fn about_masks(target: Target, masked: Masked, base: u8) -> Self {
        let service = masked.service().to_byte();
        match masked {
            Masked::FreezeFrame => Self::new(target, None, &[service, base, 0]),
            _ => Self::new(target, None, &[service, base]),
        }
    }

    /// The request.
    #[must_use]
    pub fn request(&self) -> &[u8] {
        &self.bytes[..usize::from(self.len)]
    }

    /// Whether it is asked for the other dialect.
    fn asks_dialect(&self) -> bool {
        self.topic.is_none() && self.request() == on_uds::WHO_IS_THERE
    }

    /// How long to wait before it is asked: not at all at first, then longer each time, so that an ECU that is away for a
    /// while is met again (our choice: two seconds in all).
    #[must_use]
    pub const fn pause(&self) -> Duration {
        PAUSE.saturating_mul(self.repeats.saturating_sub(1) as u32)
    }

    /// The same for one ECU, which was silent when all were asked.
    const fn follow_up(self, ecu: EcuNumber) -> Self {
        Self {
            target: Target::Ecu(ecu),
            is_follow_up: true,
            repeats: 0,
            ..self
        }
    }

    /// The same once more, if it has not been asked often enough.
    fn again(self) -> Option<Self> {
        (self.repeats < REPEATS).then_some(Self {
            repeats: self.repeats + 1,
            ..self
        })
    }
}

/// How often a question that an ECU owes an answer to is repeated: as often as one to a busy ECU (ISO 15765-4, from memory).
const REPEATS: u8 = 6;
/// How often such a question is asked at the most.
pub const ASKED_AT_MOST: u8 = REPEATS + 1;
/// By which the pause before a question grows with each repeat.
const PAUSE: Duration = Duration::from_millis(100);

/// One answer to a question that served a topic.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Whose answer.
    pub ecu: EcuNumber,
    /// What it serves.
    pub topic: Topic,
    /// What was asked.
    pub request: Vec<u8>,
    /// The answer, positive or negative.
    pub answer: Vec<u8>,
}

/// The question on its way.
#[derive(Clone, Copy, Debug)]
struct Asked {
    question: Question,
    answered: [bool; EcuNumber::COUNT],
}

#[derive(Clone, Copy, Debug)]
enum Task {
    Ask(Question),
    /// Ask which parameters of a service are supported, unless that is known.
    Masks(Masked),
    /// Ask what the topic wants, by what is supported.
    Data(Topic),
    /// The same of an ECU that was met later.
    DataOf(Topic, EcuNumber),
}

/// A scan as a machine without IO: [`next_question`](Self::next_question), then [`on_answer`](Self::on_answer) for each
/// answer and [`on_finished`](Self::on_finished) at the end of the exchange, until there is no question left.
///
/// The first question is always 01 00 to all: who is there (ISO 15765-4, initialisation). Where nobody answers, 22 F8 10
/// follows: who speaks SAE J1979-2; then both again, some times. All ECUs of a vehicle speak one dialect, so nobody is asked for
/// both.
#[derive(Clone, Debug)]
pub struct Survey {
    topics: Vec<Topic>,
    dialect: Dialect,
    /// The question of the first dialect that nobody has answered, while all are asked in the other.
    asked_in_turn: Option<Question>,
    plan: VecDeque<Task>,
    asked: Option<Asked>,
    /// What all were asked, for those who are met later.
    asked_of_all: Vec<Question>,
    /// Topics whose data have been asked for, likewise.
    begun: Vec<Topic>,
    present: [bool; EcuNumber::COUNT],
    masks_known: [bool; Masked::COUNT],
    support: [[SupportMask; EcuNumber::COUNT]; Masked::COUNT],
    findings: Vec<Finding>,
    unanswered: Vec<Question>,
    /// ECUs that asked for time and never answered: they are asked nothing more.
    given_up: [bool; EcuNumber::COUNT],
    /// ECUs whose list of codes was read once more.
    read_anew: [bool; EcuNumber::COUNT],
}

impl Survey {
    /// A scan for these topics, in this order.
    #[must_use]
    pub fn new(topics: &[Topic]) -> Self {
        let mut survey = Self {
            topics: topics.to_vec(),
            dialect: Dialect::Classic,
            asked_in_turn: None,
            plan: VecDeque::new(),
            asked: None,
            asked_of_all: Vec::new(),
            begun: Vec::new(),
            present: [false; EcuNumber::COUNT],
            masks_known: [false; Masked::COUNT],
            support: [[SupportMask::NONE; EcuNumber::COUNT]; Masked::COUNT],
            findings: Vec::new(),
            unanswered: Vec::new(),
            given_up: [false; EcuNumber::COUNT],
            read_anew: [false; EcuNumber::COUNT],
        };
        survey.repeat();
        survey
    }

    /// Asks everything again, but not what is supported; the findings so far go.
    pub fn repeat(&mut self) {
        self.findings.clear();
        self.unanswered.clear();
        self.read_anew = [false; EcuNumber::COUNT];
        self.asked = None;
        self.begun.clear();
        self.asked_of_all.retain(|question| question.topic.is_none());
        self.plan.clear();
        self.plan.push_back(Task::Masks(Masked::CurrentData));
        for &topic in &self.topics {
            self.plan.extend(topic.masks().map(Task::Masks));
            self.plan.push_back(Task::Data(topic));
        }
    }

    /// The next question, or `None` at the end.
    #[must_use]
    pub fn next_question(&mut self) -> Option<Question> {
        loop {
            match self.plan.pop_front()? {
                Task::Ask(question) if self.is_given_up(question.target) => self.unanswered.push(question),
                Task::Ask(question) => {
                    if question.target == Target::Functional
                        && !question.asks_dialect()
                        && !self.asked_of_all.contains(&question)
                    {
                        self.asked_of_all.push(question);
                    }
                    if question.target == Target::Functional && self.given_up.contains(&true) {
                        // Who was given up is among all, and would be waited for again.
                        let others = self.ecus().filter(|ecu| !self.given_up[ecu.index()]);
                        let questions = others.map(|ecu| question.follow_up(ecu)).collect();
                        self.ask_first(questions);
                        continue;
                    }
                    self.asked = Some(Asked {
                        question,
                        answered: [false; EcuNumber::COUNT],
                    });
                    return Some(question);
                }
                Task::Masks(masked) if self.masks_known[masked.index()] => {}
                Task::Masks(masked) => {
                    self.masks_known[masked.index()] = true;
                    let question = self.about_masks(Target::Functional, masked, 0x00);
                    self.ask_first(Vec::from_iter(question));
                }
                Task::Data(topic) => {
                    self.begun.push(topic);
                    let questions = self.questions(topic);
                    self.ask_first(questions);
                }
                Task::DataOf(topic, ecu) => {
                    let mut questions = self.questions(topic);
                    questions.retain(|question| question.target == Target::Ecu(ecu));
                    self.ask_first(questions);
                }
            }
        }
    }

    /// An ECU has answered the last question.
    pub fn on_answer(&mut self, ecu: EcuNumber, answer: &[u8]) {
        let Some(Asked { question, answered }) = &mut self.asked else {
            return;
        };
        // Every ECU of the older dialect has this: one that refuses it speaks the other.
        if question.request() == WHO_IS_THERE && answer == NO_SUCH_SERVICE {
            return;
        }
        answered[ecu.index()] = true;
        let question = *question;
        if !core::mem::replace(&mut self.present[ecu.index()], true) {
            self.meet(ecu, Some(&question));
        }
        if question.is_follow_up && is_not_supported(answer) {
            // It was silent because there is nothing to say.
            return;
        }
        match question.topic {
            None if question.asks_dialect() => {
                if on_uds::is_yes(answer) {
                    self.dialect = Dialect::OnUds;
                }
            }
            None => self.on_masks(ecu, &question, answer),
            Some(topic) => {
                if topic == Topic::Codes && self.read_anew[ecu.index()] {
                    self.findings
                        .retain(|finding| finding.ecu != ecu || finding.topic != topic);
                }
                self.findings.push(Finding {
                    ecu,
                    topic,
                    request: question.request().to_vec(),
                    answer: answer.to_vec(),
                });
                if question.request() == FREEZE_FRAME_CODE && holds_freeze_frame(answer) {
                    self.ask_first(self.freeze_frame_questions(ecu));
                }
                if topic == Topic::CodeCount && self.miscounts(ecu).is_some() && !self.read_anew[ecu.index()]
                {
                    self.read_anew[ecu.index()] = true;
                    self.ask_first(match self.dialect {
                        Dialect::Classic => {
                            let list = [Service::ConfirmedCodes.to_byte()];
                            vec![
                                Question::new(Target::Ecu(ecu), Some(Topic::Codes), &list),
                                Question::new(Target::Ecu(ecu), Some(Topic::CodeCount), &CODE_COUNT),
                            ]
                        }
                        Dialect::OnUds => vec![on_uds::codes_of(ecu), on_uds::code_count(ecu)],
                    });
                }
                if topic == Topic::FreezeFrame && self.dialect == Dialect::OnUds {
                    self.ask_first(on_uds::freeze_frames(ecu, answer));
                }
            }
        }
    }

    /// An ECU spoke as nobody listened to it: it answered too late, or its answer to the first question was lost.
    pub fn hear_of(&mut self, ecu: EcuNumber) {
        let is_first = self.ecus().next().is_none();
        if !core::mem::replace(&mut self.present[ecu.index()], true) {
            self.meet(ecu, None);
            if is_first {
                // Nobody has said yet which dialect it is.
                let dialect = Question::new(Target::Ecu(ecu), None, &on_uds::WHO_IS_THERE);
                self.plan.push_front(Task::Ask(dialect.follow_up(ecu)));
            }
        }
    }

    /// An ECU that nobody knew: what all were asked before the present question it is asked by itself.
    fn meet(&mut self, ecu: EcuNumber, present: Option<&Question>) {
        let missed: Vec<Question> = (self.asked_of_all.iter())
            .filter(|question| present.is_none_or(|present| present.request() != question.request()))
            .map(|question| question.follow_up(ecu))
            .collect();
        for &topic in self.begun.iter().rev() {
            self.plan.push_front(Task::DataOf(topic, ecu));
        }
        self.ask_first(missed);
    }

    /// An ECU asked for time (7F xx 78) and then gave no answer: it is asked nothing more.
    pub const fn on_put_off(&mut self, ecu: EcuNumber) {
        self.present[ecu.number() as usize] = true;
        self.given_up[ecu.number() as usize] = true;
    }

    /// The ECUs that asked for time and then gave no answer.
    pub fn given_up(&self) -> impl Iterator<Item = EcuNumber> {
        let given_up = EcuNumber::all().zip(self.given_up);
        given_up.filter_map(|(ecu, given_up)| given_up.then_some(ecu))
    }

    fn is_given_up(&self, target: Target) -> bool {
        match target {
            Target::Ecu(ecu) => self.given_up[ecu.index()],
            Target::Functional => {
                let mut ecus = self.ecus().peekable();
                ecus.peek().is_some() && ecus.all(|ecu| self.given_up[ecu.index()])
            }
        }
    }

    /// The number of codes that PID $01 tells and the number in the list, where they differ.
    #[must_use]
    pub fn miscounts(&self, ecu: EcuNumber) -> Option<(u8, u8)> {
        let last = |topic| {
            let of = |finding: &&Finding| finding.ecu == ecu && finding.topic == topic;
            self.findings.iter().rev().find(of)
        };
        let (counted, list) = (last(Topic::CodeCount)?, last(Topic::Codes)?);
        match (&*counted.answer, &*list.answer) {
            (&[0x41, 0x01, count, ..], &[0x43, listed, ..]) => Some((count & 0x7F, listed)),
            (&[0x62, 0xF4, 0x01, count, ..], answer) => {
                on_uds::number_of_codes(answer).map(|listed| (count & 0x7F, listed))
            }
            _ => None,
        }
        .filter(|(counted, listed)| counted != listed)
    }

    /// The exchange of the last question is over. What an ECU has promised to answer and did not is asked again, some times:
    /// an answer may have been lost or late. An ECU that was silent as all were asked is asked by itself: what it does
    /// not have it then refuses (SAE J1979), and what was lost is there. As long as nobody is known all are asked again.
    pub fn on_finished(&mut self) {
        let Some(Asked { question, answered }) = self.asked.take() else {
            return;
        };
        if question.asks_dialect() && self.dialect == Dialect::OnUds {
            // What was planned, and what others have missed, is in the other dialect.
            self.masks_known = [false; Masked::COUNT];
            self.asked_of_all.clear();
            self.repeat();
            return;
        }
        match question.target {
            Target::Functional if self.ecus().next().is_some() => {
                let silent: Vec<Question> = self
                    .ecus()
                    .filter(|ecu| !answered[ecu.index()] && !self.given_up[ecu.index()])
                    .map(|ecu| question.follow_up(ecu))
                    .collect();
                self.ask_first(silent);
            }
            _ if answered.contains(&true) => {}
            // Every other time only: an answer that comes late then finds its question asked again.
            Target::Functional
                if question.topic.is_none()
                    && question.request() == WHO_IS_THERE
                    && question.repeats.is_multiple_of(2) =>
            {
                self.asked_in_turn = Some(question);
                let other = Question::new(Target::Functional, None, &on_uds::WHO_IS_THERE);
                self.plan.push_front(Task::Ask(other));
            }
            Target::Functional if question.asks_dialect() => {
                self.ask_again(self.asked_in_turn.unwrap_or(question));
            }
            // An ECU that was heard says one or the other: silence means that its answer was lost, or late again.
            _ if question.asks_dialect() => {
                if let Some(again) = question.again() {
                    self.plan.push_front(Task::Ask(again));
                }
            }
            _ => self.ask_again(question),
        }
    }

    /// Once more, or never again.
    fn ask_again(&mut self, question: Question) {
        match question.again() {
            Some(again) => self.plan.push_front(Task::Ask(again)),
            None => self.unanswered.push(question),
        }
    }

    /// The answers so far, in the order in which they came.
    #[must_use]
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// The questions that nobody answered, each asked [`ASKED_AT_MOST`] times.
    #[must_use]
    pub fn unanswered(&self) -> &[Question] {
        &self.unanswered
    }

    /// The dialect that the car is asked in; known after the first questions.
    #[must_use]
    pub const fn dialect(&self) -> Dialect {
        self.dialect
    }

    /// Whether nobody has answered in either dialect.
    #[must_use]
    pub fn is_nobody_there(&self) -> bool {
        self.ecus().next().is_none() && !self.unanswered.is_empty()
    }

    /// The ECUs that have answered anything.
    pub fn ecus(&self) -> impl Iterator<Item = EcuNumber> {
        EcuNumber::all()
            .zip(self.present)
            .filter_map(|(ecu, present)| present.then_some(ecu))
    }

    /// What the ECU has said to support, for services $01, $02, $06 and $09; nothing before it was asked.
    #[must_use]
    pub fn support(&self, ecu: EcuNumber, service: Service) -> SupportMask {
        Masked::of(service).map_or(SupportMask::NONE, |masked| {
            self.support[masked.index()][ecu.index()]
        })
    }

    fn ask_first(&mut self, questions: Vec<Question>) {
        for question in questions.into_iter().rev() {
            self.plan.push_front(Task::Ask(question));
        }
    }

    /// Notes a mask, and asks for the next where the last bit of this one announces it (SAE J1979).
    fn on_masks(&mut self, ecu: EcuNumber, question: &Question, answer: &[u8]) {
        let (masked, base, bits) = match *question.request() {
            [service, range, base] if service == Service::ReadData.to_byte() => {
                let did = Did::from_bytes([range, base]);
                (on_uds::masked(range), base, on_uds::mask_in(answer, did))
            }
            [service, base, ..] => {
                let masked = Masked::of(Service::from_byte(service));
                (masked, base, mask_in(answer, base))
            }
            _ => return,
        };
        let (Some(masked), Some(bits)) = (masked, bits) else {
            return;
        };
        self.support[masked.index()][ecu.index()].add_range(base, bits);
        if let (1, Some(next)) = (bits[3] & 1, base.checked_add(0x20)) {
            let question = self.about_masks(Target::Ecu(ecu), masked, next);
            self.ask_first(Vec::from_iter(question));
        }
    }

    fn about_masks(&self, target: Target, masked: Masked, base: u8) -> Option<Question> {
        match self.dialect {
            Dialect::Classic => Some(Question::about_masks(target, masked, base)),
            Dialect::OnUds => on_uds::about_masks(target, masked, base),
        }
    }

    fn questions(&self, topic: Topic) -> Vec<Question> {
        if self.dialect == Dialect::OnUds {
            // As below: what is cleared has been read.
            let unread = topic == Topic::Clear && !self.topics.contains(&Topic::Codes);
            let topics = unread.then_some(Topic::Codes).into_iter().chain([topic]);
            let by_support = |topic: Topic| {
                let masked = topic.masks().unwrap_or(Masked::CurrentData);
                self.each_ecu(masked, |ecu, support| on_uds::by_support(topic, ecu, support))
            };
            return topics
                .flat_map(|topic| {
                    let mut questions = on_uds::to_all(topic).unwrap_or_default();
                    questions.extend(by_support(topic));
                    questions
                })
                .collect();
        }
        let to_all = |topic, service: Service| {
            vec![Question::new(
                Target::Functional,
                Some(topic),
                &[service.to_byte()],
            )]
        };
        match topic {
            Topic::Codes => {
                let mut questions = to_all(topic, Service::ConfirmedCodes);
                questions.extend(self.each_ecu(Masked::CurrentData, |ecu, support| {
                    let count = Question::new(Target::Ecu(ecu), Some(Topic::CodeCount), &CODE_COUNT);
                    Vec::from_iter(support.contains(CODE_COUNT[1]).then_some(count))
                }));
                questions
            }
            // Asked for with the codes.
            Topic::CodeCount => Vec::new(),
            Topic::Pending => to_all(topic, Service::PendingCodes),
            Topic::Permanent => to_all(topic, Service::PermanentCodes),
            // What is cleared has been read: afterwards nobody can.
            Topic::Clear if self.topics.contains(&Topic::Codes) => to_all(topic, Service::Clear),
            Topic::Clear => [
                to_all(Topic::Codes, Service::ConfirmedCodes),
                to_all(topic, Service::Clear),
            ]
            .concat(),
            Topic::Readiness => self.supported(topic, READINESS),
            Topic::SinceClear => self.supported(topic, SINCE_CLEAR),
            Topic::Vin => self.each_ecu(Masked::VehicleInformation, |ecu, support| {
                let vin = Question::new(Target::Ecu(ecu), Some(topic), &VIN);
                Vec::from_iter(support.contains(VIN[1]).then_some(vin))
            }),
            // PID $02 belongs to service $02 alone (SAE J1979).
            Topic::Live => self.each_ecu(Masked::CurrentData, |ecu, support| {
                current_data(ecu, topic, support.iter().filter(|&number| number != 0x02))
            }),
            Topic::FreezeFrame => self.each_ecu(Masked::FreezeFrame, |ecu, support| {
                let code = Question::new(Target::Ecu(ecu), Some(topic), &FREEZE_FRAME_CODE);
                Vec::from_iter(support.contains(0x02).then_some(code))
            }),
            Topic::Tests => self.one_by_one(topic, Masked::TestResults),
            Topic::Vehicle => self.one_by_one(topic, Masked::VehicleInformation),
        }
    }

    fn each_ecu(
        &self,
        masked: Masked,
        questions: impl Fn(EcuNumber, SupportMask) -> Vec<Question>,
    ) -> Vec<Question> {
        EcuNumber::all()
            .zip(self.support[masked.index()])
            .flat_map(|(ecu, support)| questions(ecu, support))
            .collect()
    }

    /// These parameters of service $01, of each ECU those that it supports.
    fn supported(&self, topic: Topic, numbers: [u8; 2]) -> Vec<Question> {
        self.each_ecu(Masked::CurrentData, |ecu, support| {
            let numbers = numbers.into_iter().filter(|&number| support.contains(number));
            current_data(ecu, topic, numbers)
        })
    }

    /// Services $06 and $09 take one number at a time.
    fn one_by_one(&self, topic: Topic, masked: Masked) -> Vec<Question> {
        let service = masked.service().to_byte();
        self.each_ecu(masked, |ecu, support| {
            let ask = |number| Question::new(Target::Ecu(ecu), Some(topic), &[service, number]);
            support.iter().map(ask).collect()
        })
    }

    /// Every parameter of the frame but its code, one at a time: an ECU that knows some of a list leaves the rest out,
    /// and a list with a parameter of unknown length cannot be read to its end.
    fn freeze_frame_questions(&self, ecu: EcuNumber) -> Vec<Question> {
        let service = Service::FreezeFrame.to_byte();
        self.support(ecu, Service::FreezeFrame)
            .iter()
            .filter(|&number| number != 0x02)
            .map(|number| Question::new(Target::Ecu(ecu), Some(Topic::FreezeFrame), &[service, number, 0]))
            .collect()
    }
}

/// `01 00` to all: who is there (ISO 15765-4, initialisation).
const WHO_IS_THERE: [u8; 2] = [0x01, 0x00];
/// `7F 01 11`: there is no service $01.
const NO_SUCH_SERVICE: [u8; 3] = [0x7F, 0x01, 0x11];
/// `02 02 00`: the code that stored frame 0.
const FREEZE_FRAME_CODE: [u8; 3] = [0x02, 0x02, 0x00];
/// Monitor status since the last clearing, and in this driving cycle.
const READINESS: [u8; 2] = [0x01, 0x41];
/// `01 01`: monitor status, with the number of confirmed codes (SAE J1979).
const CODE_COUNT: [u8; 2] = [0x01, 0x01];
/// Warm-ups, and kilometres, since the last clearing.
const SINCE_CLEAR: [u8; 2] = [0x30, 0x31];
/// `09 02`: the vehicle identification number.
const VIN: [u8; 2] = [0x09, 0x02];
/// PIDs in one request of service $01 (SAE J1979).
const PIDS_AT_ONCE: usize = 6;

/// Requests for parameters of service $01: six at once, and those of unknown length alone, since nothing after them
/// could be read.
fn current_data(ecu: EcuNumber, topic: Topic, numbers: impl Iterator<Item = u8>) -> Vec<Question> {
    let (known, unknown): (Vec<u8>, Vec<u8>) =
        numbers.partition(|&number| Pid::new(number).definition().is_some());
    known
        .chunks(PIDS_AT_ONCE)
        .chain(unknown.chunks(1))
        .map(|numbers| {
            let mut request = [Service::CurrentData.to_byte(); 1 + PIDS_AT_ONCE];
            request[1..=numbers.len()].copy_from_slice(numbers);
            Question::new(Target::Ecu(ecu), Some(topic), &request[..=numbers.len()])
        })
        .collect()
}

/// The mask numbered `base` in an answer.
fn mask_in(answer: &[u8], base: u8) -> Option<[u8; 4]> {
    let of = |mask: &&[u8; 5]| mask[0] == base;
    let bits = |&[_, a, b, c, d]: &[u8; 5]| [a, b, c, d];
    match Response::parse(answer).ok()? {
        Response::CurrentData(records) | Response::FreezeFrame(records) => records
            .filter_map(Result::ok)
            .find(|record| record.pid.number() == base)
            .and_then(|record| record.data.try_into().ok()),
        Response::Masks(_, masks) => masks.iter().find(of).map(bits),
        _ => None,
    }
}

/// Whether an ECU says that it has no such service, or nothing of this kind in it (SAE J1979: 7F xx 11, 12).
const fn is_not_supported(answer: &[u8]) -> bool {
    matches!(answer, [0x7F, _, 0x11 | 0x12])
}

/// Whether the answer to `02 02 00` names a code: without a freeze frame it is 0000 (SAE J1979).
fn holds_freeze_frame(answer: &[u8]) -> bool {
    let Ok(Response::FreezeFrame(mut records)) = Response::parse(answer) else {
        return false;
    };
    records.any(|record| {
        record.is_ok_and(|record| record.pid.number() == 0x02 && record.data.iter().any(|&byte| byte != 0))
    })
}

#[cfg(test)]
mod tests;
