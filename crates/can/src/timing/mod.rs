//! How long frames are on the wire, and how busy that keeps it.
//!
//! - [`frame_bits`]: length of a frame in bits: exact for classic frames, with their stuffing and CRC.
//! - [`BitRate`], [`frame_time`]: the same as time.
//! - [`BusLoad`]: the share of time in which the bus is taken, as a whole and by windows.
//!
//! Rules: ISO 11898-1, classic frame formats; field widths also in Linux include/linux/can/length.h.

mod bits;
mod load;
#[cfg(test)]
mod tests;

use core::time::Duration;

use crate::Frame;

pub use bits::{FrameBits, INTERMISSION, frame_bits};
pub use load::BusLoad;

/// Bit rate of a bus: those that legislated diagnostics knows on CAN (ISO 15765-4, from memory).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum BitRate {
    /// 250 kbit/s.
    Kbit250,
    /// 500 kbit/s.
    #[default]
    Kbit500,
}

impl BitRate {
    /// The time of one bit.
    #[must_use]
    pub const fn bit_time(self) -> Duration {
        match self {
            Self::Kbit250 => Duration::from_micros(4),
            Self::Kbit500 => Duration::from_micros(2),
        }
    }

    /// The time of `bits` bits.
    #[must_use]
    pub const fn span(self, bits: u32) -> Duration {
        // At most 4 us times 2^32: far from the end of the type.
        self.bit_time().saturating_mul(bits)
    }

    /// The one of so many thousands of bits a second, if legislated diagnostics knows it.
    #[must_use]
    pub const fn from_kbit_per_second(kbit: u32) -> Option<Self> {
        match kbit {
            250 => Some(Self::Kbit250),
            500 => Some(Self::Kbit500),
            _ => None,
        }
    }

    /// Thousands of bits a second.
    #[must_use]
    pub const fn kbit_per_second(self) -> u32 {
        match self {
            Self::Kbit250 => 250,
            Self::Kbit500 => 500,
        }
    }
}

/// Time that a frame occupies the bus, the intermission included: exact for classic frames, at most this for FD.
#[must_use]
pub fn frame_time(frame: &Frame, rate: BitRate) -> Duration {
    rate.span(frame_bits(frame).at_most())
}
