//! A recording written by whoever has the bus in its own process: no thread, no clock, no frame lost.
//!
//! Instants are bus time, counted from 1970: the same run gives the same file, byte for byte.

use std::time::Instant;

use twotrip_can::Frame;
use twotrip_capture::{Direction, write};
use twotrip_units::BusInstant;

use super::{
    Counts, Found, Options, RecordingError,
    tape::{Heard, Tape},
};
use crate::journal::Note;

/// A recording under way.
#[derive(Debug)]
pub struct Writer {
    tape: Tape,
    next: u64,
    now: Instant,
}

impl Writer {
    /// Opens the file and begins a section of one bus.
    ///
    /// # Errors
    /// [`RecordingError`] if the file cannot be used.
    pub fn open(
        options: &Options,
        bus: &str,
        bit_rate: Option<u64>,
    ) -> Result<(Self, Option<Found>), RecordingError> {
        let interface = write::Interface {
            name: bus,
            description: "",
            bit_rate,
        };
        let now = Instant::now();
        let (tape, found) = Tape::open(options, &[interface], now)?;
        Ok((Self { tape, next: 0, now }, found))
    }

    /// A frame passed.
    pub fn frame(&mut self, at: BusInstant, from_car: bool, frame: &Frame) {
        let heard = Heard {
            bus: 0,
            at: at.as_nanos(),
            direction: Some(if from_car {
                Direction::Outbound
            } else {
                Direction::Inbound
            }),
            frame: *frame,
        };
        self.tape.frame(&heard, self.now);
    }

    /// Something was done to the car, or happened in it.
    pub fn note(&mut self, notes: impl IntoIterator<Item = Note>) {
        for note in notes {
            match note {
                Note::Entry(entry) => {
                    self.tape.entry(self.next, &entry, self.now);
                    self.next += 1;
                }
                Note::Comment(text) => self.tape.comment(text, self.now),
            }
        }
    }

    /// Writes what is left.
    ///
    /// # Errors
    /// [`RecordingError::Write`] if the disk does not take it.
    pub fn finish(self) -> Result<Counts, RecordingError> {
        self.tape.finish(self.now)
    }
}
