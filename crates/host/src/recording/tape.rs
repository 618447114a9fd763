//! What is recorded, on its way to the disk: whole blocks only, and nothing waits for long.

use std::{
    collections::VecDeque,
    io,
    time::{Duration, Instant},
};

use twotrip_can::{Frame, timing::frame_bits};
use twotrip_capture::{Direction, write};

use super::{Counts, Found, Options, RecordingError, Rotation, reel::Reel};
use crate::journal::{Entry, Line};

/// Bytes after which the disk is written to.
const FULL: usize = 1 << 18;
/// Bytes that wait at the most while the disk takes nothing; frames beyond them are lost and counted.
const MOST_WAITING: usize = 4 << 20;
/// Longest time that a frame waits.
const FLUSH_AFTER: Duration = Duration::from_millis(400);
/// Wait before a disk that took nothing is tried again.
const RETRY_AFTER: Duration = Duration::from_secs(1);
/// Longest time that a comment waits for a frame to be attached to; then a statistics block carries it, so that nothing
/// can make it lost, and the next frame carries it again, because analysers show the comments of frames.
const COMMENT_WAITS: Duration = Duration::from_millis(500);
/// Comments that wait for a frame at the most, the oldest go first.
const COMMENTS_MAX: usize = 256;

/// Counts of one bus.
#[derive(Clone, Copy, Debug, Default)]
struct Lane {
    received: u64,
    /// Lost by the kernel or the adapter's queue.
    dropped: u64,
    /// Lost since the last frame that was kept.
    owed: u64,
}

/// A frame as it came.
#[derive(Clone, Copy, Debug)]
pub(super) struct Heard {
    pub(super) bus: u32,
    /// Nanoseconds since 1970.
    pub(super) at: u64,
    pub(super) direction: Option<Direction>,
    pub(super) frame: Frame,
}

/// The buffer before the file.
#[derive(Debug)]
pub(super) struct Tape {
    reel: Reel,
    rotation: Rotation,
    /// Section header and interfaces, which every file begins with.
    head: Vec<u8>,
    waiting: Vec<u8>,
    /// Frames in `waiting`.
    frames_waiting: u64,
    lanes: Vec<Lane>,
    /// What the next frame carries.
    comments: VecDeque<String>,
    /// Entries of the car's journal that are no comment yet.
    line: Line,
    /// How many of them, the last ones, no block has carried yet, and since when.
    unsaved: usize,
    comment_since: Option<Instant>,
    begun: Instant,
    flushed: Instant,
    last_at: u64,
    counts: Counts,
    /// The disk takes nothing; how that came, if nobody was told yet.
    failing: bool,
    /// There was no next file when it was time for one.
    stuck: bool,
    news: Option<Result<(), io::Error>>,
}

