//! Which CAN frames carry a message, and how long they are: classic ones of eight bytes, or CAN FD ones up to TX_DL (ISO
//! 15765-2:2016, TX_DL and RX_DL; the bounds as the Linux kernel's `isotp` module has them too).

use twotrip_can::{CanId, Frame, FrameKind};

use crate::Config;

/// Bytes of a classic frame, and of the shortest frame here.
pub(crate) const CLASSIC: usize = 8;
/// Bytes of the longest CAN FD frame.
pub(crate) const LONGEST: usize = 64;
/// The lengths from eight bytes on that a CAN FD frame can have (ISO 11898-1).
const LENGTHS: [u8; 8] = [8, 12, 16, 20, 24, 32, 48, 64];

/// TX_DL: the longest CAN FD frame that an end sends, bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TxDl(u8);

impl TxDl {
    /// 64 bytes.
    pub const LONGEST: Self = Self(64);

    /// 8, 12, 16, 20, 24, 32, 48 or 64 bytes; `None` for others.
    #[must_use]
    pub fn new(bytes: u8) -> Option<Self> {
        LENGTHS.contains(&bytes).then_some(Self(bytes))
    }

    /// The length, bytes.
    #[must_use]
    pub const fn bytes(self) -> u8 {
        self.0
    }
}

/// Which frames carry the messages of a bus; those of the other kind are none of its.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Frames {
    /// Classic CAN.
    #[default]
    Classic,
    /// CAN FD. Frames of any length are taken: the first frame of a message says how long the others may be (RX_DL).
    Fd {
        /// The longest frame sent.
        tx_dl: TxDl,
        /// Whether frames are sent with the second bit rate.
        bit_rate_switch: bool,
    },
}

impl Frames {
    /// How much of a message each kind of frame holds.
    pub(crate) const fn rooms(self) -> Rooms {
        Rooms(match self {
            Self::Classic => CLASSIC,
            Self::Fd { tx_dl, .. } => tx_dl.0 as usize,
        })
    }

    /// Whether this is a frame of the kind.
    #[must_use]
    pub const fn include(self, frame: &Frame) -> bool {
        match self {
            Self::Classic => frame.is_classic_data(),
            Self::Fd { .. } => matches!(frame.kind(), FrameKind::Fd { .. }),
        }
    }

    /// The shortest frame from eight bytes on for the first `used` bytes; behind them is padding.
    pub(crate) fn frame(self, id: CanId, data: &[u8; LONGEST], used: usize) -> Frame {
        let Self::Fd { bit_rate_switch, .. } = self else {
            return Frame::padded(id, &data[..CLASSIC], 0);
        };
        let length = LENGTHS
            .into_iter()
            .map(usize::from)
            .find(|length| *length >= used);
        let data = &data[..length.unwrap_or(LONGEST)];
        Frame::fd(id, data, bit_rate_switch, false).expect("no more than 64 bytes")
    }
}

/// Whether a first frame can have this length: it fills its frame.
pub(crate) fn is_whole(bytes: usize) -> bool {
    LENGTHS.into_iter().any(|length| usize::from(length) == bytes)
}

/// Bytes before the message in its first frame.
pub(crate) const fn first_header(length: usize) -> usize {
    if length > Config::LONGEST { 6 } else { 2 }
}

/// How much of a message the frames of one length hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Rooms(usize);

impl Rooms {
    pub(crate) const fn of_frames(bytes: usize) -> Self {
        Self(bytes)
    }

    /// Single frame: the length takes a second byte above eight bytes.
    pub(crate) const fn single(self) -> usize {
        if self.0 > CLASSIC { self.0 - 2 } else { self.0 - 1 }
    }

    /// First frame of a message of so many bytes.
    pub(crate) const fn first(self, length: usize) -> usize {
        self.0 - first_header(length)
    }

    /// Consecutive frame.
    pub(crate) const fn consecutive(self) -> usize {
        self.0 - 1
    }
}
