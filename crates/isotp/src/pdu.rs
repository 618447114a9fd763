//! The protocol data units of ISO 15765-2 with normal addressing on classic CAN: bytes to values and back.
//!
//! Left out: CAN FD lengths, extended and mixed addressing (ISO 15765-4 allows neither).

use core::{fmt, time::Duration};

use twotrip_can::{CanId, Frame};

/// Largest length that the twelve bits of a first frame carry, bytes.
pub(crate) const TWELVE_BIT_MAX: u32 = 0xFFF;
/// Payload bytes in a single frame and in a full consecutive frame.
pub(crate) const FRAME_ROOM: usize = 7;
/// Payload bytes in a first frame with a length of twelve bits.
pub(crate) const FIRST_FRAME_ROOM: usize = 6;
/// Shortest message that needs a first frame, bytes.
const FIRST_FRAME_MIN: u32 = 8;

/// The message bytes that one frame carries: up to seven.
#[derive(Clone, Copy, Default, PartialEq, Eq)]
pub struct Payload {
    bytes: [u8; FRAME_ROOM],
    len: u8,
}

impl Payload {
    /// The bytes of one frame, or `None` for more than seven.
    #[must_use]
    pub fn new(bytes: &[u8]) -> Option<Self> {
        (bytes.len() <= FRAME_ROOM).then(|| Self::head(bytes))
    }

    /// The first bytes of a slice, as many as one frame has room for.
    pub(crate) fn head(bytes: &[u8]) -> Self {
        let mut payload = Self::default();
        for (to, from) in payload.bytes.iter_mut().zip(bytes) {
            *to = *from;
            payload.len += 1;
        }
        payload
    }

    /// The first `len` of the bytes of a whole frame behind its first.
    fn of_frame([_, bytes @ ..]: [u8; 8], len: u8) -> Self {
        let mut payload = Self::default();
        for (place, (to, from)) in (0..).zip(payload.bytes.iter_mut().zip(bytes)) {
            *to = if place < len { from } else { 0 };
        }
        payload.len = len.min(7);
        payload
    }

    /// The bytes.
    #[must_use]
    pub fn as_slice(&self) -> &[u8] {
        &self.bytes[..usize::from(self.len)]
    }
}

impl fmt::Debug for Payload {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(self.as_slice(), f)
    }
}

/// Flow status: what a receiver tells the sender to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlowStatus {
    /// CTS, 0: send the next block.
    ContinueToSend,
    /// WAIT, 1: wait for another flow control.
    Wait,
    /// OVFLW, 2: the message does not fit; give up.
    Overflow,
    /// 3 to 15, reserved.
    Reserved(u8),
}

impl FlowStatus {
    const fn from_nibble(nibble: u8) -> Self {
        match nibble {
            0 => Self::ContinueToSend,
            1 => Self::Wait,
            2 => Self::Overflow,
            other => Self::Reserved(other),
        }
    }

    const fn nibble(self) -> u8 {
        match self {
            Self::ContinueToSend => 0,
            Self::Wait => 1,
            Self::Overflow => 2,
            Self::Reserved(other) => other & 0x0F,
        }
    }
}

/// Separation time STmin, as the byte on the wire.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StMin(u8);

impl StMin {
    /// No gap.
    pub const ZERO: Self = Self(0);

    /// Any byte; what the reserved ones mean is settled by [`Self::gap`].
    #[must_use]
    pub const fn from_byte(byte: u8) -> Self {
        Self(byte)
    }

    /// The byte on the wire.
    #[must_use]
    pub const fn byte(self) -> u8 {
        self.0
    }

    /// Least time from the end of one consecutive frame to the start of the next: 00..7F are milliseconds,
    /// F1..F9 hundreds of microseconds, and the reserved values mean 127 ms (ISO 15765-2, STmin).
    #[must_use]
    pub const fn gap(self) -> Duration {
        match self.0 {
            ms @ 0..=0x7F => Duration::from_millis(ms as u64),
            us @ 0xF1..=0xF9 => Duration::from_micros((us - 0xF0) as u64 * 100),
            _ => Duration::from_millis(127),
        }
    }
}

/// One protocol data unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pdu {
    /// SF: a whole message of one to seven bytes.
    SingleFrame {
        /// The message.
        payload: Payload,
    },
    /// FF: announces a longer message and carries its start.
    FirstFrame {
        /// Length of the message, bytes. Above 4095 it travels in the escape form.
        length: u32,
        /// Its first six bytes; two in the escape form.
        payload: Payload,
    },
    /// CF: the next bytes.
    ConsecutiveFrame {
        /// SN, 0 to 15.
        sequence_number: u8,
        /// Up to seven bytes; in the last frame of a message padding may follow the message's end.
        payload: Payload,
    },
    /// FC: the receiver's word to the sender.
    FlowControl {
        /// What to do.
        status: FlowStatus,
        /// BS: frames until the next flow control, 0 for no further one.
        block_size: u8,
        /// STmin.
        st_min: StMin,
    },
}

