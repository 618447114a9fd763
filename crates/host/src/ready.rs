//! Tells a supervisor that the car is ready: one datagram to the socket named in `NOTIFY_SOCKET` (sd_notify(3)).

use std::{
    env,
    ffi::OsStr,
    io,
    os::{
        linux::net::SocketAddrExt,
        unix::{
            ffi::OsStrExt,
            net::{SocketAddr, UnixDatagram},
        },
    },
};

/// Says "ready" if a supervisor asked to be told; `false` if none did.
///
/// # Errors
/// What the system says if the supervisor named a socket that takes no message.
pub fn notify_ready() -> io::Result<bool> {
    match env::var_os("NOTIFY_SOCKET") {
        Some(address) if !address.is_empty() => notify(&address).map(|()| true),
        _ => Ok(false),
    }
}

/// A name that begins with `@` lives in the abstract namespace (unix(7)), without the `@`.
fn notify(address: &OsStr) -> io::Result<()> {
    let address = match address.as_bytes() {
        [b'@', name @ ..] => SocketAddr::from_abstract_name(name)?,
        _ => SocketAddr::from_pathname(address)?,
    };
    let socket = UnixDatagram::unbound()?;
    socket.set_nonblocking(true)?;
    socket.send_to_addr(b"READY=1", &address).map(|_| ())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_supervisor_is_told_by_path_and_by_abstract_name() {
        let folder = tempfile::tempdir().expect("folder");
        let path = folder.path().join("notify");
        let by_path = UnixDatagram::bind(&path).expect("bound");
        notify(path.as_os_str()).expect("sent");
        let mut message = [0; 32];
        let length = by_path.recv(&mut message).expect("received");
        assert_eq!(&message[..length], b"READY=1");

        let name = format!("twotrip-test-{}", std::process::id());
        let address = SocketAddr::from_abstract_name(&name).expect("valid");
        let by_name = UnixDatagram::bind_addr(&address).expect("bound");
        notify(OsStr::new(&format!("@{name}"))).expect("sent");
        let length = by_name.recv(&mut message).expect("received");
        assert_eq!(&message[..length], b"READY=1");
        assert!(notify(OsStr::new("/nonexistent/notify")).is_err());
    }
}
