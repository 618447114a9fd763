//! A recorded run, lived through once more in this process: the same car is done the same to, at the same instants, and
//! what it sends and what happens inside it is held against the recording, bit for bit.
//!
//! What was done stands in the journal ([`crate::journal`]) among the comments, what the car sent is the outbound packets.
//! Items come in as they are read; memory is bounded whatever a file says. The first difference ends it: from there on
//! the recording tells of another car's life.

use std::{collections::VecDeque, time::Duration};

use twotrip_can::{Frame, FrameKind};
use twotrip_capture::{Direction, Item};
use twotrip_scenario::parse_phrase;
use twotrip_sim::Simulator;
use twotrip_units::BusInstant;

use crate::{
    journal::{self, Entry, EntryError, Journaled, Note},
    recording::{Counts as Written, RecordingError, Writer, comment},
};

/// Frames or lines that may wait for their counterpart at the most.
const WAITING: usize = 1 << 16;
/// Lines remembered, so that one that the recording holds twice counts once.
const LINES: usize = 1024;

/// Where recording and repetition part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Difference {
    /// The car sends another frame.
    Frame {
        /// Number of the packet in the file, from 1.
        number: u64,
        /// When.
        at: BusInstant,
        /// What is recorded.
        recorded: Frame,
        /// What the car sends now.
        now: Frame,
    },
    /// The car sends nothing where it sent something.
    Silent {
        /// When.
        at: BusInstant,
        /// What is recorded, with the number of the packet, if it is.
        recorded: Option<(u64, Frame)>,
    },
    /// The car sends something where it sent nothing.
    Speaks {
        /// When.
        at: BusInstant,
        /// What it sends.
        now: Frame,
    },
    /// The car acts before its time.
    Early {
        /// When something was done in the recording.
        recorded: BusInstant,
        /// When the car wants to act now.
        now: BusInstant,
    },
    /// The frame is the same, the instant is another.
    Instant {
        /// Number of the packet in the file, from 1.
        number: u64,
        /// The frame.
        frame: Frame,
        /// When it is recorded.
        recorded: BusInstant,
        /// When it passes now.
        now: BusInstant,
    },
    /// Something else happens inside the car.
    Happened {
        /// The recorded line.
        recorded: String,
        /// The line now.
        now: String,
    },
}

/// Why a recording cannot be repeated.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RepeatError {
    /// Frames of a run without its journal.
    #[error(
        "no journal of the run is in it (lines that begin with `time:`): an older version recorded it, or a plain recorder"
    )]
    NoJournal,
    /// Entries are missing.
    #[error("its journal lacks entries {from} to {to}: the recorder could not keep up")]
    Gap {
        /// The first that is missing.
        from: u64,
        /// The last.
        to: u64,
    },
    /// A line of the journal cannot be read.
    #[error("a line of its journal cannot be read (in a copy made by `explain --redact` none can): {0}")]
    Line(#[from] EntryError),
    /// A phrase that this version does not know.
    #[error("its journal has a phrase that is none: `{0}`")]
    Phrase(String),
    /// Frames and journal do not come together.
    #[error("its frames and its journal do not belong together")]
    OutOfStep,
}

/// What was repeated.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Frames of the car, each the same.
    pub frames: u64,
    /// Frames that it heard.
    pub heard: u64,
    /// Phrases that it was told.
    pub told: u64,
    /// Lines of what happened inside it, each the same.
    pub happened: u64,
    /// Frames and lines at the end of a recording that was broken off, whose counterpart is missing.
    pub left_over: u64,
    /// Up to when, in bus time.
    pub until: BusInstant,
    /// By how much the recorded car was at most later than it wanted, because the computer was busy.
    pub late: Duration,
}

/// What is compared besides frames, order and happenings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Exact {
    /// The instants of packets are bus time: each frame has to pass at its own.
    pub instants: bool,
    /// Nothing was ever late: no deadline of the car may be before what is done next.
    pub deadlines: bool,
}

