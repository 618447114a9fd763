//! The protocol data units of ISO 15765-2 with normal addressing, on classic CAN and on CAN FD: bytes to values and back.
//!
//! Left out: extended and mixed addressing (ISO 15765-4 allows neither).

use core::{fmt, time::Duration};

use twotrip_can::{CanId, Frame};

use crate::{
    Frames,
    frames::{self, CLASSIC, Rooms},
};

/// Largest length that the twelve bits of a first frame carry, bytes.
const TWELVE_BIT_MAX: u32 = 0xFFF;
/// Message bytes in a single frame on classic CAN, and in a full consecutive frame.
const CLASSIC_ROOM: usize = CLASSIC - 1;
/// The same of the longest frame.
const ROOM: usize = frames::LONGEST - 1;

/// The message bytes that one frame carries: up to seven on classic CAN, up to 63 on CAN FD.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Payload {
    bytes: [u8; ROOM],
    len: u8,
}

impl Default for Payload {
    fn default() -> Self {
        Self {
            bytes: [0; ROOM],
            len: 0,
        }
    }
}

impl Payload {
    /// The bytes of one frame, or `None` for more than 63.
    #[must_use]
    pub fn new(bytes: &[u8]) -> Option<Self> {
        (bytes.len() <= ROOM).then(|| Self::head(bytes))
    }

