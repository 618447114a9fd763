//! The receiving state machine of ISO 15765-2: collects a message, owes flow control, watches N_Cr.

use alloc::{boxed::Box, vec};

use twotrip_can::address::Addressing;
use twotrip_units::BusInstant;

use crate::{
    Config, Direction, Event, FlowStatus, Ignored, NResult, Payload, Pdu,
    event::Events,
    frames::{Rooms, first_header},
};

#[derive(Clone, Copy, Debug)]
enum State {
    /// Nothing arrives; the first `complete` bytes of the buffer are the last message.
    Idle { complete: usize },
    Receiving {
        length: usize,
        received: usize,
        /// Message bytes in a full consecutive frame: RX_DL, which the first frame has set, without its PCI.
        room: usize,
        expected_sn: u8,
        /// Frames left until the next flow control; `None` without a limit.
        block_left: Option<u8>,
        /// Runs from our flow control or the last consecutive frame.
        n_cr: Option<BusInstant>,
    },
}

const NOTHING: State = State::Idle { complete: 0 };

#[derive(Clone, Debug)]
pub(crate) struct Receiver {
    state: State,
    message: Box<[u8]>,
    /// Flow control that has not been handed over yet.
    owed: Option<FlowStatus>,
}

impl Receiver {
    pub(crate) fn new(limit: usize) -> Self {
        Self {
            state: NOTHING,
            message: vec![0; limit].into_boxed_slice(),
            owed: None,
        }
    }

    pub(crate) const fn is_idle(&self) -> bool {
        matches!(self.state, State::Idle { .. })
    }

    /// The last complete message; empty once a new one has begun.
    pub(crate) fn message(&self) -> &[u8] {
        match self.state {
            State::Idle { complete } => &self.message[..complete],
            State::Receiving { .. } => &[],
        }
    }

    pub(crate) const fn owes(&self) -> bool {
        self.owed.is_some()
    }

    pub(crate) const fn owed(&self) -> Option<FlowStatus> {
        self.owed
    }

    pub(crate) fn abort(&mut self) {
        self.state = NOTHING;
        self.owed = None;
    }

    /// Gives up what arrives; an overflow still owed to an earlier message stays owed.
    fn fail(&mut self, result: NResult, events: &mut Events) {
        if self.is_idle() {
            return;
        }
        self.state = NOTHING;
        self.owed = self.owed.filter(|status| *status == FlowStatus::Overflow);
        events.failed(Direction::Receive, result);
    }

    pub(crate) fn on_single_frame(&mut self, payload: Payload, events: &mut Events) {
        self.fail(NResult::UnexpPdu, events);
        let message = payload.as_slice();
        let complete = message.len().min(self.message.len());
        if complete < message.len() {
            events.ignored(Ignored::TooLong {
                length: u32::try_from(message.len()).unwrap_or(u32::MAX),
                limit: self.message.len(),
            });
            return;
        }
        self.message[..complete].copy_from_slice(message);
        self.state = State::Idle { complete };
        events.push(Event::Received {
            addressing: Addressing::Physical,
        });
    }

    pub(crate) fn on_first_frame(
        &mut self,
        length: u32,
        payload: Payload,
        config: &Config,
        events: &mut Events,
    ) {
        self.fail(NResult::UnexpPdu, events);
        let limit = self.message.len();
        let Some(length) = usize::try_from(length).ok().filter(|&length| length <= limit) else {
            self.state = NOTHING;
            self.owed = Some(FlowStatus::Overflow);
            events.ignored(Ignored::TooLong { length, limit });
            return;
        };
        let start = payload.as_slice();
        self.message[..start.len()].copy_from_slice(start);
        // The first frame fills its frame, so what it carries tells how long that was.
        let longest = start.len() + first_header(length);
        self.state = State::Receiving {
            length,
            received: start.len(),
            room: Rooms::of_frames(longest).consecutive(),
            expected_sn: 1,
            block_left: block(config),
            n_cr: None,
        };
        self.owed = Some(FlowStatus::ContinueToSend);
        events.push(Event::Started { length });
    }

