//! What can be wrong with a memory file: what, where, and, after each `; `, what to try.

use std::{
    io,
    path::{Path, PathBuf},
};

use thiserror::Error;
use twotrip_sim::RestoreError;

use super::FormatError;

/// Why a memory file cannot be used.
#[derive(Debug, Error)]
pub enum MemoryFileError {
    /// A running car has it.
    #[error("the memory file {path} is in use by another car{pid}; stop that car, or give this one a file of its own", path = shown(path), pid = shown_pid(*.pid))]
    Taken {
        /// The file.
        path: PathBuf,
        /// The process that has it, if it said so.
        pid: Option<u32>,
    },
    /// It is a folder, a device or the like.
    #[error("{path} is not a regular file; give the name of a file, which is made if it is not there", path = shown(path))]
    NotAFile {
        /// The path.
        path: PathBuf,
    },
    /// Its bytes are not those of a memory file.
    #[error("cannot use the memory file {path}: {error}{}", advice(path, error), path = shown(path))]
    Format {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        error: FormatError,
    },
    /// Its content does not fit into this car.
    #[error("cannot use the memory file {path}: {error}; choose another file, or start anew with --reset-memory: this one is then kept as {old}", path = shown(path), old = shown(&super::old_name(path)))]
    Content {
        /// The file.
        path: PathBuf,
        /// What does not fit.
        error: RestoreError,
    },
    /// A file that is not ours stands where the old memory would be kept.
    #[error("cannot keep the old memory as {path}: that is no memory file of this program; move it away", path = shown(path))]
    OldIsNotOurs {
        /// That file.
        path: PathBuf,
    },
    /// A file that is not ours has a name that we need beside the memory file.
    #[error("{path} is in the way: it is no file of this program, which would write over it; move it away, or give the memory file another name", path = shown(path))]
    InTheWay {
        /// That file.
        path: PathBuf,
    },
    /// Larger than any memory.
    #[error("cannot use the memory file {path}: it has more than {most} bytes, which no memory has; choose another file: this one is left as it is", path = shown(path), most = super::format::SIZE_MAX)]
    TooLarge {
        /// The file.
        path: PathBuf,
    },
    /// The system refused to read.
    #[error("cannot read the memory file {path}: {source}; its folder must be there, and the file must be yours to read", path = shown(path))]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The system refused to write.
    #[error("cannot write the memory file {path}: {source}; file and folder must be yours to write, with room for a second copy", path = shown(path))]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

impl MemoryFileError {
    /// Whether the file is to blame, and not the system.
    #[must_use]
    pub const fn is_bad_input(&self) -> bool {
        match self {
            Self::NotAFile { .. }
            | Self::Format { .. }
            | Self::Content { .. }
            | Self::OldIsNotOurs { .. }
            | Self::InTheWay { .. }
            | Self::TooLarge { .. } => true,
            Self::Taken { .. } | Self::Read { .. } | Self::Write { .. } => false,
        }
    }
}

/// A path as it may be shown: control characters of a name never reach the terminal.
fn shown(path: &Path) -> String {
    let text: String = path
        .to_string_lossy()
        .chars()
        .flat_map(|c| {
            let escaped = c.is_control().then(|| c.escape_unicode());
            let plain = escaped.is_none().then_some(c);
            escaped.into_iter().flatten().chain(plain)
        })
        .collect();
    format!("`{text}`")
}

fn shown_pid(pid: Option<u32>) -> String {
    pid.map(|pid| format!(" (process `{pid}`)")).unwrap_or_default()
}

fn advice(path: &Path, error: &FormatError) -> String {
    let old = shown(&super::old_name(path));
    let anew = format!("start anew with --reset-memory: this file is then kept as {old}");
    match error {
        FormatError::NotOurs { .. } => {
            "; choose another file: this one is left as it is, with --reset-memory too".to_owned()
        }
        FormatError::Newer { .. } => format!("; use the newer program; or {anew}"),
        FormatError::Empty => "; remove it, or start anew with --reset-memory".to_owned(),
        FormatError::Torn { .. } | FormatError::Damaged { .. } => {
            format!("; put a good copy in its place; or {anew}")
        }
    }
}
