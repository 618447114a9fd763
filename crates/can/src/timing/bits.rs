//! Length of a frame in bits.
//!
//! A classic frame from its start to the last bit of its CRC has at most 118 bits, so it is built as one number;
//! its CRC goes by bytes, its stuff bits by finding runs of five. CAN FD is not counted bit by bit, only bounded: no
//! part of this program speaks it, and a second bit rate would have to be known.

use crate::{CanId, Frame, FrameKind};

/// Bits between frames.
pub const INTERMISSION: u32 = 3;

/// Bits after the CRC that are never stuffed: CRC delimiter, acknowledge slot and delimiter, end of frame.
const TAIL: u32 = 1 + 1 + 1 + 7;
/// Start of frame, identifier, remote request, identifier extension, reserved bit, length.
const STANDARD_HEADER: u32 = 1 + 11 + 1 + 1 + 1 + 4;
/// Start of frame, base identifier, substitute remote request, identifier extension, rest of the identifier, remote
/// request, two reserved bits, length.
const EXTENDED_HEADER: u32 = 1 + 11 + 1 + 1 + 18 + 1 + 2 + 4;
const CRC: u32 = 15;
const CRC_POLYNOMIAL: u16 = 0x4599;

/// How many bits of the wire a frame takes, the intermission included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameBits {
    /// Exactly as many: classic data frames and remote requests.
    Exact(u32),
    /// Not more than as many, all taken as bits of the first bit rate: FD frames.
    AtMost(u32),
    /// Error messages come from the own controller and were never on the wire.
    NotOnTheWire,
}

impl FrameBits {
    /// The number, or the upper bound of it.
    #[must_use]
    pub const fn at_most(self) -> u32 {
        match self {
            Self::Exact(bits) | Self::AtMost(bits) => bits,
            Self::NotOnTheWire => 0,
        }
    }
}

/// Length of a frame in bits, the intermission included.
#[must_use]
pub fn frame_bits(frame: &Frame) -> FrameBits {
    match frame.kind() {
        FrameKind::Data => FrameBits::Exact(classic(frame, false)),
        FrameKind::Remote => FrameBits::Exact(classic(frame, true)),
        FrameKind::Fd { .. } => FrameBits::AtMost(fd_at_most(frame)),
        FrameKind::Error => FrameBits::NotOnTheWire,
    }
}

fn classic(frame: &Frame, remote: bool) -> u32 {
    let (bits, width) = stuffable(frame, remote);
    width + stuff_bits(bits, width) + TAIL + INTERMISSION
}

/// Everything that is subject to stuffing, from start of frame to the end of the CRC: the bits, and how many.
fn stuffable(frame: &Frame, remote: bool) -> (u128, u32) {
    let remote = u128::from(remote);
    let (mut bits, mut width) = match frame.id() {
        CanId::Standard(id) => (u128::from(id) << 7 | remote << 6, STANDARD_HEADER),
        CanId::Extended(id) => {
            let (base, rest) = (u128::from(id >> 18), u128::from(id & 0x3_FFFF));
            let substitute_and_extension = 0b11;
            let bits = base << 27 | substitute_and_extension << 25 | rest << 7 | remote << 6;
            (bits, EXTENDED_HEADER)
        }
    };
    // The length code of a classic frame: 4 bits, at most 8 by construction.
    bits |= u128::from(frame.len().to_le_bytes()[0] & 0xF);
    for &byte in frame.data() {
        bits = bits << 8 | u128::from(byte);
        width += 8;
    }
    let crc = crc15(bits, width);
    (bits << CRC | u128::from(crc), width + CRC)
}

/// The remainders of all bytes.
const CRC_TABLE: [u16; 256] = {
    let mut table = [0; 256];
    let mut byte = 0;
    while byte < 256 {
        #[expect(clippy::cast_possible_truncation, reason = "below 256")]
        let mut crc = (byte as u16) << 7;
        let mut bit = 0;
        while bit < 8 {
            let feedback = crc & 0x4000 != 0;
            crc = (crc << 1) & 0x7FFF;
            if feedback {
                crc ^= CRC_POLYNOMIAL;
            }
            bit += 1;
        }
        table[byte] = crc;
        byte += 1;
    }
    table
};

/// CRC of the lowest `width` bits. It begins at zero, so zeros in front, up to whole bytes, change nothing.
fn crc15(bits: u128, width: u32) -> u16 {
    let whole = (width.div_ceil(8) as usize).min(16);
    bits.to_be_bytes()[16 - whole..].iter().fold(0, |crc: u16, byte| {
        let index = (crc >> 7) & 0xFF ^ u16::from(*byte);
        (crc << 8) & 0x7FFF ^ CRC_TABLE[usize::from(index)]
    })
}

