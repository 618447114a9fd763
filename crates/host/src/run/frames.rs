//! Frames of a run: in from the bus, through the simulator, out to the bus; and counted.

use std::time::Duration;

use twotrip_can::{FrameKind, error_frame::ErrorFrame};
use twotrip_units::BusInstant;

use super::{Notice, Run, RunError};
use crate::{
    bench::Watch,
    bus::{BusError, BusEvent, Received, Sent},
};

/// Longest time that writing a frame counts for, below N_As (25 ms, ISO 15765-4): where the computer stood still over
/// the write, the bus has the frame all the same, and the answer goes on. (Seen in the emulated guest: a halt of 70 ms
/// broke off an answer of 4095 bytes.)
const WRITTEN_WITHIN: Duration = Duration::from_millis(20);
/// Longest time that requests are answered one after the other without a look at anything else.
const STAY: Duration = Duration::from_millis(10);

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

impl Run {
    /// Ends the run by an error as soon as something else than a tester is heard.
    pub const fn watch(&mut self, watch: Watch) {
        self.watch = Some(watch);
    }

    /// Frames so far, for a report; asks the kernel.
    #[must_use]
    pub fn traffic(&self) -> Traffic {
        Traffic {
            errors: self.errors.seen(),
            dropped_by_kernel: self.bus.dropped(),
            lost: self.bus.lost(),
            ..self.traffic
        }
    }

    pub(super) fn take(
        &mut self,
        event: BusEvent,
        notice: &mut impl FnMut(Notice<'_>),
    ) -> Result<(), RunError> {
        match event {
            BusEvent::Frame(received) => {
                if let Some(watch) = &self.watch {
                    watch.check(&received)?;
                }
                if received.frame.kind() == FrameKind::Error {
                    self.note_error(&received, notice);
                    return Ok(());
                }
                self.traffic.received += 1;
                let now = self.now();
                if !self.has_work() {
                    self.pass_time(now);
                }
                self.simulator.handle_frame(now, &received.frame);
                self.send_frames(now)?;
            }
            // One that was given up meanwhile may still pass, late: it confirms nothing.
            BusEvent::Passed(received) if self.queued == Some(received.frame) => {
                self.queued = None;
                let now = self.now();
                self.simulator.handle_transmitted(now);
                self.send_frames(now)?;
            }
            BusEvent::Passed(_) => {}
            BusEvent::Down => {
                if self.blocked.take().is_some() {
                    let now = self.now();
                    self.simulator.give_up(now);
                }
                notice(Notice::BusDown);
            }
            BusEvent::TurnedAway(why) => {
                let now = self.now();
                if let Some(more) = self.turned_away.note(now, why) {
                    notice(Notice::TurnedAway { why, more });
                }
            }
        }
        Ok(())
    }

    fn note_error(&mut self, received: &Received, notice: &mut impl FnMut(Notice<'_>)) {
        let now = self.now();
        if let Some(error) = ErrorFrame::decode(&received.frame)
            && let Some(more) = self.errors.note(now, error)
        {
            notice(Notice::BusError { error, more });
        }
    }

    /// Sends what the simulator has to send, in order; a full queue keeps the frame for later, unless the answer that
    /// it belongs to has been given up meanwhile.
    ///
    /// The clock is read again once the bus has a frame: STmin counts from its end, N_Bs too, and writing it takes a
    /// good part of the shortest STmin.
    pub(super) fn send_frames(&mut self, mut now: BusInstant) -> Result<(), BusError> {
        if self.blocked.is_some() && !self.simulator.has_frame_in_flight() {
            self.blocked = None;
            self.simulator.give_up(now);
            self.traffic.given_up += 1;
        }
        while let Some(frame) = self.blocked.take().or_else(|| self.simulator.poll_frame(now)) {
            if !self.may_tell() {
                self.simulator.withhold_answers(now);
                break;
            }
            if let Some(tap) = &self.tap {
                tap.sending(&frame);
            }
            let sent = self.bus.try_send(&frame)?;
            if let (Sent::Later | Sent::Down, Some(tap)) = (sent, &self.tap) {
                tap.not_sent();
            }
            match sent {
                Sent::Handed => {
                    self.traffic.sent += 1;
                    now = self.now().min(now + WRITTEN_WITHIN);
                    self.simulator.handle_transmitted(now);
                }
                Sent::Queued => {
                    self.traffic.sent += 1;
                    self.queued = Some(frame);
                }
                Sent::Down => {
                    self.traffic.sent_while_down += 1;
                    now = self.now().min(now + WRITTEN_WITHIN);
                    self.simulator.handle_sent_nowhere(now);
                }
                Sent::Later => {
                    self.blocked = Some(frame);
                    break;
                }
            }
        }
        self.put_down();
        Ok(())
    }

    /// After a frame of our own: many testers ask the next question at once, and flow control comes at once, so it is
    /// cheapest to wait for it on the spot. Whoever else is there, the control socket, a signal, waits for it some
    /// milliseconds at the most.
    pub(super) fn stay(
        &mut self,
        deadline: BusInstant,
        notice: &mut impl FnMut(Notice<'_>),
    ) -> Result<(), RunError> {
        let until = deadline.min(self.passed + STAY);
        while self.passed < until && self.may_stay() {
            let before = self.passed;
            let Some(event) = self.bus.recv_soon()? else {
                break;
            };
            self.take(event, notice)?;
            self.take_read(notice)?;
            if self.passed == before {
                // No request, and no clock read: errors of the bus, say, of which there may be no end.
                break;
            }
        }
        Ok(())
    }

    /// Whether nothing is to be done for a while but to listen.
    fn may_stay(&self) -> bool {
        let next = self.simulator.poll_timeout();
        next.is_none_or(|next| next.saturating_since(self.passed) > 2 * STAY)
            && self.is_calm_but_for_deadlines()
    }
}
