//! What a stand-in tells.

use alloc::vec::Vec;
use core::fmt;

use twotrip_isotp::{Direction, NResult};
use twotrip_units::{BusInstant, decimal::write_bytes};

use crate::{Ecu, QuestionId, Role};

/// Bytes of a question that are shown as it comes. Questions of legislated diagnostics have at most seven.
const HEAD: usize = 12;

/// The beginning of a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    bytes: [u8; HEAD],
    length: usize,
}

impl Head {
    pub(super) fn of(message: &[u8]) -> Self {
        let shown = message.len().min(HEAD);
        let mut bytes = [0; HEAD];
        bytes[..shown].copy_from_slice(&message[..shown]);
        Self {
            bytes,
            length: message.len(),
        }
    }

    /// Its bytes, as far as they are kept.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes[..self.length.min(HEAD)]
    }

    /// Length of the whole message, bytes.
    #[must_use]
    pub const fn length(&self) -> usize {
        self.length
    }
}

impl fmt::Display for Head {
    /// `01 0C`, or `2E F1 90 .. (20 bytes)`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_bytes(f, self.bytes())?;
        if self.length > HEAD {
            write!(f, " .. ({} bytes)", self.length)?;
        }
        Ok(())
    }
}

/// What the recording has to a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Found {
    /// It was asked then.
    Recorded {
        /// Which.
        question: QuestionId,
        /// What came this time then is given now, counted from 0; `None`: it is asked too often, and gets nothing.
        time: Option<usize>,
        /// How often it was asked then.
        times: usize,
        /// Replies that it gets, of all ECUs.
        replies: u32,
    },
    /// It was not.
    Unknown,
}

/// Something that happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StandInEvent {
    /// A tester has asked.
    Asked {
        /// When the question was complete.
        at: BusInstant,
        /// Whom.
        role: Role,
        /// What.
        request: Head,
        /// What it gets.
        found: Found,
    },
    /// An ECU could not give a reply: it was in the middle of a long one.
    Busy {
        /// When.
        at: BusInstant,
        /// Who.
        ecu: Ecu,
    },
    /// A reply would have come so much later than then that it is left out: a long one was in its way, or the computer.
    Late {
        /// When.
        at: BusInstant,
        /// Whose.
        ecu: Ecu,
    },
    /// The transport gave a message up.
    Failed {
        /// When.
        at: BusInstant,
        /// Whose.
        ecu: Ecu,
        /// A reply, or a question.
        direction: Direction,
        /// Why.
        result: NResult,
    },
}

/// A question that the recording does not hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unknown {
    /// Whom it was put to.
    pub role: Role,
    /// The message without transport bytes.
    pub request: Vec<u8>,
    /// How often.
    pub count: u64,
    /// When first.
    pub first: BusInstant,
}

impl Unknown {
    pub(super) fn new(role: Role, request: &[u8], first: BusInstant) -> Self {
        Self {
            role,
            request: request.to_vec(),
            count: 1,
            first,
        }
    }

    pub(super) fn is(&self, role: Role, request: &[u8]) -> bool {
        self.role == role && self.request == request
    }
}

/// What was counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Questions taken.
    pub requests: u64,
    /// Of them, those that got at least one reply.
    pub answered: u64,
    /// Those that got silence, as then.
    pub silent: u64,
    /// Those that were asked too often, and got nothing for it.
    pub exhausted: u64,
    /// Those that the recording does not hold.
    pub unknown: u64,
    /// Of these, those that are not listed word by word.
    pub unknown_unlisted: u64,
    /// Replies that an ECU could not give, because it was in the middle of a long one.
    pub dropped: u64,
    /// Replies left out because they would have come more than P2 later than then.
    pub late: u64,
    /// Replies that the transport gave up.
    pub broken_off: u64,
    /// Questions of several frames that did not come whole.
    pub incomplete: u64,
    /// Frames of fewer than eight bytes, not taken.
    pub short_frames: u64,
    /// Other frames of testers without effect.
    pub ignored: u64,
}