    pub(crate) fn on_consecutive_frame(
        &mut self,
        now: BusInstant,
        found: u8,
        payload: Payload,
        config: &Config,
        events: &mut Events,
    ) {
        let State::Receiving {
            length,
            received,
            room,
            expected_sn,
            block_left,
            n_cr,
        } = &mut self.state
        else {
            return events.ignored(Ignored::ConsecutiveFrame { found });
        };
        // Not awaited before our flow control is on its way.
        if self.owed.is_some() {
            return events.ignored(Ignored::ConsecutiveFrame { found });
        }
        if found != *expected_sn {
            let expected = *expected_sn;
            return self.fail(NResult::WrongSn { expected, found }, events);
        }
        let rest = &mut self.message[*received..*length];
        let bytes = payload.as_slice();
        let needed = rest.len().min(*room);
        if bytes.len() > *room {
            let (found, room) = (bytes.len(), *room);
            return events.ignored(Ignored::ConsecutiveFrameLong { found, room });
        }
        let Some(bytes) = bytes.get(..needed) else {
            return events.ignored(Ignored::ConsecutiveFrameCut {
                found: bytes.len(),
                needed,
            });
        };
        rest[..needed].copy_from_slice(bytes);
        *received += needed;
        *expected_sn = (found + 1) % 16;
        if *received == *length {
            self.state = State::Idle { complete: *length };
            events.push(Event::Received {
                addressing: Addressing::Physical,
            });
            return;
        }
        *block_left = block_left.map(|left| left.saturating_sub(1));
        if *block_left == Some(0) {
            *block_left = block(config);
            *n_cr = None;
            self.owed = Some(FlowStatus::ContinueToSend);
        } else {
            *n_cr = Some(now + config.profile.timers.n_cr);
        }
    }

    /// The flow control that is owed; it counts as handed over.
    pub(crate) fn next(&mut self, config: &Config) -> Option<Pdu> {
        self.owed.take().map(|status| Pdu::FlowControl {
            status,
            block_size: config.block_size,
            st_min: config.st_min,
        })
    }

    /// Our flow control has passed on the bus at `now`. A consecutive frame may have overtaken this news.
    pub(crate) fn on_transmitted(&mut self, now: BusInstant, config: &Config) {
        if let State::Receiving {
            n_cr: n_cr @ None, ..
        } = &mut self.state
            && self.owed.is_none()
        {
            *n_cr = Some(now + config.profile.timers.n_cr);
        }
    }

    /// The bus did not take our flow control in time (N_Ar).
    pub(crate) fn on_not_transmitted(&mut self, events: &mut Events) {
        if self.is_idle() {
            events.failed(Direction::Receive, NResult::TimeoutA);
        } else {
            self.fail(NResult::TimeoutA, events);
        }
    }

    /// When N_Cr runs out.
    pub(crate) const fn n_cr(&self) -> Option<BusInstant> {
        match self.state {
            State::Receiving { n_cr, .. } => n_cr,
            State::Idle { .. } => None,
        }
    }

    pub(crate) fn on_n_cr(&mut self, events: &mut Events) {
        self.fail(NResult::TimeoutCr, events);
    }
}

fn block(config: &Config) -> Option<u8> {
    (config.block_size > 0).then_some(config.block_size)
}

/// The bytes of a functionally addressed single frame: a transfer of its own (another N_AI).
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct FunctionalReceiver {
    message: Payload,
}

impl FunctionalReceiver {
    pub(crate) fn message(&self) -> &[u8] {
        self.message.as_slice()
    }

    pub(crate) fn on_pdu(&mut self, unit: Pdu, events: &mut Events) {
        if let Pdu::SingleFrame { payload } = unit {
            self.message = payload;
            events.push(Event::Received {
                addressing: Addressing::Functional,
            });
        } else {
            events.ignored(Ignored::FunctionalNotSingle);
        }
    }
}
