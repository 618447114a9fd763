//! Recordings of buses, as pcapng files that are whole up to the last second whatever happens.
//!
//! - [`Recorder`]: what is on one or several buses, into files.
//! - [`Beside`]: the same beside a running car, on a thread of its own, with what happens inside the car as comments.
//! - [`Writer`]: a bus in the same process, under simulated time.
//! - [`Header`]: what is said of the run.
//! - [`comment`]: the form of those comments.
//! - [`redact`]: a copy without what identifies a vehicle or its owner.
//! - [`Reader`]: a file, item by item, in bounded memory; also one that is still growing.
//!
//! Times are the kernel's where there is one, else those of reading. The tap is a member of the bus like any other: it
//! stands outside of what disturbs one node, and sees what was on the wire.

mod beside;
pub mod comment;
mod header;
mod reader;
mod recorder;
mod redacted;
mod reel;
mod tape;
mod writer;

use std::{io, path::PathBuf, time::Duration};

pub use beside::{Beside, Tap};
pub use header::{Delay, FORMAT, Header, MEMORY_PREFIX, RUN_PREFIX, digest};
pub use reader::{ReadError, Reader};
pub use recorder::{Notice, Recorder, Source, Stop};
pub use redacted::{RedactError, Redaction, redact};
pub use reel::Found;
pub use writer::Writer;

use crate::bus::Selection;

/// How a recording is kept.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// The file; with rotation `NAME-0001.pcapng` and so on beside it.
    pub path: PathBuf,
    /// When the next file is begun.
    pub rotation: Rotation,
    /// Which frames are kept.
    pub selection: Selection,
    /// Who records, with version, for the header.
    pub application: String,
    /// More lines for the header, such as the scenario and its seed.
    pub header: Vec<String>,
}

/// When the next file is begun, and how much is kept of all of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rotation {
    /// From this size on, bytes.
    pub size: Option<u64>,
    /// After this time.
    pub every: Option<Duration>,
    /// The oldest files go as soon as all are larger than this, bytes.
    pub keep: Option<u64>,
}

impl Rotation {
    /// Whether there is ever a next file.
    #[must_use]
    pub const fn is_wanted(&self) -> bool {
        self.size.is_some() || self.every.is_some()
    }
}

/// What has been recorded so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Frames in the files.
    pub frames: u64,
    /// Frames lost: not read in time, or without room on the disk.
    pub dropped: u64,
    /// Bytes in the files.
    pub bytes: u64,
    /// Files.
    pub files: u32,
    /// Bits of all frames on the wire (an upper bound for FD frames).
    pub bits: u64,
}

/// Why there is no recording, or no more of it.
#[derive(Debug, thiserror::Error)]
pub enum RecordingError {
    /// The file cannot be opened or made.
    #[error("cannot record into `{}`: {source}", .path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// There is a file of this name that is no recording: it stays as it is.
    #[error("`{}` is there already and no pcapng recording; it is left as it is: give another name", .path.display())]
    NotOurs {
        /// The file.
        path: PathBuf,
    },
    /// The end of a recording cannot be written.
    #[error("the end of the recording cannot be written to `{}`: {source}; {unsaved} frames are not in it", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
        /// Frames that are lost by it.
        unsaved: u64,
    },
    /// The thread beside the car cannot be started.
    #[error("cannot start the recorder: {0}")]
    Thread(io::Error),
    /// The bus is gone.
    #[error(transparent)]
    Bus(#[from] crate::bus::BusError),
}

#[cfg(test)]
mod tests;
