//! A frame as the packet bytes of link type 227: the kernel's structure, but for the identifier, which is big-endian.
//!
//! Source: LINKTYPE_CAN_SOCKETCAN of the registry of link types. Classic frames are written as 16 bytes, FD frames as
//! long as their data. Read are also those that other writers cut to the data or fill up to the kernel's 72 bytes.

use thiserror::Error;
use twotrip_can::{
    CanId, Frame,
    record::{self, RecordError},
};

/// Identifier, length, flags and two reserved bytes.
const HEADER: usize = 8;
/// A classic frame as the kernel has it.
const CLASSIC: usize = 16;
/// The flag of an FD frame.
const FDF: u8 = 0x04;
const FLAGS: usize = 5;

/// Most bytes that a frame takes up.
pub const LENGTH_MAX: usize = record::LEN;

/// Why packet bytes are no frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum FrameError {
    /// The packet is not of a CAN bus.
    #[error("link type `{0}`; CAN frames have 227")]
    LinkType(u16),
    /// Fewer bytes than the header, or than the length in it says.
    #[error("only {found} bytes of a frame that has {needed}")]
    Short {
        /// Bytes there.
        found: usize,
        /// Bytes needed.
        needed: usize,
    },
    /// Fields that no frame has.
    #[error(transparent)]
    Fields(#[from] RecordError),
}

/// The packet bytes of a frame, and how many of them count.
#[must_use]
pub fn encode(frame: &Frame) -> ([u8; LENGTH_MAX], usize) {
    let mut bytes = record::encode(frame);
    bytes[..4].reverse();
    let fd = bytes[FLAGS] & FDF != 0;
    let length = if fd { HEADER + frame.len() } else { CLASSIC };
    (bytes, length)
}

/// The frame in packet bytes.
///
/// # Errors
/// [`FrameError`] says why there is none.
#[inline]
pub fn decode(bytes: &[u8]) -> Result<Frame, FrameError> {
    match classic(bytes) {
        Some(frame) => Ok(frame),
        None => decode_any(bytes),
    }
}

/// A classic data frame as it is written, by far the most; nothing for all others, and for what is wrong.
#[inline]
fn classic(bytes: &[u8]) -> Option<Frame> {
    let whole: &[u8; CLASSIC] = bytes.try_into().ok()?;
    let [a, b, c, d, length, flags, _, _, data @ ..] = *whole;
    let word = u32::from_be_bytes([a, b, c, d]);
    let raw = word & CanId::EXTENDED_MAX;
    let id = match word >> 29 {
        0 => CanId::standard(u16::try_from(raw).ok()?)?,
        0b100 => CanId::Extended(raw),
        _ => return None,
    };
    if flags & FDF != 0 {
        return None;
    }
    Frame::classic(id, data, length)
}

fn decode_any(bytes: &[u8]) -> Result<Frame, FrameError> {
    let short = |needed| FrameError::Short {
        found: bytes.len(),
        needed,
    };
    let Some(header) = bytes.first_chunk::<HEADER>() else {
        return Err(short(HEADER));
    };
    let remote = header[0] & 0x40 != 0;
    let mut length = usize::from(header[4]);
    if remote {
        // Its length is the one asked for: no data follow, and some writers put none.
        length = 0;
    }
    let mut packed = [0; record::LEN];
    let data = bytes
        .get(HEADER..HEADER + length)
        .ok_or_else(|| short(HEADER + length))?;
    let Some(room) = packed.get_mut(HEADER..HEADER + length) else {
        return Err(FrameError::Fields(RecordError::Length {
            found: header[4],
            allowed: 64,
        }));
    };
    room.copy_from_slice(data);
    packed[..HEADER].copy_from_slice(header);
    packed[..4].reverse();
    if bytes.len() == record::LEN {
        // The kernel's own size for FD frames, which some writers leave to speak for the flag.
        packed[FLAGS] |= FDF;
    }
    Ok(record::decode(&packed)?)
}