/// Why bytes are not a protocol data unit; such a frame is ignored.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ParseError {
    /// No PCI byte.
    #[error("frame without data")]
    Empty,
    /// SF_DL 0 or above 7.
    #[error("single frame length `{found}`, allowed 1 to 7")]
    SingleFrameLength {
        /// SF_DL.
        found: u8,
    },
    /// SF_DL larger than the frame.
    #[error("single frame length `{length}` in a frame with room for `{room}`")]
    SingleFrameCut {
        /// SF_DL.
        length: u8,
        /// Bytes after the PCI.
        room: usize,
    },
    /// A first frame always fills its frame.
    #[error("first frame of `{found}` bytes, must be 8")]
    FirstFrameCut {
        /// Bytes of the frame.
        found: usize,
    },
    /// FF_DL that would have fitted a single frame.
    #[error("first frame length `{found}`, allowed 8 to 4095")]
    FirstFrameLength {
        /// FF_DL.
        found: u32,
    },
    /// Escape form with a length that the short form carries (ISO 15765-2:2016, from memory).
    #[error("escape first frame length `{found}`, allowed above 4095")]
    EscapeLength {
        /// The 32-bit FF_DL.
        found: u32,
    },
    /// A consecutive frame that carries nothing.
    #[error("consecutive frame without payload")]
    ConsecutiveFrameEmpty,
    /// A flow control has three bytes.
    #[error("flow control of `{found}` bytes, needs 3")]
    FlowControlCut {
        /// Bytes of the frame.
        found: usize,
    },
    /// PCI type 4 to F, reserved.
    #[error("reserved frame type `{found:X}`")]
    ReservedType {
        /// Upper nibble of the PCI byte.
        found: u8,
    },
}

impl Pdu {
    /// Reads the data bytes of a classic frame. Padding after a message's end is not looked at.
    ///
    /// # Errors
    /// The rule that the bytes break.
    pub fn parse(data: &[u8]) -> Result<Self, ParseError> {
        let (&pci, rest) = data.split_first().ok_or(ParseError::Empty)?;
        let nibble = pci & 0x0F;
        match pci >> 4 {
            0 => {
                let length = usize::from(nibble);
                if !(1..=FRAME_ROOM).contains(&length) {
                    return Err(ParseError::SingleFrameLength { found: nibble });
                }
                let message = rest.get(..length).ok_or(ParseError::SingleFrameCut {
                    length: nibble,
                    room: rest.len(),
                })?;
                Ok(Self::SingleFrame {
                    payload: match data.try_into() {
                        Ok(whole) => Payload::of_frame(whole, nibble),
                        Err(_) => Payload::head(message),
                    },
                })
            }
            1 => {
                let &[low, a, b, c, d, e, f] = rest else {
                    return Err(ParseError::FirstFrameCut { found: data.len() });
                };
                match u32::from(u16::from_be_bytes([nibble, low])) {
                    0 => match u32::from_be_bytes([a, b, c, d]) {
                        found @ ..=TWELVE_BIT_MAX => Err(ParseError::EscapeLength { found }),
                        length => Ok(Self::FirstFrame {
                            length,
                            payload: Payload::head(&[e, f]),
                        }),
                    },
                    found @ ..FIRST_FRAME_MIN => Err(ParseError::FirstFrameLength { found }),
                    length => Ok(Self::FirstFrame {
                        length,
                        payload: Payload::head(&[a, b, c, d, e, f]),
                    }),
                }
            }
            2 if rest.is_empty() => Err(ParseError::ConsecutiveFrameEmpty),
            2 => Ok(Self::ConsecutiveFrame {
                sequence_number: nibble,
                payload: match data.try_into() {
                    Ok(whole) => Payload::of_frame(whole, 7),
                    Err(_) => Payload::head(rest),
                },
            }),
            3 => match *rest {
                [block_size, st_min, ..] => Ok(Self::FlowControl {
                    status: FlowStatus::from_nibble(nibble),
                    block_size,
                    st_min: StMin::from_byte(st_min),
                }),
                _ => Err(ParseError::FlowControlCut { found: data.len() }),
            },
            found => Err(ParseError::ReservedType { found }),
        }
    }

    /// The frame that carries this unit: always eight bytes (ISO 15765-4), filled up with `pad`.
    #[must_use]
    pub fn to_frame(&self, id: CanId, pad: u8) -> Frame {
        let mut data = [pad; 8];
        let (header, payload) = self.header();
        let bytes = header.as_slice().iter().chain(payload.as_slice());
        for (to, from) in data.iter_mut().zip(bytes) {
            *to = *from;
        }
        Frame::padded(id, &data, pad)
    }

