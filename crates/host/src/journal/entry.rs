//! An entry of a journal, and its words in a recording.
//!
//! `time: 17 stood 0.512345678 @12.345678901, heard 000007DF080000000201000000000000 @=, turn @12.349500000, sent @=`: the
//! fixed prefix, the number of the first entry of the line, then the entries, each with its instant in bus time; `@=` is
//! that of the entry before. Spans and instants are seconds with nine decimals, frames the packet bytes of link type 227,
//! phrases JSON strings.

use std::{fmt::Write as _, time::Duration};

use twotrip_can::Frame;
use twotrip_capture::frame;
use twotrip_units::BusInstant;

/// What a line of the journal begins with.
pub const PREFIX: &str = "time: ";
/// Length from which on a line is full, bytes: a comment takes 65535.
const FULL: usize = 4000;
/// Nanoseconds in a second.
const SECOND: u64 = 1_000_000_000;

/// Something that was done to the car.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Entry {
    /// The journal begins; the pace is for people.
    Began {
        /// How fast the car's time passes.
        pace: Box<str>,
        /// When.
        at: BusInstant,
    },
    /// So much of the car's time passed while nothing was being done.
    Stood {
        /// How much.
        span: Duration,
        /// When the last of it was let pass.
        at: BusInstant,
    },
    /// Phrases were worked on, so often for so much of the car's time.
    Worked {
        /// For how much each time, at most.
        budget: Duration,
        /// How often.
        times: u64,
        /// When for the last time.
        at: BusInstant,
    },
    /// A phrase was given.
    Told {
        /// Its text.
        phrase: Box<str>,
        /// When.
        at: BusInstant,
    },
    /// A frame came in.
    Heard {
        /// The frame.
        frame: Frame,
        /// When.
        at: BusInstant,
    },
    /// Deadlines were served.
    Turn {
        /// When.
        at: BusInstant,
    },
    /// The car gave a frame to be sent.
    Sent {
        /// When.
        at: BusInstant,
    },
    /// The frame last given was on the bus.
    Passed {
        /// When.
        at: BusInstant,
    },
    /// The frame last given went nowhere: the interface was down.
    SentNowhere {
        /// When.
        at: BusInstant,
    },
    /// The frame last given was never taken by the bus.
    GivenUp {
        /// When.
        at: BusInstant,
    },
    /// Answers were withheld: the memory could not be kept.
    Withheld {
        /// When.
        at: BusInstant,
    },
}

/// Why a line is none of a journal.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{piece}` is no entry of a journal")]
pub struct EntryError {
    /// What is wrong.
    pub piece: String,
}

impl Entry {
    /// When, in bus time.
    #[must_use]
    pub const fn at(&self) -> BusInstant {
        match self {
            Self::Began { at, .. }
            | Self::Stood { at, .. }
            | Self::Worked { at, .. }
            | Self::Told { at, .. }
            | Self::Heard { at, .. }
            | Self::Turn { at }
            | Self::Sent { at }
            | Self::Passed { at }
            | Self::SentNowhere { at }
            | Self::GivenUp { at }
            | Self::Withheld { at } => *at,
        }
    }

    fn write(&self, out: &mut String) {
        // A String takes everything.
        let _ = match self {
            Self::Began { pace, .. } => write!(out, "began {}", quoted(pace)),
            Self::Stood { span, .. } => write!(out, "stood {}", seconds(nanos(*span))),
            Self::Worked { budget, times, .. } => write!(out, "worked {}x{times}", seconds(nanos(*budget))),
            Self::Told { phrase, .. } => write!(out, "told {}", quoted(phrase)),
            Self::Heard { frame, .. } => {
                let (bytes, length) = frame::encode(frame);
                out.push_str("heard ");
                bytes[..length]
                    .iter()
                    .try_for_each(|byte| write!(out, "{byte:02X}"))
            }
            Self::Turn { .. } => out.write_str("turn"),
            Self::Sent { .. } => out.write_str("sent"),
            Self::Passed { .. } => out.write_str("passed"),
            Self::SentNowhere { .. } => out.write_str("nowhere"),
            Self::GivenUp { .. } => out.write_str("given-up"),
            Self::Withheld { .. } => out.write_str("withheld"),
        };
    }
}

/// A line that grows.
#[derive(Clone, Debug, Default)]
pub(crate) struct Line {
    text: String,
    /// Number of the entry that comes next.
    next: u64,
    at: Option<BusInstant>,
}

