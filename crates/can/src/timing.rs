//! How long a classic frame is on the wire: exact bits with stuffing and CRC, ISO 11898-1.

use core::time::Duration;

use crate::{CanId, Frame, FrameKind};

/// Bit rate of a bus.
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
}

/// Bits that follow the CRC and are never stuffed: CRC delimiter, ACK slot and delimiter, end of frame.
const TAIL: u32 = 1 + 1 + 1 + 7;
/// Bits between frames.
const INTERMISSION: u32 = 3;
const CRC_POLYNOMIAL: u16 = 0x4599;

/// Counts bits as a transmitter sends them: CRC over the plain bits, a stuff bit after five equal ones.
#[derive(Default)]
struct Wire {
    bits: u32,
    crc: u16,
    level: bool,
    run: u8,
}

impl Wire {
    fn push(&mut self, bit: bool) {
        self.bits += 1;
        if self.run > 0 && bit == self.level {
            self.run += 1;
        } else {
            self.level = bit;
            self.run = 1;
        }
        if self.run == 5 {
            self.bits += 1;
            self.level = !bit;
            self.run = 1;
        }
    }

    fn push_data(&mut self, bit: bool) {
        let feedback = bit != (self.crc & 0x4000 != 0);
        self.crc = (self.crc << 1) & 0x7FFF;
        if feedback {
            self.crc ^= CRC_POLYNOMIAL;
        }
        self.push(bit);
    }

    fn push_field(&mut self, value: u32, width: u32) {
        for i in (0..width).rev() {
            self.push_data(value >> i & 1 == 1);
        }
    }
}

/// Length of a frame in bits, the intermission included.
///
/// FD and error frames are counted by their data at the first bit rate, which is an upper bound; nothing in
/// this program paces by them.
#[must_use]
pub fn frame_bits(frame: &Frame) -> u32 {
    let mut wire = Wire::default();
    let remote = matches!(frame.kind(), FrameKind::Remote);
    wire.push_field(0, 1);
    match frame.id() {
        CanId::Standard(id) => {
            wire.push_field(id.into(), 11);
            wire.push_field(remote.into(), 1);
            wire.push_field(0, 2);
        }
        CanId::Extended(id) => {
            wire.push_field(id >> 18, 11);
            wire.push_field(0b11, 2);
            wire.push_field(id & 0x3_FFFF, 18);
            wire.push_field(remote.into(), 1);
            wire.push_field(0, 2);
        }
    }
    wire.push_field(u32::try_from(frame.len().min(15)).unwrap_or(15), 4);
    for &byte in frame.data() {
        wire.push_field(byte.into(), 8);
    }
    let crc = wire.crc;
    for i in (0..15).rev() {
        wire.push(crc >> i & 1 == 1);
    }
    wire.bits + TAIL + INTERMISSION
}

/// Time that a frame occupies the bus, the intermission included.
#[must_use]
pub fn frame_time(frame: &Frame, rate: BitRate) -> Duration {
    rate.bit_time() * frame_bits(frame)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exact vectors, computed beforehand by another bit-level model of ISO 11898-1 (CRC-15 of `123456789`: 059E).
    #[test]
    fn frames_have_their_exact_length() {
        let standard =
            |id, data: &[u8]| Frame::new(CanId::Standard(id), data).map(|frame| frame_bits(&frame));
        let extended =
            |id, data: &[u8]| Frame::new(CanId::Extended(id), data).map(|frame| frame_bits(&frame));
        assert_eq!(standard(0x7DF, &[2, 1, 0, 0, 0, 0, 0, 0]), Some(126));
        assert_eq!(
            standard(0x7DF, &[2, 1, 0, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC]),
            Some(116)
        );
        assert_eq!(
            standard(0x7DF, &[2, 1, 0, 0x55, 0x55, 0x55, 0x55, 0x55]),
            Some(116)
        );
        assert_eq!(
            standard(0x7DF, &[2, 1, 0, 0xAA, 0xAA, 0xAA, 0xAA, 0xAA]),
            Some(117)
        );
        assert_eq!(
            standard(0x7E8, &[6, 0x41, 0, 0xBE, 0x3E, 0xB8, 0x13, 0]),
            Some(120)
        );
        assert_eq!(standard(0x7E8, &[4, 0x41, 0x0C, 0x1A, 0xF8, 0, 0, 0]), Some(122));
        assert_eq!(
            standard(0x7E8, &[0x10, 0x14, 0x49, 2, 1, 0x30, 0x54, 0x57]),
            Some(119)
        );
        assert_eq!(standard(0x7E0, &[0x30, 0, 0, 0, 0, 0, 0, 0]), Some(126));
        assert_eq!(
            standard(0x7E8, &[0x21, 0x30, 0x30, 0x54, 0x52, 0x50, 0x33, 0x41]),
            Some(118)
        );
        assert_eq!(
            standard(0x7E8, &[0x22, 0x30, 0x30, 0x30, 0x30, 0x30, 0x34, 0x32]),
            Some(119)
        );
        assert_eq!(extended(0x18DB_33F1, &[2, 1, 0, 0, 0, 0, 0, 0]), Some(145));
        assert_eq!(
            extended(0x18DA_F110, &[6, 0x41, 0, 0xBE, 0x3E, 0xB8, 0x13, 0]),
            Some(140)
        );
        assert_eq!(standard(0, &[]), Some(53));
        assert_eq!(extended(0, &[0; 8]), Some(150));
    }

    #[test]
    fn frame_time_follows_the_bit_rate() {
        let Some(frame) = Frame::new(CanId::Standard(0x7DF), &[2, 1, 0, 0, 0, 0, 0, 0]) else {
            panic!("fits")
        };
        assert_eq!(frame_time(&frame, BitRate::Kbit500), Duration::from_micros(252));
        assert_eq!(frame_time(&frame, BitRate::Kbit250), Duration::from_micros(504));
    }
}
