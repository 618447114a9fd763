//! How results look: a few colours on a terminal (and `NO_COLOR` honoured, by `anstream`), 80 columns, JSON lines.

use std::{
    cell::RefCell,
    io::{IsTerminal as _, Write as _},
};

use serde::Serialize;

use crate::exit::Failure;

/// The width that every text keeps to, columns.
pub(crate) const WIDTH: usize = 80;

/// Widest first column of a line that is broken, bytes.
const HEAD: usize = 16;

/// Colours, as the terminal's own escape sequences; `anstream` takes them out where they do not belong.
pub(crate) const PLAIN: &str = "\x1b[0m";
pub(crate) const STRONG: &str = "\x1b[1m";
pub(crate) const FAINT: &str = "\x1b[2m";
pub(crate) const GOOD: &str = "\x1b[32m";
pub(crate) const BAD: &str = "\x1b[31m";
pub(crate) const AMBER: &str = "\x1b[33m";

/// Lines held back at the most, bytes.
const HELD: usize = 1 << 16;

thread_local! {
    /// Lines that are held back, while they are.
    static LINES: RefCell<Option<Vec<u8>>> = const { RefCell::new(None) };
}

/// As long as it is there, lines of this thread's results go out many at once. For what prints without waiting for
/// anything; nothing is held back from a terminal, where people read along.
#[derive(Debug)]
pub(crate) struct Held(());

impl Held {
    pub(crate) fn new() -> Self {
        if !std::io::stdout().is_terminal() {
            LINES.set(Some(Vec::with_capacity(2 * HELD)));
        }
        Self(())
    }

    /// Lets out what is there so far: before a pause, and before something else is said.
    #[expect(clippy::unused_self, reason = "only who holds lines can let them out")]
    pub(crate) fn release(&self) -> Result<(), Failure> {
        LINES.with_borrow_mut(|lines| lines.as_mut().map_or(Ok(()), let_out))
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        // Whoever could have said that it fails has called `release`.
        let _ = self.release();
        LINES.set(None);
    }
}

fn let_out(lines: &mut Vec<u8>) -> Result<(), Failure> {
    let stdout = std::io::stdout();
    let coloured = lines.contains(&0x1B);
    let written = if coloured && anstream::AutoStream::choice(&stdout) == anstream::ColorChoice::Never {
        let mut plain = anstream::StripStream::new(Vec::with_capacity(lines.len()));
        plain
            .write_all(lines)
            .and_then(|()| stdout.lock().write_all(&plain.into_inner()))
    } else {
        stdout.lock().write_all(lines)
    };
    lines.clear();
    Ok(written?)
}

/// Adds to the lines held back; false if none are.
fn hold(write: impl FnOnce(&mut Vec<u8>)) -> Result<bool, Failure> {
    LINES.with_borrow_mut(|lines| {
        let Some(lines) = lines else {
            return Ok(false);
        };
        write(lines);
        lines.push(b'\n');
        if lines.len() >= HELD {
            let_out(lines)?;
        }
        Ok(true)
    })
}

/// A line of the results.
pub(crate) fn line(text: &str) -> Result<(), Failure> {
    line_of([text])
}

/// A line of the results in pieces that follow each other, so that nobody has to copy them together first.
pub(crate) fn line_of<const PIECES: usize>(pieces: [&str; PIECES]) -> Result<(), Failure> {
    let held = hold(|lines| {
        for piece in pieces {
            lines.extend_from_slice(piece.as_bytes());
        }
    })?;
    if !held {
        writeln!(anstream::stdout(), "{}", pieces.concat())?;
    }
    Ok(())
}

/// A value as one line of JSON.
pub(crate) fn json(value: &impl Serialize) -> Result<(), Failure> {
    let mut written = Ok(());
    if hold(|lines| written = write_json(lines, value))? {
        return written;
    }
    line(&json_text(value)?)
}

/// The line that [`json`] prints, for who has another way to print it.
pub(crate) fn json_text(value: &impl Serialize) -> Result<String, Failure> {
    let mut text = Vec::new();
    write_json(&mut text, value)?;
    Ok(String::from_utf8_lossy(&text).into_owned())
}

fn write_json(out: &mut Vec<u8>, value: &impl Serialize) -> Result<(), Failure> {
    let mut serializer = serde_json::Serializer::with_formatter(out, Shown);
    let written = value.serialize(&mut serializer);
    written.map_err(|error| Failure::system(error.to_string(), None))
}

/// JSON whose texts cannot steer a terminal either: JSON itself lets the control characters from 7F on stand as they are.
struct Shown;

impl serde_json::ser::Formatter for Shown {
    fn write_string_fragment<W: ?Sized + std::io::Write>(
        &mut self,
        writer: &mut W,
        fragment: &str,
    ) -> std::io::Result<()> {
        let mut rest = fragment;
        while let Some(place) = rest.find(steers) {
            writer.write_all(&rest.as_bytes()[..place])?;
            let mut after = rest[place..].chars();
            if let Some(character) = after.next() {
                write!(writer, "\\u{:04x}", u32::from(character))?;
            }
            rest = after.as_str();
        }
        writer.write_all(rest.as_bytes())
    }
}

