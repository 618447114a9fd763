//! The folder private to the user where sockets of running cars live, and the claim on one socket file.
//!
//! `$XDG_RUNTIME_DIR/twotrip`, else `/tmp/twotrip-<uid>`; made with mode 0700 and never trusted unseen: it must be
//! a folder, ours, closed to everybody else, and no symbolic link.
//!
//! A claim holds a lock file beside the socket for as long as the car runs, so that two cars cannot both believe
//! that a name is free, and a socket left behind by a dead car is taken over without guessing.

use std::{
    ffi::OsString,
    fs::{self, DirBuilder, File, OpenOptions, TryLockError},
    io::{self, ErrorKind, Read, Write},
    os::unix::{
        fs::{DirBuilderExt, FileTypeExt, MetadataExt, OpenOptionsExt, PermissionsExt},
        net::UnixListener,
    },
    path::{Path, PathBuf},
    process,
};

use thiserror::Error;

use crate::sys;

/// Longest path of a Unix socket, bytes (`sockaddr_un` less its end mark, unix(7)).
const SOCKET_PATH_MAX: usize = 107;

/// A folder that only this user can enter.
#[derive(Clone, Debug)]
pub struct RuntimeDir(PathBuf);

/// Why the private folder cannot be used.
#[derive(Debug, Error)]
pub enum RuntimeDirError {
    /// It cannot be made or looked at.
    #[error("cannot make the private folder `{path}`: {source}", path = .path.display())]
    Unusable {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// It is there but not private.
    #[error("`{path}` is not private to this user ({why}): remove it, or set XDG_RUNTIME_DIR", path = .path.display())]
    NotPrivate {
        /// The folder.
        path: PathBuf,
        /// What is wrong.
        why: &'static str,
    },
}

impl RuntimeDir {
    /// The folder of this user, made if it is not there.
    ///
    /// # Errors
    /// [`RuntimeDirError`] if it cannot be made or is not private.
    pub fn of_user() -> Result<Self, RuntimeDirError> {
        let user = sys::effective_user();
        let session = std::env::var_os("XDG_RUNTIME_DIR")
            .map(PathBuf::from)
            .filter(|path| path.is_absolute())
            .filter(|path| fs::metadata(path).is_ok_and(|found| found.is_dir() && found.uid() == user));
        let path = session.map_or_else(
            || PathBuf::from(format!("/tmp/twotrip-{user}")),
            |path| path.join("twotrip"),
        );
        Self::at(path)
    }

    /// The folder at `path`, made if it is not there, its parent being there.
    ///
    /// # Errors
    /// [`RuntimeDirError`] if it cannot be made or is not private.
    pub fn at(path: impl Into<PathBuf>) -> Result<Self, RuntimeDirError> {
        let path = path.into();
        let unusable = |source| RuntimeDirError::Unusable {
            path: path.clone(),
            source,
        };
        match DirBuilder::new().mode(0o700).create(&path) {
            Err(error) if error.kind() != ErrorKind::AlreadyExists => return Err(unusable(error)),
            _ => {}
        }
        let found = fs::symlink_metadata(&path).map_err(unusable)?;
        let why = if !found.is_dir() {
            "it is a file or a symbolic link"
        } else if found.uid() != sys::effective_user() {
            "it belongs to another user"
        } else if found.mode() & 0o077 != 0 {
            "others may enter it"
        } else {
            return Ok(Self(path));
        };
        Err(RuntimeDirError::NotPrivate { path, why })
    }

    /// The socket with this kind and name.
    #[must_use]
    pub fn socket(&self, kind: &str, name: &str) -> PathBuf {
        self.0.join(format!("{kind}-{name}.sock"))
    }