impl Line {
    /// Takes an entry with its number, and gives a line that is over by it.
    pub(crate) fn push(&mut self, number: u64, entry: &Entry) -> Option<String> {
        let over = (number != self.next || self.text.len() >= FULL)
            .then(|| self.take())
            .flatten();
        if self.text.is_empty() {
            let _ = write!(self.text, "{PREFIX}{number} ");
        } else {
            self.text.push_str(", ");
        }
        entry.write(&mut self.text);
        let at = entry.at();
        if self.at.replace(at) == Some(at) {
            self.text.push_str(" @=");
        } else {
            let _ = write!(self.text, " @{}", seconds(at.as_nanos()));
        }
        self.next = number + 1;
        over
    }

    /// The line so far, if there is one; the next one begins.
    pub(crate) fn take(&mut self) -> Option<String> {
        self.at = None;
        (!self.text.is_empty()).then(|| std::mem::take(&mut self.text))
    }
}

/// The number of the first entry of a line, and its entries.
///
/// # Errors
/// [`EntryError`] names the first piece that is none.
pub(crate) fn parse(line: &str) -> Result<(u64, Vec<Entry>), EntryError> {
    let wrong = |piece: &str| EntryError {
        piece: piece.chars().take(80).collect(),
    };
    let rest = line.strip_prefix(PREFIX).ok_or_else(|| wrong(line))?;
    let (number, mut rest) = rest.split_once(' ').ok_or_else(|| wrong(rest))?;
    let number = number.parse().map_err(|_| wrong(number))?;
    let mut entries = Vec::new();
    let mut last = None;
    loop {
        let (entry, left) = parse_entry(rest, last).ok_or_else(|| wrong(rest))?;
        last = Some(entry.at());
        entries.push(entry);
        if left.is_empty() {
            return Ok((number, entries));
        }
        rest = left.strip_prefix(", ").ok_or_else(|| wrong(left))?;
    }
}

/// The entry that a text begins with, and what follows it.
fn parse_entry(text: &str, last: Option<BusInstant>) -> Option<(Entry, &str)> {
    let (word, rest) = text.split_once(' ')?;
    let (value, rest) = match word {
        "began" | "told" => {
            let mut values = serde_json::Deserializer::from_str(rest).into_iter::<String>();
            let value = values.next()?.ok()?;
            (value, rest.get(values.byte_offset()..)?.strip_prefix(' ')?)
        }
        "stood" | "worked" | "heard" => {
            let (value, rest) = rest.split_once(' ')?;
            (value.to_owned(), rest)
        }
        _ => (String::new(), rest),
    };
    let rest = rest.strip_prefix('@')?;
    let end = rest.find(", ").unwrap_or(rest.len());
    let (instant, rest) = rest.split_at(end);
    let at = match instant {
        "=" => last?,
        instant => BusInstant::from_nanos(parse_seconds(instant)?),
    };
    let entry = match word {
        "began" => Entry::Began {
            pace: value.into(),
            at,
        },
        "told" => Entry::Told {
            phrase: value.into(),
            at,
        },
        "stood" => Entry::Stood {
            span: Duration::from_nanos(parse_seconds(&value)?),
            at,
        },
        "worked" => {
            let (budget, times) = value.split_once('x')?;
            Entry::Worked {
                budget: Duration::from_nanos(parse_seconds(budget)?),
                times: times.parse().ok()?,
                at,
            }
        }
        "heard" => Entry::Heard {
            frame: parse_frame(&value)?,
            at,
        },
        "turn" => Entry::Turn { at },
        "sent" => Entry::Sent { at },
        "passed" => Entry::Passed { at },
        "nowhere" => Entry::SentNowhere { at },
        "given-up" => Entry::GivenUp { at },
        "withheld" => Entry::Withheld { at },
        _ => return None,
    };
    Some((entry, rest))
}

fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

fn nanos(span: Duration) -> u64 {
    u64::try_from(span.as_nanos()).unwrap_or(u64::MAX)
}

/// Nanoseconds as seconds with nine decimals.
pub(crate) fn seconds(nanos: u64) -> String {
    format!("{}.{:09}", nanos / SECOND, nanos % SECOND)
}

/// The same the other way round.
fn parse_seconds(text: &str) -> Option<u64> {
    let (whole, part) = text.split_once('.')?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    if !digits(whole) || !digits(part) || part.len() != 9 {
        return None;
    }
    let whole: u64 = whole.parse().ok()?;
    whole.checked_mul(SECOND)?.checked_add(part.parse().ok()?)
}

