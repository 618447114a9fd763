//! The loop as a human tells it: what the tester did, what it learned, what happened to the car.
//!
//! Questions of one kind in a row are one sentence.

use std::collections::{BTreeSet, VecDeque};

use twotrip_dialogue::{Ecu, Event, Message, Role};
use twotrip_host::recording::{RUN_PREFIX, comment};
use twotrip_obd::{
    Information, Response, Service, describe_response,
    uds::{self, Did, Status, Subject},
};

use super::{heard::Told, setting::Setting, teller::is_conduct};
use crate::command::words::counted;

/// A deed of the tester.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Deed {
    Supported,
    Readiness,
    Live,
    FreezeFrame,
    Codes(Service),
    Clear,
    Tests,
    Vehicle,
    Control,
    Other(u8),
}

impl Deed {
    fn of(request: &[u8]) -> Self {
        let &[service, ref parameters @ ..] = request else {
            return Self::Other(0);
        };
        let masks = !parameters.is_empty() && parameters.iter().all(|number| number % 0x20 == 0);
        match Service::from_byte(service) {
            Service::CurrentData | Service::TestResults | Service::VehicleInformation | Service::Control
                if masks =>
            {
                Self::Supported
            }
            Service::FreezeFrame if parameters.first().is_some_and(|number| number % 0x20 == 0) => {
                Self::Supported
            }
            Service::CurrentData if parameters.iter().all(|number| matches!(number, 0x01 | 0x41)) => {
                Self::Readiness
            }
            Service::CurrentData => Self::Live,
            Service::FreezeFrame => Self::FreezeFrame,
            service @ (Service::ConfirmedCodes | Service::PendingCodes | Service::PermanentCodes) => {
                Self::Codes(service)
            }
            Service::Clear => Self::Clear,
            Service::TestResults => Self::Tests,
            Service::VehicleInformation => Self::Vehicle,
            Service::Control => Self::Control,
            _ => Self::of_uds(request).unwrap_or(Self::Other(service)),
        }
    }

    /// The same in SAE J1979-2.
    fn of_uds(request: &[u8]) -> Option<Self> {
        Some(match uds::Request::parse(request).ok()? {
            uds::Request::CodesByMask { status, .. } if status == Status::PENDING => {
                Self::Codes(Service::PendingCodes)
            }
            uds::Request::CodesByMask { .. } => Self::Codes(Service::ConfirmedCodes),
            uds::Request::PermanentCodes { .. } => Self::Codes(Service::PermanentCodes),
            uds::Request::CodesByReadiness { .. } => Self::Readiness,
            uds::Request::FreezeFrame { .. } => Self::FreezeFrame,
            uds::Request::Clear(_) => Self::Clear,
            uds::Request::Routine { .. } => Self::Control,
            uds::Request::ReadData(dids) => {
                let dids = || dids.iter().map(|&did| Did::from_bytes(did));
                let readiness = [0x01, 0x41].map(Did::parameter);
                match dids().next()?.subject() {
                    _ if dids().all(|did| did.is_mask() || did == Did::PROTOCOL) => Self::Supported,
                    Subject::Parameter(_) if dids().all(|did| readiness.contains(&did)) => Self::Readiness,
                    Subject::Parameter(_) | Subject::HighParameter(_) => Self::Live,
                    Subject::Monitor(_) => Self::Tests,
                    Subject::Information(_) => Self::Vehicle,
                    Subject::Other => return None,
                }
            }
            uds::Request::CodesWithRecord { .. }
            | uds::Request::ExtendedData { .. }
            | uds::Request::Session(_)
            | uds::Request::TesterPresent(_) => return None,
        })
    }

    fn words(self) -> String {
        match self {
            Self::Supported => "the tester asks what is supported".to_owned(),
            Self::Readiness => "the tester reads lamp and readiness".to_owned(),
            Self::Live => "the tester reads live data".to_owned(),
            Self::FreezeFrame => "the tester reads the freeze frame".to_owned(),
            Self::Codes(Service::PendingCodes) => "the tester reads pending codes".to_owned(),
            Self::Codes(Service::PermanentCodes) => "the tester reads permanent codes".to_owned(),
            Self::Codes(_) => "the tester reads stored codes".to_owned(),
            Self::Clear => "the tester clears codes, freeze frame and readiness".to_owned(),
            Self::Tests => "the tester reads results of on-board tests".to_owned(),
            Self::Vehicle => "the tester reads vehicle information".to_owned(),
            Self::Control => "the tester commands a test".to_owned(),
            Self::Other(service) => format!("the tester asks service ${service:02X}"),
        }
    }

    /// Whether each answer is worth its words.
    const fn tells_answers(self) -> bool {
        matches!(
            self,
            Self::Readiness | Self::Codes(_) | Self::Clear | Self::Vehicle | Self::Control | Self::Other(_)
        )
    }
}