/// A packet of the car.
#[derive(Clone, Copy, Debug)]
struct Packet {
    number: u64,
    at: BusInstant,
    frame: Frame,
}

/// A frame that the car has sent now.
#[derive(Clone, Copy, Debug)]
struct Given {
    at: BusInstant,
    frame: Frame,
    /// The bus had it, and never confirmed it: it may have passed or not.
    perhaps: bool,
}

/// Lines, each once.
#[derive(Clone, Debug, Default)]
struct Lines {
    waiting: VecDeque<String>,
    seen: VecDeque<String>,
}

impl Lines {
    fn push(&mut self, line: String) {
        if self.seen.contains(&line) {
            return;
        }
        if self.seen.len() == LINES {
            self.seen.pop_front();
        }
        self.seen.push_back(line.clone());
        self.waiting.push_back(line);
    }
}

/// A run being repeated.
#[derive(Debug)]
pub struct Repeat {
    simulator: Journaled,
    exact: Exact,
    next: u64,
    /// The entry before this one, after which the car was asked for frames.
    asked: Option<BusInstant>,
    in_flight: Option<(BusInstant, Frame)>,
    given: VecDeque<Given>,
    packets: VecDeque<Packet>,
    recorded: Lines,
    happened: Lines,
    question: Option<Frame>,
    counts: Counts,
    difference: Option<Difference>,
    writer: Option<Writer>,
}

impl Repeat {
    /// With a car that has lived through its story and has just gone live.
    #[must_use]
    pub fn new(simulator: Simulator, exact: Exact, writer: Option<Writer>) -> Self {
        Self {
            simulator: Journaled::new(simulator),
            exact,
            next: 0,
            asked: None,
            in_flight: None,
            given: VecDeque::new(),
            packets: VecDeque::new(),
            recorded: Lines::default(),
            happened: Lines::default(),
            question: None,
            counts: Counts::default(),
            difference: None,
            writer,
        }
    }

    /// Whether nothing more of the recording is wanted.
    #[must_use]
    pub const fn is_over(&self) -> bool {
        !matches!(
            self.difference,
            None | Some(Difference::Silent { recorded: None, .. })
        )
    }

    /// The frame that the car heard last.
    #[must_use]
    pub const fn question(&self) -> Option<&Frame> {
        self.question.as_ref()
    }

    /// Something in the recording; of packets, its number in the file, from 1.
    ///
    /// # Errors
    /// [`RepeatError`] if it cannot go on.
    pub fn on_item(&mut self, item: &Item<'_>, number: u64) -> Result<(), RepeatError> {
        match item {
            Item::Packet(packet) => {
                for text in packet.comments() {
                    self.on_comment(&text)?;
                }
                if let (Ok(frame), Some(at), Some(Direction::Outbound)) =
                    (packet.frame(), packet.at, packet.direction())
                {
                    self.on_packet(number, at, frame)?;
                }
            }
            Item::Statistics(counts) => {
                for text in counts.options.comments() {
                    self.on_comment(&text)?;
                }
            }
            Item::Section(_) | Item::Interface(_) | Item::Other(_) => {}
        }
        Ok(())
    }

    /// A comment, of a frame or of statistics.
    fn on_comment(&mut self, text: &str) -> Result<(), RepeatError> {
        if self.difference.is_some() {
            return Ok(());
        }
        if text.starts_with(journal::PREFIX) {
            let (number, entries) = journal::parse(text)?;
            if number > self.next {
                return Err(RepeatError::Gap {
                    from: self.next,
                    to: number - 1,
                });
            }
            let known = usize::try_from(self.next - number).unwrap_or(usize::MAX);
            for entry in entries.into_iter().skip(known) {
                self.next += 1;
                if self.difference.is_none() {
                    self.counts.until = entry.at();
                    self.repeat(entry)?;
                    self.compare();
                }
            }
        } else if text.starts_with(comment::PREFIX) {
            self.recorded.push(text.to_owned());
            self.compare();
        }
        self.check_room()
    }

