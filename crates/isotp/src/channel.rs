//! One address pair: the two state machines of ISO 15765-2 behind one door, their frames and deadlines.
//!
//! Which frame disturbs which transfer follows the table of unexpected PDUs in ISO 15765-2 (as AUTOSAR CanTp
//! SWS_CanTp_00057 repeats it).

use core::fmt;

use twotrip_can::{Frame, address::Addressing};
use twotrip_units::BusInstant;

use crate::{
    Config, Deviation, Direction, Dlc, Duplex, Event, FlowStatus, Frames, Ignored, NResult, Pdu, StMin,
    deviation::{Deviating, EXCESS, Fate},
    event::Events,
    frames::CLASSIC,
    receive::{FunctionalReceiver, Receiver},
    transmit::{Outcome, Transmitter},
};

/// Why a message was not taken for sending; the caller's own slip, the channel is as before.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SendError {
    /// A message has at least one byte.
    #[error("message is empty, needs at least 1 byte")]
    Empty,
    /// More than [`Config::transmit_limit`].
    #[error("message of `{length}` bytes, allowed up to `{limit}`")]
    TooLong {
        /// Length of the message, bytes.
        length: usize,
        /// The limit, bytes.
        limit: usize,
    },
    /// The message before has not left yet, see [`Channel::is_transmitting`].
    #[error("the message before has not left yet")]
    Transmitting,
    /// A message arrives, and the channel is half-duplex.
    #[error("a message arrives and the channel is half-duplex")]
    Receiving,
}

/// Which machine a frame on its way to the bus belongs to, and until when the bus must have taken it.
#[derive(Clone, Copy, Debug)]
struct InFlight {
    direction: Direction,
    deadline: BusInstant,
}

/// A transport channel without IO: one peer, both directions.
///
/// After every `handle_*` and every [`send`](Self::send): [`poll_frame`](Self::poll_frame) until `None`,
/// [`poll_event`](Self::poll_event) until `None`, then ask [`poll_timeout`](Self::poll_timeout) when to call
/// [`handle_timeout`](Self::handle_timeout) at the latest. Extra calls do no harm. `now` never goes back.
///
/// One frame is on its way at a time. The caller puts it on the bus and calls
/// [`handle_transmitted`](Self::handle_transmitted) with the instant at which the bus had taken it (the end of the frame; on
/// SocketCAN its echo). **Without that call nothing goes on**: the channel waits for it until N_As (or N_Ar)
/// has run out and gives the transfer up, as it must when nobody acknowledges a frame. A caller whose queue is
/// full keeps the frame and tries again meanwhile; after a failure by [`NResult::TimeoutA`] it drops it.
///
/// At one instant deadlines count before frames, so the outcome hangs on the instants alone.
/// Nothing is allocated after construction.
#[derive(Clone)]
pub struct Channel {
    config: Config,
    transmitter: Transmitter,
    receiver: Receiver,
    functional: FunctionalReceiver,
    in_flight: Option<InFlight>,
    deviating: Option<Deviating>,
    events: Events,
    latest: BusInstant,
}

impl Channel {
    /// An idle channel.
    #[must_use]
    pub fn new(config: Config) -> Self {
        let transmit_limit = config
            .transmit_limit
            .min(usize::try_from(u32::MAX).unwrap_or(usize::MAX));
        Self {
            transmitter: Transmitter::new(transmit_limit, config.profile.frames.rooms()),
            receiver: Receiver::new(config.receive_limit),
            functional: FunctionalReceiver::default(),
            in_flight: None,
            deviating: None,
            events: Events::default(),
            latest: BusInstant::ZERO,
            config,
        }
    }

    /// The settings.
    #[must_use]
    pub const fn config(&self) -> &Config {
        &self.config
    }

    /// From now on the channel misbehaves like this, or no more. A message under way goes on with it.
    pub fn deviate(&mut self, deviation: Option<Deviation>) {
        match (&mut self.deviating, deviation) {
            (Some(deviating), Some(deviation)) => deviating.policy = deviation,
            (deviating, deviation) => *deviating = deviation.map(Deviating::new),
        }
    }

    /// How the channel misbehaves.
    #[must_use]
    pub fn deviation(&self) -> Option<&Deviation> {
        self.deviating.as_ref().map(|deviating| &deviating.policy)
    }

    /// Whether a message is leaving: from [`send`](Self::send) until its last frame is acknowledged or it is given up.
    #[must_use]
    pub const fn is_transmitting(&self) -> bool {
        !self.transmitter.is_idle()
    }

    /// Whether a message of several frames is leaving whose last one has not been handed over. Once it has been, the
    /// message may be complete for the peer, and its next one may arrive at any moment.
    #[must_use]
    pub const fn is_in_the_middle(&self) -> bool {
        self.transmitter.is_in_the_middle()
    }

    /// Whether a frame has been polled that is neither acknowledged nor given up: an owner of several channels
    /// finds by it whose frame the bus has taken.
    #[must_use]
    pub const fn has_frame_in_flight(&self) -> bool {
        self.in_flight.is_some()
    }