/// How many stuff bits the lowest `width` bits get: one of the other level after five equal ones, itself counted as the
/// first of the next five; also after the very last bit.
fn stuff_bits(bits: u128, width: u32) -> u32 {
    let bits = bits << (128 - width);
    // A bit of `five` is set where this bit and the next four are equal.
    let like_next = !(bits ^ bits << 1);
    let two = like_next & like_next << 1;
    let five = two & two << 2 & !(u128::MAX >> (width - 4));
    let mut count = 0;
    // What is left begins here, and there was a stuff bit of this level before it.
    let (mut start, mut stuffed) = (0, None);
    while start < width {
        let next_four = bits << start >> 124;
        let goes_on = match stuffed {
            Some(true) => next_four == 0xF,
            Some(false) => next_four == 0 && start + 4 <= width,
            None => false,
        };
        let ahead = if goes_on {
            3
        } else {
            let ahead = (five << start).leading_zeros();
            if ahead == 128 {
                break;
            }
            ahead + 4
        };
        let last = start + ahead;
        stuffed = Some(bits << last >> 127 == 0);
        count += 1;
        start = last + 1;
    }
    count
}

/// Most stuff bits that `stuffable` bits can get: after the first five one, then one after every four (Linux
/// include/linux/can/length.h `can_bitstuffing_len`; Davis, Burns, Bril, Lukkien, "Controller Area Network
/// schedulability analysis: refuted, revisited and revised", Real-Time Systems 35, 2007).
pub(super) const fn stuff_bits_at_most(stuffable: u32) -> u32 {
    (stuffable - 1) / 4
}

/// Bound of an FD frame. Header widths: linux/can/length.h. CRC field (ISO 11898-1:2015, from memory): stuff count of 4
/// bits, CRC of 17 bits up to 16 bytes of data and of 21 beyond, a fixed stuff bit before it and after every four.
fn fd_at_most(frame: &Frame) -> u32 {
    let header = if frame.id().is_extended() { 41 } else { 22 };
    let data = fd_data_bytes(frame.len());
    let crc_field = if data <= 16 { 4 + 17 + 6 } else { 4 + 21 + 7 };
    let stuffable = header + 8 * data;
    stuffable + stuff_bits_at_most(stuffable) + crc_field + TAIL + INTERMISSION
}

/// The bytes that an FD frame takes for `len` bytes of data: it knows only these lengths.
const fn fd_data_bytes(len: usize) -> u32 {
    match len {
        0 => 0,
        1 => 1,
        2 => 2,
        3 => 3,
        4 => 4,
        5 => 5,
        6 => 6,
        7 => 7,
        8 => 8,
        9..=12 => 12,
        13..=16 => 16,
        17..=20 => 20,
        21..=24 => 24,
        25..=32 => 32,
        33..=48 => 48,
        _ => 64,
    }
}

#[cfg(test)]
pub(super) fn crc_of(frame: &Frame) -> u16 {
    let (bits, _) = stuffable(frame, matches!(frame.kind(), FrameKind::Remote));
    u16::try_from(bits & 0x7FFF).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check value of CRC-15/CAN over the ASCII digits (catalogue of parametrised CRC algorithms, CRC-15/CAN).
    #[test]
    fn crc_has_its_check_value() {
        let digits = b"123456789";
        let bits = digits
            .iter()
            .fold(0, |bits: u128, byte| bits << 8 | u128::from(*byte));
        assert_eq!(crc15(bits, 72), 0x059E);
    }

    /// ISO 11898-1, bit stuffing: runs that begin with a stuff bit, and a run that ends with the last bit.
    #[test]
    fn stuff_bits_count_for_the_next_run() {
        let rows: [(u128, u32, u32); 9] = [
            (0b0000, 4, 0),
            (0b00000, 5, 1),
            (0b11111, 5, 1),
            (0b0_0000_1111, 9, 2),
            (0b0_0000_0111, 9, 1),
            (0b0_0000_0000, 9, 1),
            (0b00_0000_0000, 10, 2),
            (0b1_1111_0000_1111, 13, 3),
            (0b01_0101_0101, 10, 0),
        ];
        for (bits, width, expected) in rows {
            assert_eq!(stuff_bits(bits, width), expected, "{bits:b}");
        }
    }
}
