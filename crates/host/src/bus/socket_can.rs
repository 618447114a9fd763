//! A bus of the Linux kernel: one raw CAN socket (Documentation/networking/can.rst).
//!
//! A request costs one wait, one read that takes all that waits ([`crate::sys::receive_batch`]) and one write for
//! the answer; nothing is allocated per frame. Own frames come back only where their passing is to be known
//! ([`SocketCan::want_confirmation`]), others on this host see them: the kernel's defaults. What the kernel does when an interface goes down or away was observed on 6.1 and 6.12.

mod batch;
mod layout;

use std::{
    io::{self, ErrorKind},
    mem,
    os::fd::AsFd,
    time::Duration,
};

use socketcan::{CanFdSocket, CanFilter, Socket, SocketOptions};
use tokio::io::{Interest, unix::AsyncFd};
use twotrip_can::{Frame, FrameKind, record};

use self::{
    batch::Batch,
    layout::{CLASSIC_LEN, to_kernel},
};
use super::{BusError, BusEvent, Detail, Filter, Received, Sent, interface};
use crate::sys::{self, BATCH, Wait};

/// Room asked for frames not yet read, bytes: some 1000 frames. The kernel's default holds some 220 (seen on 6.12),
/// 55 ms of a full bus.
const RECEIVE_BUFFER: i32 = 1 << 20;
/// The same for whoever must not miss a frame: some two seconds of a full bus.
const LARGE_RECEIVE_BUFFER: i32 = 8 << 20;
/// All classes of error message frames (`CAN_ERR_MASK`, linux/can.h).
const ALL_ERRORS: u32 = 0x1FFF_FFFF;
/// `SO_MEMINFO` of Linux `asm-generic/socket.h`, since 4.12: counters of the socket, 4 bytes each.
const SO_MEMINFO: i32 = 55;
/// Wait after the kernel refused a frame. The kernel calls a socket writable even when the interface's queue is full
/// (ENOBUFS, Documentation/networking/can.rst), so time is all there is to wait for; a queue of ten frames lasts 2 ms
/// at 500 kbit/s, so none of the bus's time is lost.
const RETRY: Duration = Duration::from_millis(1);

/// How long [`SocketCan::recv_soon`] waits. The kernel rounds up to its tick: some 4 to 8 ms.
const SOON: Duration = Duration::from_millis(2);

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
    /// There is, or may be, a wire behind the interface.
    physical: bool,
    bit_rate: Option<u32>,
    /// The interface gives frames back to their sender once they have passed.
    gives_back: bool,
    /// That is waited for.
    confirms: bool,
}

impl SocketCan {
    /// Opens an interface, a physical one only `on_a_bench`; must be called within the runtime.
    pub(super) fn open(interface: &str, on_a_bench: bool) -> Result<Self, BusError> {
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
        let link = interface::usable(interface, &links, on_a_bench)?;
        let socket = CanFdSocket::open_iface(link.index).map_err(|error| match error.raw_os_error() {
            Some(libc::ENODEV) => BusError::Removed {
                interface: interface.to_owned(),
            },
            _ => unsupported(interface, error),
        })?;
        // It may block, but only in `recv_soon`: every other call says that it does not want to.
        socket
            .set_read_timeout(SOON)
            .map_err(failed("set up the CAN socket"))?;
        // Error message frames come besides what the identifier filters let through; other frames cost no more by it.
        socket
            .set_error_filter(ALL_ERRORS)
            .map_err(failed("ask for error frames"))?;
        make_room(&socket, RECEIVE_BUFFER);
        Ok(Self {
            interface: interface.to_owned(),
            socket: sys::watch(socket).map_err(failed("wait for the CAN socket"))?,
            batch: Box::new(Batch::new()),
            removed: false,
            down: false,
            down_unreported: false,
            malformed: 0,
            physical: !link.is_virtual(),
            bit_rate: link.bit_rate,
            gives_back: link.gives_back(),
            confirms: false,
        })
    }

    pub(super) const fn is_physical(&self) -> bool {
        self.physical
    }

    pub(super) const fn bit_rate(&self) -> Option<u32> {
        self.bit_rate
    }

    pub(super) fn want_detail(&mut self) -> Result<(), BusError> {
        self.note(&[libc::SO_TIMESTAMPNS, libc::SO_RXQ_OVFL])?;
        make_room(self.socket.get_ref(), LARGE_RECEIVE_BUFFER);
        Ok(())
    }

    pub(super) fn want_times(&mut self) -> Result<(), BusError> {
        self.note(&[libc::SO_TIMESTAMPNS])
    }