    /// Whether a message of several frames is arriving.
    #[must_use]
    pub const fn is_receiving(&self) -> bool {
        !self.receiver.is_idle()
    }

    /// The last message that arrived complete by this addressing; empty if there is none, or a new one has begun.
    #[must_use]
    pub fn message(&self, addressing: Addressing) -> &[u8] {
        match addressing {
            Addressing::Functional => self.functional.message(),
            Addressing::Physical => self.receiver.message(),
        }
    }

    /// Events that found no room because nobody polled, since the start.
    #[must_use]
    pub const fn lost_events(&self) -> u64 {
        self.events.lost()
    }

    /// Sends a message.
    ///
    /// # Errors
    /// [`SendError`]; the channel is as before.
    pub fn send(&mut self, now: BusInstant, message: &[u8]) -> Result<(), SendError> {
        self.handle_timeout(now);
        if message.is_empty() {
            return Err(SendError::Empty);
        }
        let (length, limit) = (message.len(), self.transmitter.limit());
        if length > limit {
            return Err(SendError::TooLong { length, limit });
        }
        if self.is_transmitting() {
            return Err(SendError::Transmitting);
        }
        if self.config.duplex == Duplex::Half && self.is_receiving() {
            return Err(SendError::Receiving);
        }
        self.transmitter.start(message);
        if let Some(deviating) = &mut self.deviating {
            let len = deviating.begin_message(length, limit);
            self.transmitter.falsify(len, EXCESS);
        }
        Ok(())
    }

    /// Drops both transfers, frames and events, as when the power goes.
    pub fn reset(&mut self) {
        self.transmitter.abort();
        self.receiver.abort();
        self.functional = FunctionalReceiver::default();
        self.in_flight = None;
        if let Some(deviating) = &mut self.deviating {
            deviating.abort();
        }
        while self.events.pop().is_some() {}
    }

    /// A frame came in; frames for others may be passed in too.
    pub fn handle_frame(&mut self, now: BusInstant, frame: &Frame) {
        self.handle_timeout(now);
        let functional = self.config.functional_id == Some(frame.id());
        if !functional && frame.id() != self.config.receive_id {
            return;
        }
        let unit = match self.read(frame) {
            Ok(unit) => unit,
            Err(reason) => return self.events.ignored(reason),
        };
        if functional {
            return self.functional.on_pdu(unit, &mut self.events);
        }
        match unit {
            Pdu::FlowControl {
                status,
                block_size,
                st_min,
            } => {
                if self.deviating.is_some_and(|deviating| deviating.is_deaf()) {
                    return;
                }
                let outcome = self
                    .transmitter
                    .on_flow_control(now, &self.config, status, block_size, st_min);
                self.report(outcome);
            }
            Pdu::SingleFrame { .. } | Pdu::FirstFrame { .. }
                if self.config.duplex == Duplex::Half && self.is_transmitting() =>
            {
                self.events.ignored(Ignored::Transmitting);
            }
            Pdu::SingleFrame { payload } => self.receiver.on_single_frame(payload, &mut self.events),
            Pdu::FirstFrame { length, payload } => {
                if let Some(deviating) = &mut self.deviating {
                    deviating.begin_reception();
                }
                self.receiver
                    .on_first_frame(length, payload, &self.config, &mut self.events);
            }
            Pdu::ConsecutiveFrame {
                sequence_number,
                payload,
            } => self.receiver.on_consecutive_frame(
                now,
                sequence_number,
                payload,
                &self.config,
                &mut self.events,
            ),
        }
    }

    fn read(&self, frame: &Frame) -> Result<Pdu, Ignored> {
        let profile = &self.config.profile;
        if !profile.frames.include(frame) {
            return Err(match profile.frames {
                Frames::Classic => Ignored::NotClassicData,
                Frames::Fd { .. } => Ignored::NotFd,
            });
        }
        let found = frame.len();
        if profile.dlc == Dlc::Strict && found < CLASSIC {
            return Err(Ignored::DlcNotEight { found });
        }
        Ok(Pdu::parse(frame.data())?)
    }

    /// The bus has taken the frame of the last [`poll_frame`](Self::poll_frame); `now` is the end of that frame.
    /// Without such a frame, or after its time has run out, nothing happens.
    pub fn handle_transmitted(&mut self, now: BusInstant) {
        self.handle_timeout(now);
        match self.in_flight.take().map(|in_flight| in_flight.direction) {
            Some(Direction::Receive) => self.receiver.on_transmitted(now, &self.config),
            // The same frame once more, before the transfer goes on.
            Some(Direction::Transmit)
                if self
                    .deviating
                    .is_some_and(|deviating| deviating.has_frame_again()) => {}
            Some(Direction::Transmit) => self.on_passed(now),
            None => {}
        }
    }

    /// A frame of our message has passed.
    fn on_passed(&mut self, now: BusInstant) {
        let outcome = self.transmitter.on_transmitted(now, &self.config);
        self.report(outcome);
        if self.deviating.is_some_and(|deviating| deviating.is_impatient()) {
            let status = FlowStatus::ContinueToSend;
            // Nobody waits for it but after a first frame: of the others nothing comes.
            self.transmitter
                .on_flow_control(now, &self.config, status, 0, StMin::ZERO);
        }
    }

