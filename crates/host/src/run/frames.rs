//! Frames of a run: in from the bus, through the simulator, out to the bus.

use std::time::Duration;

use twotrip_units::BusInstant;

use super::{
    Notice, Run, RunError, Traffic,
    port::{Heard, written},
};
use crate::{
    bench::Watch,
    bus::{BusError, BusEvent, Sent},
};

/// Longest time that requests are answered one after the other without a look at anything else.
const STAY: Duration = Duration::from_millis(10);

impl Run {
    /// Ends the run by an error as soon as something else than a tester is heard.
    pub const fn watch(&mut self, watch: Watch) {
        self.port.watch = Some(watch);
    }

    /// Frames so far, for a report; asks the kernel.
    #[must_use]
    pub fn traffic(&self) -> Traffic {
        self.port.traffic()
    }

    pub(super) fn take(
        &mut self,
        event: BusEvent,
        notice: &mut impl FnMut(Notice<'_>),
    ) -> Result<(), RunError> {
        let heard = self
            .port
            .sort(event, || BusInstant::ZERO + self.begun.elapsed())?;
        match heard {
            Heard::Frame(frame) => {
                let now = self.now();
                self.last_heard = now;
                self.judge.hear(now, self.port.noted(), &frame);
                if !self.has_work() {
                    self.pass_time(now);
                }
                self.verdicts.feed(&mut self.simulator, now, &frame);
                self.simulator.handle_frame(now, &frame);
                self.send_frames(now)?;
                self.judge.think_if_many(now);
            }
            Heard::Passed(frame) => {
                let now = self.now();
                self.judge.hear(now, self.port.noted(), &frame);
                self.simulator.handle_transmitted(now);
                self.send_frames(now)?;
            }
            Heard::Down => {
                if self.port.take_blocked().is_some() {
                    let now = self.now();
                    self.simulator.give_up(now);
                }
                notice(Notice::BusDown);
            }
            Heard::BusError(error, more) => notice(Notice::BusError { error, more }),
            Heard::TurnedAway(why, more) => notice(Notice::TurnedAway { why, more }),
            Heard::Nothing => {}
        }
        Ok(())
    }

    /// Sends what the simulator has to send, in order; a full queue keeps the frame for later, unless the answer that
    /// it belongs to has been given up meanwhile.
    ///
    /// The clock is read again once the bus has a frame: STmin counts from its end, N_Bs too, and writing it takes a
    /// good part of the shortest STmin.
    pub(super) fn send_frames(&mut self, mut now: BusInstant) -> Result<(), BusError> {
        if !self.simulator.has_frame_in_flight() && self.port.give_up() {
            self.simulator.give_up(now);
        }
        while let Some(frame) = (self.port.take_blocked()).or_else(|| self.simulator.poll_frame(now)) {
            if !self.may_tell() {
                self.simulator.withhold_answers(now);
                break;
            }
            if let Some(tap) = &self.tap {
                tap.sending(&frame);
            }
            let sent = self.port.send(frame)?;
            if let (Sent::Later | Sent::Down, Some(tap)) = (sent, &self.tap) {
                tap.not_sent();
            }
            if matches!(sent, Sent::Handed | Sent::Queued) {
                self.verdicts.feed(&mut self.simulator, now, &frame);
            }
            match sent {
                Sent::Handed => {
                    let after = self.now();
                    self.judge.hear_sent(now, after, &frame);
                    now = written(now, after);
                    self.simulator.handle_transmitted(now);
                }
                // Heard when it has passed.
                Sent::Queued => {}
                Sent::Down => {
                    now = written(now, self.now());
                    self.simulator.handle_sent_nowhere(now);
                }
                Sent::Later => break,
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
            let Some(event) = self.port.bus.recv_soon()? else {
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
