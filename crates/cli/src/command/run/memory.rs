//! The ECU's memory from a file, and back into it.

use std::path::Path;

use serde::Serialize;
use twotrip_host::memory_file::{self, MemoryFile, MemoryFileError};
use twotrip_sim::{Simulator, Stored};

use crate::{args, command::words, exit::Failure};

/// Where the ECU's memory comes from, if it is kept.
#[derive(Clone, Copy, Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Memory {
    New,
    FromFile,
}

/// Takes the memory file and reads it.
pub(super) fn memory_file(
    args: &args::Run,
    path: &Path,
) -> Result<(Option<MemoryFile>, Option<Stored>), Failure> {
    let options = memory_file::Options {
        reset: args.reset_memory,
        durable: args.durable,
    };
    let (file, content) = MemoryFile::open(path, options).map_err(|error| memory_failure(&error))?;
    Ok((Some(file), content))
}

/// Gives the ECU the memory of the file, in place of what the story has left in it.
pub(super) fn put_back(
    simulator: &mut Simulator,
    file: Option<&MemoryFile>,
    content: Option<&Stored>,
) -> Result<Option<Memory>, Failure> {
    match (file, content) {
        (None, _) => Ok(None),
        (Some(_), None) => Ok(Some(Memory::New)),
        (Some(file), Some(content)) => {
            file.fit(content, simulator)
                .map_err(|error| memory_failure(&error))?;
            Ok(Some(Memory::FromFile))
        }
    }
}

/// A failure of the memory file: what it is, then, a line each, what to try.
pub(crate) fn memory_failure(error: &MemoryFileError) -> Failure {
    match words::system(error) {
        Failure::System { what, hint } if error.is_bad_input() => Failure::Input { what, hint },
        other => other,
    }
}
