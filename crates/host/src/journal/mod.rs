//! The car with a journal of all that is done to it, so that it can be done again.
//!
//! A simulator is a function of its calls. [`Journaled`] passes them on, and, once it keeps a journal, puts each down that
//! matters: what was heard and told, which deadlines were served and when, how much of the car's time passed before that.
//! Together with scenario, seed and settings that is everything: the same calls in another process give the same frames
//! at the same instants ([`crate::repeat`]). It is the mapping of bus time to car time too, whatever the pace was.
//!
//! Left out is what changes nothing: a deadline looked at before it is reached, a poll that gives nothing. Time that
//! passes in several pieces while nothing else is done is one entry.

mod entry;

use std::{collections::VecDeque, mem, ops::Deref, time::Duration};

use twotrip_can::Frame;
use twotrip_scenario::{Cue, Phrase, parse_phrase, phrase::Expectation};
use twotrip_sim::{Event, JobId, Simulator, Trace};
use twotrip_units::BusInstant;

pub use self::entry::{Entry, EntryError, PREFIX};
pub(crate) use self::entry::{Line, parse, seconds};
use crate::{recording::comment, story};

/// Events that wait for [`Journaled::poll_event`] at the most; older ones give way.
const EVENTS: usize = 4096;

/// What is put down.
#[derive(Clone, Debug, PartialEq)]
pub enum Note {
    /// A call.
    Entry(Entry),
    /// A comment: what happened inside the car by the call before it.
    Comment(String),
}

/// A simulator, and a journal of what was done to it.
#[derive(Clone, Debug)]
pub struct Journaled {
    simulator: Simulator,
    journal: Option<Journal>,
}

#[derive(Clone, Debug, Default)]
struct Journal {
    notes: Vec<Note>,
    /// Car time that has passed since the last note.
    passing: Option<Entry>,
    /// What has happened and nobody has asked for yet.
    events: VecDeque<Event>,
    /// Whether the ECU slept when deadlines were served last.
    slept: bool,
}

impl Journal {
    fn put(&mut self, entry: Entry) {
        match (self.passing.take(), entry) {
            (Some(Entry::Stood { span, .. }), Entry::Stood { span: more, at }) => {
                let span = span + more;
                self.passing = Some(Entry::Stood { span, at });
            }
            (
                Some(Entry::Worked { budget, times, .. }),
                Entry::Worked {
                    budget: same,
                    times: more,
                    at,
                },
            ) if budget == same => {
                let times = times + more;
                self.passing = Some(Entry::Worked { budget, times, at });
            }
            (before, entry) => {
                self.notes.extend(before.map(Note::Entry));
                if matches!(entry, Entry::Stood { .. } | Entry::Worked { .. }) {
                    self.passing = Some(entry);
                } else {
                    self.notes.push(Note::Entry(entry));
                }
            }
        }
    }

    fn happened(&mut self, now: BusInstant, event: Event) {
        if let Some(text) = comment::of_event(now, &event) {
            self.notes.extend(self.passing.take().map(Note::Entry));
            self.notes.push(Note::Comment(text));
        }
        if self.events.len() == EVENTS {
            self.events.pop_front();
        }
        self.events.push_back(event);
    }
}

/// To look at; what changes it goes through the methods below.
impl Deref for Journaled {
    type Target = Simulator;

    fn deref(&self) -> &Simulator {
        &self.simulator
    }
}

impl Journaled {
    /// A simulator without a journal.
    #[must_use]
    pub const fn new(simulator: Simulator) -> Self {
        Self {
            simulator,
            journal: None,
        }
    }

    /// The story is over: see [`Simulator::go_live`]. Not with a journal: it begins behind it.
    pub fn go_live(&mut self, now: BusInstant, cues: &[Cue], verdict: impl IntoIterator<Item = Expectation>) {
        debug_assert!(self.journal.is_none(), "a journal begins when the car is live");
        self.simulator.go_live(now, cues, verdict);
    }

    /// Lives through a phrase of the story: see [`story::carry_out`]. Not with a journal, likewise.
    pub fn carry_out(&mut self, phrase: Phrase, told: impl FnMut(&Event)) {
        debug_assert!(self.journal.is_none(), "a journal begins when the car is live");
        story::carry_out(&mut self.simulator, phrase, told);
    }

    /// Keeps a journal from now on: the car has lived through its story, and has just gone live.
    pub fn keep(&mut self, now: BusInstant, pace: &str) {
        self.journal = Some(Journal::default());
        self.put(Entry::Began {
            pace: pace.into(),
            at: now,
        });
        if let Some(journal) = &mut self.journal {
            let text = comment::line(now, self.simulator.car().now(), &format!("pace {pace}"));
            journal.notes.push(Note::Comment(text));
            let car = self.simulator.car().now();
            for (number, disturbance) in self.simulator.disturbances() {
                let text = comment::line(now, car, &comment::disturbance_begins(number, &disturbance));
                journal.notes.push(Note::Comment(text));
            }
            journal.slept = self.simulator.car().ecu().asleep();
        }
        self.note_events(now);
    }