    /// Names of all sockets of this kind, dead ones too, in order.
    #[must_use]
    pub fn sockets(&self, kind: &str) -> Vec<String> {
        let mut names: Vec<_> = fs::read_dir(&self.0)
            .into_iter()
            .flatten()
            .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
            .filter_map(|file| {
                let name = file
                    .strip_prefix(kind)?
                    .strip_prefix('-')?
                    .strip_suffix(".sock")?;
                Some(name.to_owned())
            })
            .collect();
        names.sort();
        names
    }

    /// Those of them whose owner is alive, by the process number in the lock file beside: good enough for advice.
    #[must_use]
    pub fn running(&self, kind: &str) -> Vec<String> {
        let mut names = self.sockets(kind);
        names.retain(|name| {
            let mut lock = OsString::from(self.socket(kind, name));
            lock.push(".lock");
            fs::read_to_string(lock)
                .ok()
                .and_then(|text| text.trim().parse::<u32>().ok())
                .is_some_and(|process| Path::new("/proc").join(process.to_string()).exists())
        });
        names
    }
}

/// Whether somebody with this user number may talk to us.
pub(crate) fn is_trusted(user: u32) -> bool {
    user == 0 || user == sys::effective_user()
}

/// Why a socket file cannot be ours.
#[derive(Debug, Error)]
pub enum ClaimError {
    /// A running car has it.
    #[error("a car is already running there{pid}: stop it, or choose another name", pid = shown_pid(*.pid))]
    Taken {
        /// The process that has it, if it said so.
        pid: Option<u32>,
    },
    /// A file stands there that is no socket.
    #[error("`{path}` exists and is not a socket: choose another path", path = .path.display())]
    NotASocket {
        /// The path.
        path: PathBuf,
    },
    /// The path does not fit into a socket address.
    #[error("the socket path `{path}` has `{found}` bytes where `107` are allowed: choose a shorter one", path = .path.display())]
    PathTooLong {
        /// The path.
        path: PathBuf,
        /// Its length, bytes.
        found: usize,
    },
    /// The system refused.
    #[error("cannot make the socket `{path}`: {source}", path = .path.display())]
    System {
        /// The path.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

fn shown_pid(pid: Option<u32>) -> String {
    pid.map(|pid| format!(" (process `{pid}`)")).unwrap_or_default()
}

/// A listening socket file that is ours until dropped; dropping it removes the file.
#[derive(Debug)]
pub(crate) struct Claim {
    path: PathBuf,
    lock_path: PathBuf,
    _lock: File,
}

impl Claim {
    /// Takes the name and listens; a socket left behind by a dead process is replaced.
    pub(crate) fn take(path: &Path) -> Result<(Self, UnixListener), ClaimError> {
        let system = |source| ClaimError::System {
            path: path.to_owned(),
            source,
        };
        let found = path.as_os_str().len();
        if found > SOCKET_PATH_MAX {
            let path = path.to_owned();
            return Err(ClaimError::PathTooLong { path, found });
        }
        let mut lock_path = OsString::from(path);
        lock_path.push(".lock");
        let lock_path = PathBuf::from(lock_path);
        let lock = take_lock(&lock_path, &system)?;
        let claim = Self {
            path: path.to_owned(),
            lock_path,
            _lock: lock,
        };
        match fs::symlink_metadata(path) {
            Ok(found) if !found.file_type().is_socket() => {
                let _ = fs::remove_file(&claim.lock_path);
                let path = path.to_owned();
                // The file is the user's: dropping the claim must not remove it.
                return Err(claim.give_up(ClaimError::NotASocket { path }));
            }
            Ok(_) => fs::remove_file(path).map_err(system)?,
            Err(error) if error.kind() == ErrorKind::NotFound => {}
            Err(error) => return Err(claim.give_up(system(error))),
        }
        let listener = UnixListener::bind(path).map_err(system)?;
        fs::set_permissions(path, fs::Permissions::from_mode(0o600)).map_err(system)?;
        listener.set_nonblocking(true).map_err(system)?;
        Ok((claim, listener))
    }

    fn give_up(mut self, error: ClaimError) -> ClaimError {
        let _ = fs::remove_file(&self.lock_path);
        self.path = PathBuf::new();
        error
    }
}

impl Drop for Claim {
    fn drop(&mut self) {
        // Socket first: while the lock file stands, nobody else makes a new one.
        if !self.path.as_os_str().is_empty() {
            let _ = fs::remove_file(&self.path);
            let _ = fs::remove_file(&self.lock_path);
        }
    }
}

pub(crate) fn take_lock(path: &Path, system: &impl Fn(io::Error) -> ClaimError) -> Result<File, ClaimError> {
    loop {
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .mode(0o600)
            .custom_flags(libc::O_NOFOLLOW)
            .open(path)
            .map_err(system)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut text = String::new();
                let _ = file.read_to_string(&mut text);
                let pid = text.trim().parse().ok();
                return Err(ClaimError::Taken { pid });
            }
            Err(TryLockError::Error(error)) => return Err(system(error)),
        }
        // The last owner may have removed the file between our open and our lock: then the lock is worth nothing.
        let ours = file.metadata().map_err(system)?;
        let there = fs::symlink_metadata(path);
        if there.is_ok_and(|there| (there.ino(), there.dev()) == (ours.ino(), ours.dev())) {
            file.set_len(0).map_err(system)?;
            let _ = writeln!(file, "{}", process::id());
            return Ok(file);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::os::unix::{fs::symlink, net::UnixStream};

    use super::*;

    #[test]
    fn the_folder_is_made_private_and_must_stay_so() {
        let base = tempfile::tempdir().expect("folder");
        let path = base.path().join("twotrip");
        assert!(RuntimeDir::at(&path).is_ok());
        assert_eq!(fs::metadata(&path).expect("made").mode() & 0o777, 0o700);
        fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).expect("opened");
        let error = RuntimeDir::at(&path).expect_err("open to others").to_string();
        assert!(error.contains("others may enter it"), "{error}");
        fs::set_permissions(&path, fs::Permissions::from_mode(0o700)).expect("closed");
        let link = base.path().join("link");
        symlink(&path, &link).expect("link");
        let error = RuntimeDir::at(&link).expect_err("link").to_string();
        assert!(error.contains("symbolic link"), "{error}");
    }

    #[test]
    fn a_socket_has_one_owner_and_goes_with_it() {
        let base = tempfile::tempdir().expect("folder");
        let path = base.path().join("bus.sock");
        let (claim, _listener) = Claim::take(&path).expect("free");
        let second = Claim::take(&path).expect_err("taken");
        assert!(
            matches!(second, ClaimError::Taken { pid } if pid == Some(process::id())),
            "{second}"
        );
        assert!(path.exists(), "a refused claim leaves the owner's socket alone");
        drop(claim);
        assert_eq!(fs::read_dir(base.path()).expect("folder").count(), 0);
        assert!(Claim::take(&path).is_ok());
    }

    #[test]
    fn the_socket_of_a_dead_car_is_taken_over() {
        let base = tempfile::tempdir().expect("folder");
        let path = base.path().join("bus.sock");
        drop(UnixListener::bind(&path).expect("bound"));
        assert!(path.exists(), "left behind");
        let (_claim, _listener) = Claim::take(&path).expect("taken over");
        assert!(UnixStream::connect(&path).is_ok());
    }

    #[test]
    fn a_file_of_the_user_is_never_removed() {
        let base = tempfile::tempdir().expect("folder");
        let path = base.path().join("notes.txt");
        fs::write(&path, "mine").expect("written");
        assert!(matches!(Claim::take(&path), Err(ClaimError::NotASocket { .. })));
        assert_eq!(fs::read_to_string(&path).expect("there"), "mine");
        assert_eq!(fs::read_dir(base.path()).expect("folder").count(), 1);
        let long = base.path().join("x".repeat(120));
        assert!(matches!(Claim::take(&long), Err(ClaimError::PathTooLong { .. })));
    }
}
