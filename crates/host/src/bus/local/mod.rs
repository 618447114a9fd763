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
//! 2. Read a hello of the same form. Another version than yours, or another name: give up, the stream ends there. End of
//!    stream instead of a hello: you are not this user, or there are 64 clients already.
//! 3. From then on each record is a frame, in the layout of the kernel's `struct canfd_frame` (linux/can.h), always
//!    little-endian: `u32` identifier with flags (29 bits: `8000_0000`, remote request: `4000_0000`), `u8` length,
//!    `u8` flags (FD frame: `04`), 2 bytes zero, 64 bytes of data. With `2000_0000` it is an error message frame
//!    (linux/can/error.h), not a frame of the bus. Of a frame with up to 56 bytes of data the last 8 bytes may say when
//!    you sent it, as nanoseconds since 1970: whoever judges your manners on a busy computer counts from then. Zeros are
//!    well; towards you they are zeros.
//!
//! A record that is no frame ends the connection. A client that does not read loses frames once 4096 of them wait
//! for it; it delays nobody, and is told by an error message frame (class `004`, byte 1 `01`: receive buffer overflow)
//! in their place. The car says on its error output whom it turned away and why.
//!
//! A Python client of twenty lines stands in README.md, and a test runs it from there.

mod backlog;
mod guest;
mod host;
mod inbound;
#[cfg(test)]
mod tests;

pub use guest::Guest;
pub use host::{Host, MAX_CLIENTS};

use thiserror::Error;
use twotrip_can::record::{self, RecordError};

/// The version of the format.
pub const VERSION: u8 = 1;
/// The kind of socket in the private folder.
const SOCKET_KIND: &str = "bus";
const MAGIC: [u8; 7] = *b"TWOTRIP";
/// A hello or a frame.
type Record = [u8; record::LEN];

/// Why the car did not let a client in, or did not let it stay.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum TurnedAway {
    /// It speaks another version of the format.
    #[error(
        "a client was turned away: it speaks version `{0}` of the embedded bus where this car speaks `{VERSION}`; use \
         the same version of twotrip for both"
    )]
    OtherVersion(u8),
    /// It said something else than a hello for this bus.
    #[error(
        "a client was turned away: its first 72 bytes are no hello for this bus (`TWOTRIP`, version, name; see README.md)"
    )]
    NoHello,
    /// There are as many clients as there may be.
    #[error("a client was turned away: there are `{MAX_CLIENTS}` already")]
    Full,
    /// It was in, and then sent a record that is no frame.
    #[error("a client was cut off: it sent a record that is no frame ({0})")]
    NotAFrame(RecordError),
}

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