    /// A frame of the car; the instant counts nanoseconds as the file does.
    fn on_packet(&mut self, number: u64, at: u64, frame: Frame) -> Result<(), RepeatError> {
        if let Some(Difference::Silent { recorded, .. }) = &mut self.difference {
            recorded.get_or_insert((number, frame));
        }
        self.packets.push_back(Packet {
            number,
            at: BusInstant::from_nanos(at),
            frame,
        });
        self.compare();
        self.check_room()
    }

    /// Nothing more comes: what was repeated, and where it parted. A recording of it is complete, too.
    ///
    /// # Errors
    /// [`RepeatError::NoJournal`] if there was nothing to repeat.
    pub fn end(&mut self) -> Result<(Counts, Option<Difference>), RepeatError> {
        if self.next == 0 {
            return Err(RepeatError::NoJournal);
        }
        if self.difference.is_none() {
            self.look_for_more();
        }
        let left = self.given.iter().filter(|given| !given.perhaps).count()
            + self.packets.len()
            + self.recorded.waiting.len()
            + self.happened.waiting.len();
        self.counts.left_over = u64::try_from(left).unwrap_or(u64::MAX);
        Ok((self.counts, self.difference.clone()))
    }

    /// Ends the recording of the repetition.
    ///
    /// # Errors
    /// [`RecordingError`] if its end could not be written.
    pub fn finish(mut self) -> Result<Option<Written>, RecordingError> {
        let notes = self.simulator.take_last_notes();
        let Some(mut writer) = self.writer.take() else {
            return Ok(None);
        };
        writer.note(notes);
        writer.finish().map(Some)
    }

    fn check_room(&self) -> Result<(), RepeatError> {
        let most = [
            self.given.len(),
            self.packets.len(),
            self.recorded.waiting.len(),
            self.happened.waiting.len(),
        ];
        if most.into_iter().any(|waiting| waiting > WAITING) {
            return Err(RepeatError::OutOfStep);
        }
        Ok(())
    }

    /// Does what was done.
    fn repeat(&mut self, entry: Entry) -> Result<(), RepeatError> {
        if let Entry::Sent { at } = entry {
            self.send(at);
            return Ok(());
        }
        self.look_for_more();
        self.look_at_deadline(&entry);
        if self.difference.is_some() {
            return Ok(());
        }
        self.asked = None;
        match entry {
            Entry::Began { pace, at } => self.simulator.keep(at, &pace),
            Entry::Stood { span, at } => self.simulator.stand(at, span),
            Entry::Worked { budget, times, at } => {
                for _ in 0..times {
                    let used = self.simulator.work(at, budget);
                    // What comes of no time and tells nothing is nothing, however often.
                    if self.take_happenings() == 0 && used.is_zero() {
                        break;
                    }
                }
            }
            Entry::Told { phrase, at } => {
                let parsed = parse_phrase(&phrase).map_err(|_| RepeatError::Phrase(phrase.to_string()))?;
                self.simulator.tell(at, parsed, &phrase);
                self.counts.told += 1;
            }
            Entry::Heard { frame, at } => {
                self.write(at, false, &frame);
                self.simulator.handle_frame(at, &frame);
                self.question = Some(frame);
                self.counts.heard += 1;
                self.asked = Some(at);
            }
            Entry::Turn { at } => {
                self.simulator.handle_timeout(at);
                self.asked = Some(at);
            }
            Entry::Passed { at } => {
                if let Some((_, frame)) = self.in_flight.take() {
                    self.write(at, true, &frame);
                    self.given.push_back(Given {
                        at,
                        frame,
                        // An error message is for who listens to errors: not every bus carries it.
                        perhaps: frame.kind() == FrameKind::Error,
                    });
                }
                self.simulator.handle_transmitted(at);
                self.asked = Some(at);
            }
            Entry::SentNowhere { at } => {
                self.in_flight = None;
                self.simulator.handle_sent_nowhere(at);
                self.asked = Some(at);
            }
            Entry::GivenUp { at } => {
                self.in_flight = None;
                self.simulator.give_up(at);
            }
            Entry::Withheld { at } => {
                self.in_flight = None;
                self.simulator.withhold_answers(at);
            }
            Entry::Sent { .. } => {}
        }
        self.take_happenings();
        Ok(())
    }