/// What is being done.
#[derive(Debug)]
struct Scene {
    deed: Deed,
    at: u64,
    /// When the last question began.
    asked: u64,
    questions: u32,
    answers: u32,
    told: Vec<String>,
    /// Who was asked last.
    role: Role,
    /// Who has cleared, and who has answered otherwise.
    cleared: Vec<Ecu>,
    others: Vec<Ecu>,
    /// What happened or went wrong meanwhile: told behind it.
    meanwhile: Vec<(u64, String)>,
}

impl Scene {
    /// Whether what happens now belongs to the last question, whose answers may still come.
    fn awaits(&self, now: u64) -> bool {
        self.meanwhile.len() < TOLD && now.saturating_sub(self.asked) < ANSWERS
    }
}

/// Words of answers kept for one sentence.
const TOLD: usize = 8;
/// How long after a question its answers are awaited, ns: twice P2 of ISO 15765-4 (50 ms), for ECUs that are late.
const ANSWERS: u64 = 100_000_000;

/// Makes sentences.
#[derive(Debug, Default)]
pub(super) struct Story {
    scene: Option<Scene>,
    /// Who has answered anything so far.
    ecus: BTreeSet<Ecu>,
    lines: VecDeque<(u64, String)>,
}

impl Story {
    pub(super) fn on(&mut self, told: &Told, setting: &Setting) {
        match told {
            Told::Section { comments, .. } => {
                self.close();
                for comment in comments {
                    self.lines.push_back((0, header(comment)));
                }
            }
            Told::Comment { at, text } if !begins(text) => {
                let line = (*at, happened(text));
                match &mut self.scene {
                    Some(scene) if scene.awaits(*at) => scene.meanwhile.push(line),
                    _ => {
                        self.close();
                        self.lines.push_back(line);
                    }
                }
            }
            Told::Event(_, Event::Message(message)) => {
                let at = setting.instant(message.began);
                match message.role {
                    Role::Answer(_) => self.answer(message),
                    Role::AskAll { .. } | Role::Ask(_) => self.question(at, message),
                }
            }
            Told::Lost { at, frames, .. } => {
                let lost = counted(*frames, "frame was lost here", "frames were lost here");
                self.beside((*at, format!("! {lost}")));
            }
            Told::Event(_, Event::Breach { at, role, breach, .. }) if is_conduct(breach) => {
                let line = (setting.instant(*at), format!("! {role}: {breach}"));
                self.beside(line);
            }
            _ => {}
        }
    }

    /// Something told behind what is being done.
    fn beside(&mut self, line: (u64, String)) {
        match &mut self.scene {
            Some(scene) if scene.meanwhile.len() < TOLD => scene.meanwhile.push(line),
            Some(_) => {}
            None => self.lines.push_back(line),
        }
    }

    /// The next sentence, and when.
    pub(super) fn poll(&mut self) -> Option<(u64, String)> {
        self.lines.pop_front()
    }

    pub(super) fn end(&mut self) {
        self.close();
    }

    fn question(&mut self, at: u64, message: &Message) {
        let deed = Deed::of(&message.bytes);
        if self.scene.as_ref().is_some_and(|scene| scene.deed != deed) {
            self.close();
        }
        let scene = self.scene.get_or_insert_with(|| Scene {
            deed,
            at,
            asked: at,
            questions: 0,
            answers: 0,
            told: Vec::new(),
            role: message.role,
            cleared: Vec::new(),
            others: Vec::new(),
            meanwhile: Vec::new(),
        });
        scene.asked = at;
        scene.questions += 1;
        scene.role = message.role;
    }

    fn answer(&mut self, message: &Message) {
        let Role::Answer(ecu) = message.role else {
            return;
        };
        self.ecus.insert(ecu);
        let Some(scene) = &mut self.scene else {
            return;
        };
        scene.answers += 1;
        if scene.deed == Deed::Clear {
            let who = match Response::parse(&message.bytes) {
                Ok(Response::Cleared | Response::Other(Service::ClearByGroup, _)) => &mut scene.cleared,
                _ => &mut scene.others,
            };
            if !who.contains(&ecu) {
                who.push(ecu);
            }
        }
        let words = match Response::parse(&message.bytes) {
            Ok(Response::Negative(..)) => Some(describe_response(&message.bytes)),
            // Said together at its end.
            Ok(Response::Cleared | Response::Other(Service::ClearByGroup, _))
                if scene.deed == Deed::Clear =>
            {
                None
            }
            Ok(Response::Information(Information::InUse(_) | Information::VerificationNumbers(_))) => None,
            Ok(Response::FreezeFrame(_)) if message.bytes.get(1) == Some(&0x02) => {
                Some(describe_response(&message.bytes))
            }
            _ if scene.deed.tells_answers() => Some(describe_response(&message.bytes)),
            _ => None,
        };
        if let Some(words) = words
            && scene.told.len() < TOLD
        {
            scene.told.push(format!("{ecu} {words}"));
        }
    }