    /// The first bytes of a slice, as many as one frame has room for.
    pub(crate) fn head(bytes: &[u8]) -> Self {
        let bytes = &bytes[..bytes.len().min(ROOM)];
        let mut payload = Self {
            len: u8::try_from(bytes.len()).unwrap_or(0),
            ..Self::default()
        };
        payload.bytes[..bytes.len()].copy_from_slice(bytes);
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
    /// SF: a whole message of one to seven bytes; above eight bytes of frame, of eight to 62 (escape form).
    SingleFrame {
        /// The message.
        payload: Payload,
    },
    /// FF: announces a longer message and carries its start.
    FirstFrame {
        /// Length of the message, bytes. Above 4095 it travels in the escape form.
        length: u32,
        /// Its first bytes: six of a frame of eight, four fewer in the escape form.
        payload: Payload,
    },
    /// CF: the next bytes.
    ConsecutiveFrame {
        /// SN, 0 to 15.
        sequence_number: u8,
        /// What fills the frame; in the last frame of a message padding may follow the message's end.
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
    /// On CAN FD a single frame of more than eight bytes has its length in the second byte, behind 00.
    #[error(
        "single frame of `{bytes}` bytes with its length `{found}` in the first byte, needs the escape form"
    )]
    SingleFrameForm {
        /// SF_DL in the first byte.
        found: u8,
        /// Bytes of the frame.
        bytes: usize,
    },
    /// SF_DL of the escape form that the short form carries (ISO 15765-2:2016, from memory), or larger than the frame.
    #[error("escape single frame length `{found}`, allowed 8 to {room}")]
    SingleFrameEscapeLength {
        /// SF_DL.
        found: u8,
        /// Bytes after the two of the length.
        room: usize,
    },
    /// A first frame always fills its frame.
    #[error("first frame of `{found}` bytes, must be 8")]
    FirstFrameCut {
        /// Bytes of the frame.
        found: usize,
    },
    /// FF_DL that would have fitted a single frame.
    #[error("first frame length `{found}`, allowed {least} to 4095")]
    FirstFrameLength {
        /// FF_DL.
        found: u32,
        /// The shortest message that needs a first frame of this length: 8 on classic CAN.
        least: u32,
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
    /// Reads the data bytes of a frame. Padding after a message's end is not looked at.
    ///
    /// # Errors
    /// The rule that the bytes break.
    pub fn parse(data: &[u8]) -> Result<Self, ParseError> {
        let (&pci, rest) = data.split_first().ok_or(ParseError::Empty)?;
        let nibble = pci & 0x0F;
        match pci >> 4 {
            0 if data.len() > CLASSIC => escape_single_frame(nibble, rest),
            0 => single_frame(nibble, data, rest),
            1 => first_frame(nibble, data, rest),
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

    /// The frame that carries this unit, filled up with `pad`: eight bytes (ISO 15765-4), and on CAN FD the next length that
    /// there is.
    #[must_use]
    pub fn to_frame(&self, id: CanId, pad: u8, frames: Frames) -> Frame {
        let mut data = [pad; frames::LONGEST];
        let (header, size, payload) = self.parts();
        data[..6].copy_from_slice(&header);
        data[size..6].fill(pad);
        for (to, from) in data[size..].iter_mut().zip(payload) {
            *to = *from;
        }
        frames.frame(id, &data, size + payload.len())
    }

    /// Bytes of its frame that are no padding, for all we send.
    pub(crate) fn bytes_in_frame(&self) -> usize {
        let (_, size, payload) = self.parts();
        size + payload.len()
    }

    /// The protocol bytes, how many, and the message bytes that follow them.
    fn parts(&self) -> ([u8; 6], usize, &[u8]) {
        match self {
            Self::SingleFrame { payload } if usize::from(payload.len) > CLASSIC_ROOM => {
                ([0, payload.len, 0, 0, 0, 0], 2, payload.as_slice())
            }
            Self::SingleFrame { payload } => ([payload.len, 0, 0, 0, 0, 0], 1, payload.as_slice()),
            Self::FirstFrame { length, payload } => {
                let [a, b, c, d] = length.to_be_bytes();
                if *length > TWELVE_BIT_MAX {
                    ([0x10, 0, a, b, c, d], 6, payload.as_slice())
                } else {
                    ([0x10 | c, d, 0, 0, 0, 0], 2, payload.as_slice())
                }
            }
            Self::ConsecutiveFrame {
                sequence_number,
                payload,
            } => (
                [0x20 | (sequence_number & 0x0F), 0, 0, 0, 0, 0],
                1,
                payload.as_slice(),
            ),
            Self::FlowControl {
                status,
                block_size,
                st_min,
            } => (
                [0x30 | status.nibble(), *block_size, st_min.byte(), 0, 0, 0],
                3,
                &[],
            ),
        }
    }
}

fn single_frame(nibble: u8, data: &[u8], rest: &[u8]) -> Result<Pdu, ParseError> {
    let length = usize::from(nibble);
    if !(1..=CLASSIC_ROOM).contains(&length) {
        return Err(ParseError::SingleFrameLength { found: nibble });
    }
    let message = rest.get(..length).ok_or(ParseError::SingleFrameCut {
        length: nibble,
        room: rest.len(),
    })?;
    Ok(Pdu::SingleFrame {
        payload: match data.try_into() {
            Ok(whole) => Payload::of_frame(whole, nibble),
            Err(_) => Payload::head(message),
        },
    })
}

/// The form of more than eight bytes: `00`, then the length.
fn escape_single_frame(nibble: u8, rest: &[u8]) -> Result<Pdu, ParseError> {
    let (found, rest) = match (nibble, rest) {
        (0, [length, rest @ ..]) => (*length, rest),
        _ => {
            return Err(ParseError::SingleFrameForm {
                found: nibble,
                bytes: 1 + rest.len(),
            });
        }
    };
    let message = rest
        .get(..usize::from(found))
        .filter(|message| message.len() > CLASSIC_ROOM);
    message
        .map(|message| Pdu::SingleFrame {
            payload: Payload::head(message),
        })
        .ok_or(ParseError::SingleFrameEscapeLength {
            found,
            room: rest.len(),
        })
}

fn first_frame(nibble: u8, data: &[u8], rest: &[u8]) -> Result<Pdu, ParseError> {
    let found = data.len();
    let (&[low, a, b, c, d], start) = match rest.split_first_chunk() {
        Some(parts) if frames::is_whole(found) => parts,
        _ => return Err(ParseError::FirstFrameCut { found }),
    };
    let length = u32::from(u16::from_be_bytes([nibble, low]));
    if length == 0 {
        return match u32::from_be_bytes([a, b, c, d]) {
            found @ ..=TWELVE_BIT_MAX => Err(ParseError::EscapeLength { found }),
            length => Ok(Pdu::FirstFrame {
                length,
                payload: Payload::head(start),
            }),
        };
    }
    // From here on a single frame is too short (ISO 15765-2:2016, FF_DLmin, from memory).
    let least = u32::try_from(Rooms::of_frames(found).single() + 1).unwrap_or(u32::MAX);
    if length < least {
        return Err(ParseError::FirstFrameLength { found: length, least });
    }
    Ok(Pdu::FirstFrame {
        length,
        payload: Payload::head(&rest[1..]),
    })
}

#[cfg(test)]
mod tests;
