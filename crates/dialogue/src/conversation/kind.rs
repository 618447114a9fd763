//! Classic CAN or CAN FD: a bus of diagnostics speaks one, and who speaks the other is not heard (the Linux kernel's `isotp`
//! keeps them apart too).
//!
//! What ECUs speak is known by their first frame. Until then a tester's frames of either kind count; those of CAN FD are in
//! doubt, for legislated diagnostics are classic (ISO 15765-4, from memory).

use twotrip_can::{Frame, FrameKind};
use twotrip_isotp::TxDl;
use twotrip_units::BusInstant;

use crate::{Breach, Role};

/// Bytes of every frame of legislated diagnostics (ISO 15765-4, from memory), and of the shortest on CAN FD.
pub(crate) const FRAME_BYTES: usize = 8;

/// What is known of a bus.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Kinds {
    is_fd: Option<bool>,
    /// The first frame of CAN FD, as long as nobody has answered.
    doubtful: Option<(u64, BusInstant, Role)>,
}

/// What a frame is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// One that is spoken here.
    Spoken {
        /// CAN FD.
        is_fd: bool,
    },
    /// Another.
    Other,
}

impl Kinds {
    /// Takes a frame.
    pub(super) fn take(&mut self, number: u64, at: BusInstant, role: Role, frame: &Frame) -> Kind {
        let is_fd = match frame.kind() {
            FrameKind::Data => false,
            FrameKind::Fd { .. } => true,
            FrameKind::Remote | FrameKind::Error => return Kind::Other,
        };
        match self.is_fd {
            Some(spoken) if spoken != is_fd => return Kind::Other,
            Some(_) => {}
            None if !role.is_testers() => {
                self.is_fd = Some(is_fd);
                if is_fd {
                    self.doubtful = None;
                }
            }
            None if is_fd => {
                self.doubtful.get_or_insert((number, at, role));
            }
            None => {}
        }
        Kind::Spoken { is_fd }
    }

    /// The frame of CAN FD that nobody here speaks; told once it is known, or at the end.
    pub(super) fn settled(&mut self, is_over: bool) -> Option<(u64, BusInstant, Role)> {
        self.doubtful.take_if(|_| is_over || self.is_fd == Some(false))
    }
}

/// What is wrong with the length of a frame.
pub(super) fn judge_length(frame: &Frame, is_fd: bool) -> Option<Breach> {
    let found = frame.len();
    if found == FRAME_BYTES {
        return None;
    }
    if !is_fd || found < FRAME_BYTES {
        return Some(Breach::ShortFrame { found });
    }
    let exists = u8::try_from(found).ok().and_then(TxDl::new).is_some();
    (!exists).then_some(Breach::NoLength { found })
}