    /// The protocol bytes, and the message bytes that follow them.
    fn header(&self) -> (Payload, Payload) {
        let none = Payload::default();
        match *self {
            Self::SingleFrame { payload } => (Payload::head(&[payload.len]), payload),
            Self::FirstFrame { length, payload } => {
                let [a, b, c, d] = length.to_be_bytes();
                if length > TWELVE_BIT_MAX {
                    (Payload::head(&[0x10, 0, a, b, c, d]), payload)
                } else {
                    (Payload::head(&[0x10 | c, d]), payload)
                }
            }
            Self::ConsecutiveFrame {
                sequence_number,
                payload,
            } => (Payload::head(&[0x20 | (sequence_number & 0x0F)]), payload),
            Self::FlowControl {
                status,
                block_size,
                st_min,
            } => (
                Payload::head(&[0x30 | status.nibble(), block_size, st_min.byte()]),
                none,
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn payload(bytes: &[u8]) -> Payload {
        Payload::new(bytes).expect("up to seven bytes")
    }

    /// Bytes as ISO 15765-2 lays them out, with the unit each means.
    fn table() -> [([u8; 8], Pdu); 6] {
        [
            (
                [0x02, 0x01, 0x00, 0xA5, 0xA5, 0xA5, 0xA5, 0xA5],
                Pdu::SingleFrame {
                    payload: payload(&[0x01, 0x00]),
                },
            ),
            (
                [0x10, 0x14, 0x49, 0x02, 0x01, 0x31, 0x32, 0x33],
                Pdu::FirstFrame {
                    length: 20,
                    payload: payload(&[0x49, 0x02, 0x01, 0x31, 0x32, 0x33]),
                },
            ),
            (
                [0x1F, 0xFF, 1, 2, 3, 4, 5, 6],
                Pdu::FirstFrame {
                    length: 4095,
                    payload: payload(&[1, 2, 3, 4, 5, 6]),
                },
            ),
            (
                [0x10, 0x00, 0x00, 0x00, 0x10, 0x00, 5, 6],
                Pdu::FirstFrame {
                    length: 4096,
                    payload: payload(&[5, 6]),
                },
            ),
            (
                [0x2F, 1, 2, 3, 4, 5, 6, 7],
                Pdu::ConsecutiveFrame {
                    sequence_number: 15,
                    payload: payload(&[1, 2, 3, 4, 5, 6, 7]),
                },
            ),
            (
                [0x32, 0x08, 0xF5, 0xA5, 0xA5, 0xA5, 0xA5, 0xA5],
                Pdu::FlowControl {
                    status: FlowStatus::Overflow,
                    block_size: 8,
                    st_min: StMin::from_byte(0xF5),
                },
            ),
        ]
    }

    #[test]
    fn each_unit_is_read_from_and_written_to_the_same_bytes() {
        let id = CanId::Standard(0x7E8);
        for (bytes, unit) in table() {
            assert_eq!(Pdu::parse(&bytes), Ok(unit));
            assert_eq!(unit.to_frame(id, 0xA5), Frame::padded(id, &bytes, 0));
        }
    }

    #[test]
    fn broken_rules_are_named() {
        let cases: [(&[u8], ParseError); 12] = [
            (&[], ParseError::Empty),
            (
                &[0x00, 1, 0, 0, 0, 0, 0, 0],
                ParseError::SingleFrameLength { found: 0 },
            ),
            (
                &[0x0F, 1, 0, 0, 0, 0, 0, 0],
                ParseError::SingleFrameLength { found: 15 },
            ),
            (
                &[0x05, 1, 0x0C, 0x0D],
                ParseError::SingleFrameCut { length: 5, room: 3 },
            ),
            (&[0x10, 20, 1, 2, 3, 4, 5], ParseError::FirstFrameCut { found: 7 }),
            (
                &[0x10, 7, 1, 2, 3, 4, 5, 6],
                ParseError::FirstFrameLength { found: 7 },
            ),
            (
                &[0x10, 1, 1, 2, 3, 4, 5, 6],
                ParseError::FirstFrameLength { found: 1 },
            ),
            (
                &[0x10, 0, 0, 0, 0x0F, 0xFF, 5, 6],
                ParseError::EscapeLength { found: 4095 },
            ),
            (&[0x21], ParseError::ConsecutiveFrameEmpty),
            (&[0x30, 0], ParseError::FlowControlCut { found: 2 }),
            (&[0x40, 0, 0], ParseError::ReservedType { found: 4 }),
            (&[0xFF; 8], ParseError::ReservedType { found: 15 }),
        ];
        for (bytes, error) in cases {
            assert_eq!(Pdu::parse(bytes), Err(error), "{bytes:02X?}");
        }
    }

    /// ISO 15765-2, STmin values.
    #[test]
    fn reserved_separation_times_mean_127_ms() {
        for byte in 0..=0xFF {
            let expected = match byte {
                0..=0x7F => u64::from(byte) * 1000,
                0xF1..=0xF9 => u64::from(byte - 0xF0) * 100,
                _ => 127_000,
            };
            assert_eq!(StMin::from_byte(byte).gap(), Duration::from_micros(expected));
        }
    }
}