    fn report(&mut self, outcome: Outcome) {
        match outcome {
            Outcome::Continues => {}
            Outcome::Sent => self.events.push(Event::Sent),
            Outcome::Failed(result) => self.events.failed(Direction::Transmit, result),
            Outcome::Unexpected => self.events.ignored(Ignored::FlowControl),
        }
    }

    /// Time has passed: gives up what has run out by `now`.
    pub fn handle_timeout(&mut self, now: BusInstant) {
        debug_assert!(now >= self.latest, "time goes back from {} to {now}", self.latest);
        self.latest = now;
        let due = |deadline: Option<BusInstant>| deadline.is_some_and(|deadline| deadline <= now);
        if due(self.in_flight.map(|in_flight| in_flight.deadline)) {
            match self.in_flight.take().map(|in_flight| in_flight.direction) {
                Some(Direction::Receive) => self.receiver.on_not_transmitted(&mut self.events),
                Some(Direction::Transmit) => self.fail_transmission(NResult::TimeoutA),
                None => {}
            }
        }
        if due(self.transmitter.n_bs()) {
            self.fail_transmission(NResult::TimeoutBs);
        }
        if due(self.receiver.n_cr()) {
            self.receiver.on_n_cr(&mut self.events);
        }
    }

    fn fail_transmission(&mut self, result: NResult) {
        if self.is_transmitting() {
            self.transmitter.abort();
            if let Some(deviating) = &mut self.deviating {
                deviating.abort();
            }
            self.events.failed(Direction::Transmit, result);
        }
    }

    /// The next frame for the bus; N_As (N_Ar for flow control) runs from `now` on.
    #[must_use]
    pub fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        if self.in_flight.is_some() {
            return None;
        }
        if self.deviating.is_some() {
            return self.poll_deviating_frame(now);
        }
        let timers = &self.config.profile.timers;
        let (unit, direction, limit) = if let Some(unit) = self.receiver.next(&self.config) {
            (unit, Direction::Receive, timers.n_ar)
        } else {
            (self.transmitter.next(now)?, Direction::Transmit, timers.n_as)
        };
        self.in_flight = Some(InFlight {
            direction,
            deadline: now + limit,
        });
        let profile = &self.config.profile;
        Some(unit.to_frame(self.config.transmit_id, profile.pad, profile.frames))
    }

    /// The next frame of a channel that misbehaves.
    fn poll_deviating_frame(&mut self, now: BusInstant) -> Option<Frame> {
        let timers = self.config.profile.timers;
        loop {
            let deviating = self.deviating.as_mut()?;
            let (mut unit, direction, limit) = match deviating.grant(now, &mut self.receiver, &self.config) {
                Some(unit) => (unit, Direction::Receive, timers.n_ar),
                None => {
                    if let Some(frame) = deviating.take_again() {
                        self.in_flight = Some(InFlight {
                            direction: Direction::Transmit,
                            deadline: now + timers.n_as,
                        });
                        return Some(frame);
                    }
                    (self.transmitter.next(now)?, Direction::Transmit, timers.n_as)
                }
            };
            let fate = match direction {
                Direction::Receive => Fate::Goes,
                Direction::Transmit => deviating.on_unit(&mut unit),
            };
            if fate == Fate::IsLost {
                self.on_passed(now);
                continue;
            }
            let frame = deviating.frame(&unit, &self.config, fate);
            self.in_flight = Some(InFlight {
                direction,
                deadline: now + limit,
            });
            return Some(frame);
        }
    }

    /// What happened.
    #[must_use]
    pub fn poll_event(&mut self) -> Option<Event> {
        self.events.pop()
    }

    /// When to call [`handle_timeout`](Self::handle_timeout), and [`poll_frame`](Self::poll_frame) after it, at
    /// the latest. May lie in the past if a frame waits to be polled.
    #[must_use]
    pub fn poll_timeout(&self) -> Option<BusInstant> {
        let frame = match self.in_flight {
            Some(in_flight) => Some(in_flight.deadline),
            None => match (self.receiver.owes(), &self.deviating) {
                (true, None) => Some(BusInstant::ZERO),
                (false, None) => self.transmitter.next_at(),
                (owes, Some(deviating)) => {
                    let again = deviating.has_frame_again().then_some(BusInstant::ZERO);
                    let owed = owes.then_some(deviating.resumes());
                    [again, owed, self.transmitter.next_at()]
                        .into_iter()
                        .flatten()
                        .min()
                }
            },
        };
        [frame, self.transmitter.n_bs(), self.receiver.n_cr()]
            .into_iter()
            .flatten()
            .min()
    }
}

impl fmt::Debug for Channel {
    /// Without the buffers.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Channel")
            .field("receive_id", &self.config.receive_id)
            .field("transmit_id", &self.config.transmit_id)
            .field("transmitting", &self.is_transmitting())
            .field("receiving", &self.is_receiving())
            .field("in_flight", &self.in_flight)
            .finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests;