    /// Has the kernel note something with each frame.
    fn note(&mut self, options: &[i32]) -> Result<(), BusError> {
        let socket = self.socket.get_ref();
        for option in options {
            socket
                .set_socket_option_int(libc::SOL_SOCKET, *option, 1)
                .map_err(|error| self.failed("ask for times and losses of frames", error))?;
        }
        self.batch.read_control();
        Ok(())
    }

    pub(super) fn want_confirmation(&mut self) -> Result<(), BusError> {
        if self.gives_back {
            self.socket
                .get_ref()
                .set_recv_own_msgs(true)
                .map_err(|error| self.failed("ask for the passing of frames", error))?;
            self.confirms = true;
        }
        Ok(())
    }

    /// By the socket's own counter: the one that comes with each frame costs something with each frame.
    pub(super) fn dropped(&self) -> Option<u32> {
        const DROPS: usize = 4 * libc::SK_MEMINFO_DROPS as usize;
        let mut counters = [0; DROPS + 4];
        let socket = self.socket.get_ref();
        let len = socket.get_socket_option_bytes(libc::SOL_SOCKET, SO_MEMINFO, &mut counters);
        let (_, dropped) = counters.split_last_chunk()?;
        (len.ok()? == counters.len()).then_some(u32::from_ne_bytes(*dropped))
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
            match self.batch.fill(ready.get_inner().as_fd(), Wait::No) {
                // A batch that is not full was the last: waiting for the next edge loses nothing.
                Ok(filled) if filled < BATCH => ready.clear_ready(),
                Ok(_) => {}
                Err(error) if error.kind() == ErrorKind::WouldBlock => ready.clear_ready(),
                Err(error) => {
                    if let Some(event) = self.on_read_error(error)? {
                        return Ok(event);
                    }
                }
            }
        }
    }

    /// Waits with the whole thread, for [`SOON`] at the most.
    pub(super) fn recv_soon(&mut self) -> Result<Option<BusEvent>, BusError> {
        if let Some(event) = self.take_read() {
            return Ok(Some(event));
        }
        if self.down_unreported || self.removed {
            return Ok(None);
        }
        match self.batch.fill(self.socket.get_ref().as_fd(), Wait::ForOne) {
            Ok(_) => Ok(self.take_read()),
            Err(error) if error.kind() == ErrorKind::WouldBlock => Ok(None),
            Err(error) => self.on_read_error(error),
        }
    }

    fn on_read_error(&mut self, error: io::Error) -> Result<Option<BusEvent>, BusError> {
        match (error.kind(), error.raw_os_error()) {
            (ErrorKind::Interrupted, _) => Ok(None),
            (_, Some(libc::ENETDOWN)) => {
                self.down = true;
                Ok(Some(BusEvent::Down))
            }
            (_, Some(libc::ENODEV | libc::ENXIO)) => {
                self.removed = true;
                Ok(None)
            }
            _ => Err(self.failed("read frames", error)),
        }
    }

    pub(super) fn detail(&self) -> Option<Detail> {
        self.batch.detail()
    }

    /// What an earlier read has left.
    pub(super) fn take_read(&mut self) -> Option<BusEvent> {
        while let Some(read) = self.batch.take() {
            let Some(frame) = read.frame else {
                self.malformed += 1;
                continue;
            };
            self.down = false;
            let received = Received {
                frame,
                origin: read.origin,
            };
            return Some(if read.own {
                BusEvent::Passed(received)
            } else {
                BusEvent::Frame(received)
            });
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
        let write = |socket: &CanFdSocket| socket.as_raw_socket().send_with_flags(bytes, libc::MSG_DONTWAIT);
        let mut sent = write(self.socket.get_ref());
        if has_code(&sent, libc::ENETDOWN) {
            // The socket tells of a fall of the interface once, to whoever calls first; only a second try tells
            // whether the interface is down now. (Seen on 6.12: else the first answer after "up" is lost.)
            self.down_unreported |= !mem::replace(&mut self.down, true);
            sent = write(self.socket.get_ref());
        }
        let Err(error) = sent else {
            self.down = false;
            return Ok(if self.confirms { Sent::Queued } else { Sent::Handed });
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

/// Raises the room for frames not yet read: beyond `net.core.rmem_max` where we may, up to it where not. A wish: a refusal
/// costs comfort only.
fn make_room(socket: &CanFdSocket, bytes: i32) {
    let _ = [libc::SO_RCVBUFFORCE, libc::SO_RCVBUF].into_iter().any(|option| {
        socket
            .set_socket_option_int(libc::SOL_SOCKET, option, bytes)
            .is_ok()
    });
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

#[cfg(test)]
mod tests {
    use super::*;

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
        let error = SocketCan::open("nosuchcan0", false).expect_err("there is none");
        let expected = matches!(
            error,
            BusError::NoCanSupport { .. } | BusError::NoInterface { .. } | BusError::Permission { .. }
        );
        assert!(expected, "{error}");
    }
}
