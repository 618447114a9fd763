//! A bus of the Linux kernel: one raw CAN socket (Documentation/networking/can.rst).
//!
//! A request costs one wait, one read that takes all that waits ([`crate::sys::receive_batch`]) and one write for
//! the answer; nothing is allocated per frame. Own frames do not come back, others on this host see them: both are
//! the kernel's defaults. What the kernel does when an interface goes down or away was observed on 6.1 and 6.12.

use std::{
    io::{self, ErrorKind, Write},
    mem,
    os::fd::{AsFd, BorrowedFd},
    time::Duration,
};

use socketcan::{CanFdSocket, CanFilter, Socket, SocketOptions};
use tokio::io::{Interest, unix::AsyncFd};
use twotrip_can::{Frame, FrameKind, record};

use super::{BusError, BusEvent, Filter, Received, Sent, interface};
use crate::sys::{self, BATCH, FRAME_LEN};

/// Length of a classic frame on a raw socket, bytes (`CAN_MTU`).
const CLASSIC_LEN: usize = 16;
/// Room asked for frames not yet read, bytes; the kernel gives what `net.core.rmem_max` allows.
const RECEIVE_BUFFER: i32 = 1 << 20;
/// Wait after the kernel refused a frame. The kernel calls a socket writable even when the interface's queue is full
/// (ENOBUFS, Documentation/networking/can.rst), so time is all there is to wait for; a queue of ten frames lasts 2 ms
/// at 500 kbit/s, so none of the bus's time is lost.
const RETRY: Duration = Duration::from_millis(1);

/// A raw socket on one interface.
#[derive(Debug)]
pub(super) struct SocketCan {
    interface: String,
    socket: AsyncFd<CanFdSocket>,
    batch: Box<Batch>,
    /// The interface is gone for good.
    removed: bool,
    /// The interface was down when last heard of.
    down: bool,
    /// A send has met the fall of the interface before `recv` did.
    down_unreported: bool,
    /// Frames that no bus could carry, as a virtual interface lets them through.
    malformed: u64,
}

#[derive(Debug)]
struct Batch {
    frames: [[u8; FRAME_LEN]; BATCH],
    lengths: [usize; BATCH],
    next: usize,
    filled: usize,
}

impl SocketCan {
    /// Opens a virtual interface; must be called within the runtime.
    pub(super) fn open(interface: &str) -> Result<Self, BusError> {
        let failed = |doing| {
            move |source| BusError::System {
                bus: interface.to_owned(),
                doing,
                source,
            }
        };
        // Looking up a name says "no such device" even where there is no CAN at all: so ask that first.
        drop(CanFdSocket::open_iface(0).map_err(|error| unsupported(interface, error))?);
        let links = interface::links().map_err(failed("list the network interfaces"))?;
        let link = interface::usable(interface, &links)?;
        let socket = CanFdSocket::open_iface(link.index).map_err(|error| match error.raw_os_error() {
            Some(libc::ENODEV) => BusError::Removed {
                interface: interface.to_owned(),
            },
            _ => unsupported(interface, error),
        })?;
        socket
            .set_nonblocking(true)
            .map_err(failed("set up the CAN socket"))?;
        // A wish: a refusal costs comfort only.
        let _ = socket.set_socket_option_int(libc::SOL_SOCKET, libc::SO_RCVBUF, RECEIVE_BUFFER);
        Ok(Self {
            interface: interface.to_owned(),
            socket: sys::watch(socket).map_err(failed("wait for the CAN socket"))?,
            batch: Box::new(Batch::new()),
            removed: false,
            down: false,
            down_unreported: false,
            malformed: 0,
        })
    }

    pub(super) fn set_filters(&self, filters: &[Filter]) -> Result<(), BusError> {
        let filters: Vec<_> = filters
            .iter()
            .map(|filter| CanFilter::new(filter.id, filter.mask))
            .collect();
        self.socket
            .get_ref()
            .set_filters(&filters)
            .map_err(|error| self.failed("set the identifier filters", error))
    }

    pub(super) const fn malformed(&self) -> u64 {
        self.malformed
    }

