//! Length of a frame in bits.
//!
//! A classic frame is taken byte by byte from its start to the end of its CRC; two tables say what each byte does to
//! the CRC and to the run of equal bits that decides on stuffing. CAN FD is not counted bit by bit, only bounded: no
//! part of this program speaks it, and a second bit rate would have to be known.

use crate::{CanId, Frame, FrameKind};

/// Bits between frames.
pub const INTERMISSION: u32 = 3;

/// Bits after the CRC that are never stuffed: CRC delimiter, acknowledge slot and delimiter, end of frame.
const TAIL: u32 = 1 + 1 + 1 + 7;
/// Bits of the CRC.
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
    let wire = stuffable(frame, remote);
    wire.bits + wire.stuff_bits + TAIL + INTERMISSION
}

/// Sends everything that is subject to stuffing, from start of frame to the end of the CRC.
fn stuffable(frame: &Frame, remote: bool) -> Wire {
    let mut wire = Wire::new();
    // Start of frame, identifier, substitute remote request and identifier extension where they are, remote request,
    // reserved bits, length code (4 bits, at most 8 by construction).
    let len = frame.len().to_le_bytes()[0] & 0xF;
    match frame.id() {
        CanId::Standard(id) => {
            let [_, first, second, third] = (u32::from(id) << 7).to_be_bytes();
            wire.push_first(first, 3, 0b1010_1000);
            wire.push(second);
            wire.push(third | u8::from(remote) << 6 | len);
        }
        CanId::Extended(id) => {
            let (base, rest) = (u64::from(id >> 18), u64::from(id & 0x3_FFFF));
            let bits = base << 27 | 0b11 << 25 | rest << 7;
            let [_, _, _, first, second, third, fourth, fifth] = bits.to_be_bytes();
            wire.push_first(first, 7, 0b1000_0000);
            wire.push(second);
            wire.push(third);
            wire.push(fourth);
            wire.push(fifth | u8::from(remote) << 6 | len);
        }
    }
    for &byte in frame.data() {
        wire.push(byte);
    }
    wire.finish();
    wire
}

/// What has been sent so far: bits without stuffing, stuff bits, the CRC, and the state of the run of equal bits.
struct Wire {
    bits: u32,
    stuff_bits: u32,
    crc: u16,
    run: u8,
}

impl Wire {
    const fn new() -> Self {
        Self {
            bits: 0,
            stuff_bits: 0,
            crc: 0,
            run: run(true, 1),
        }
    }

    /// The first bits, `width` of them (below 8). What stands before them in the byte is no part of the frame: for the CRC
    /// zeros, which change nothing at its start; for the run what is set in `idle`, a change at each bit and the last
    /// recessive, as the idle bus is.
    fn push_first(&mut self, byte: u8, width: u32, idle: u8) {
        self.stuff(byte | idle);
        self.crc(byte);
        self.bits += width;
    }

    fn push(&mut self, byte: u8) {
        self.stuff(byte);
        self.crc(byte);
        self.bits += 8;
    }

    /// The CRC, and a last bit that is no part of the frame: the other level than the bit before, so that it cannot
    /// complete a run.
    fn finish(&mut self) {
        let [first, rest] = (self.crc << 1 | !self.crc & 1).to_be_bytes();
        self.stuff(first);
        self.stuff(rest);
        self.bits += CRC;
    }

    fn stuff(&mut self, byte: u8) {
        let entry = STUFF_TABLE[usize::from(self.run)][usize::from(byte)];
        self.run = entry & 7;
        self.stuff_bits += u32::from(entry >> 3);
    }

    fn crc(&mut self, byte: u8) {
        let index = (self.crc >> 7) & 0xFF ^ u16::from(byte);
        self.crc = (self.crc << 8) & 0x7FFF ^ CRC_TABLE[usize::from(index)];
    }
}

/// A run of `length` (1 to 4) equal bits as a number below 8.
const fn run(level: bool, length: u8) -> u8 {
    (level as u8) << 2 | (length - 1)
}

/// What a byte does to each run: the run after it, and, from bit 3 on, how many stuff bits it was given: one of the other
/// level after five equal bits, itself the first of the next five.
const STUFF_TABLE: [[u8; 256]; 8] = {
    let mut table = [[0; 256]; 8];
    let mut state = 0_usize;
    while state < 8 {
        let mut byte = 0;
        while byte < 256 {
            let (mut level, mut length) = (state & 4 != 0, state.to_le_bytes()[0] % 4 + 1);
            let (mut count, mut bit) = (0, 8);
            while bit > 0 {
                bit -= 1;
                let next = byte >> bit & 1 == 1;
                length = if next == level { length + 1 } else { 1 };
                level = next;
                if length == 5 {
                    count += 1;
                    level = !level;
                    length = 1;
                }
            }
            table[state][byte] = count << 3 | run(level, length);
            byte += 1;
        }
        state += 1;
    }
    table
};

/// What a byte does to the CRC: the remainders of all bytes.
const CRC_TABLE: [u16; 256] = {
    let mut table = [0; 256];
    let mut byte = 0_usize;
    while byte < 256 {
        let mut crc = u16::from_le_bytes([byte.to_le_bytes()[0], 0]) << 7;
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
    stuffable(frame, matches!(frame.kind(), FrameKind::Remote)).crc
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check value of CRC-15/CAN over the ASCII digits (catalogue of parametrised CRC algorithms, CRC-15/CAN).
    #[test]
    fn crc_has_its_check_value() {
        let mut wire = Wire::new();
        for &byte in b"123456789" {
            wire.push(byte);
        }
        assert_eq!(wire.crc, 0x059E);
    }

    /// ISO 11898-1, bit stuffing: runs that go on from a stuff bit, over the border of bytes, and end with the last bit.
    #[test]
    fn stuff_bits_count_for_the_next_run() {
        let rows: [(&[u8], u32); 9] = [
            (&[0b0000_1010], 0),
            (&[0b0000_0101], 1),
            (&[0b1010_0000], 1),
            (&[0b0000_0111], 1),
            (&[0b0000_0111, 0b1010_1010], 2),
            (&[0b0000_0000, 0b0111_0101], 1),
            (&[0b0000_0000, 0b0011_0101], 2),
            (&[0b0111_1100, 0b0011_1101], 3),
            (&[0b0101_0101, 0b0101_0101], 0),
        ];
        for (bytes, expected) in rows {
            let mut wire = Wire::new();
            for &byte in bytes {
                wire.push(byte);
            }
            assert_eq!(wire.stuff_bits, expected, "{bytes:02X?}");
        }
    }
}
