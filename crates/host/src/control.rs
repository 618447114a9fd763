//! Action phrases for a running car, over a Unix stream socket.
//!
//! - [`ControlServer`]: the car's side.
//! - [`ControlClient`]: the side of `tell`.
//!
//! # The format
//!
//! One JSON object a line, at most 64 KiB from the client and 1 MiB from the car; for users it stands in `crates/cli/CONTROL.md`. The client
//! sends phrases, the car answers each in turn with any number of `progress` lines and exactly one `outcome` line; it asks how the car
//! is (`snapshot`), and for all that happens from now on (`events`):
//!
//! ```text
//! > {"phrase": "drive udds"}
//! < {"progress": "udds, 612 s of 1369 s", "fraction": 0.447}
//! < {"outcome": "drove udds, 11.99 km", "ok": true, "lines": ["engine idling"]}
//! > {"snapshot": true}
//! < {"snapshot": {"car_time_s": 1380.2, "key_on": true, "confirmed": [], ...}}
//! > {"events": true}
//! < {"events": true}
//! < {"event": "car", "car_time_s": 1391.5, "text": "key off"}
//! ```
//!
//! `fraction`, `lines` and `detail` (whatever a machine may want of the outcome) are left out where there is nothing to
//! say. A client may send lines ahead; they are answered in its order. Events come in between.

mod client;
mod lines;
mod server;

use std::path::PathBuf;

use serde::{Deserialize, Serialize};
use thiserror::Error;

pub use client::ControlClient;
pub use server::{ControlRequest, ControlServer, MAX_CLIENTS, RequestId, Wish};

use crate::{
    bus::{Name, Names},
    runtime_dir::{ClaimError, RuntimeDir, RuntimeDirError},
};

/// Longest line of a client, bytes, the line end included.
pub const LINE_MAX: usize = 1 << 16;
/// Longest line of the car, bytes, the line end included.
pub const ANSWER_MAX: usize = 1 << 20;
/// The kind of socket in the private folder.
const SOCKET_KIND: &str = "control";

/// The control socket of the car on `bus`, where none was asked for.
#[must_use]
pub fn default_path(bus: &Name, folder: &RuntimeDir) -> PathBuf {
    folder.socket(SOCKET_KIND, &bus.to_string())
}

/// How far a phrase has come.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Progress {
    /// In words.
    #[serde(rename = "progress")]
    pub text: String,
    /// From 0 to 1, if known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fraction: Option<f64>,
}

/// What came of a phrase.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// In one line.
    #[serde(rename = "outcome")]
    pub text: String,
    /// Whether it was done, or an expectation met.
    pub ok: bool,
    /// What else there is to read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lines: Vec<String>,
    /// The same for machines.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detail: Option<serde_json::Value>,
}

impl Outcome {
    /// Not done, and why.
    #[must_use]
    pub fn refused(why: impl Into<String>) -> Self {
        Self {
            text: why.into(),
            ..Self::default()
        }
    }

    /// Done.
    #[must_use]
    pub fn done(what: impl Into<String>) -> Self {
        Self {
            text: what.into(),
            ok: true,
            ..Self::default()
        }
    }
}

/// One line of the car's answer.
#[derive(Clone, Debug, PartialEq)]
pub enum Reply {
    /// Not the last line.
    Progress(Progress),
    /// The last line.
    Outcome(Outcome),
    /// How the car is: the only line.
    Snapshot(Box<serde_json::Value>),
}

/// The line of a client: one of the three.
#[derive(Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Request<'a> {
    #[serde(borrow, default, skip_serializing_if = "Option::is_none")]
    phrase: Option<std::borrow::Cow<'a, str>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    snapshot: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    events: Option<bool>,
}

/// Why a control socket cannot be made or used.
#[derive(Debug, Error)]
pub enum ControlError {
    /// Nobody listens at the path.
    #[error("no car is running at `{path}`: start one with `twotrip run SCENARIO --bus BUS`{}", also_running(.running), path = .path.display())]
    NoCar {
        /// The path.
        path: PathBuf,
        /// Cars with a control socket in the private folder, by bus.
        running: Names,
    },
    /// No path given, and no car runs.
    #[error("no car is running; start one: `twotrip run SCENARIO --bus BUS`")]
    NoneRunning,
    /// No path given, and several cars run.
    #[error("several cars are running, on {buses}; choose one with `--control PATH`, one of {paths}")]
    SeveralRunning {
        /// Their buses.
        buses: Names,
        /// Their control sockets.
        paths: Names,
    },
    /// The car does not run on behalf of this user or root.
    #[error("the program listening at `{path}` belongs to another user", path = .path.display())]
    Foreign {
        /// The path.
        path: PathBuf,
    },
    /// The car ended, or had no room for another client.
    #[error("the car at `{path}` ended or closed the connection before it answered", path = .path.display())]
    Closed {
        /// The path.
        path: PathBuf,
    },
    /// The phrase does not fit into a line.
    #[error("the phrase has `{found}` bytes as JSON where `{LINE_MAX}` are allowed")]
    TooLong {
        /// Its length, bytes.
        found: usize,
    },
    /// The answer is not in the format.
    #[error("the car at `{path}` answered what is not understood: {why}", path = .path.display())]
    NotUnderstood {
        /// The path.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// The private folder cannot be used.
    #[error(transparent)]
    RuntimeDir(#[from] RuntimeDirError),
    /// The path is taken or no socket can be made there.
    #[error("control socket: {0}")]
    Claim(#[from] ClaimError),
    /// A system call failed that should not.
    #[error("cannot {doing} at `{path}`: {source}", path = .path.display())]
    System {
        /// The path.
        path: PathBuf,
        /// What was tried, fit to follow "cannot".
        doing: &'static str,
        /// What the system said.
        source: std::io::Error,
    },
}

fn also_running(buses: &Names) -> String {
    if buses.0.is_empty() {
        return String::new();
    }
    format!("; running: {buses}")
}

/// A value as one line.
fn to_line(value: &impl Serialize) -> Vec<u8> {
    // Strings, numbers and JSON values have no map with keys that are no strings, the only thing that fails here.
    let mut line = serde_json::to_vec(value).unwrap_or_default();
    line.push(b'\n');
    line
}

#[cfg(test)]
mod tests;
