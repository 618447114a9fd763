//! What a tool did about a disturbance: held, failed, or never tried, from the frames that passed after it began.
//!
//! ```text
//! begins, ends, hits ──┐
//! frames ──> Dialogue ─┴─> Judge ──> an observer for each disturbance ──> Finding
//! ```
//!
//! Hits are what a disturbance did, told by whoever made it: an answer that is lost leaves nothing on the bus to see. Which
//! rule a disturbance is judged by stands in `rules`, by its name, with the source of the rule. Like a [`Dialogue`] a
//! judge reads no clock, and its memory is bounded.

mod beside;
mod busy;
mod debts;
mod goes_on;
mod moves_on;
mod once_more;
mod pending;
mod rules;
mod steered;
mod talk;
#[cfg(test)]
mod tests;

use alloc::{boxed::Box, string::String, vec::Vec};
use core::fmt;

use twotrip_can::{CanId, Frame};
use twotrip_isotp::Pdu;
use twotrip_units::BusInstant;

pub use self::rules::names;
use self::talk::Talk;
pub(crate) use self::talk::{Answered, Asked};
use crate::{Breach, Dialogue, Event, Role, Unit};

/// Disturbances judged in one run, at the most; of more the first are.
const MOST: usize = 256;

/// What the tool did about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// What a good tool does.
    Held,
    /// Something else.
    Failed,
    /// It was not put to the test, or not for long enough to say.
    NotTried,
}

impl Verdict {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Held => "held",
            Self::Failed => "failed",
            Self::NotTried => "not tried",
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A verdict and what it rests on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// The verdict.
    pub verdict: Verdict,
    /// What was seen, one sentence without a full stop.
    pub seen: String,
    /// Where the rule stands.
    pub source: &'static str,
}

/// What a disturbance did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hit {
    /// The number of the disturbance.
    pub number: u64,
    /// When.
    pub at: BusInstant,
    /// The identifier of the frame, or of the answers of the ECU.
    pub id: Option<CanId>,
}

/// Makes a copy of what is behind a pointer: whoever forks a run forks its judge.
pub(crate) trait Fork {
    /// The same once more.
    fn fork(&self) -> Box<dyn Observe>;
}

impl<T: Observe + Clone + 'static> Fork for T {
    fn fork(&self) -> Box<dyn Observe> {
        Box::new(self.clone())
    }
}

/// Watches for one disturbance. All that is told comes in the order of the bus.
pub(crate) trait Observe: Fork + fmt::Debug + Send + Sync {
    /// The disturbance did something, to a frame in this role.
    fn on_hit(&mut self, at: BusInstant, role: Role, talk: &Talk);
    /// The tool asked. `talk` does not know of it yet.
    fn on_question(&mut self, asked: &Asked, talk: &Talk);
    /// An ECU answered, with a message that is whole.
    fn on_answer(&mut self, answered: &Answered<'_>, talk: &Talk);
    /// A message of several frames begins.
    fn on_begun(&mut self, _at: BusInstant, _role: Role, _talk: &Talk) {}
    /// A rule was broken: a message broke off, for one.
    fn on_breach(&mut self, _at: BusInstant, _role: Role, _breach: &Breach, _talk: &Talk) {}
    /// The disturbance is over.
    fn on_end(&mut self, _at: BusInstant) {}
    /// What the tool did, up to `now`.
    fn verdict(&self, now: BusInstant) -> (Verdict, String);
}

/// One disturbance.
#[derive(Debug)]
struct Watched {
    number: u64,
    source: &'static str,
    observer: Box<dyn Observe>,
}

impl Clone for Watched {
    fn clone(&self) -> Self {
        Self {
            number: self.number,
            source: self.source,
            observer: self.observer.fork(),
        }
    }
}

/// Judges what a tool does about disturbances.
#[derive(Clone, Debug, Default)]
pub struct Judge {
    dialogue: Dialogue,
    talk: Talk,
    watched: Vec<Watched>,
    frames: u64,
}

impl Judge {
    /// One that has heard nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self {
            dialogue: Dialogue::default(),
            talk: Talk::default(),
            watched: Vec::new(),
            frames: 0,
        }
    }

    /// A disturbance of this name begins; of an unknown one there is no verdict.
    pub fn begin(&mut self, number: u64, name: &str) {
        if self.watched.len() < MOST
            && let Some(rule) = rules::of(name)
        {
            self.watched.push(Watched {
                number,
                source: rule.source,
                observer: (rule.observer)(),
            });
        }
    }

    /// A disturbance ends. What it did is judged further.
    pub fn end(&mut self, number: u64, at: BusInstant) {
        if let Some(watched) = self.watched_by(number) {
            watched.observer.on_end(at);
        }
    }

    fn watched_by(&mut self, number: u64) -> Option<&mut Watched> {
        self.watched.iter_mut().find(|watched| watched.number == number)
    }

    /// A disturbance did something. What it does to a question is told after the frame, what it does to an answer before.
    pub fn hit(&mut self, hit: Hit) {
        let Some(role) = hit.id.and_then(Role::of) else {
            return;
        };
        let Self { watched, talk, .. } = self;
        if let Some(watched) = watched.iter_mut().find(|watched| watched.number == hit.number) {
            watched.observer.on_hit(hit.at, role, talk);
        }
    }

    /// A frame was on the bus.
    pub fn on_frame(&mut self, at: BusInstant, frame: &Frame) {
        let number = self.frames;
        self.frames += 1;
        self.dialogue.on_frame(number, at, frame);
        while let Some(event) = self.dialogue.poll_event() {
            self.on_event(event);
        }
    }

    fn on_event(&mut self, event: Event) {
        let Self {
            watched,
            talk,
            dialogue,
            ..
        } = self;
        let observers = watched.iter_mut().map(|watched| &mut watched.observer);
        match event {
            Event::Unit(Unit {
                at,
                role,
                pdu: Pdu::FirstFrame { .. },
                ..
            }) => observers.for_each(|observer| observer.on_begun(at, role, talk)),
            Event::Unit(_) => {}
            Event::Breach { at, role, breach, .. } => {
                observers.for_each(|observer| observer.on_breach(at, role, &breach, talk))
            }
            Event::Message(message) => {
                if let Role::Answer(ecu) = message.role {
                    let question = message.answers.and_then(|(number, _)| talk.question(number));
                    let answered = Answered {
                        ecu,
                        at: message.ended,
                        bytes: &message.bytes,
                        question: question.copied(),
                        is_to_the_last: question.is_some_and(|question| {
                            talk.last_to(ecu)
                                .is_some_and(|last| last.number == question.number)
                        }),
                    };
                    observers.for_each(|observer| observer.on_answer(&answered, talk));
                    talk.answered(&answered);
                } else {
                    let asked = Asked::new(&message);
                    observers.for_each(|observer| observer.on_question(&asked, talk));
                    talk.asked(asked);
                }
                dialogue.recycle(message);
            }
        }
    }

    /// What became of each disturbance, by its number, up to `now`.
    #[must_use]
    pub fn findings(&self, now: BusInstant) -> Vec<(u64, Finding)> {
        let finding = |watched: &Watched| {
            let (verdict, seen) = watched.observer.verdict(now);
            let source = watched.source;
            (
                watched.number,
                Finding {
                    verdict,
                    seen,
                    source,
                },
            )
        };
        self.watched.iter().map(finding).collect()
    }
}
