//! The few things done to a disk, apart so that tests can watch them and let them fail.

use std::{
    fs::{self, File, OpenOptions},
    io::{self, Write as _},
    os::unix::fs::OpenOptionsExt as _,
    path::Path,
};

/// A disk to write to.
pub(super) trait Disk: std::fmt::Debug + Send {
    /// Writes a new file, or over what is there.
    fn write(&mut self, path: &Path, mode: u32, bytes: &[u8]) -> io::Result<()>;
    /// Waits until the content of a file would survive a loss of power.
    fn sync_file(&mut self, path: &Path) -> io::Result<()>;
    /// Gives a file another's name; that other is then gone.
    fn rename(&mut self, from: &Path, to: &Path) -> io::Result<()>;
    /// Waits until the names in a folder would survive a loss of power.
    fn sync_folder(&mut self, folder: &Path) -> io::Result<()>;
}

/// The machine's.
#[derive(Debug, Default)]
pub(super) struct RealDisk {
    /// The file last written.
    written: Option<File>,
}

impl Disk for RealDisk {
    fn write(&mut self, path: &Path, mode: u32, bytes: &[u8]) -> io::Result<()> {
        let mut file = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(true)
            .mode(mode)
            .custom_flags(libc::O_NOFOLLOW)
            .open(path)?;
        file.write_all(bytes)?;
        self.written = Some(file);
        Ok(())
    }

    fn sync_file(&mut self, path: &Path) -> io::Result<()> {
        match &self.written {
            Some(file) => file.sync_all(),
            None => File::open(path)?.sync_all(),
        }
    }

    fn rename(&mut self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn sync_folder(&mut self, folder: &Path) -> io::Result<()> {
        File::open(folder)?.sync_all()
    }
}