fn parse_frame(text: &str) -> Option<Frame> {
    let digits = text.as_bytes();
    if !digits.len().is_multiple_of(2) || digits.len() > 2 * frame::LENGTH_MAX {
        return None;
    }
    let digit = |byte: u8| {
        char::from(byte)
            .to_digit(16)
            .and_then(|digit| u8::try_from(digit).ok())
    };
    let bytes: Option<Vec<u8>> = digits
        .chunks(2)
        .map(|pair| Some(digit(pair[0])? << 4 | digit(pair[1])?))
        .collect();
    frame::decode(&bytes?).ok()
}

#[cfg(test)]
mod tests {
    use twotrip_can::CanId;

    use super::*;

    fn all() -> Vec<Entry> {
        let at = BusInstant::from_nanos(12_345_678_901);
        let later = BusInstant::from_nanos(u64::MAX);
        let frame = Frame::padded(CanId::Standard(0x7DF), &[2, 1, 0], 0);
        let long = Frame::padded(CanId::Extended(0x18DB_33F1), &[1, 3], 0x55);
        let heard = |frame| Entry::Heard { frame, at };
        vec![
            Entry::Began {
                pace: "2.5".into(),
                at: BusInstant::ZERO,
            },
            Entry::Stood {
                span: Duration::from_nanos(1),
                at,
            },
            Entry::Worked {
                budget: Duration::from_secs(2),
                times: u64::MAX,
                at,
            },
            Entry::Told {
                phrase: "drive idle 60 s, 50 km/h for 5 min # \"so\", `or` @= so\u{1b}".into(),
                at,
            },
            heard(frame),
            heard(long),
            heard(Frame::remote(CanId::Standard(0x7E0), 8).expect("short")),
            Entry::Turn { at: later },
            Entry::Sent { at: later },
            Entry::Passed { at: later },
            Entry::SentNowhere { at },
            Entry::GivenUp { at },
            Entry::Withheld { at },
        ]
    }

    #[test]
    fn what_is_written_is_read_again() {
        let mut line = Line::default();
        for (number, entry) in (5..).zip(&all()) {
            assert_eq!(line.push(number, entry), None);
        }
        let text = line.take().expect("entries");
        assert!(!text.contains('\u{1b}'), "{text}");
        assert!(
            text.starts_with(
                "time: 5 began \"2.5\" @0.000000000, stood 0.000000001 @12.345678901, worked 2.0"
            ),
            "{text}"
        );
        assert!(
            text.contains("heard 000007DF080000000201000000000000 @=, heard 98DB33F1"),
            "{text}"
        );
        // A remote request's length has no place in packet bytes (LINKTYPE_CAN_SOCKETCAN): all else is the same.
        let (number, read) = parse(&text).expect("entries");
        assert_eq!(number, 5);
        assert_eq!(read, all());
    }

    #[test]
    fn a_line_ends_where_a_number_is_missing_and_where_it_is_full() {
        let turn = Entry::Turn { at: BusInstant::ZERO };
        let mut line = Line::default();
        assert_eq!(line.push(3, &turn), None);
        assert_eq!(line.push(5, &turn).as_deref(), Some("time: 3 turn @0.000000000"));
        assert_eq!(line.push(6, &turn), None);
        assert_eq!(line.take().as_deref(), Some("time: 5 turn @0.000000000, turn @="));
        assert_eq!(line.take(), None);
        let full = (7..5000)
            .find_map(|number| line.push(number, &turn))
            .expect("full");
        assert!((FULL..FULL + 100).contains(&full.len()));
    }

    #[test]
    fn what_is_no_line_is_refused() {
        for text in [
            "",
            "time: ",
            "time: 1",
            "time: 1 ",
            "time: x turn @1.000000000",
            "time: 1 turn",
            "time: 1 turn @=",
            "time: 1 turn @1.0",
            "time: 1 turn @1.00000000x",
            "time: 1 turn @99999999999999.000000000",
            "time: 1 turn @1.000000000,",
            "time: 1 turn @1.000000000, ",
            "time: 1 turned @1.000000000",
            "time: 1 told drive @1.000000000",
            "time: 1 told \"drive @1.000000000",
            "time: 1 stood -1.000000000 @1.000000000",
            "time: 1 worked 1.000000000 @1.000000000",
            "time: 1 heard 0 @1.000000000",
            "time: 1 heard 00 @1.000000000",
            "time: 1 heard \u{e4}\u{e4} @1.000000000",
            "car: bus=1 car=2 x",
        ] {
            assert!(parse(text).is_err(), "{text:?}");
        }
    }
}
