//! What a dialogue tells.

use alloc::vec::Vec;
use core::time::Duration;

use twotrip_isotp::Pdu;
use twotrip_units::BusInstant;

use crate::{Breach, Role};

/// Something that was said, or should not have been.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Event {
    /// A frame of diagnostics, as transport sees it.
    Unit(Unit),
    /// A whole message.
    Message(Message),
    /// A rule was broken, at this instant, by the frame with this number.
    Breach {
        /// Number of the frame, from 0; of the last one if what is wrong is that none came.
        frame: u64,
        /// When.
        at: BusInstant,
        /// By whom, or in whose turn.
        role: Role,
        /// Which rule.
        breach: Breach,
    },
}

/// A frame of diagnostics.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unit {
    /// Number of the frame, from 0.
    pub frame: u64,
    /// When.
    pub at: BusInstant,
    /// Who to whom.
    pub role: Role,
    /// What it is; one that is no protocol data unit comes as a breach.
    pub pdu: Pdu,
}

/// A whole message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// Messages are numbered from 0.
    pub number: u64,
    /// Who to whom.
    pub role: Role,
    /// The message without transport bytes.
    pub bytes: Vec<u8>,
    /// Numbers of its first and last frame.
    pub frames: (u64, u64),
    /// How many frames it took, flow control left out.
    pub pieces: u32,
    /// When its first frame came.
    pub began: BusInstant,
    /// When its last frame came.
    pub ended: BusInstant,
    /// Of an answer: the number of the request, and the time from the request's end to the answer's first frame.
    pub answers: Option<(u64, Duration)>,
}