/// A value as JSON for people and editors, several lines.
pub(crate) fn json_pretty(value: &impl Serialize) -> Result<(), Failure> {
    let text =
        serde_json::to_string_pretty(value).map_err(|error| Failure::system(error.to_string(), None))?;
    line(&text)
}

/// How far something has come, on standard error, where that is a terminal: the line is written over by the next.
pub(crate) fn progress(text: &str) {
    let mut stderr = std::io::stderr();
    if stderr.is_terminal() {
        // Only decoration: a terminal that cannot show it loses nothing.
        // A line that the terminal breaks could not be written over.
        let text: String = escape(text).chars().take(WIDTH - 1).collect();
        let _ = write!(stderr, "\r{text}\x1b[K\r");
    }
}

/// Breaks a text at spaces so that no line is wider than `width`, and indents every line.
pub(crate) fn wrap(text: &str, indent: usize, width: usize) -> Vec<String> {
    let room = width.saturating_sub(indent).max(1);
    let mut lines: Vec<String> = Vec::new();
    let mut current = String::new();
    for word in text.split_whitespace() {
        if !current.is_empty() && current.chars().count() + 1 + word.chars().count() > room {
            lines.push(std::mem::take(&mut current));
        }
        if !current.is_empty() {
            current.push(' ');
        }
        current.push_str(word);
    }
    if !current.is_empty() {
        lines.push(current);
    }
    lines
        .into_iter()
        .map(|line| format!("{:indent$}{line}", ""))
        .collect()
}

/// A line as it is if it fits, else broken at spaces; `indent` spaces before it, and before each piece those that the
/// line begins with. What stands before the first two spaces inside the line (an instant) stays a column of its own.
pub(crate) fn fit(text: &str, indent: usize) -> Vec<String> {
    if indent + text.chars().count() <= WIDTH {
        return vec![format!("{:indent$}{text}", "")];
    }
    let own = text.chars().take_while(|character| *character == ' ').count();
    let indent = indent + own.min(WIDTH / 2);
    let text = text.trim_start();
    let Some((head, rest)) = text.split_once("  ").filter(|(head, _)| head.len() <= HEAD) else {
        return wrap(text, indent, WIDTH);
    };
    beside(&format!("{:indent$}{head}  ", ""), rest)
}

/// A text beside a head: broken at spaces where both are too wide, each further line below the beginning of the text.
pub(crate) fn beside(head: &str, text: &str) -> Vec<String> {
    headed(head, wrap(text, head.chars().count(), WIDTH))
}

/// Lines that are all indented by the width of a head, with that head before the first.
pub(crate) fn headed(head: &str, mut lines: Vec<String>) -> Vec<String> {
    if let Some(first) = lines.first_mut() {
        first.replace_range(..head.chars().count(), head);
    }
    lines
}

/// Whether a character steers a terminal or the order of what it shows: control characters, and Unicode's marks of
/// direction and of no width.
fn steers(character: char) -> bool {
    character.is_control()
        || matches!(
            character,
            '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FEFF}'
        )
}

/// Control characters and escape sequences of foreign text, made visible instead of obeyed.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::new();
    for character in text.chars() {
        if steers(character) {
            out.extend(character.escape_default());
        } else {
            out.push(character);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrapped_lines_keep_to_the_width() {
        let lines = wrap("one two three four five", 2, 12);
        assert_eq!(lines, ["  one two", "  three four", "  five"]);
        assert!(lines.iter().all(|line| line.len() <= 12));
    }

    #[test]
    fn a_broken_line_keeps_its_own_indent() {
        let lines = fit(&format!("  {}", "word ".repeat(40)), 2);
        assert!(lines.len() > 2 && lines.iter().all(|line| line.starts_with("    word")));
    }

    #[test]
    fn a_broken_line_keeps_its_first_column() {
        let lines = fit(&format!("  0 d 09:03:04  {}", "word ".repeat(40)), 2);
        assert!(lines[0].starts_with("    0 d 09:03:04  word word"));
        assert!(
            lines.len() > 2
                && lines[1..]
                    .iter()
                    .all(|line| line.starts_with(&format!("{:18}word", "")))
        );
        assert!(lines.iter().all(|line| line.len() <= WIDTH));
    }

    #[test]
    fn escape_sequences_are_shown_not_obeyed() {
        assert_eq!(escape("a\x1b[31mb\u{7}"), "a\\u{1b}[31mb\\u{7}");
        assert_eq!(escape("\u{9b}2J \u{202e}Zürich"), "\\u{9b}2J \\u{202e}Zürich");
        let text = "\x1b[2J \u{9b}2J \u{7f} \u{202e} \"Zürich\"";
        let json = json_text(&text).expect("a text");
        assert_eq!(json, "\"\\u001b[2J \\u009b2J \\u007f \\u202e \\\"Zürich\\\"\"");
        let back: String = serde_json::from_str(&json).expect("JSON");
        assert_eq!(back, text);
    }
}
