//! One frame as every crate passes it about: a small value, copied, never allocated.

use core::fmt;

use twotrip_units::decimal::write_bytes;

use crate::CanId;

/// What kind of frame it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameKind {
    /// Classic data frame, up to 8 bytes.
    Data,
    /// Classic remote request; carries a length and no bytes.
    Remote,
    /// An error message frame of the controller (its class bits stand in the identifier's place).
    Error,
    /// CAN FD data frame, up to 64 bytes.
    Fd {
        /// Sent with the second bit rate.
        bit_rate_switch: bool,
        /// The sender was error-passive.
        error_passive: bool,
    },
}

/// A frame: identifier, kind, data.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Frame {
    id: CanId,
    kind: FrameKind,
    len: u8,
    data: [u8; 64],
}

impl Frame {
    /// A classic data frame, or `None` for more than 8 bytes.
    #[must_use]
    pub fn new(id: CanId, data: &[u8]) -> Option<Self> {
        Self::build(id, FrameKind::Data, data, 8)
    }

    /// A classic data frame of the first `len` of eight bytes, or `None` above 8.
    #[must_use]
    #[inline]
    pub fn classic(id: CanId, data: [u8; 8], len: u8) -> Option<Self> {
        let beyond = 8_u8.checked_sub(len)?;
        let kept = u64::MAX.checked_shr(u32::from(beyond) * 8).unwrap_or(0);
        let mut bytes = [0; 64];
        bytes[..8].copy_from_slice(&(u64::from_le_bytes(data) & kept).to_le_bytes());
        Some(Self {
            id,
            kind: FrameKind::Data,
            len,
            data: bytes,
        })
    }

    /// A classic data frame of 8 bytes: `data`, then `pad` up to the end.
    ///
    /// # Panics
    /// If `data` is longer than 8 bytes: the callers build at most 8.
    #[must_use]
    pub fn padded(id: CanId, data: &[u8], pad: u8) -> Self {
        let mut bytes = [0; 64];
        bytes[..8].fill(pad);
        bytes[..8][..data.len()].copy_from_slice(data);
        Self {
            id,
            kind: FrameKind::Data,
            len: 8,
            data: bytes,
        }
    }

    /// A remote request for `len` bytes, or `None` above 8.
    #[must_use]
    pub fn remote(id: CanId, len: u8) -> Option<Self> {
        (len <= 8).then_some(Self {
            id,
            kind: FrameKind::Remote,
            len,
            data: [0; 64],
        })
    }

    /// An error message frame with its class bits (linux/can/error.h) and 8 bytes of detail.
    #[must_use]
    pub fn error(class: u32, detail: [u8; 8]) -> Self {
        let mut data = [0; 64];
        data[..8].copy_from_slice(&detail);
        Self {
            id: CanId::Extended(class & CanId::EXTENDED_MAX),
            kind: FrameKind::Error,
            len: 8,
            data,
        }
    }

    /// An FD data frame, or `None` for more than 64 bytes.
    #[must_use]
    pub fn fd(id: CanId, data: &[u8], bit_rate_switch: bool, error_passive: bool) -> Option<Self> {
        Self::build(
            id,
            FrameKind::Fd {
                bit_rate_switch,
                error_passive,
            },
            data,
            64,
        )
    }

    fn build(id: CanId, kind: FrameKind, data: &[u8], room: u8) -> Option<Self> {
        let len = u8::try_from(data.len()).ok().filter(|&len| len <= room)?;
        let mut bytes = [0; 64];
        bytes[..data.len()].copy_from_slice(data);
        Some(Self {
            id,
            kind,
            len,
            data: bytes,
        })
    }

    /// The identifier.
    #[must_use]
    pub const fn id(&self) -> CanId {
        self.id
    }

    /// The kind.
    #[must_use]
    pub const fn kind(&self) -> FrameKind {
        self.kind
    }

    /// Whether this is a classic data frame.
    #[must_use]
    pub const fn is_classic_data(&self) -> bool {
        matches!(self.kind, FrameKind::Data)
    }

    /// The length that the frame announces, bytes.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.len as usize
    }

    /// Whether the frame announces no data.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The data bytes; empty for a remote request.
    #[must_use]
    pub fn data(&self) -> &[u8] {
        if matches!(self.kind, FrameKind::Remote) {
            &[]
        } else {
            &self.data[..self.len()]
        }
    }
}

impl fmt::Display for Frame {
    /// `7E8#02 41 00`; `R4` for a remote request, `error 040` for an error frame, `##` for FD.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.kind {
            FrameKind::Remote => return write!(f, "{}#R{}", self.id, self.len),
            FrameKind::Error => write!(f, "error {:03X}#", self.id.raw())?,
            FrameKind::Data => write!(f, "{}#", self.id)?,
            FrameKind::Fd { .. } => write!(f, "{}##", self.id)?,
        }
        write_bytes(f, self.data())
    }
}

impl fmt::Debug for Frame {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::format;

    const ID: CanId = CanId::Standard(0x7E8);

    #[test]
    fn lengths_are_held_by_the_constructors() {
        assert!(Frame::new(ID, &[0; 9]).is_none());
        assert!(Frame::classic(ID, [0; 8], 9).is_none());
        for len in 0..=8 {
            let data = [1, 2, 3, 4, 5, 6, 7, 8];
            assert_eq!(
                Frame::classic(ID, data, len),
                Frame::new(ID, &data[..usize::from(len)])
            );
        }
        assert!(Frame::fd(ID, &[0; 65], false, false).is_none());
        assert!(Frame::remote(ID, 9).is_none());
        assert_eq!(
            Frame::padded(ID, &[1, 2], 0xCC).data(),
            [1, 2, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC]
        );
        assert_eq!(Frame::remote(ID, 4).map(|frame| frame.data().len()), Some(0));
    }

    #[test]
    fn shows_identifier_and_bytes() {
        assert_eq!(
            format!("{}", Frame::padded(ID, &[2, 0x41, 0], 0)),
            "7E8#02 41 00 00 00 00 00 00"
        );
    }
}
