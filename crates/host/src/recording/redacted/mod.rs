//! A copy of a recording in which stand-ins of the same shape are in place of what identifies a vehicle or its owner.
//!
//! The source is read three times: twice to learn, once to write beside the wanted file. What was written is then read
//! back and compared ([`check`]), and only then takes its name. Frames keep their number, times, lengths and
//! directions; file format, byte order and resolution stay.

mod check;
mod sink;
mod text;

use std::{
    fs,
    io::{self, ErrorKind},
    ops::ControlFlow,
    path::{Path, PathBuf},
};

use twotrip_capture::{ByteOrder, Damage, Item, Packet, edit};
use twotrip_dialogue::redaction::{Redactor, Replaced};

use self::{sink::Sink, text::Texts};
use super::{ReadError, Reader};

/// Identifier, length and flags before the data of a frame (link type 227).
const HEADER: usize = 8;

/// What was done.
#[derive(Clone, Debug, Default)]
pub struct Redaction {
    /// Frames in the copy.
    pub frames: u64,
    /// What was replaced in frames, kind by kind.
    pub replaced: Vec<Replaced>,
    /// Texts beside the frames with letters and digits replaced: comments, names, descriptions.
    pub texts: u64,
    /// Options and blocks left out, as they may hold anything.
    pub left_out: u64,
    /// Packets that are no frames, their bytes zero in the copy.
    pub blanked: u64,
    /// Where the source cannot be read on; the copy ends there.
    pub damage: Option<Damage>,
}

/// Why there is no copy.
#[derive(Debug, thiserror::Error)]
pub enum RedactError {
    /// The source cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// It has to be read several times.
    #[error("`{}` is no file: what is to be redacted has to be read more than once; record it into a file first", .0.display())]
    NoFile(PathBuf),
    /// The name is taken.
    #[error("`{}` is there already, and is left as it is: give another name", .0.display())]
    Exists(PathBuf),
    /// The copy cannot be written.
    #[error("cannot write `{}`: {source}", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// More to be hidden than can be remembered.
    #[error(
        "there is more to hide than can be kept apart (65,536 texts, 8,192 identifiers): cut the recording into parts"
    )]
    TooMuch,
    /// The copy is not what it should be. It was removed.
    #[error("the copy was removed: frame {frame}: {what}; this is a bug, or the file was changed meanwhile")]
    Check {
        /// The frame in question, from 1; the last one before it, if it is no frame.
        frame: u64,
        /// What was found.
        what: &'static str,
    },
}

/// Writes the copy.
///
/// # Errors
/// [`RedactError`] says why there is none; an existing file is never touched.
pub fn redact(source: &Path, out: &Path) -> Result<Redaction, RedactError> {
    let unread = |error| {
        RedactError::Read(ReadError::Io {
            path: source.to_owned(),
            source: error,
        })
    };
    if !fs::metadata(source).map_err(unread)?.is_file() {
        return Err(RedactError::NoFile(source.to_owned()));
    }
    if fs::symlink_metadata(out).is_ok() {
        return Err(RedactError::Exists(out.to_owned()));
    }
    let mut redactor = Redactor::default();
    for _ in 0..2 {
        learn(source, &mut redactor)?;
        redactor.again();
    }
    let write = |source| RedactError::Write {
        path: out.to_owned(),
        source,
    };
    // What is not finished keeps a name that says so.
    let mut unfinished = out.as_os_str().to_owned();
    unfinished.push(".unfinished");
    let unfinished = PathBuf::from(unfinished);
    let sink = Sink::create(&unfinished).map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => RedactError::Exists(unfinished.clone()),
        _ => write(error),
    })?;
    let done = copy(source, &mut redactor, sink, &write).and_then(|done| {
        if !redactor.is_complete() {
            return Err(RedactError::TooMuch);
        }
        check::check(source, &unfinished, &redactor)?;
        // Unlike renaming, this never takes the place of another file.
        fs::hard_link(&unfinished, out).map_err(|error| match error.kind() {
            ErrorKind::AlreadyExists => RedactError::Exists(out.to_owned()),
            _ => write(error),
        })?;
        Ok(done)
    });
    let _ = fs::remove_file(&unfinished);
    done
}