    /// Cancel safe: what was read stays in the batch.
    pub(super) async fn recv(&mut self) -> Result<BusEvent, BusError> {
        loop {
            if let Some(event) = self.take_read() {
                return Ok(event);
            }
            if mem::take(&mut self.down_unreported) {
                return Ok(BusEvent::Down);
            }
            if self.removed {
                return Err(self.removed());
            }
            // A socket with nothing but an error to tell is not "readable".
            let interest = Interest::READABLE | Interest::ERROR;
            let mut ready = match self.socket.ready(interest).await {
                Ok(ready) => ready,
                Err(error) => return Err(self.failed("wait for frames", error)),
            };
            match self.batch.fill(ready.get_inner().as_fd()) {
                // A batch that is not full was the last: waiting for the next edge loses nothing.
                Ok(filled) if filled < BATCH => ready.clear_ready(),
                Ok(_) => {}
                Err(error) => match (error.kind(), error.raw_os_error()) {
                    (ErrorKind::WouldBlock, _) => ready.clear_ready(),
                    (ErrorKind::Interrupted, _) => {}
                    (_, Some(libc::ENETDOWN)) => {
                        self.down = true;
                        return Ok(BusEvent::Down);
                    }
                    (_, Some(libc::ENODEV | libc::ENXIO)) => self.removed = true,
                    _ => return Err(self.failed("read frames", error)),
                },
            }
        }
    }

    /// What an earlier read has left.
    pub(super) fn take_read(&mut self) -> Option<BusEvent> {
        while let Some(frame) = self.batch.take() {
            match frame {
                Ok(frame) => {
                    self.down = false;
                    return Some(BusEvent::Frame(Received { frame }));
                }
                Err(_) => self.malformed += 1,
            }
        }
        None
    }

    pub(super) fn try_send(&mut self, frame: &Frame) -> Result<Sent, BusError> {
        if self.removed {
            return Err(self.removed());
        }
        let bytes = to_kernel(record::encode(frame));
        let is_fd = matches!(frame.kind(), FrameKind::Fd { .. });
        let bytes = if is_fd { &bytes[..] } else { &bytes[..CLASSIC_LEN] };
        let write = |socket: &CanFdSocket| socket.as_raw_socket().write(bytes).map(|_| Sent::Handed);
        let mut sent = write(self.socket.get_ref());
        if has_code(&sent, libc::ENETDOWN) {
            // The socket tells of a fall of the interface once, to whoever calls first; only a second try tells
            // whether the interface is down now. (Seen on 6.12: else the first answer after "up" is lost.)
            self.down_unreported |= !mem::replace(&mut self.down, true);
            sent = write(self.socket.get_ref());
        }
        let error = match sent {
            Ok(sent) => {
                self.down = false;
                return Ok(sent);
            }
            Err(error) => error,
        };
        match (error.kind(), error.raw_os_error()) {
            (ErrorKind::WouldBlock | ErrorKind::Interrupted, _) | (_, Some(libc::ENOBUFS)) => Ok(Sent::Later),
            (_, Some(libc::ENETDOWN)) => Ok(Sent::Down),
            (_, Some(libc::ENXIO | libc::ENODEV)) => {
                self.removed = true;
                Err(self.removed())
            }
            (_, Some(libc::EINVAL)) if is_fd => Err(BusError::NoFd {
                interface: self.interface.clone(),
            }),
            _ => Err(self.failed("send a frame", error)),
        }
    }

    /// Cancel safe. Returns when another try makes sense, which is not a promise that it succeeds.
    pub(super) async fn writable(&self) -> Result<(), BusError> {
        tokio::time::sleep(RETRY).await;
        Ok(())
    }

    fn removed(&self) -> BusError {
        BusError::Removed {
            interface: self.interface.clone(),
        }
    }

    fn failed(&self, doing: &'static str, source: io::Error) -> BusError {
        BusError::System {
            bus: self.interface.clone(),
            doing,
            source,
        }
    }
}

fn has_code<T>(result: &io::Result<T>, code: i32) -> bool {
    result
        .as_ref()
        .is_err_and(|error| error.raw_os_error() == Some(code))
}

fn unsupported(interface: &str, reason: io::Error) -> BusError {
    let interface = interface.to_owned();
    match reason.raw_os_error() {
        Some(libc::EAFNOSUPPORT | libc::EPROTONOSUPPORT) => BusError::NoCanSupport { interface, reason },
        Some(libc::EPERM | libc::EACCES) => BusError::Permission { interface, reason },
        _ => BusError::System {
            bus: interface,
            doing: "open a CAN socket",
            source: reason,
        },
    }
}

impl Batch {
    const fn new() -> Self {
        Self {
            frames: [[0; FRAME_LEN]; BATCH],
            lengths: [0; BATCH],
            next: 0,
            filled: 0,
        }
    }

    fn fill(&mut self, socket: BorrowedFd<'_>) -> io::Result<usize> {
        self.next = 0;
        self.filled = 0;
        self.filled = sys::receive_batch(socket, &mut self.frames, &mut self.lengths)?;
        Ok(self.filled)
    }

