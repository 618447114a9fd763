//! The parts of a line of text, written into memory that the next line uses again: a long recording has millions.

use std::{fmt::Write as _, time::Duration};

use twotrip_can::CanId;
use twotrip_dialogue::{Ecu, Role};
use twotrip_units::decimal;

use super::setting::Setting;
use crate::{exit::Failure, output};

/// Longest span whose fractions a floating-point number holds well enough to be rounded as its integer, nanoseconds.
const EXACT: u64 = 1 << 50;

/// Seconds since the first frame: what `{:>13.6}` makes of them.
pub(super) fn write_seconds(line: &mut String, setting: &Setting, at: u64) {
    let (before, nanos) = setting.span(at);
    let written = if before || nanos % 1000 == 500 || nanos > EXACT {
        // Halves are rounded as the floating-point number lies.
        write!(line, "{:>13.6}", setting.seconds(at))
    } else {
        decimal::write_column(line, ((nanos + 500) / 1000).cast_signed(), 6, 13)
    };
    // A string takes everything; so below.
    let _ = written;
}

/// Milliseconds: what `{:.1}` makes of them.
pub(super) fn write_millis(line: &mut String, span: Duration) {
    let nanos = u64::try_from(span.as_nanos()).unwrap_or(u64::MAX);
    let _ = if nanos % 100_000 == 50_000 || nanos > EXACT {
        write!(line, "{:.1}", span.as_secs_f64() * 1000.0)
    } else {
        decimal::write_fixed(line, ((nanos + 50_000) / 100_000).cast_signed(), 1)
    };
}

/// A role as it displays itself: the most common ones without a formatter.
pub(super) fn write_role(line: &mut String, role: Role) {
    let standard = |ecu: Ecu| match ecu.response() {
        CanId::Standard(id) => Some(id.to_be_bytes()),
        CanId::Extended(_) => None,
    };
    let write_id = |line: &mut String, [high, low]: [u8; 2]| {
        line.push(char::from_digit(high.into(), 16).unwrap_or_default());
        let _ = decimal::write_hex(line, low);
    };
    match role {
        Role::AskAll { .. } => line.push_str("tester to all"),
        Role::Ask(ecu) if let Some(id) = standard(ecu) => {
            line.push_str("tester to ");
            write_id(line, id);
        }
        Role::Answer(ecu) if let Some(id) = standard(ecu) => {
            write_id(line, id);
            line.push_str(" to tester");
        }
        role => {
            let _ = write!(line, "{role}");
        }
    }
}

/// Blanks up to a width that counts from `begun`, bytes.
pub(super) fn fill(line: &mut String, begun: usize, width: usize) {
    const BLANKS: &str = "                                                                                ";
    let missing = width.saturating_sub(line.len() - begun).min(BLANKS.len());
    line.push_str(&BLANKS[..missing]);
}

/// A text beside the head that `line` holds, which is `width` columns wide; broken at spaces where it is too long, and
/// each line ended with `end`.
pub(super) fn columns(line: &mut String, width: usize, text: &str, end: &str) -> Result<(), Failure> {
    if width + text.len() <= output::WIDTH || width + text.chars().count() <= output::WIDTH {
        return output::line_of([line, text, end]);
    }
    let room = output::WIDTH.saturating_sub(width).max(1);
    if !is_plain(text.as_bytes()) {
        for piece in output::wrap(text, 0, room) {
            piece_of(line, width, &piece, end)?;
        }
        return Ok(());
    }
    let mut rest = text;
    loop {
        let Some(piece) = first_piece(rest, room) else {
            return piece_of(line, width, rest, end);
        };
        piece_of(line, width, &rest[..piece], end)?;
        rest = &rest[piece + 1..];
    }
}

/// One of several lines.
fn piece_of(line: &mut String, width: usize, piece: &str, end: &str) -> Result<(), Failure> {
    output::line_of([line, piece, end])?;
    line.clear();
    fill(line, 0, width);
    Ok(())
}

/// Whether single blanks are all the space in a text, and degree signs all that is not ASCII.
fn is_plain(text: &[u8]) -> bool {
    let odd = |byte: u8| !(b' '..=b'~').contains(&byte) && byte != 0xC2 && byte != 0xB0;
    let behind = text.get(1..).unwrap_or_default();
    // Without a way out of the loop it is done many bytes at a time.
    let pairs = text.iter().zip(behind);
    let any = pairs.fold(false, |any, (&one, &next)| {
        any | odd(one) | (one == b' ' && next == b' ')
    });
    !any && text.last().is_none_or(|&last| last != b' ' && !odd(last)) && text.first() != Some(&b' ')
}

/// Where the last blank is that leaves no more than `room` columns before it, or the first one if none does; nothing if
/// all fits or nothing can be broken.
fn first_piece(text: &str, room: usize) -> Option<usize> {
    let bytes = text.as_bytes();
    let mut end = room;
    loop {
        // Two bytes of a degree sign are one column.
        let degrees = bytes.get(..end)?.iter().filter(|&&byte| byte == 0xC2).count();
        if room + degrees == end {
            break;
        }
        end = room + degrees;
    }
    if end >= bytes.len() {
        return None;
    }
    let blank = |&byte: &u8| byte == b' ';
    match bytes[..=end].iter().rposition(blank) {
        Some(place) => Some(place),
        None => bytes[end..].iter().position(blank).map(|place| end + place),
    }
}

/// As [`columns`], for what is told seldom.
pub(super) fn beside(head: &str, text: &str) -> Result<(), Failure> {
    columns(&mut head.to_owned(), head.chars().count(), text, "")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// In pieces as [`output::wrap`] makes them.
    #[test]
    fn plain_texts_are_broken_like_any_other() {
        let words = [
            "coolant",
            "temperature",
            "70",
            "°C;",
            "a",
            "70°",
            "intake-air-temperature-sensor-with-a-long-name",
            "°",
        ];
        for seed in 0..500_usize {
            let text: Vec<&str> = (0..seed % 13)
                .map(|place| words[(seed * 7 + place * place * 5) % words.len()])
                .collect();
            let text = text.join(" ");
            assert!(is_plain(text.as_bytes()), "{text}");
            for room in 1..60 {
                let mut pieces = Vec::new();
                let mut rest = text.as_str();
                while let Some(piece) = first_piece(rest, room) {
                    pieces.push(&rest[..piece]);
                    rest = &rest[piece + 1..];
                }
                pieces.extend((!rest.is_empty()).then_some(rest));
                assert_eq!(pieces, output::wrap(&text, 0, room), "{text} in {room}");
            }
        }
    }

    #[test]
    fn only_single_blanks_are_plain() {
        for text in ["a  b", " a", "a ", "a\tb", "a\u{A0}b", "a\u{7F}", "é"] {
            assert!(!is_plain(text.as_bytes()), "{text:?}");
        }
        assert!(is_plain(b"") && is_plain("7 °C".as_bytes()));
    }
}
