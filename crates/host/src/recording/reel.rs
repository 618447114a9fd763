//! The files of a recording: opened, continued after a damaged tail, rotated, and the oldest let go.

use std::{
    ffi::OsString,
    fmt,
    fs::{self, File, OpenOptions},
    io::{self, ErrorKind, Read as _, Seek as _, SeekFrom, Write as _},
    path::{Path, PathBuf},
};

use twotrip_capture::{Decoder, Item, Problem, Step};

use super::{RecordingError, Rotation};

/// Digits of the numbers of rotated files.
const DIGITS: usize = 4;
/// Bytes read at once from an existing file.
const PIECE: usize = 1 << 16;

/// What a file was found to be that is continued.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Found {
    /// Its good bytes: a new section follows them.
    pub kept: u64,
    /// Bytes behind them that were a block cut short, or no block at all; they are gone now.
    pub cut: u64,
}

/// What is done to an open file, apart so that tests can let it fail.
pub(super) trait Disk: fmt::Debug + Send {
    /// Writes at the end.
    fn write(&mut self, bytes: &[u8]) -> io::Result<()>;
    /// Takes back what was written beyond this length.
    fn cut(&mut self, length: u64) -> io::Result<()>;
}

impl Disk for File {
    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.write_all(bytes)
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.set_len(length)?;
        self.seek(SeekFrom::Start(length)).map(|_| ())
    }
}

/// The file that is being written, and its name.
#[derive(Debug)]
pub(super) struct Reel {
    /// As the user gave it.
    named: PathBuf,
    path: PathBuf,
    file: Box<dyn Disk>,
    number: u32,
    /// Where the last whole block ends.
    good: u64,
}

impl Reel {
    /// Opens the file; one that is there is continued.
    pub(super) fn open(named: &Path, rotation: Rotation) -> Result<(Self, Option<Found>), RecordingError> {
        let rotates = rotation.is_wanted();
        let number = if rotates { last_number(named)? + 1 } else { 0 };
        let path = if rotates {
            numbered(named, number)
        } else {
            named.to_owned()
        };
        let failed = |source| RecordingError::Open {
            path: path.clone(),
            source,
        };
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(failed)?;
        let length = file.metadata().map_err(failed)?.len();
        let mut found = None;
        let mut good = 0;
        if length > 0 {
            good = good_length(&file).map_err(failed)?.ok_or_else(|| {
                let path = path.clone();
                RecordingError::NotOurs { path }
            })?;
            found = Some(Found {
                kept: good,
                cut: length - good,
            });
            file.cut(good).map_err(failed)?;
        }
        let reel = Self {
            named: named.to_owned(),
            path,
            file: Box::new(file),
            number,
            good,
        };
        Ok((reel, found))
    }

    /// On another disk.
    #[cfg(test)]
    pub(super) fn on(file: Box<dyn Disk>) -> Self {
        Self {
            named: PathBuf::from("test.pcapng"),
            path: PathBuf::from("test.pcapng"),
            file,
            number: 0,
            good: 0,
        }
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Bytes in the file.
    pub(super) const fn length(&self) -> u64 {
        self.good
    }

    /// Writes whole blocks. If that fails, the file ends where it did before.
    pub(super) fn write(&mut self, blocks: &[u8]) -> io::Result<()> {
        if let Err(error) = self.file.write(blocks) {
            // If that fails too, a reader finds the block cut short, and everything before it.
            let _ = self.file.cut(self.good);
            return Err(error);
        }
        self.good += blocks.len() as u64;
        Ok(())
    }

    /// The next file, under the next number.
    pub(super) fn next(&mut self) -> io::Result<()> {
        let number = self.number + 1;
        let path = numbered(&self.named, number);
        let file = OpenOptions::new().write(true).create_new(true).open(&path)?;
        *self = Self {
            path,
            file: Box::new(file),
            number,
            good: 0,
            named: std::mem::take(&mut self.named),
        };
        Ok(())
    }

    /// Deletes the oldest files until all together are no larger than `keep`; the present one stays.
    pub(super) fn let_go(&self, keep: u64) -> io::Result<()> {
        let mut all = Vec::new();
        for (number, path) in numbered_files(&self.named)? {
            let length = fs::metadata(&path).map_or(0, |data| data.len());
            all.push((number, path, length));
        }
        all.sort();
        let mut total: u64 = all.iter().map(|(_, _, length)| length).sum();
        for (number, path, length) in all {
            if total <= keep || number >= self.number {
                break;
            }
            fs::remove_file(path)?;
            total -= length;
        }
        Ok(())
    }
}

/// Where the last whole block of a recording ends; `None` for a file that is no pcapng.
fn good_length(file: &File) -> io::Result<Option<u64>> {
    let mut decoder = Decoder::default();
    let mut bytes = Vec::new();
    let mut taken = 0;
    loop {
        match decoder.step(&bytes[taken..]) {
            Ok(Step::Taken(count, item)) => {
                // pcap, the forerunner, has no sections and cannot be continued by one.
                if decoder.offset() == count as u64 && !matches!(item, Some(Item::Section(_))) {
                    return Ok(None);
                }
                taken += count;
            }
            Ok(Step::More(count)) => {
                bytes.drain(..taken);
                taken = 0;
                let wanted = count.max(PIECE) as u64;
                if file.take(wanted).read_to_end(&mut bytes)? == 0 {
                    let begun = decoder.offset() > 0;
                    return Ok(begun.then(|| decoder.whole()));
                }
            }
            Err(damage) if damage.problem == Problem::NoRecording || damage.offset == 0 => return Ok(None),
            Err(_) => return Ok(Some(decoder.whole())),
        }
    }
}

/// The file with this number: `bus.pcapng` becomes `bus-0001.pcapng`.
fn numbered(named: &Path, number: u32) -> PathBuf {
    let (stem, ending) = parts(named);
    let mut name = stem;
    name.push(format!("-{number:0DIGITS$}"));
    name.push(ending);
    named.with_file_name(name)
}

/// What stands before and behind the number.
fn parts(named: &Path) -> (OsString, OsString) {
    let stem = named.file_stem().unwrap_or_default().to_owned();
    let mut ending = OsString::new();
    if let Some(extension) = named.extension() {
        ending.push(".");
        ending.push(extension);
    }
    (stem, ending)
}

/// Files of this recording, in no order.
fn numbered_files(named: &Path) -> io::Result<Vec<(u32, PathBuf)>> {
    let folder = match named.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let (stem, ending) = parts(named);
    let mut files = Vec::new();
    for entry in fs::read_dir(folder)? {
        let name = entry?.file_name();
        let number = name
            .as_encoded_bytes()
            .strip_prefix(stem.as_encoded_bytes())
            .and_then(|rest| rest.strip_prefix(b"-"))
            .and_then(|rest| rest.strip_suffix(ending.as_encoded_bytes()))
            .filter(|digits| digits.len() >= DIGITS && digits.iter().all(u8::is_ascii_digit))
            .and_then(|digits| std::str::from_utf8(digits).ok()?.parse().ok());
        if let Some(number) = number {
            files.push((number, folder.join(name)));
        }
    }
    Ok(files)
}

/// The greatest number so far, 0 for none.
fn last_number(named: &Path) -> Result<u32, RecordingError> {
    match numbered_files(named) {
        Ok(files) => Ok(files.into_iter().map(|(number, _)| number).max().unwrap_or(0)),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(0),
        Err(source) => Err(RecordingError::Open {
            path: named.to_owned(),
            source,
        }),
    }
}