    /// The car gives a frame, as it did.
    fn send(&mut self, at: BusInstant) {
        self.asked = None;
        let Some(frame) = self.simulator.poll_frame(at) else {
            // Of the packets that there are already, the first one without a counterpart is the one.
            let missing = self.packets.get(self.given.len());
            self.difference = Some(Difference::Silent {
                at,
                recorded: missing.map(|packet| (packet.number, packet.frame)),
            });
            return;
        };
        if let Some((at, frame)) = self.in_flight.replace((at, frame)) {
            self.given.push_back(Given {
                at,
                frame,
                perhaps: true,
            });
        }
        self.take_happenings();
    }

    /// Where the car was asked for more frames and had none, it has none now either.
    fn look_for_more(&mut self) {
        if let Some(at) = self.asked.take()
            && let Some(now) = self.simulator.poll_frame(at)
        {
            self.difference = Some(Difference::Speaks { at, now });
        }
    }

    /// A deadline before what is done next was missed: by a busy computer, or the car has another one now.
    fn look_at_deadline(&mut self, entry: &Entry) {
        let (Some(now), recorded) = (self.simulator.poll_timeout(), entry.at()) else {
            return;
        };
        if now >= recorded || now == BusInstant::ZERO || matches!(entry, Entry::Began { .. }) {
            return;
        }
        if self.exact.deadlines {
            self.difference = Some(Difference::Early { recorded, now });
        } else if matches!(entry, Entry::Turn { .. }) {
            self.counts.late = self.counts.late.max(recorded.saturating_since(now));
        }
    }

    /// Takes over what was put down; says how many lines there were of what happened.
    fn take_happenings(&mut self) -> usize {
        let notes = self.simulator.take_notes();
        let mut lines = 0;
        for note in &notes {
            if let Note::Comment(line) = note {
                self.happened.push(line.clone());
                lines += 1;
            }
        }
        if let Some(writer) = &mut self.writer {
            writer.note(notes);
        }
        lines
    }

    fn write(&mut self, at: BusInstant, from_car: bool, frame: &Frame) {
        self.take_happenings();
        if let Some(writer) = &mut self.writer {
            writer.frame(at, from_car, frame);
        }
    }

    /// Holds against each other what is there on both sides.
    fn compare(&mut self) {
        while self.difference.is_none()
            && let (Some(given), Some(packet)) = (self.given.front(), self.packets.front())
        {
            if given.frame == packet.frame {
                if self.exact.instants && given.at != packet.at {
                    self.difference = Some(Difference::Instant {
                        number: packet.number,
                        frame: packet.frame,
                        recorded: packet.at,
                        now: given.at,
                    });
                    return;
                }
                self.counts.frames += 1;
                self.packets.pop_front();
            } else if !given.perhaps {
                self.difference = Some(Difference::Frame {
                    number: packet.number,
                    at: given.at,
                    recorded: packet.frame,
                    now: given.frame,
                });
                return;
            }
            self.given.pop_front();
        }
        while self.difference.is_none()
            && let (Some(recorded), Some(now)) =
                (self.recorded.waiting.front(), self.happened.waiting.front())
        {
            if recorded != now {
                self.difference = Some(Difference::Happened {
                    recorded: recorded.clone(),
                    now: now.clone(),
                });
                return;
            }
            self.recorded.waiting.pop_front();
            self.happened.waiting.pop_front();
            self.counts.happened += 1;
        }
    }
}

#[cfg(test)]
mod tests;
