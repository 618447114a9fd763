//! Tells a supervisor how the car stands: datagrams to the socket named in `NOTIFY_SOCKET`, of lines as sd_notify(3)
//! publishes them: `READY=1` once it answers, `STOPPING=1` when it ends, `STATUS=` for people.

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

/// Says "ready", and a line for people, if a supervisor asked to be told; `false` if none did.
///
/// # Errors
/// What the system says if the supervisor named a socket that takes no message.
pub fn notify_ready(status: &str) -> io::Result<bool> {
    tell("READY=1", status)
}

/// Says "stopping", likewise.
///
/// # Errors
/// As [`notify_ready`].
pub fn notify_stopping(status: &str) -> io::Result<bool> {
    tell("STOPPING=1", status)
}

fn tell(state: &str, status: &str) -> io::Result<bool> {
    match env::var_os("NOTIFY_SOCKET") {
        // A line end would begin another variable.
        Some(address) if !address.is_empty() => {
            let status = status.replace(char::is_control, " ");
            notify(&address, &format!("{state}\nSTATUS={status}\n")).map(|()| true)
        }
        _ => Ok(false),
    }
}

/// A name that begins with `@` lives in the abstract namespace (unix(7)), without the `@`.
fn notify(address: &OsStr, message: &str) -> io::Result<()> {
    let address = match address.as_bytes() {
        [b'@', name @ ..] => SocketAddr::from_abstract_name(name)?,
        _ => SocketAddr::from_pathname(address)?,
    };
    let socket = UnixDatagram::unbound()?;
    socket.set_nonblocking(true)?;
    socket.send_to_addr(message.as_bytes(), &address).map(|_| ())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_supervisor_is_told_by_path_and_by_abstract_name() {
        let folder = tempfile::tempdir().expect("folder");
        let path = folder.path().join("notify");
        let by_path = UnixDatagram::bind(&path).expect("bound");
        notify(path.as_os_str(), "READY=1").expect("sent");
        let mut message = [0; 32];
        let length = by_path.recv(&mut message).expect("received");
        assert_eq!(&message[..length], b"READY=1");

        let name = format!("twotrip-test-{}", std::process::id());
        let address = SocketAddr::from_abstract_name(&name).expect("valid");
        let by_name = UnixDatagram::bind_addr(&address).expect("bound");
        notify(OsStr::new(&format!("@{name}")), "READY=1").expect("sent");
        let length = by_name.recv(&mut message).expect("received");
        assert_eq!(&message[..length], b"READY=1");
        assert!(notify(OsStr::new("/nonexistent/notify"), "READY=1").is_err());
    }
}