    /// What has been put down since; time that is passing is put down when it is over.
    pub fn take_notes(&mut self) -> Vec<Note> {
        self.journal
            .as_mut()
            .map(|journal| mem::take(&mut journal.notes))
            .unwrap_or_default()
    }

    /// The same at the end, with the time that has passed.
    pub fn take_last_notes(&mut self) -> Vec<Note> {
        if let Some(journal) = &mut self.journal {
            journal.notes.extend(journal.passing.take().map(Note::Entry));
        }
        self.take_notes()
    }

    fn put(&mut self, entry: Entry) {
        if let Some(journal) = &mut self.journal {
            journal.put(entry);
        }
    }

    /// Puts down what happened by the last call.
    fn note_events(&mut self, now: BusInstant) {
        if let Some(journal) = &mut self.journal {
            while let Some(event) = self.simulator.poll_event() {
                journal.happened(now, event);
            }
        }
    }

    /// See [`Simulator::tell`]. The text is what the phrase was made of.
    pub fn tell(&mut self, now: BusInstant, phrase: Phrase, text: &str) -> JobId {
        self.put(Entry::Told {
            phrase: text.into(),
            at: now,
        });
        self.simulator.tell(phrase)
    }

    /// The same with a phrase of which there is no text: with a journal, what its canonical wording says is done, in which
    /// amounts are rounded.
    pub fn tell_phrase(&mut self, now: BusInstant, phrase: Phrase) -> JobId {
        if self.journal.is_none() {
            return self.simulator.tell(phrase);
        }
        let text = phrase.to_string();
        let phrase = parse_phrase(&text).unwrap_or(phrase);
        self.tell(now, phrase, &text)
    }

    /// See [`Simulator::work`].
    pub fn work(&mut self, now: BusInstant, budget: Duration) -> Duration {
        self.put(Entry::Worked {
            budget,
            times: 1,
            at: now,
        });
        let used = self.simulator.work(budget);
        self.note_events(now);
        used
    }

    /// See [`Simulator::stand`].
    pub fn stand(&mut self, now: BusInstant, span: Duration) {
        if span.is_zero() {
            return;
        }
        self.put(Entry::Stood { span, at: now });
        self.simulator.stand(span);
        self.note_events(now);
    }

    /// See [`Simulator::handle_frame`].
    pub fn handle_frame(&mut self, now: BusInstant, frame: &Frame) {
        if self.journal.is_some() {
            self.put(Entry::Heard {
                frame: *frame,
                at: now,
            });
        }
        self.simulator.handle_frame(now, frame);
        self.note_events(now);
    }

    /// See [`Simulator::handle_transmitted`]: the frame is on the bus.
    pub fn handle_transmitted(&mut self, now: BusInstant) {
        self.put(Entry::Passed { at: now });
        self.simulator.handle_transmitted(now);
        self.note_events(now);
    }

    /// See [`Simulator::handle_transmitted`]: the bus was down, and the frame went nowhere.
    pub fn handle_sent_nowhere(&mut self, now: BusInstant) {
        self.put(Entry::SentNowhere { at: now });
        self.simulator.handle_transmitted(now);
        self.note_events(now);
    }

    /// The frame last polled was never given to the bus, and nobody waits for it any more.
    pub fn give_up(&mut self, now: BusInstant) {
        self.put(Entry::GivenUp { at: now });
    }

    /// See [`Simulator::handle_timeout`].
    pub fn handle_timeout(&mut self, now: BusInstant) {
        if let Some(journal) = &mut self.journal {
            let due = self.simulator.poll_timeout().is_some_and(|due| due <= now);
            let sleeps = self.simulator.car().ecu().asleep();
            if !due && mem::replace(&mut journal.slept, sleeps) == sleeps {
                return;
            }
            journal.slept = sleeps;
            journal.put(Entry::Turn { at: now });
        }
        self.simulator.handle_timeout(now);
        self.note_events(now);
    }

    /// See [`Simulator::poll_frame`].
    #[must_use]
    pub fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        let frame = self.simulator.poll_frame(now)?;
        self.put(Entry::Sent { at: now });
        Some(frame)
    }

    /// See [`Simulator::withhold_answers`].
    pub fn withhold_answers(&mut self, now: BusInstant) {
        self.put(Entry::Withheld { at: now });
        self.simulator.withhold_answers();
    }

    /// See [`Simulator::poll_trace`].
    #[must_use]
    pub fn poll_trace(&mut self) -> Option<Trace> {
        self.simulator.poll_trace()
    }

    /// See [`Simulator::has_events`].
    #[must_use]
    pub fn has_events(&self) -> bool {
        self.simulator.has_events()
            || self
                .journal
                .as_ref()
                .is_some_and(|journal| !journal.events.is_empty())
    }

    /// See [`Simulator::poll_event`].
    #[must_use]
    pub fn poll_event(&mut self) -> Option<Event> {
        match &mut self.journal {
            Some(journal) => journal.events.pop_front(),
            None => self.simulator.poll_event(),
        }
    }
}
