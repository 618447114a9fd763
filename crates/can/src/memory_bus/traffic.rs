//! What goes in and out of the in-memory bus: how nodes take part, what was on the wire, what they receive.

use thiserror::Error;
use twotrip_units::BusInstant;

use crate::{Frame, timing::BitRate};

/// How long a frame is on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pacing {
    /// No time at all.
    Instant,
    /// Its exact bits at a bit rate; FD frames their upper bound, error messages nothing ([`FrameBits`](crate::timing::FrameBits)).
    Rate(BitRate),
}

/// How a node takes part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NodeConfig {
    /// Whether its own frames come back to it once they have passed: the confirmation that a transport counts from.
    pub receives_own: bool,
    /// Frames that may wait to be sent; more are refused.
    pub queue: usize,
    /// Frames that may wait to be received; more are lost and counted. Zero for a node that does not listen.
    pub inbox: usize,
}

impl Default for NodeConfig {
    /// Own frames stay away, 64 frames may wait each way.
    fn default() -> Self {
        Self {
            receives_own: false,
            queue: 64,
            inbox: 64,
        }
    }
}

/// A node of the bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NodeId(pub(super) usize);

/// The queue of the node is full: the frame was not taken. Try again when one has passed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
#[error("the send queue of the node is full (`{queue}` frames): send again when one of them has passed")]
pub struct QueueFull {
    /// How many frames it holds.
    pub queue: usize,
}

/// A frame that was on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Passed {
    /// The sender.
    pub from: NodeId,
    /// The frame.
    pub frame: Frame,
    /// Its first bit.
    pub start: BusInstant,
    /// The end of its last bit (the intermission follows), or the end of the error frame that destroyed it.
    pub at: BusInstant,
    /// What became of it.
    pub fate: Fate,
}

/// What became of a frame on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// It passed.
    Whole,
    /// An error frame destroyed it; its sender will try again.
    Destroyed,
    /// An error frame destroyed it, and with that its sender is off the bus.
    BusOff,
}

/// Whose frame a node receives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Its own, confirmed.
    Own,
    /// Another node's.
    Other,
}

/// A frame that a node receives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Received {
    /// The frame.
    pub frame: Frame,
    /// When it reached the node.
    pub at: BusInstant,
    /// Whose it is.
    pub direction: Direction,
}
