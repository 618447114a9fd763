//! What a channel tells the layer above, and the short queue it waits in.

use twotrip_can::address::Addressing;

use crate::ParseError;

/// Which of the two state machines of a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// A message that arrives.
    Receive,
    /// A message that leaves.
    Transmit,
}

/// Why a transfer was given up: the results of ISO 15765-2 by their names there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NResult {
    /// N_TIMEOUT_A: the bus did not take our frame in time.
    #[error("frame not acknowledged on the bus in time (N_TIMEOUT_A)")]
    TimeoutA,
    /// N_TIMEOUT_Bs: no flow control in time.
    #[error("no flow control in time (N_TIMEOUT_Bs)")]
    TimeoutBs,
    /// N_TIMEOUT_Cr: no consecutive frame in time.
    #[error("no consecutive frame in time (N_TIMEOUT_Cr)")]
    TimeoutCr,
    /// N_WRONG_SN: a consecutive frame was lost, repeated or out of order.
    #[error("sequence number `{found:X}`, expected `{expected:X}` (N_WRONG_SN)")]
    WrongSn {
        /// The number that was due.
        expected: u8,
        /// The number that came.
        found: u8,
    },
    /// N_INVALID_FS: flow control with a reserved status.
    #[error("flow status `{found:X}` is reserved (N_INVALID_FS)")]
    InvalidFs {
        /// The status.
        found: u8,
    },
    /// N_UNEXP_PDU: a new message began before the old one was complete.
    #[error("new message before the end of the old one (N_UNEXP_PDU)")]
    UnexpPdu,
    /// N_BUFFER_OVFLW: the receiver has no room for our message.
    #[error("receiver reports an overflow (N_BUFFER_OVFLW)")]
    BufferOvflw,
}

/// Why a frame for this channel had no effect on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Ignored {
    /// Remote or error frame, or one of CAN FD.
    #[error("not a classic data frame")]
    NotClassicData,
    /// Any other frame than one of CAN FD, where messages travel in such ones.
    #[error("not a CAN FD frame")]
    NotFd,
    /// A frame shorter than eight bytes (ISO 15765-4, from memory).
    #[error("frame of `{found}` bytes, must be 8")]
    DlcNotEight {
        /// Bytes of the frame.
        found: usize,
    },
    /// Not a protocol data unit.
    #[error(transparent)]
    Malformed(#[from] ParseError),
    /// Functional addressing carries single frames only.
    #[error("functionally addressed frame that is not a single frame")]
    FunctionalNotSingle,
    /// A consecutive frame that nobody waited for.
    #[error("consecutive frame `{found:X}` while none is due")]
    ConsecutiveFrame {
        /// Its sequence number.
        found: u8,
    },
    /// A consecutive frame that is short and not the last.
    #[error("consecutive frame with `{found}` bytes of message, needs `{needed}`")]
    ConsecutiveFrameCut {
        /// Message bytes in the frame.
        found: usize,
        /// Message bytes that it should have.
        needed: usize,
    },
    /// A consecutive frame longer than the first frame of its message (RX_DL, ISO 15765-2:2016).
    #[error("consecutive frame with `{found}` bytes of message, allowed up to `{room}`")]
    ConsecutiveFrameLong {
        /// Message bytes in the frame.
        found: usize,
        /// As many as it may have.
        room: usize,
    },
    /// A flow control that nobody waited for.
    #[error("flow control while none is due")]
    FlowControl,
    /// A single or first frame while our message leaves, with [`Duplex::Half`](crate::Duplex::Half).
    #[error("new message while a message leaves, half duplex")]
    Transmitting,
    /// A message above the receive limit; answered with an overflow.
    #[error("message of `{length}` bytes, allowed up to `{limit}`")]
    TooLong {
        /// FF_DL.
        length: u32,
        /// The limit.
        limit: usize,
    },
}

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// A message is complete: read it by [`Channel::message`](crate::Channel::message) before the next frame goes in.
    Received {
        /// How it was addressed.
        addressing: Addressing,
    },
    /// A longer message has begun to arrive.
    Started {
        /// Its length, bytes.
        length: usize,
    },
    /// Our message has left, its last frame is acknowledged.
    Sent,
    /// A transfer was given up. Nothing of it will be delivered or sent any more.
    Failed {
        /// Which one.
        direction: Direction,
        /// Why.
        result: NResult,
    },
    /// A frame for this channel that had no effect.
    Ignored {
        /// The rule it broke.
        reason: Ignored,
    },
}

/// Room for events between two polls. One call makes three at most.
const CAPACITY: usize = 8;
/// Room that ignored frames may take of it, so that a flood of them hides nothing else.
const IGNORED_CAPACITY: usize = 4;

/// A ring of events; what does not fit is counted.
#[derive(Clone, Debug, Default)]
pub(crate) struct Events {
    ring: [Option<Event>; CAPACITY],
    first: usize,
    len: usize,
    lost: u64,
}

impl Events {
    pub(crate) fn push(&mut self, event: Event) {
        let room = match event {
            Event::Ignored { .. } => IGNORED_CAPACITY,
            _ => CAPACITY,
        };
        if self.len >= room {
            self.lost = self.lost.saturating_add(1);
            return;
        }
        self.ring[(self.first + self.len) % CAPACITY] = Some(event);
        self.len += 1;
    }

    pub(crate) fn ignored(&mut self, reason: Ignored) {
        self.push(Event::Ignored { reason });
    }

    pub(crate) fn failed(&mut self, direction: Direction, result: NResult) {
        self.push(Event::Failed { direction, result });
    }

    pub(crate) fn pop(&mut self) -> Option<Event> {
        let event = self.ring[self.first].take()?;
        self.first = (self.first + 1) % CAPACITY;
        self.len -= 1;
        Some(event)
    }

    pub(crate) const fn lost(&self) -> u64 {
        self.lost
    }
}