impl Tape {
    pub(super) fn open(
        options: &Options,
        interfaces: &[write::Interface<'_>],
        now: Instant,
    ) -> Result<(Self, Option<Found>), RecordingError> {
        let (reel, found) = Reel::open(&options.path, options.rotation)?;
        Ok((Self::new(reel, options, interfaces, now)?, found))
    }

    /// Begins a section.
    pub(super) fn new(
        reel: Reel,
        options: &Options,
        interfaces: &[write::Interface<'_>],
        now: Instant,
    ) -> Result<Self, RecordingError> {
        let mut head = Vec::new();
        let comments: Vec<&str> = options.header.iter().map(String::as_str).collect();
        write::section(
            &mut head,
            &write::Section {
                application: &options.application,
                system: std::env::consts::OS,
                comments: &comments,
            },
        );
        for interface in interfaces {
            write::interface(&mut head, interface);
        }
        let mut tape = Self {
            reel,
            rotation: options.rotation,
            waiting: Vec::new(),
            head,
            frames_waiting: 0,
            lanes: vec![Lane::default(); interfaces.len()],
            comments: VecDeque::new(),
            line: Line::default(),
            unsaved: 0,
            comment_since: None,
            begun: now,
            flushed: now,
            last_at: 0,
            counts: Counts {
                files: 1,
                ..Counts::default()
            },
            failing: false,
            stuck: false,
            news: None,
        };
        // A file that cannot be written is told at once.
        tape.reel
            .write(&tape.head)
            .map_err(|source| RecordingError::Open {
                path: options.path.clone(),
                source,
            })?;
        tape.counts.bytes = tape.head.len() as u64;
        Ok(tape)
    }

    pub(super) const fn counts(&self) -> Counts {
        self.counts
    }

    pub(super) fn path(&self) -> &std::path::Path {
        self.reel.path()
    }

    /// That the disk takes nothing any more, or takes it again: said once each.
    pub(super) const fn news(&mut self) -> Option<Result<(), io::Error>> {
        self.news.take()
    }

    /// Frames of a bus that were lost before the next one.
    pub(super) fn lost(&mut self, bus: u32, count: u64) {
        if let Some(lane) = self.lanes.get_mut(bus as usize) {
            lane.dropped += count;
            lane.owed += count;
            self.counts.dropped += count;
        }
    }

    /// Something to be attached to the next frame.
    pub(super) fn comment(&mut self, text: String, now: Instant) {
        self.end_line(now);
        self.attach(text, now);
    }

    /// An entry of the car's journal, to be attached with others in one line.
    pub(super) fn entry(&mut self, number: u64, entry: &Entry, now: Instant) {
        self.comment_since.get_or_insert(now);
        if let Some(text) = self.line.push(number, entry) {
            self.attach(text, now);
        }
    }

    fn end_line(&mut self, now: Instant) {
        if let Some(text) = self.line.take() {
            self.attach(text, now);
        }
    }

    fn attach(&mut self, text: String, now: Instant) {
        self.comments.push_back(text);
        self.unsaved += 1;
        self.comment_since.get_or_insert(now);
        if self.comments.len() == COMMENTS_MAX {
            self.save_comments();
            self.comments.pop_front();
            // On a disk that takes nothing there may have been no room for the oldest.
            self.unsaved = self.unsaved.min(self.comments.len());
        }
    }

    pub(super) fn frame(&mut self, heard: &Heard, now: Instant) {
        self.end_line(now);
        let Some(lane) = self.lanes.get_mut(heard.bus as usize) else {
            return;
        };
        lane.received += 1;
        self.last_at = heard.at;
        if self.waiting.len() >= MOST_WAITING {
            lane.owed += 1;
            self.counts.dropped += 1;
            return;
        }
        let packet = write::Packet {
            interface: heard.bus,
            at: heard.at,
            direction: heard.direction,
            dropped: std::mem::take(&mut lane.owed),
            frame: &heard.frame,
        };
        write::packet(
            &mut self.waiting,
            &packet,
            self.comments.iter().map(String::as_str),
        );
        self.comments.clear();
        self.unsaved = 0;
        self.comment_since = None;
        self.frames_waiting += 1;
        self.counts.bits += u64::from(frame_bits(&heard.frame).at_most());
        if self.waiting.len() >= FULL && !self.failing {
            self.flush(now);
        }
    }

    /// What is due by the clock; `at` is the same instant in nanoseconds since 1970.
    pub(super) fn tick(&mut self, now: Instant, at: u64) {
        self.last_at = self.last_at.max(at);
        let waits = self.comment_since;
        if waits.is_some_and(|since| now.duration_since(since) >= COMMENT_WAITS) {
            self.end_line(now);
            self.save_comments();
        }
        let due = if self.failing { RETRY_AFTER } else { FLUSH_AFTER };
        if now.duration_since(self.flushed) >= due {
            self.flush(now);
        }
    }

    /// Statistics blocks, the first with the comments that no block has carried yet.
    fn save_comments(&mut self) {
        self.comment_since = None;
        if self.waiting.len() >= MOST_WAITING {
            return;
        }
        let saved = self.comments.len() - std::mem::take(&mut self.unsaved);
        for (bus, lane) in self.lanes.iter().enumerate() {
            let counts = write::Statistics {
                interface: u32::try_from(bus).unwrap_or(u32::MAX),
                at: self.last_at,
                received: lane.received,
                dropped_by_interface: 0,
                dropped_by_system: lane.dropped,
            };
            let comments = self.comments.iter().skip(saved).filter(|_| bus == 0);
            write::statistics(&mut self.waiting, &counts, comments.map(String::as_str));
        }
    }

    fn flush(&mut self, now: Instant) {
        self.flushed = now;
        if self.waiting.is_empty() {
            return;
        }
        let written = self.reel.write(&self.waiting);
        let well = written.is_ok();
        if well == self.failing {
            self.news = Some(written);
        }
        self.failing = !well;
        if !well {
            return;
        }
        self.counts.bytes += self.waiting.len() as u64;
        self.counts.frames += std::mem::take(&mut self.frames_waiting);
        self.waiting.clear();
        self.turn(now);
    }

    /// The next file, where it is time for it.
    fn turn(&mut self, now: Instant) {
        let Rotation { size, every, keep } = self.rotation;
        let full = size.is_some_and(|size| self.reel.length() >= size)
            || every.is_some_and(|every| now.duration_since(self.begun) >= every);
        if !full {
            return;
        }
        self.save_comments();
        // What cannot be written there any more is not worth the turn: the frames are in.
        if self.reel.write(&self.waiting).is_ok() {
            self.counts.bytes += self.waiting.len() as u64;
        }
        self.waiting.clear();
        self.begun = now;
        if let Err(error) = self.reel.next() {
            // It goes on in the file that there is, and tries again; said once.
            if !std::mem::replace(&mut self.stuck, true) {
                self.news = Some(Err(error));
            }
            return;
        }
        self.stuck = false;
        self.counts.files += 1;
        self.waiting.extend_from_slice(&self.head);
        if let Some(Err(error)) = keep.map(|keep| self.reel.let_go(keep)) {
            self.news = Some(Err(error));
        }
    }

    /// Writes what waits, and the counts.
    pub(super) fn finish(mut self, now: Instant) -> Result<Counts, RecordingError> {
        self.end_line(now);
        self.save_comments();
        self.reel
            .write(&self.waiting)
            .map_err(|source| RecordingError::Write {
                path: self.reel.path().to_owned(),
                source,
                unsaved: self.frames_waiting,
            })?;
        self.counts.bytes += self.waiting.len() as u64;
        self.counts.frames += self.frames_waiting;
        Ok(self.counts)
    }
}
