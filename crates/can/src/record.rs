//! A frame as 72 bytes: the kernel's `struct canfd_frame` (linux/can.h), always little-endian.
//!
//! This is what travels on a `local:` bus. The FDF flag tells FD from classic; the top bits of the identifier
//! are the kernel's EFF, RTR and ERR flags. Where the data leave room for it, the last eight bytes may say when it was sent.

use thiserror::Error;

use crate::{CanId, Frame, FrameKind};

/// Length of a record, bytes.
pub const LEN: usize = 72;

/// Where it may stand when a frame was sent: behind this many bytes of data there is no room.
const SENT: usize = LEN - size_of::<u64>();

const EFF: u32 = 0x8000_0000;
const RTR: u32 = 0x4000_0000;
const ERR: u32 = 0x2000_0000;
const BRS: u8 = 0x01;
const ESI: u8 = 0x02;
const FDF: u8 = 0x04;

/// Why 72 bytes are not a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum RecordError {
    /// A classic frame of more than 8 bytes or an FD frame of more than 64.
    #[error("length `{found}` where at most `{allowed}` is allowed")]
    Length {
        /// The length found.
        found: u8,
        /// The most that this kind of frame carries.
        allowed: u8,
    },
    /// An 11-bit identifier above 7FF.
    #[error("identifier `{0:X}` needs 29 bits but is not marked so")]
    Identifier(u32),
    /// A remote FD frame, which does not exist.
    #[error("a remote request cannot be an FD frame")]
    RemoteFd,
}

/// The record of a frame.
#[must_use]
pub fn encode(frame: &Frame) -> [u8; LEN] {
    let mut id = frame.id().raw();
    let mut flags = 0;
    if frame.id().is_extended() && !matches!(frame.kind(), FrameKind::Error) {
        id |= EFF;
    }
    match frame.kind() {
        FrameKind::Data => {}
        FrameKind::Remote => id |= RTR,
        FrameKind::Error => id |= ERR,
        FrameKind::Fd {
            bit_rate_switch,
            error_passive,
        } => {
            flags = FDF | if bit_rate_switch { BRS } else { 0 } | if error_passive { ESI } else { 0 };
        }
    }
    let mut record = [0; LEN];
    record[..4].copy_from_slice(&id.to_le_bytes());
    record[4] = u8::try_from(frame.len()).unwrap_or(64);
    record[5] = flags;
    record[8..8 + frame.data().len()].copy_from_slice(frame.data());
    record
}

/// The frame in a record.
///
/// # Errors
/// [`RecordError`] says which field cannot be.
pub fn decode(record: &[u8; LEN]) -> Result<Frame, RecordError> {
    let word = u32::from_le_bytes([record[0], record[1], record[2], record[3]]);
    let (len, flags) = (record[4], record[5]);
    let fd = flags & FDF != 0;
    let allowed = if fd { 64 } else { 8 };
    if len > allowed {
        return Err(RecordError::Length { found: len, allowed });
    }
    let data = &record[8..8 + usize::from(len)];
    if word & ERR != 0 {
        let mut detail = [0; 8];
        let room = data.len().min(8);
        detail[..room].copy_from_slice(&data[..room]);
        return Ok(Frame::error(word & CanId::EXTENDED_MAX, detail));
    }
    let raw = word & CanId::EXTENDED_MAX;
    let id = if word & EFF != 0 {
        CanId::Extended(raw)
    } else {
        let id = u16::try_from(raw).ok().and_then(CanId::standard);
        id.ok_or(RecordError::Identifier(raw))?
    };
    let frame = match (word & RTR != 0, fd) {
        (true, true) => return Err(RecordError::RemoteFd),
        (true, false) => Frame::remote(id, len),
        (false, true) => Frame::fd(id, data, flags & BRS != 0, flags & ESI != 0),
        (false, false) => Frame::new(id, data),
    };
    frame.ok_or(RecordError::Length { found: len, allowed })
}

/// Notes in a record when its frame was sent, in nanoseconds since 1970, where there is room for it: up to 56 bytes of data.
pub fn note_sent(record: &mut [u8; LEN], unix_nanos: u64) {
    if usize::from(record[4]) <= SENT - 8 {
        record[SENT..].copy_from_slice(&unix_nanos.to_le_bytes());
    }
}

/// When the sender of a frame says that it sent it, nanoseconds since 1970; zeros say nothing.
#[must_use]
pub fn sent(record: &[u8; LEN]) -> Option<u64> {
    let (head, last) = record.split_last_chunk()?;
    let sent = u64::from_le_bytes(*last);
    (sent != 0 && usize::from(head[4]) <= SENT - 8).then_some(sent)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Layout: linux/can.h `struct canfd_frame`, flag values of the same header.
    #[test]
    fn a_record_says_when_it_was_sent_where_there_is_room() {
        let id = CanId::Standard(0x123);
        for (length, room) in [(0, true), (8, true), (48, true), (64, false)] {
            let frame = Frame::fd(id, &[9; 64][..length], false, false).expect("a frame");
            let mut record = encode(&frame);
            assert_eq!(sent(&record), None, "{length}");
            note_sent(&mut record, 1_800_000_000_000_000_001);
            assert_eq!(
                sent(&record),
                room.then_some(1_800_000_000_000_000_001),
                "{length}"
            );
            assert_eq!(decode(&record), Ok(frame), "{length}");
        }
    }

    #[test]
    fn every_kind_survives_the_record() {
        let id = CanId::Extended(0x18DA_F110);
        let frames = [
            Frame::new(CanId::Standard(0x7E8), &[1, 2, 3]),
            Frame::remote(id, 5),
            Frame::fd(id, &[7; 12], true, false),
            Some(Frame::error(0x40, [0, 1, 2, 3, 4, 5, 6, 7])),
        ];
        for frame in frames.into_iter().flatten() {
            assert_eq!(decode(&encode(&frame)), Ok(frame));
        }
    }

    #[test]
    fn identifier_and_length_stand_where_the_kernel_puts_them() {
        let record = Frame::new(CanId::Standard(0x7DF), &[2, 1, 0]).map(|frame| encode(&frame));
        assert_eq!(
            record.map(|r| [r[0], r[1], r[2], r[3], r[4], r[5], r[8], r[9]]),
            Some([0xDF, 7, 0, 0, 3, 0, 2, 1])
        );
    }

    #[test]
    fn nonsense_is_refused_with_its_reason() {
        let mut record = [0; LEN];
        record[4] = 9;
        assert_eq!(decode(&record), Err(RecordError::Length { found: 9, allowed: 8 }));
        let mut record = [0; LEN];
        record[1] = 0x08;
        assert_eq!(decode(&record), Err(RecordError::Identifier(0x800)));
    }
}