/// Reads up to the end, or up to damage, if something stands before it.
fn read(
    path: &Path,
    mut take: impl FnMut(Item<'_>, &[u8]) -> ControlFlow<()>,
) -> Result<Option<Damage>, RedactError> {
    let mut reader = Reader::open(path)?;
    let mut any = false;
    let read = reader.read_with_bytes(|item, bytes| {
        any = true;
        take(item, bytes)
    });
    match read.and_then(|()| reader.end()) {
        Ok(()) => Ok(None),
        Err(ReadError::Damage { damage, .. }) if any => Ok(Some(damage)),
        Err(error) => Err(error.into()),
    }
}

fn learn(source: &Path, redactor: &mut Redactor) -> Result<(), RedactError> {
    read(source, |item, _| {
        if let Item::Packet(packet) = &item
            && let Ok(frame) = packet.frame()
        {
            redactor.on_frame(packet.interface, 0, &frame);
            while redactor.poll().is_some() {}
        }
        ControlFlow::Continue(())
    })?;
    redactor.end();
    if redactor.is_complete() {
        Ok(())
    } else {
        Err(RedactError::TooMuch)
    }
}

fn copy(
    source: &Path,
    redactor: &mut Redactor,
    mut sink: Sink,
    write: &impl Fn(io::Error) -> RedactError,
) -> Result<Redaction, RedactError> {
    let mut done = Redaction::default();
    let mut texts = Texts::default();
    let mut order = None;
    let mut block = Vec::new();
    let mut failed = Ok(());
    done.damage = read(source, |item, bytes| {
        block.clear();
        failed = append(
            &item, bytes, &mut order, &mut block, &mut texts, redactor, &mut sink, &mut done,
        );
        if failed.is_err() {
            ControlFlow::Break(())
        } else {
            ControlFlow::Continue(())
        }
    })?;
    failed.map_err(write)?;
    redactor.end();
    patch(redactor, &mut sink).map_err(write)?;
    sink.finish().map_err(write)?;
    done.replaced = redactor.replaced().collect();
    done.texts = texts.replaced;
    done.left_out += texts.left_out;
    Ok(done)
}

#[expect(clippy::too_many_arguments, reason = "the state of one loop")]
fn append(
    item: &Item<'_>,
    bytes: &[u8],
    order: &mut Option<ByteOrder>,
    block: &mut Vec<u8>,
    texts: &mut Texts,
    redactor: &mut Redactor,
    sink: &mut Sink,
    done: &mut Redaction,
) -> io::Result<()> {
    match item {
        Item::Section(section) => *order = Some(section.order),
        Item::Other(_) => {
            done.left_out += 1;
            return Ok(());
        }
        _ => {}
    }
    match *order {
        Some(order) => edit::block(block, bytes, item, order, |meaning, value| {
            texts.change(meaning, value)
        }),
        // pcap has no options.
        None => block.extend_from_slice(bytes),
    }
    let Item::Packet(packet) = item else {
        return sink.append(block);
    };
    let Some(at) = edit::data_at(bytes, item) else {
        return sink.append(block);
    };
    let data = &mut block[at..at + packet.data.len()];
    match packet.frame() {
        Ok(frame) => {
            done.frames += 1;
            // Behind the data of a short frame may stand what was in memory once.
            data[HEADER + frame.data().len()..].fill(0);
            redactor.on_frame(packet.interface, sink.length() + (at + HEADER) as u64, &frame);
        }
        Err(_) => {
            done.blanked += 1;
            data.fill(0);
        }
    }
    sink.append(block)?;
    patch(redactor, sink)
}

fn patch(redactor: &mut Redactor, sink: &mut Sink) -> io::Result<()> {
    while let Some(edit) = redactor.poll() {
        sink.patch(edit.place, &edit.data)?;
    }
    Ok(())
}

/// Whether two packets are the same but for what a copy may change.
fn same_shape(one: &Packet<'_>, other: &Packet<'_>) -> bool {
    let outside = |packet: &Packet<'_>| {
        (
            packet.interface,
            packet.link_type,
            packet.at,
            packet.data.len(),
            packet.original_length,
            packet.direction(),
            packet.dropped(),
        )
    };
    outside(one) == outside(other)
}
