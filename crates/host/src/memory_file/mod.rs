//! The file in which an ECU keeps its memory between runs.
//!
//! ```text
//! Simulator::store -> encode -> FILE.new -(rename)-> FILE        FILE.lock: one car at a time
//! ```
//! The whole content is written beside the file and takes its name in one step: whoever is killed in between leaves
//! the old content or the new, never a part. A loss of power is another matter: only with [`Options::durable`] are
//! file and folder on the disk before [`MemoryFile::keep`] returns.
//!
//! A file that cannot be used is never touched unless asked ([`Options::reset`]), and one that does not begin as ours
//! do not even then.

mod disk;
mod error;
mod format;

use std::{
    ffi::OsString,
    fs::{self, File, OpenOptions},
    io::{self, ErrorKind, Read as _},
    os::unix::fs::PermissionsExt as _,
    path::{Path, PathBuf},
};

use twotrip_sim::{Mark, Simulator, Stored};

use self::disk::{Disk, RealDisk};
use crate::runtime_dir::{ClaimError, take_lock};

pub use error::MemoryFileError;
pub use format::FormatError;

/// Permissions of a new file, before the user's mask.
const NEW_FILE_MODE: u32 = 0o666;

/// So many bytes tell whose a file is.
const BEGINNING: u64 = 100;

/// How a memory file is used.
#[derive(Clone, Copy, Debug, Default)]
pub struct Options {
    /// Start with a new memory; what is in the file is kept under another name.
    pub reset: bool,
    /// Wait for the disk: a loss of power then loses no more than a kill.
    pub durable: bool,
}

/// The memory file of a running car; no other car can have it meanwhile.
#[derive(Debug)]
pub struct MemoryFile {
    path: PathBuf,
    folder: PathBuf,
    mode: u32,
    durable: bool,
    disk: Box<dyn Disk>,
    /// What is in the file; `None` before it was written.
    kept: Option<Mark>,
    /// What stands there is to be set aside before the first write.
    set_aside: bool,
    _lock: Lock,
}

impl MemoryFile {
    /// Takes the file and reads it; no content if it is not there, or is to be reset. Nothing is written yet but a lock
    /// file beside it, which goes with the car.
    ///
    /// # Errors
    /// [`MemoryFileError`] if the file cannot be used; it is then as it was.
    pub fn open(path: &Path, options: Options) -> Result<(Self, Option<Stored>), MemoryFileError> {
        Self::open_on(path, options, Box::new(RealDisk::default()))
    }

    fn open_on(
        path: &Path,
        options: Options,
        disk: Box<dyn Disk>,
    ) -> Result<(Self, Option<Stored>), MemoryFileError> {
        let (path, folder) = resolve(path)?;
        spare(beside(&path, ".lock"), |bytes| {
            bytes.trim_ascii().iter().all(u8::is_ascii_digit)
        })?;
        spare(beside(&path, ".new"), format::is_ours)?;
        let lock = Lock::take(&path)?;
        let (content, mode, set_aside) = match read(&path)? {
            None => (None, NEW_FILE_MODE, false),
            Some((bytes, mode)) if options.reset => (None, mode, may_be_reset(&path, &bytes)?),
            Some((bytes, mode)) => {
                let content =
                    format::decode(&bytes, format::STEPS).map_err(|error| MemoryFileError::Format {
                        path: path.clone(),
                        error,
                    })?;
                (Some(content), mode, false)
            }
        };
        let file = Self {
            path,
            folder,
            mode,
            durable: options.durable,
            disk,
            kept: None,
            set_aside,
            _lock: lock,
        };
        Ok((file, content))
    }

    /// The file's path, symbolic links followed.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Puts the content of the file into the car.
    ///
    /// # Errors
    /// [`MemoryFileError::Content`] if it is another car's, or none that an ECU can have.
    pub fn fit(&self, content: &Stored, simulator: &mut Simulator) -> Result<(), MemoryFileError> {
        simulator
            .restore(content)
            .map_err(|error| MemoryFileError::Content {
                path: self.path.clone(),
                error,
            })
    }

    /// Whether the file holds what the car's ECU keeps.
    #[must_use]
    pub fn is_up_to_date(&self, simulator: &Simulator) -> bool {
        self.kept
            .as_ref()
            .is_some_and(|kept| simulator.keeps_the_same_as(kept))
    }

    /// Brings the file up to date if it is not. What an answer reports is in the file once this has returned well.
    ///
    /// # Errors
    /// [`MemoryFileError`] if it cannot be written; the file is then as it was, or, if only the disk could not be
    /// waited for, perhaps new.
    pub fn keep(&mut self, simulator: &Simulator) -> Result<(), MemoryFileError> {
        if self.is_up_to_date(simulator) {
            return Ok(());
        }
        self.write(simulator)
    }

    /// Writes the file, learned values of engine management included, which change too often to be written each time.
    ///
    /// # Errors
    /// As [`Self::keep`].
    pub fn write(&mut self, simulator: &Simulator) -> Result<(), MemoryFileError> {
        self.kept = None;
        let content = format::encode(&simulator.store()).map_err(io::Error::from);
        content
            .and_then(|bytes| self.replace(&bytes))
            .map_err(|source| MemoryFileError::Write {
                path: self.path.clone(),
                source,
            })?;
        self.kept = Some(simulator.mark());
        Ok(())
    }

    fn replace(&mut self, bytes: &[u8]) -> io::Result<()> {
        let new = beside(&self.path, ".new");
        self.disk.write(&new, self.mode, bytes)?;
        if self.durable {
            self.disk.sync_file(&new)?;
        }
        if self.set_aside {
            self.disk.rename(&self.path, &old_name(&self.path))?;
            self.set_aside = false;
        }
        self.disk.rename(&new, &self.path)?;
        if self.durable {
            self.disk.sync_folder(&self.folder)?;
        }
        Ok(())
    }
}

