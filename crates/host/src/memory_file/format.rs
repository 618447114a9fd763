//! The bytes of a memory file: a line that says what follows, then the content as JSON.
//!
//! ```text
//! twotrip ecu memory, format 1, 2087 bytes, crc32 1a2b3c4d
//! { "not_physical": false, "ecu": { "owner": { .. }, "memory": { .. }, "learned": { .. }, "results": { .. } } }
//! ```
//! Length and CRC-32 (ISO/IEC 8802-3) are those of the content. JSON, because a field can be added without a new
//! format, and because people can read and compare it. A change that an older program would misread, or lose without
//! a word, makes a new format: a function in [`STEPS`] then turns the old content into the new, for ever.

use serde::de::DeserializeOwned;
use serde_json::Value;
use thiserror::Error;

/// How every file begins.
const MAGIC: &[u8] = b"twotrip ecu memory, format ";
/// Longest first line, bytes: three numbers, with room.
const HEAD_MAX: usize = 100;
/// Largest file that is read, bytes: a full memory takes some tens of thousands.
pub(super) const SIZE_MAX: usize = 1 << 20;

/// Turns the content of one format into that of the next.
pub(super) type Step = fn(Value) -> Result<Value, String>;

/// From format 1 to 2, from 2 to 3 and so on; the newest format is one more than there are steps.
pub(super) const STEPS: &[Step] = &[];

/// What is wrong with the bytes of a memory file.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum FormatError {
    /// Nothing is in it.
    #[error("it is empty: byte 0 should be the first of `twotrip ecu memory`")]
    Empty,
    /// It begins like something else.
    #[error("it is no memory file of this program: byte {at} is not that of `twotrip ecu memory`")]
    NotOurs {
        /// First byte that differs.
        at: usize,
    },
    /// It ends too soon.
    #[error("it is torn: it ends at byte {ends}{}", should_end(*.expected))]
    Torn {
        /// Its length.
        ends: usize,
        /// The length that it should have, where known.
        expected: Option<usize>,
    },
    /// Something in it is not as it was written.
    #[error("it is damaged: byte {at}: {why}")]
    Damaged {
        /// Where.
        at: usize,
        /// What is wrong there.
        why: String,
    },
    /// It was written by a newer program.
    #[error("it has format {found}, and this program reads formats up to {newest}")]
    Newer {
        /// Its format.
        found: u32,
        /// The newest format known here.
        newest: u32,
    },
}

fn should_end(expected: Option<usize>) -> String {
    expected.map_or_else(
        || " in its first line".to_owned(),
        |expected| format!(", it should end at byte {expected}"),
    )
}

/// The newest format.
pub(super) fn newest(steps: &[Step]) -> u32 {
    u32::try_from(steps.len()).map_or(u32::MAX, |steps| steps.saturating_add(1))
}

/// The bytes of a file with this content, in the newest format.
pub(super) fn encode(content: &impl serde::Serialize) -> Result<Vec<u8>, serde_json::Error> {
    let json = serde_json::to_vec_pretty(content)?;
    let format = newest(STEPS);
    let (len, sum) = (json.len(), crc32fast::hash(&json));
    let mut bytes = MAGIC.to_vec();
    bytes.extend(format!("{format}, {len} bytes, crc32 {sum:08x}\n").bytes());
    bytes.extend(json);
    Ok(bytes)
}

/// The content of a file, brought from its format to the newest by `steps`.
pub(super) fn decode<T: DeserializeOwned>(bytes: &[u8], steps: &[Step]) -> Result<T, FormatError> {
    let head = Head::parse(bytes, newest(steps))?;
    let json = head.content(bytes)?;
    let damaged = |error: &serde_json::Error| FormatError::Damaged {
        at: head.end + place(json, error),
        why: without_place(error),
    };
    let old = usize::try_from(head.format).unwrap_or(usize::MAX) - 1;
    let Some(steps) = steps.get(old..).filter(|steps| !steps.is_empty()) else {
        return serde_json::from_slice(json).map_err(|error| damaged(&error));
    };
    let mut value = serde_json::from_slice(json).map_err(|error| damaged(&error))?;
    for step in steps {
        value = step(value).map_err(|why| FormatError::Damaged { at: head.end, why })?;
    }
    serde_json::from_value(value).map_err(|error| damaged(&error))
}

/// Whether the bytes begin as a memory file does, as far as they go.
pub(super) fn is_ours(bytes: &[u8]) -> bool {
    bytes.iter().zip(MAGIC).all(|(found, expected)| found == expected)
}

