//! The embedded bus: CAN without a kernel that has CAN.
//!
//! A running car hosts it ([`Host`]), testers and recorders join it ([`Guest`]). As on a wire, each frame reaches
//! everybody but its sender, in one order for all.
//!
//! # The format, for programs in any language
//!
//! Connect a Unix stream socket to `bus-NAME.sock` in `$XDG_RUNTIME_DIR/twotrip`, or in `/tmp/twotrip-UID` where
//! that variable is not set. Everything that travels, both ways, is a record of 72 bytes.
//!
//! 1. Send a hello: the 7 bytes `TWOTRIP`, one byte version (`1`), the bus's name in 64 bytes filled up with zeros.
//! 2. Read a hello of the same form. Another version than yours: give up. End of stream instead: you are not this
//!    user, or there are 64 clients already.
//! 3. From then on each record is a frame, in the layout of the kernel's `struct canfd_frame` (linux/can.h), always
//!    little-endian: `u32` identifier with flags (29 bits: `8000_0000`, remote request: `4000_0000`), `u8` length,
//!    `u8` flags (FD frame: `04`), 2 bytes zero, 64 bytes of data.
//!
//! A record that is no frame ends the connection. A client that does not read loses frames once 4096 of them wait
//! for it; it delays nobody.
//!
//! ```python
//! import os, socket, struct
//! bus = socket.socket(socket.AF_UNIX)
//! bus.connect(os.environ["XDG_RUNTIME_DIR"] + "/twotrip/bus-demo.sock")
//! bus.sendall(b"TWOTRIP\x01" + b"demo".ljust(64, b"\0"))
//! assert bus.recv(72, socket.MSG_WAITALL)[:8] == b"TWOTRIP\x01"
//! bus.sendall(struct.pack("<IBB2x64s", 0x7DF, 8, 0, bytes([2, 1, 0])))
//! identifier, length, flags, data = struct.unpack("<IBB2x64s", bus.recv(72, socket.MSG_WAITALL))
//! ```

mod backlog;
mod guest;
mod host;
mod inbound;
#[cfg(test)]
mod tests;

pub use guest::Guest;
pub use host::{Host, MAX_CLIENTS};

use twotrip_can::record;

/// The version of the format.
pub const VERSION: u8 = 1;
/// The kind of socket in the private folder.
const SOCKET_KIND: &str = "bus";
const MAGIC: [u8; 7] = *b"TWOTRIP";
/// A hello or a frame.
type Record = [u8; record::LEN];

/// The hello for the bus `name` (at most 64 bytes, as [`super::Name`] ensures; a longer one is cut).
fn hello(name: &str) -> Record {
    let mut record = [0; record::LEN];
    record[..7].copy_from_slice(&MAGIC);
    record[7] = VERSION;
    for (to, from) in record[8..].iter_mut().zip(name.bytes()) {
        *to = from;
    }
    record
}

/// What a record that should be a hello says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Greeting {
    Fits,
    OtherVersion(u8),
    Foreign,
}

fn read_hello(record: &Record, name: &str) -> Greeting {
    if record[..7] != MAGIC {
        Greeting::Foreign
    } else if record[7] != VERSION {
        Greeting::OtherVersion(record[7])
    } else if *record == hello(name) {
        Greeting::Fits
    } else {
        Greeting::Foreign
    }
}