/// The name under which a memory is kept that was replaced by a new one.
fn old_name(path: &Path) -> PathBuf {
    beside(path, ".old")
}

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(ending);
    PathBuf::from(name)
}

/// Most symbolic links that lead to a file one after the other, as in the kernel.
const LINKS_MAX: u32 = 40;

/// The file that is meant, and its folder, symbolic links followed: a new file must not take a link's place.
fn resolve(path: &Path) -> Result<(PathBuf, PathBuf), MemoryFileError> {
    let unreadable = |source| MemoryFileError::Read {
        path: path.to_owned(),
        source,
    };
    let not_a_file = || MemoryFileError::NotAFile {
        path: path.to_owned(),
    };
    let mut meant = path.to_owned();
    for _ in 0..LINKS_MAX {
        match fs::canonicalize(&meant) {
            Ok(found) => {
                let folder = found.parent().ok_or_else(not_a_file)?.to_owned();
                return Ok((found, folder));
            }
            Err(error) if error.kind() == ErrorKind::NotFound => {}
            Err(error) => return Err(unreadable(error)),
        }
        let name = meant.file_name().ok_or_else(not_a_file)?;
        let folder = meant.parent().filter(|folder| !folder.as_os_str().is_empty());
        let folder = fs::canonicalize(folder.unwrap_or_else(|| Path::new("."))).map_err(unreadable)?;
        let here = folder.join(name);
        match fs::read_link(&here) {
            // A link to a file that is not there yet.
            Ok(target) => meant = folder.join(target),
            Err(_) => return Ok((here, folder)),
        }
    }
    Err(not_a_file())
}

/// Refuses a file that we would write over, or remove, if it is there and not one that we have left.
fn spare(path: PathBuf, is_ours: impl FnOnce(&[u8]) -> bool) -> Result<(), MemoryFileError> {
    let in_the_way = |path| Err(MemoryFileError::InTheWay { path });
    match fs::symlink_metadata(&path) {
        Ok(found) if !found.is_file() => return in_the_way(path),
        Ok(_) => {}
        // Whatever else is wrong with it, the write will tell.
        Err(_) => return Ok(()),
    }
    let mut bytes = Vec::new();
    let found = File::open(&path).and_then(|file| file.take(BEGINNING).read_to_end(&mut bytes));
    match found {
        Ok(_) if !is_ours(&bytes) => in_the_way(path),
        _ => Ok(()),
    }
}

/// The bytes of the file and its permissions, if it is there.
fn read(path: &Path) -> Result<Option<(Vec<u8>, u32)>, MemoryFileError> {
    let unreadable = |source| MemoryFileError::Read {
        path: path.to_owned(),
        source,
    };
    match fs::metadata(path) {
        Ok(found) if !found.is_file() => {
            return Err(MemoryFileError::NotAFile {
                path: path.to_owned(),
            });
        }
        Ok(_) => {}
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(unreadable(error)),
    }
    // For writing too, though it never is: who protects a file from writing does not want it replaced either.
    let file = OpenOptions::new().read(true).write(true).open(path);
    let file = file.map_err(|source| match source.kind() {
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => MemoryFileError::Write {
            path: path.to_owned(),
            source,
        },
        _ => unreadable(source),
    })?;
    let mode = file.metadata().map_err(unreadable)?.permissions().mode() & 0o777;
    let mut bytes = Vec::new();
    let most = u64::try_from(format::SIZE_MAX).unwrap_or(u64::MAX);
    file.take(most + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    if bytes.len() > format::SIZE_MAX {
        return Err(MemoryFileError::TooLarge {
            path: path.to_owned(),
        });
    }
    Ok(Some((bytes, mode)))
}

/// Whether a file with this content, about to be reset, has something that is worth being set aside.
fn may_be_reset(path: &Path, bytes: &[u8]) -> Result<bool, MemoryFileError> {
    if bytes.is_empty() {
        return Ok(false);
    }
    if !format::is_ours(bytes) {
        let error = format::decode::<Stored>(bytes, format::STEPS)
            .err()
            .unwrap_or(FormatError::NotOurs { at: 0 });
        return Err(MemoryFileError::Format {
            path: path.to_owned(),
            error,
        });
    }
    let old = old_name(path);
    let ours = |found: Option<(Vec<u8>, u32)>| found.is_none_or(|(bytes, _)| format::is_ours(&bytes));
    match read(&old) {
        Ok(found) if ours(found.clone()) => Ok(true),
        _ => Err(MemoryFileError::OldIsNotOurs { path: old }),
    }
}

/// The lock file beside the memory file; dropping it removes it.
#[derive(Debug)]
struct Lock {
    path: PathBuf,
    _file: File,
}

impl Lock {
    fn take(path: &Path) -> Result<Self, MemoryFileError> {
        let lock = beside(path, ".lock");
        let refused = |source| ClaimError::System {
            path: lock.clone(),
            source,
        };
        match take_lock(&lock, &refused) {
            Ok(file) => Ok(Self {
                path: lock,
                _file: file,
            }),
            Err(ClaimError::Taken { pid }) => Err(MemoryFileError::Taken {
                path: path.to_owned(),
                pid,
            }),
            Err(ClaimError::System { source, .. }) => Err(MemoryFileError::Write {
                path: path.to_owned(),
                source,
            }),
            Err(other) => Err(MemoryFileError::Write {
                path: path.to_owned(),
                source: io::Error::other(other),
            }),
        }
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        // While we hold it, nobody else makes a new one.
        let _ = fs::remove_file(&self.path);
    }
}

#[cfg(test)]
pub(crate) mod tests;
