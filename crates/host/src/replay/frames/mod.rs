//! Recorded frames, sent again at their times.
//!
//! - [`Pacer`]: when each frame is due, and when the wire is free for it; knows no clock.
//! - [`Order`]: the frames of several buses in the order of their times.
//! - [`Player`]: sleeps until a frame's time, hands it to its bus, and serves the buses meanwhile.
//! - [`Lateness`]: how late frames were, in bounded memory.
//! - [`Clock`]: the monotonic clock, and sleeping to an instant of it.
//!
//! No frame goes before its time. After a delay frames follow each other as a wire would carry them, at most one frame
//! ahead of it, until the recording's times are met again.

mod clock;
mod lateness;
mod order;
mod pacer;
mod player;

use twotrip_can::Frame;
use twotrip_units::BusInstant;

pub use clock::Clock;
pub use lateness::Lateness;
pub use order::Order;
pub use pacer::{Pacer, Speed, Wire};
pub use player::{Counts, Ending, Lane, Notice, PlayError, Player};

/// A recorded frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry {
    /// The lane on which it goes, by its number.
    pub lane: usize,
    /// When it was recorded, nanoseconds since 1970.
    pub at: u64,
    /// It begins a run of a recorder, or the recording anew: it follows the one before it at once.
    pub begins: bool,
    /// The frame.
    pub frame: Frame,
}

/// A frame that is to be sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Due {
    /// The lane on which it goes.
    pub lane: usize,
    /// When.
    pub at: BusInstant,
    /// The frame.
    pub frame: Frame,
}

#[cfg(test)]
mod tests;
