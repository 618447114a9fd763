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

/// Puts the descriptor of a process under the runtime's watch. Must be called within the runtime.
pub(crate) fn watch_process(descriptor: OwnedFd) -> io::Result<AsyncFd<OwnedFd>> {
    // SAFETY: the type owns its descriptor, closes it only when dropped, and cannot change it.
    unsafe { AsyncFd::register_with_interest(descriptor, Interest::READABLE) }
        .map_err(|error| error.into_parts().1)
}

/// Room for the control messages of one datagram: a time (32 bytes) and a count (24), cmsg(3).
#[derive(Clone, Copy, Debug)]
#[repr(align(8))]
pub(crate) struct ControlRoom(pub(crate) [u8; CONTROL_LEN]);

const CONTROL_LEN: usize = 64;

impl ControlRoom {
    pub(crate) const EMPTY: Self = Self([0; CONTROL_LEN]);
}

/// What the kernel says of a datagram that it has delivered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Taken {
    /// Its length, bytes.
    pub(crate) len: usize,
    /// Length of its control messages, bytes.
    pub(crate) control_len: usize,
    /// `msg_flags` of recvmsg(2).
    pub(crate) flags: i32,
}

impl Taken {
    pub(crate) const NOTHING: Self = Self {
        len: 0,
        control_len: 0,
        flags: 0,
    };
}

/// Whether a read waits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Wait {
    /// Not at all.
    No,
    /// For the first datagram, as long as the socket's timeout (`SO_RCVTIMEO`) is; never on a non-blocking socket.
    ForOne,
}

/// Takes all waiting datagrams, up to [`BATCH`]: one system call for a request and the knowledge that there is no
/// second one. Returns how many came. Control messages are read only where there is room given for them: they cost
/// each datagram something.
pub(crate) fn receive_batch(
    socket: BorrowedFd<'_>,
    frames: &mut [[u8; FRAME_LEN]; BATCH],
    taken: &mut [Taken; BATCH],
    control: Option<&mut [ControlRoom; BATCH]>,
    wait: Wait,
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
    for (header, room) in headers.iter_mut().zip(control.into_iter().flatten()) {
        header.msg_hdr.msg_control = room.0.as_mut_ptr().cast();
        header.msg_hdr.msg_controllen = CONTROL_LEN;
    }
    let room = u32::try_from(BATCH).unwrap_or(1);
    // SAFETY: `headers` holds `room` headers; each points to one vector, each vector to `FRAME_LEN` writable
    // bytes of `frames`, and to no control room or `CONTROL_LEN` writable bytes of `control`; both are borrowed
    // mutably for the whole call. The kernel keeps none of the pointers.
    let received = unsafe {
        libc::recvmmsg(
            socket.as_raw_fd(),
            headers.as_mut_ptr(),
            room,
            match wait {
                Wait::No => libc::MSG_DONTWAIT,
                Wait::ForOne => libc::MSG_WAITFORONE,
            },
            ptr::null_mut(),
        )
    };
    let received = usize::try_from(received).map_err(|_| io::Error::last_os_error())?;
    for (taken, header) in taken.iter_mut().zip(&headers).take(received) {
        *taken = Taken {
            len: usize::try_from(header.msg_len).unwrap_or(0),
            control_len: header.msg_hdr.msg_controllen,
            flags: header.msg_hdr.msg_flags,
        };
    }
    Ok(received)
}

#[cfg(test)]
mod tests {
    use std::{
        io::ErrorKind,
        os::{fd::AsFd, unix::net::UnixDatagram},
        time::Duration,
    };

    use super::*;

    #[test]
    fn a_batch_takes_what_waits_and_never_waits_itself() {
        let (tester, car) = UnixDatagram::pair().expect("socket pair");
        let mut frames = [[0; FRAME_LEN]; BATCH];
        let mut taken = [Taken::NOTHING; BATCH];
        let receive =
            |frames: &mut _, taken: &mut _| receive_batch(car.as_fd(), frames, taken, None, Wait::No);
        let nothing = receive(&mut frames, &mut taken);
        assert_eq!(
            nothing.expect_err("nothing was sent").kind(),
            ErrorKind::WouldBlock
        );
        tester.send(&[1; 16]).expect("sent");
        tester.send(&[2; 72]).expect("sent");
        assert_eq!(receive(&mut frames, &mut taken).expect("two"), 2);
        assert_eq!((taken[0].len, taken[1].len), (16, 72));
        assert_eq!(
            (frames[0][15], frames[0][16], frames[1][71]),
            (1, 0, 2),
            "each datagram in its own buffer"
        );
        for _ in 0..BATCH + 1 {
            tester.send(&[3; 16]).expect("sent");
        }
        assert_eq!(receive(&mut frames, &mut taken).expect("full"), BATCH);
        assert_eq!(receive(&mut frames, &mut taken).expect("rest"), 1);
    }

    #[test]
    fn a_read_that_waits_ends_with_the_first_datagram_or_with_the_timeout() {
        let (tester, car) = UnixDatagram::pair().expect("socket pair");
        let mut frames = [[0; FRAME_LEN]; BATCH];
        let mut taken = [Taken::NOTHING; BATCH];
        car.set_read_timeout(Some(Duration::from_millis(1)))
            .expect("a timeout");
        let mut receive = || receive_batch(car.as_fd(), &mut frames, &mut taken, None, Wait::ForOne);
        assert_eq!(receive().expect_err("nothing came").kind(), ErrorKind::WouldBlock);
        tester.send(&[1; 16]).expect("sent");
        tester.send(&[2; 16]).expect("sent");
        assert_eq!(receive().expect("both"), 2);
        let late = std::thread::spawn(move || tester.send(&[3; 16]).expect("sent"));
        while receive().is_err() {}
        late.join().expect("it has sent");
    }

    /// The same options work on every kind of socket (socket(7)): the time of receipt comes as a control message.
    #[test]
    fn control_messages_come_where_there_is_room_for_them() {
        let (tester, car) = UnixDatagram::pair().expect("socket pair");
        let on = 1_i32;
        // SAFETY: the option is an `int`, which `on` is; the kernel copies it.
        let set = unsafe {
            let (value, len) = (ptr::from_ref(&on).cast(), 4);
            libc::setsockopt(
                car.as_raw_fd(),
                libc::SOL_SOCKET,
                libc::SO_TIMESTAMPNS,
                value,
                len,
            )
        };
        assert_eq!(set, 0, "every Linux has it");
        let mut frames = [[0; FRAME_LEN]; BATCH];
        let mut taken = [Taken::NOTHING; BATCH];
        let mut control = [ControlRoom::EMPTY; BATCH];
        for room in [None, Some(&mut control)] {
            let wanted = if room.is_some() { 32 } else { 0 };
            tester.send(&[1; 16]).expect("sent");
            receive_batch(car.as_fd(), &mut frames, &mut taken, room, Wait::No).expect("one");
            assert_eq!((taken[0].len, taken[0].control_len), (16, wanted));
        }
    }
}