/// The first line, read.
#[derive(Clone, Copy, Debug)]
struct Head {
    format: u32,
    len: usize,
    sum: u32,
    /// Where the content begins.
    end: usize,
}

impl Head {
    fn parse(bytes: &[u8], newest: u32) -> Result<Self, FormatError> {
        let torn = FormatError::Torn {
            ends: bytes.len(),
            expected: None,
        };
        if bytes.is_empty() {
            return Err(FormatError::Empty);
        }
        if let Some(at) = bytes
            .iter()
            .zip(MAGIC)
            .position(|(found, expected)| found != expected)
        {
            return Err(FormatError::NotOurs { at });
        }
        let end = match bytes.iter().take(HEAD_MAX).position(|&byte| byte == b'\n') {
            Some(end) => end,
            None if bytes.len() < HEAD_MAX => return Err(torn),
            None => return Err(damaged(HEAD_MAX, "the first line does not end")),
        };
        let mut reader = Reader {
            bytes: &bytes[..end],
            at: MAGIC.len(),
        };
        let format = reader.number(10)?;
        if format > newest {
            return Err(FormatError::Newer {
                found: format,
                newest,
            });
        }
        if format == 0 {
            return Err(damaged(MAGIC.len(), "there is no format 0"));
        }
        reader.word(", ")?;
        let len = reader.number(10)?;
        reader.word(" bytes, crc32 ")?;
        let sum = reader.number(16)?;
        reader.word("")?;
        Ok(Self {
            format,
            len: usize::try_from(len).unwrap_or(usize::MAX),
            sum,
            end: end + 1,
        })
    }

    /// The content, if it is as long as it should be and matches its check value.
    fn content(self, bytes: &[u8]) -> Result<&[u8], FormatError> {
        let content = &bytes[self.end..];
        let expected = self.end.saturating_add(self.len);
        if content.len() < self.len {
            return Err(FormatError::Torn {
                ends: bytes.len(),
                expected: Some(expected),
            });
        }
        if content.len() > self.len {
            return Err(damaged(expected, "it should end here, and more follows"));
        }
        let sum = crc32fast::hash(content);
        if sum != self.sum {
            let why = format!(
                "from here to byte {expected} the check value is {sum:08x} where {:08x} was noted",
                self.sum
            );
            return Err(FormatError::Damaged { at: self.end, why });
        }
        Ok(content)
    }
}

fn damaged(at: usize, why: &str) -> FormatError {
    FormatError::Damaged {
        at,
        why: why.to_owned(),
    }
}

/// Reads the first line from left to right.
struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Reader<'_> {
    fn number(&mut self, radix: u32) -> Result<u32, FormatError> {
        let rest = &self.bytes[self.at..];
        let digits = rest
            .iter()
            .take_while(|&&byte| char::from(byte).is_digit(radix) && !byte.is_ascii_uppercase())
            .count();
        let text = core::str::from_utf8(&rest[..digits]).unwrap_or_default();
        let number =
            u32::from_str_radix(text, radix).map_err(|_| damaged(self.at, "a number should stand here"))?;
        self.at += digits;
        Ok(number)
    }

    /// Expects these characters; none stand for the end of the line.
    fn word(&mut self, word: &str) -> Result<(), FormatError> {
        let rest = &self.bytes[self.at..];
        let fits = if word.is_empty() {
            rest.is_empty()
        } else {
            rest.starts_with(word.as_bytes())
        };
        if !fits {
            let why = if word.is_empty() {
                "the first line should end here".to_owned()
            } else {
                format!("`{}` should stand here", word.trim())
            };
            return Err(FormatError::Damaged { at: self.at, why });
        }
        self.at += word.len();
        Ok(())
    }
}

/// Where in the content JSON stopped, bytes; its beginning, where the error knows no place.
fn place(json: &[u8], error: &serde_json::Error) -> usize {
    let Some(lines_before) = error.line().checked_sub(1) else {
        return 0;
    };
    let before: usize = json
        .split_inclusive(|&byte| byte == b'\n')
        .take(lines_before)
        .map(<[u8]>::len)
        .sum();
    (before + error.column().saturating_sub(1)).min(json.len())
}

/// The text of an error without its line and column.
fn without_place(error: &serde_json::Error) -> String {
    let text = error.to_string();
    let end = text.rfind(" at line ").unwrap_or(text.len());
    text[..end].to_owned()
}

#[cfg(test)]
mod tests;