    fn close(&mut self) {
        let Some(scene) = self.scene.take() else {
            return;
        };
        let mut text = scene.deed.words();
        if scene.questions > 1 {
            text += &format!(", {} questions", scene.questions);
        }
        let mut told = Vec::new();
        if scene.deed == Deed::Clear {
            told = self.cleared(&scene);
        }
        told.extend(scene.told);
        if !told.is_empty() {
            text += &format!(": {}", told.join("; "));
        } else if scene.answers > 1 || scene.questions > 1 {
            text += &format!(", {} answers", scene.answers);
        }
        self.lines.push_back((scene.at, text));
        self.lines.extend(scene.meanwhile);
    }
}

impl Story {
    /// Which ECUs have cleared, and which of those that were asked and had answered before said nothing.
    fn cleared(&self, scene: &Scene) -> Vec<String> {
        let and = |ecus: Vec<String>| match ecus.split_last() {
            Some((last, before)) if !before.is_empty() => format!("{} and {last}", before.join(", ")),
            _ => ecus.concat(),
        };
        let mut told = Vec::new();
        if !scene.cleared.is_empty() {
            told.push(format!(
                "done by {}",
                and(scene.cleared.iter().map(Ecu::to_string).collect())
            ));
        }
        let asked = self.ecus.iter().filter(|ecu| scene.role.reaches(**ecu));
        let silent: Vec<String> = asked
            .filter(|ecu| !scene.cleared.contains(ecu) && !scene.others.contains(ecu))
            .map(Ecu::to_string)
            .collect();
        if !silent.is_empty() {
            told.push(format!("no answer from {}", and(silent)));
        }
        told
    }
}

/// Words of one of our comments, without the clocks.
fn ours(text: &str) -> Option<String> {
    let words = text.strip_prefix(comment::PREFIX)?.split_whitespace();
    let words: Vec<&str> = words
        .skip_while(|word| word.starts_with("bus=") || word.starts_with("car="))
        .collect();
    Some(words.join(" "))
}

/// Whether it only says that something begins: its end follows.
fn begins(text: &str) -> bool {
    ours(text).is_some_and(|words| words.starts_with("begins "))
}

fn happened(text: &str) -> String {
    ours(text).map_or_else(
        || format!("remark: {text}"),
        |words| format!("in the car: {words}"),
    )
}

/// A comment of a section.
fn header(text: &str) -> String {
    let run = text
        .strip_prefix(RUN_PREFIX)
        .and_then(|json| serde_json::from_str::<serde_json::Value>(json).ok());
    match run {
        Some(run) if run["scenario"].is_string() => format!(
            "a run of scenario {}, seed {}, pace {}{}",
            run["scenario"].as_str().unwrap_or_default(),
            run["seed"],
            run["pace"].as_str().unwrap_or_default(),
            if run["not_physical"] == true {
                ", not physical"
            } else {
                ""
            }
        ),
        _ => format!("remark: {text}"),
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use twotrip_can::CanId;
    use twotrip_units::BusInstant;

    use super::*;

    /// What the car notes between a question and its answer parts them in the recording, not in the story.
    #[test]
    fn what_a_question_did_is_told_behind_its_answer() {
        let answerer = Role::of(CanId::Standard(0x7E8)).expect("an ECU");
        let message = |role, bytes: &[u8], millis| {
            let at = BusInstant::from_millis(millis);
            let message = Message {
                number: 0,
                role,
                bytes: bytes.to_vec(),
                frames: (0, 0),
                pieces: 1,
                began: at,
                ended: at,
                answers: None::<(u64, Duration)>,
            };
            Told::Event(0, Event::Message(message))
        };
        let comment = |millis: u64, words: &str| Told::Comment {
            at: millis * 1_000_000,
            text: format!("{}bus=0.000000000 car=0.000000000 {words}", comment::PREFIX),
        };
        let mut story = Story::default();
        for told in [
            message(Role::AskAll { extended: false }, &[0x04], 10),
            comment(11, "cleared"),
            message(answerer, &[0x44], 18),
            comment(300, "key off"),
        ] {
            story.on(&told, &Setting::default());
        }
        story.end();
        let lines: Vec<String> = std::iter::from_fn(|| story.poll())
            .map(|(_, line)| line)
            .collect();
        assert_eq!(lines.len(), 3, "{lines:?}");
        assert!(lines[0].ends_with("done by 7E8"), "{lines:?}");
        assert_eq!(lines[1..], ["in the car: cleared", "in the car: key off"]);
    }
}
