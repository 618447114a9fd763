//! The only module with `unsafe`: three system calls that neither `std` nor the socket crates offer, and the promise
//! that a watched socket stays the same one.
//!
//! Everything here takes and returns safe types; what the bytes mean is decided elsewhere.
#![expect(
    unsafe_code,
    reason = "geteuid, socket(AF_NETLINK), recvmmsg and watching a foreign socket type have no safe form"
)]

use std::{
    array, io, mem,
    os::fd::{AsRawFd, BorrowedFd, FromRawFd, OwnedFd},
    ptr,
};

use socketcan::CanFdSocket;
use tokio::io::{Interest, unix::AsyncFd};

/// Frames taken from a socket by one call.
pub(crate) const BATCH: usize = 16;
/// Length of the largest frame that a CAN socket delivers, bytes (`CANFD_MTU`).
pub(crate) const FRAME_LEN: usize = 72;

/// The user on whose behalf this process acts.
pub(crate) fn effective_user() -> u32 {
    // SAFETY: takes no arguments, touches no memory of ours and cannot fail (geteuid(2)).
    unsafe { libc::geteuid() }
}

/// A socket for questions about network interfaces (rtnetlink(7)).
pub(crate) fn route_socket() -> io::Result<OwnedFd> {
    // SAFETY: three plain integers; the kernel checks them.
    let fd = unsafe {
        libc::socket(
            libc::AF_NETLINK,
            libc::SOCK_RAW | libc::SOCK_CLOEXEC,
            libc::NETLINK_ROUTE,
        )
    };
    if fd < 0 {
        return Err(io::Error::last_os_error());
    }
    // SAFETY: `fd` is open, was made just above and has no other owner.
    Ok(unsafe { OwnedFd::from_raw_fd(fd) })
}

/// Puts a CAN socket under the runtime's watch, for what comes in only: a watch for room would wake the process once
/// more after each frame that it sends. Must be called within the runtime.
pub(crate) fn watch(socket: CanFdSocket) -> io::Result<AsyncFd<CanFdSocket>> {
    // SAFETY: the socket type owns its descriptor, closes it only when dropped, and has no method that changes it
    // (`as_raw_socket_mut` could swap it; nothing here takes a mutable reference out of the `AsyncFd`).
    unsafe { AsyncFd::register_with_interest(socket, Interest::READABLE) }
        .map_err(|error| error.into_parts().1)
}

/// Takes all waiting datagrams, up to [`BATCH`], without waiting: one system call for a request and the
/// knowledge that there is no second one. Returns how many came; their lengths stand in `lengths`.
pub(crate) fn receive_batch(
    socket: BorrowedFd<'_>,
    frames: &mut [[u8; FRAME_LEN]; BATCH],
    lengths: &mut [usize; BATCH],
) -> io::Result<usize> {
    let mut vectors: [libc::iovec; BATCH] = {
        let mut frames = frames.iter_mut();
        array::from_fn(|_| {
            frames.next().map_or(
                libc::iovec {
                    iov_base: ptr::null_mut(),
                    iov_len: 0,
                },
                |frame| libc::iovec {
                    iov_base: frame.as_mut_ptr().cast(),
                    iov_len: FRAME_LEN,
                },
            )
        })
    };
    // SAFETY: `mmsghdr` is plain integers and pointers, for which all zeros (no address, no control data) is a
    // valid value.
    let mut headers: [libc::mmsghdr; BATCH] = unsafe { mem::zeroed() };
    for (header, vector) in headers.iter_mut().zip(&mut vectors) {
        header.msg_hdr.msg_iov = vector;
        header.msg_hdr.msg_iovlen = 1;
    }
    let room = u32::try_from(BATCH).unwrap_or(1);
    // SAFETY: `headers` holds `room` headers; each points to one vector, each vector to `FRAME_LEN` writable
    // bytes of `frames`, which is borrowed mutably for the whole call. The kernel keeps none of the pointers.
    let received = unsafe {
        libc::recvmmsg(
            socket.as_raw_fd(),
            headers.as_mut_ptr(),
            room,
            libc::MSG_DONTWAIT,
            ptr::null_mut(),
        )
    };
    let received = usize::try_from(received).map_err(|_| io::Error::last_os_error())?;
    for (length, header) in lengths.iter_mut().zip(&headers).take(received) {
        *length = usize::try_from(header.msg_len).unwrap_or(0);
    }
    Ok(received)
}

#[cfg(test)]
mod tests {
    use std::{
        io::ErrorKind,
        os::{fd::AsFd, unix::net::UnixDatagram},
    };

    use super::*;

    #[test]
    fn a_batch_takes_what_waits_and_never_waits_itself() {
        let (tester, car) = UnixDatagram::pair().expect("socket pair");
        let mut frames = [[0; FRAME_LEN]; BATCH];
        let mut lengths = [0; BATCH];
        let nothing = receive_batch(car.as_fd(), &mut frames, &mut lengths);
        assert_eq!(
            nothing.expect_err("nothing was sent").kind(),
            ErrorKind::WouldBlock
        );
        tester.send(&[1; 16]).expect("sent");
        tester.send(&[2; 72]).expect("sent");
        assert_eq!(
            receive_batch(car.as_fd(), &mut frames, &mut lengths).expect("two"),
            2
        );
        assert_eq!((lengths[0], lengths[1]), (16, 72));
        assert_eq!(
            (frames[0][15], frames[0][16], frames[1][71]),
            (1, 0, 2),
            "each datagram in its own buffer"
        );
        for _ in 0..BATCH + 1 {
            tester.send(&[3; 16]).expect("sent");
        }
        assert_eq!(
            receive_batch(car.as_fd(), &mut frames, &mut lengths).expect("full"),
            BATCH
        );
        assert_eq!(
            receive_batch(car.as_fd(), &mut frames, &mut lengths).expect("rest"),
            1
        );
    }
}
