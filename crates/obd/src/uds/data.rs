//! Data identifiers with their data, one after the other: what $22 answers, and what a freeze frame holds.
//!
//! Nothing in a message says how long the data of an identifier are, so each has to be known: what is not takes all that
//! is left.

use thiserror::Error;

use super::{Did, Subject};
use crate::{InfoType, Information, Mid, Record, TestResult};

/// Data of a message, read one after the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Data<'a>(&'a [u8]);

/// One identifier with its data.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Datum<'a> {
    /// A parameter of service $01; masks of parameters too.
    Parameter(Record<'a>),
    /// A mask of monitors or InfoTypes, or of parameters beyond $FF.
    Mask(Did, [u8; 4]),
    /// Results of a monitor's tests: TID, UASID, value and limits of each. Whether the monitor is repeated in each
    /// is **uncertain**; here it is not.
    Tests(Mid, &'a [[u8; TestResult::LEN - 1]]),
    /// An InfoType.
    Information(Information<'a>),
    /// Data whose length is not known: they take all that is left.
    Other(Did, &'a [u8]),
}

/// Why the rest of a message cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum DataError {
    /// The message ends too early, or the length is none that the identifier can have.
    #[error("the data of `{did}` do not fit `{found}` bytes")]
    Length {
        /// The identifier.
        did: Did,
        /// Bytes left for it.
        found: usize,
    },
    /// Half an identifier, or half the head of a freeze frame.
    #[error("`{0}` bytes are left over")]
    Rest(usize),
}

impl<'a> Data<'a> {
    pub(super) const fn new(bytes: &'a [u8]) -> Self {
        Self(bytes)
    }

    /// The bytes that have not been read.
    #[must_use]
    pub const fn rest(&self) -> &'a [u8] {
        self.0
    }

    fn read(&mut self) -> Result<Datum<'a>, DataError> {
        let Some((&did, rest)) = self.0.split_first_chunk() else {
            return Err(DataError::Rest(self.0.len()));
        };
        let did = Did::from_bytes(did);
        let wrong = DataError::Length {
            did,
            found: rest.len(),
        };
        let (datum, rest) = match did.subject() {
            Subject::Parameter(pid) => match pid.definition() {
                Some(definition) => {
                    let (data, rest) = rest.split_at_checked(definition.length).ok_or(wrong)?;
                    let frame = None;
                    (Datum::Parameter(Record { pid, frame, data }), rest)
                }
                None => (Datum::Other(did, rest), &[][..]),
            },
            _ if did.is_mask() => {
                let (&mask, rest) = rest.split_first_chunk().ok_or(wrong)?;
                (Datum::Mask(did, mask), rest)
            }
            Subject::Monitor(mid) => match rest.as_chunks() {
                (results @ [_, ..], []) => (Datum::Tests(mid, results), &[][..]),
                _ => return Err(wrong),
            },
            Subject::Information(info_type) => {
                let (information, rest) = information(info_type, rest).ok_or(wrong)?;
                (Datum::Information(information), rest)
            }
            Subject::HighParameter(_) | Subject::Other => (Datum::Other(did, rest), &[][..]),
        };
        self.0 = rest;
        Ok(datum)
    }
}

impl<'a> Iterator for Data<'a> {
    type Item = Result<Datum<'a>, DataError>;

    /// The next piece of data; after an error nothing more.
    fn next(&mut self) -> Option<Self::Item> {
        if self.0.is_empty() {
            return None;
        }
        let datum = self.read();
        if datum.is_err() {
            self.0 = &[];
        }
        Some(datum)
    }
}

/// An InfoType and what follows it. A number of items before them is read over where the lengths say that there is
/// one: whether $F8xx keeps it is **uncertain**. Where there can be several items, they take all that is left.
fn information(info_type: InfoType, bytes: &[u8]) -> Option<(Information<'_>, &[u8])> {
    let Some(length) = info_type.item_length() else {
        return Some((Information::Other(info_type, bytes), &[]));
    };
    let (items, rest) = match bytes {
        [1, items @ ..] if info_type.is_single() && items.len() == length => (items, &[][..]),
        _ if info_type.is_single() => bytes.split_at_checked(length)?,
        [_, items @ ..] if !bytes.len().is_multiple_of(length) => (items, &[][..]),
        _ => (bytes, &[][..]),
    };
    Some((Information::from_items(info_type, items)?, rest))
}

impl<'a> Datum<'a> {
    /// Its identifier.
    #[must_use]
    pub const fn did(self) -> Did {
        match self {
            Self::Parameter(record) => Did::parameter(record.pid.number()),
            Self::Mask(did, _) | Self::Other(did, _) => did,
            Self::Tests(mid, _) => Did::from_bytes([Did::MONITORS, mid.number()]),
            Self::Information(information) => {
                Did::from_bytes([Did::INFORMATION, information.info_type().number()])
            }
        }
    }

    /// Its four bytes, where it is a mask of any range.
    #[must_use]
    pub fn mask(self) -> Option<[u8; 4]> {
        match self {
            Self::Mask(_, mask) => Some(mask),
            Self::Parameter(record) if record.pid.is_mask() => record.data.try_into().ok(),
            _ => None,
        }
    }

    /// Results of a monitor's tests, with the monitor in each; none of other data.
    pub fn results(self) -> impl Iterator<Item = TestResult> + 'a {
        let (mid, tests) = match self {
            Self::Tests(mid, tests) => (mid, tests),
            _ => (Mid::new(0), &[][..]),
        };
        tests.iter().map(move |test| {
            let mut bytes = [mid.number(); TestResult::LEN];
            bytes[1..].copy_from_slice(test);
            TestResult::from_bytes(bytes)
        })
    }
}

/// The freeze frames of an answer to $19 $04, read one after the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frames<'a>(&'a [u8]);

/// One freeze frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame<'a> {
    /// The record: $00 the first, $F0 the latest.
    pub record: u8,
    /// What it holds.
    pub data: Data<'a>,
}

impl<'a> Frames<'a> {
    pub(super) const fn new(bytes: &'a [u8]) -> Self {
        Self(bytes)
    }

    fn read(&mut self) -> Result<Frame<'a>, DataError> {
        let &[record, count, ref rest @ ..] = self.0 else {
            return Err(DataError::Rest(self.0.len()));
        };
        let mut end = Data::new(rest);
        for _ in 0..count {
            if let Datum::Other(..) = end.read()? {
                break;
            }
        }
        self.0 = end.rest();
        let length = rest.len() - end.rest().len();
        Ok(Frame {
            record,
            data: Data::new(&rest[..length]),
        })
    }
}

impl<'a> Iterator for Frames<'a> {
    type Item = Result<Frame<'a>, DataError>;

    /// The next frame; after an error nothing more.
    fn next(&mut self) -> Option<Self::Item> {
        if self.0.is_empty() {
            return None;
        }
        let frame = self.read();
        if frame.is_err() {
            self.0 = &[];
        }
        Some(frame)
    }
}
