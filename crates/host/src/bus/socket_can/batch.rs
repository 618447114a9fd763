//! Frames read by one call and not yet handed on, each with what the kernel says about it.

use std::{
    io,
    os::fd::BorrowedFd,
    time::{Duration, SystemTime},
};

use twotrip_can::Frame;

use super::layout::from_kernel;
use crate::{
    bus::{Detail, Origin},
    sys::{self, BATCH, ControlRoom, FRAME_LEN, Taken, Wait},
};

/// Room for one batch.
#[derive(Debug)]
pub(super) struct Batch {
    frames: [[u8; FRAME_LEN]; BATCH],
    taken: [Taken; BATCH],
    /// Room for control messages, where they are asked for.
    control: Option<Box<[ControlRoom; BATCH]>>,
    next: usize,
    filled: usize,
}

/// A frame, and what the kernel says about it.
#[derive(Debug)]
pub(super) struct Read {
    /// `None` for what no wire could carry.
    pub(super) frame: Option<Frame>,
    pub(super) origin: Origin,
    /// Sent by this very socket: what comes back is the word that it has passed.
    pub(super) own: bool,
}

impl Batch {
    pub(super) const fn new() -> Self {
        Self {
            frames: [[0; FRAME_LEN]; BATCH],
            taken: [Taken::NOTHING; BATCH],
            control: None,
            next: 0,
            filled: 0,
        }
    }

    /// From the next read on, control messages are read too.
    pub(super) fn read_control(&mut self) {
        self.control = Some(Box::new([ControlRoom::EMPTY; BATCH]));
    }

    /// Reads what waits. What an earlier read has left must have been taken.
    pub(super) fn fill(&mut self, socket: BorrowedFd<'_>, wait: Wait) -> io::Result<usize> {
        self.next = 0;
        self.filled = 0;
        let control = self.control.as_deref_mut();
        self.filled = sys::receive_batch(socket, &mut self.frames, &mut self.taken, control, wait)?;
        Ok(self.filled)
    }

    pub(super) fn take(&mut self) -> Option<Read> {
        if self.next == self.filled {
            return None;
        }
        let place = self.next;
        self.next += 1;
        let taken = self.taken[place];
        Some(Read {
            frame: from_kernel(self.frames[place], taken.len),
            origin: if taken.flags & libc::MSG_DONTROUTE != 0 {
                Origin::ThisComputer
            } else {
                Origin::Wire
            },
            own: taken.flags & libc::MSG_CONFIRM != 0,
        })
    }

    /// What the kernel noted of the frame last taken; taken apart only now, since few ask.
    pub(super) fn detail(&self) -> Option<Detail> {
        let place = self.next.checked_sub(1)?;
        let bytes = &self.control.as_ref()?[place].0;
        Some(detail(
            bytes.get(..self.taken[place].control_len).unwrap_or(bytes),
        ))
    }
}

/// The control messages of one frame (cmsg(3)): each a length, a level and a type, then data, on even 8 bytes.
fn detail(mut bytes: &[u8]) -> Detail {
    let mut detail = Detail::default();
    while let Some((header, _)) = bytes.split_first_chunk::<CONTROL_HEADER>() {
        let [l0, l1, l2, l3, l4, l5, l6, l7, v0, v1, v2, v3, t0, t1, t2, t3] = *header;
        let length = usize::from_ne_bytes([l0, l1, l2, l3, l4, l5, l6, l7]);
        let Some(data) = bytes.get(CONTROL_HEADER..length) else {
            break;
        };
        let level = i32::from_ne_bytes([v0, v1, v2, v3]);
        match (level, i32::from_ne_bytes([t0, t1, t2, t3])) {
            (libc::SOL_SOCKET, libc::SCM_TIMESTAMPNS) => detail.at = timespec(data),
            (libc::SOL_SOCKET, libc::SO_RXQ_OVFL) => {
                detail.dropped = data.first_chunk().map_or(0, |&count| u32::from_ne_bytes(count));
            }
            _ => {}
        }
        bytes = bytes.get(length.next_multiple_of(8)..).unwrap_or_default();
    }
    detail
}

/// `struct cmsghdr`, bytes, on machines whose words have 64 bits.
const CONTROL_HEADER: usize = 16;

/// A `struct timespec` of the real-time clock: seconds and nanoseconds since 1970, 8 bytes each.
fn timespec(data: &[u8]) -> Option<SystemTime> {
    let (&seconds, rest) = data.split_first_chunk()?;
    let seconds = u64::try_from(i64::from_ne_bytes(seconds)).ok()?;
    let nanoseconds = u32::try_from(i64::from_ne_bytes(*rest.first_chunk()?)).ok()?;
    SystemTime::UNIX_EPOCH.checked_add(Duration::new(seconds, nanoseconds.min(999_999_999)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn message(level: i32, kind: i32, data: &[u8]) -> Vec<u8> {
        let mut bytes = (CONTROL_HEADER + data.len()).to_ne_bytes().to_vec();
        bytes.extend(level.to_ne_bytes());
        bytes.extend(kind.to_ne_bytes());
        bytes.extend(data);
        bytes.resize(bytes.len().next_multiple_of(8), 0);
        bytes
    }

    /// Layout: cmsg(3); numbers: Linux `asm-generic/socket.h`, 35 and 40.
    #[test]
    fn time_and_losses_are_found_among_control_messages() {
        let time = [5_i64.to_ne_bytes(), 7_i64.to_ne_bytes()].concat();
        let all = [
            message(libc::SOL_SOCKET, 35, &time),
            message(1000, 1, &[1, 2, 3]),
            message(libc::SOL_SOCKET, 40, &9_u32.to_ne_bytes()),
        ]
        .concat();
        let found = detail(&all);
        assert_eq!(found.at, Some(SystemTime::UNIX_EPOCH + Duration::new(5, 7)));
        assert_eq!(found.dropped, 9);
        for end in 0..all.len() {
            let _ = detail(&all[..end]);
        }
    }

    #[test]
    fn a_length_that_cannot_be_ends_the_search() {
        for length in [0, 3, usize::MAX] {
            let mut bytes = message(libc::SOL_SOCKET, 40, &9_u32.to_ne_bytes());
            bytes[..8].copy_from_slice(&length.to_ne_bytes());
            assert_eq!(detail(&bytes), Detail::default());
        }
        let early = message(libc::SOL_SOCKET, 35, &[0xFF; 16]);
        assert_eq!(detail(&early).at, None, "before 1970");
    }
}
