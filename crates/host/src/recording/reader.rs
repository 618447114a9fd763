//! Reads a recording from a file: item by item, in bounded memory, from a pipe too, and on as it grows.

use std::{
    fs::File,
    io::{self, ErrorKind, Read as _},
    ops::ControlFlow,
    path::{Path, PathBuf},
};

use twotrip_capture::{Damage, Decoder, Item, Step};

/// Bytes read at once.
const PIECE: usize = 1 << 18;

/// Why a recording cannot be read, or not to its end.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The file cannot be opened or read.
    #[error("cannot read `{}`: {source}", .path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// From some place on it is no recording; what stands before it has been read.
    #[error("`{}`, {damage}", .path.display())]
    Damage {
        /// The file.
        path: PathBuf,
        /// What and where.
        damage: Damage,
    },
}

/// A recording being read.
#[derive(Debug)]
pub struct Reader {
    path: PathBuf,
    file: File,
    decoder: Decoder,
    bytes: Vec<u8>,
    taken: usize,
    /// Bytes that have to be read before there is another item.
    wanted: usize,
}

impl Reader {
    /// Opens a file.
    ///
    /// # Errors
    /// [`ReadError::Io`] if it cannot be opened.
    pub fn open(path: &Path) -> Result<Self, ReadError> {
        let file = File::open(path).map_err(|source| ReadError::Io {
            path: path.to_owned(),
            source,
        })?;
        Ok(Self {
            path: path.to_owned(),
            file,
            decoder: Decoder::default(),
            bytes: Vec::new(),
            taken: 0,
            wanted: 0,
        })
    }

    /// Hands on every item up to the present end of the file, or until it is told to break. May be called again, for
    /// what has come since.
    ///
    /// # Errors
    /// [`ReadError`] if it cannot be read on.
    pub fn read(&mut self, mut take: impl FnMut(Item<'_>) -> ControlFlow<()>) -> Result<(), ReadError> {
        self.read_with_bytes(|item, _| take(item))
    }

    /// The same, with the bytes that each item stands in.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn read_with_bytes(
        &mut self,
        mut take: impl FnMut(Item<'_>, &[u8]) -> ControlFlow<()>,
    ) -> Result<(), ReadError> {
        while self.read_piece(&mut take)?.is_continue() {}
        Ok(())
    }

    /// The same up to where the file, or who writes into the pipe, has to be waited for: the next call waits. Breaks at
    /// the present end, or if it was told to.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn read_piece(
        &mut self,
        take: &mut impl FnMut(Item<'_>, &[u8]) -> ControlFlow<()>,
    ) -> Result<ControlFlow<()>, ReadError> {
        if self.wanted > 0 {
            if self.fill(self.wanted)? == 0 {
                return Ok(ControlFlow::Break(()));
            }
            self.wanted = 0;
        }
        loop {
            let rest = &self.bytes[self.taken..];
            match self.decoder.step(rest) {
                Ok(Step::Taken(count, item)) => {
                    self.taken += count;
                    if let Some(item) = item
                        && take(item, &rest[..count]).is_break()
                    {
                        return Ok(ControlFlow::Break(()));
                    }
                }
                Ok(Step::More(count)) => {
                    self.wanted = count;
                    return Ok(ControlFlow::Continue(()));
                }
                Err(damage) => {
                    return Err(ReadError::Damage {
                        path: self.path.clone(),
                        damage,
                    });
                }
            }
        }
    }

    /// Nothing more will come.
    ///
    /// # Errors
    /// [`ReadError::Damage`] if the last block is cut short.
    pub fn end(&self) -> Result<(), ReadError> {
        self.decoder
            .end(&self.bytes[self.taken..])
            .map_err(|damage| ReadError::Damage {
                path: self.path.clone(),
                damage,
            })
    }

    fn fill(&mut self, wanted: usize) -> Result<usize, ReadError> {
        self.bytes.drain(..self.taken);
        self.taken = 0;
        let begun = self.bytes.len();
        self.bytes.resize(begun + wanted.max(PIECE), 0);
        let read = loop {
            match self.file.read(&mut self.bytes[begun..]) {
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                other => break other,
            }
        };
        self.bytes.truncate(begun + *read.as_ref().unwrap_or(&0));
        read.map_err(|source| ReadError::Io {
            path: self.path.clone(),
            source,
        })
    }
}