    fn take(&mut self) -> Option<Result<Frame, ()>> {
        if self.next == self.filled {
            return None;
        }
        let (bytes, length) = (self.frames[self.next], self.lengths[self.next]);
        self.next += 1;
        Some(from_kernel(bytes, length).ok_or(()))
    }
}

/// The kernel's `canfd_frame` has its identifier in the byte order of the machine, a record in little-endian.
fn to_kernel(mut record: [u8; record::LEN]) -> [u8; FRAME_LEN] {
    let id = [record[0], record[1], record[2], record[3]];
    record[..4].copy_from_slice(&u32::from_le_bytes(id).to_ne_bytes());
    record
}

/// The frame in what a raw socket delivered: 16 bytes for classic, 72 for FD.
fn from_kernel(mut bytes: [u8; FRAME_LEN], length: usize) -> Option<Frame> {
    let id = [bytes[0], bytes[1], bytes[2], bytes[3]];
    bytes[..4].copy_from_slice(&u32::from_ne_bytes(id).to_le_bytes());
    match length {
        // Byte 5 is padding in a classic frame, and the sender's to fill.
        CLASSIC_LEN => bytes[5] = 0,
        FRAME_LEN => {
            bytes[5] |= FDF;
            // A virtual interface lets lengths through that no wire carries; a controller would fill with zeros.
            let len = usize::from(bytes[4]);
            let carried = FD_LENGTHS
                .into_iter()
                .find(|&carried| usize::from(carried) >= len)?;
            bytes[8 + len..].fill(0);
            bytes[4] = carried;
        }
        _ => return None,
    }
    record::decode(&bytes).ok()
}

/// `CANFD_FDF` (linux/can.h).
const FDF: u8 = 0x04;
/// The data lengths of FD frames, bytes (ISO 11898-1).
const FD_LENGTHS: [u8; 16] = [0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64];

#[cfg(test)]
mod tests {
    use twotrip_can::CanId;

    use super::*;

    #[test]
    fn frames_survive_the_kernels_layout() {
        let id = CanId::Extended(0x18DA_F110);
        let classic = [
            Frame::new(CanId::Standard(0x7E8), &[1, 2, 3]),
            Frame::remote(id, 5),
            Some(Frame::error(0x40, [0, 1, 2, 3, 4, 5, 6, 7])),
        ];
        for frame in classic.into_iter().flatten() {
            let mut bytes = to_kernel(record::encode(&frame));
            bytes[5] = 0xFF;
            bytes[CLASSIC_LEN..].fill(0xA5);
            assert_eq!(
                from_kernel(bytes, CLASSIC_LEN),
                Some(frame),
                "what is not sent is not read"
            );
        }
        let fd = Frame::fd(id, &[7; 12], true, false).expect("fits");
        assert_eq!(from_kernel(to_kernel(record::encode(&fd)), FRAME_LEN), Some(fd));
    }

    #[test]
    fn what_no_wire_carries_is_made_right_or_refused() {
        let odd = Frame::fd(CanId::Standard(1), &[7; 11], false, false).expect("fits");
        let received = from_kernel(to_kernel(record::encode(&odd)), FRAME_LEN).expect("filled up");
        assert_eq!(received.data(), [7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 0]);
        let mut wide = [0; FRAME_LEN];
        wide[..4].copy_from_slice(&0x800_u32.to_ne_bytes());
        assert_eq!(from_kernel(wide, CLASSIC_LEN), None, "12 bits marked as 11");
        assert_eq!(from_kernel([0; FRAME_LEN], 20), None, "neither size");
        let mut long = [0; FRAME_LEN];
        long[4] = 255;
        assert_eq!(from_kernel(long, FRAME_LEN), None);
        assert_eq!(from_kernel(long, CLASSIC_LEN), None);
    }

    #[test]
    fn errors_of_the_kernel_name_the_remedy() {
        let text = |code| unsupported("vcan0", io::Error::from_raw_os_error(code)).to_string();
        assert!(text(libc::EAFNOSUPPORT).contains("--bus local:NAME"));
        assert!(text(libc::EPROTONOSUPPORT).contains("modprobe"));
        assert!(text(libc::EPERM).contains("no permission"));
        assert!(text(libc::EMFILE).contains("cannot open a CAN socket"));
    }

    /// On a kernel without CAN this must not read "no such device"; with CAN it must be the missing interface.
    #[tokio::test]
    async fn a_bus_that_cannot_be_says_why() {
        let error = SocketCan::open("nosuchcan0").expect_err("there is none");
        let expected = matches!(
            error,
            BusError::NoCanSupport { .. } | BusError::NoInterface { .. } | BusError::Permission { .. }
        );
        assert!(expected, "{error}");
    }
}
