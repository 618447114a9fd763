//! The bus as a car has it, whatever it is that speaks: one frame at a time goes out, what comes in is sorted, all is counted.

use std::time::{Duration, SystemTime};

use twotrip_can::{Frame, FrameKind, error_frame::ErrorFrame};
use twotrip_units::BusInstant;

use super::{bus_errors::BusErrors, turned_away::ClientsTurnedAway};
use crate::{
    bench::{BenchError, Watch},
    bus::{Bus, BusError, BusEvent, Sent, local::TurnedAway},
};

/// Wait before a frame that the bus had no room for is tried again: a queue of ten frames lasts 2 ms at 500 kbit/s, so
/// none of the bus's time is lost.
pub(crate) const RETRY: Duration = Duration::from_millis(1);
/// Longest time that writing a frame counts for, below N_As (25 ms, ISO 15765-4): where the computer stood still over
/// the write, the bus has the frame all the same, and the answer goes on. (Seen in the emulated guest: a halt of 70 ms
/// broke off an answer of 4095 bytes.)
const WRITTEN_WITHIN: Duration = Duration::from_millis(20);

/// Frames of a run, counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Traffic {
    /// Taken from the bus, as far as the car listens.
    pub received: u64,
    /// Taken by the bus from the car.
    pub sent: u64,
    /// Held back because the bus had no room, until the answer they belong to was given up (N_As of ISO 15765-2).
    pub given_up: u64,
    /// Sent while the interface was down.
    pub sent_while_down: u64,
    /// Error message frames of the controller.
    pub errors: u64,
    /// Dropped by the kernel because they were not read in time; `None` where nobody counts.
    pub dropped_by_kernel: Option<u32>,
    /// Lost otherwise: malformed, or not taken by a slow client of an embedded bus.
    pub lost: u64,
}

/// A car's place on a bus.
#[derive(Debug)]
pub(crate) struct Port {
    pub(crate) bus: Bus,
    /// Ends it once something else than a tester is heard.
    pub(crate) watch: Option<Watch>,
    /// What is counted here; see [`Self::traffic`].
    pub(crate) counts: Traffic,
    /// A frame that the bus had no room for.
    blocked: Option<Frame>,
    /// A frame that the bus has taken and that has not passed on the wire yet, where the bus tells.
    queued: Option<Frame>,
    errors: BusErrors,
    turned_away: ClientsTurnedAway,
}

/// What an event of the bus is for the car.
#[derive(Debug)]
pub(crate) enum Heard {
    /// A frame of somebody else.
    Frame(Frame),
    /// This frame, the last that was sent, is on the wire.
    Passed(Frame),
    /// The interface went down.
    Down,
    /// To be told: an error of the bus, and further ones of its kind since the last one told.
    BusError(ErrorFrame, u64),
    /// To be told: a client that was turned away, and further ones of its kind since the last one told.
    TurnedAway(TurnedAway, u64),
    /// Nothing.
    Nothing,
}

impl Port {
    pub(crate) fn new(bus: Bus, watch: Option<Watch>) -> Self {
        Self {
            bus,
            watch,
            counts: Traffic::default(),
            blocked: None,
            queued: None,
            errors: BusErrors::default(),
            turned_away: ClientsTurnedAway::default(),
        }
    }

    /// Frames so far; asks the kernel.
    pub(crate) fn traffic(&self) -> Traffic {
        Traffic {
            errors: self.errors.seen(),
            dropped_by_kernel: self.bus.dropped(),
            lost: self.bus.lost(),
            ..self.counts
        }
    }

    /// When the kernel had the frame last heard, where it notes times.
    pub(crate) fn noted(&self) -> Option<SystemTime> {
        self.bus.detail()?.at
    }

    /// Whether a frame waits for room.
    pub(crate) const fn is_blocked(&self) -> bool {
        self.blocked.is_some()
    }

    /// The frame that waits for room, to be sent now or not at all.
    pub(crate) const fn take_blocked(&mut self) -> Option<Frame> {
        self.blocked.take()
    }

    /// Lets go of a frame that waits for room though the message that it belongs to was given up; says whether there was one.
    pub(crate) fn give_up(&mut self) -> bool {
        let gave_up = self.blocked.take().is_some();
        self.counts.given_up += u64::from(gave_up);
        gave_up
    }

    /// Hands a frame to the bus; keeps it where there is no room.
    ///
    /// # Errors
    /// [`BusError`] if the bus is gone for good.
    pub(crate) fn send(&mut self, frame: Frame) -> Result<Sent, BusError> {
        // What a driver does with an error frame that a process writes is its own affair: none goes to a wire.
        if frame.kind() == FrameKind::Error && self.watch.is_some() {
            return Ok(Sent::Handed);
        }
        let sent = self.bus.try_send(&frame)?;
        match sent {
            Sent::Handed => self.counts.sent += 1,
            Sent::Queued => {
                self.counts.sent += 1;
                self.queued = Some(frame);
            }
            Sent::Down => self.counts.sent_while_down += 1,
            Sent::Later => self.blocked = Some(frame),
        }
        Ok(sent)
    }

    /// Sorts what the bus reports.
    ///
    /// # Errors
    /// [`BenchError`] if the bench is none any more.
    pub(crate) fn sort(
        &mut self,
        event: BusEvent,
        now: impl FnOnce() -> BusInstant,
    ) -> Result<Heard, BenchError> {
        let told = match event {
            BusEvent::Frame(received) => {
                if let Some(watch) = &self.watch {
                    watch.check(&received)?;
                }
                if received.frame.kind() != FrameKind::Error {
                    self.counts.received += 1;
                    return Ok(Heard::Frame(received.frame));
                }
                ErrorFrame::decode(&received.frame).and_then(|error| {
                    let more = self.errors.note(now(), error)?;
                    Some(Heard::BusError(error, more))
                })
            }
            BusEvent::Passed(received) => {
                // One that was given up meanwhile may still pass, late: it confirms nothing.
                let ours = self.queued.take_if(|queued| *queued == received.frame);
                ours.map(Heard::Passed)
            }
            BusEvent::Down => Some(Heard::Down),
            BusEvent::TurnedAway(why) => {
                let more = self.turned_away.note(now(), why);
                more.map(|more| Heard::TurnedAway(why, more))
            }
        };
        Ok(told.unwrap_or(Heard::Nothing))
    }
}

/// When a frame is on the bus that was begun to be written at one instant, by the clock after it.
pub(crate) fn written(begun: BusInstant, after: BusInstant) -> BusInstant {
    after.min(begun + WRITTEN_WITHIN)
}
