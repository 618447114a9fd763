//! The file being written: what was written a while ago may still change.

use std::{
    fs::{File, OpenOptions},
    io,
    os::unix::fs::FileExt as _,
    path::Path,
};

/// Bytes kept before they go to the disk, and of these, how many stay: most messages are whole by then.
const KEPT: usize = 4 << 20;
const STAYS: usize = 1 << 20;

#[derive(Debug)]
pub(super) struct Sink {
    file: File,
    /// Bytes on the disk.
    written: u64,
    kept: Vec<u8>,
}

impl Sink {
    pub(super) fn create(path: &Path) -> io::Result<Self> {
        let file = OpenOptions::new().write(true).create_new(true).open(path)?;
        Ok(Self {
            file,
            written: 0,
            kept: Vec::new(),
        })
    }

    pub(super) const fn length(&self) -> u64 {
        self.written + self.kept.len() as u64
    }

    pub(super) fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        if self.kept.len() + bytes.len() > KEPT {
            self.write(self.kept.len().saturating_sub(STAYS))?;
        }
        self.kept.extend_from_slice(bytes);
        Ok(())
    }

    /// Writes over what stands there, wherever that is.
    pub(super) fn patch(&mut self, place: u64, bytes: &[u8]) -> io::Result<()> {
        let kept = place
            .checked_sub(self.written)
            .and_then(|at| usize::try_from(at).ok());
        match kept.and_then(|at| self.kept.get_mut(at..at + bytes.len())) {
            Some(room) => {
                room.copy_from_slice(bytes);
                Ok(())
            }
            None => {
                // Across the border is possible: all of it goes to the disk first.
                self.write(self.kept.len())?;
                self.file.write_all_at(bytes, place)
            }
        }
    }

    pub(super) fn finish(mut self) -> io::Result<()> {
        self.write(self.kept.len())?;
        self.file.sync_all()
    }

    fn write(&mut self, count: usize) -> io::Result<()> {
        self.file.write_all_at(&self.kept[..count], self.written)?;
        self.written += count as u64;
        self.kept.drain(..count);
        Ok(())
    }
}
