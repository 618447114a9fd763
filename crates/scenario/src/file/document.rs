//! First pass: TOML as keys and values with their places in the file.

use core::ops::Range;

use toml::{
    Spanned,
    de::{DeTable, DeValue},
};

use super::format::{self, TABLES};
use crate::{
    limits,
    problem::{Expected, Problem, ProblemKind},
};

/// Parses the TOML.
///
/// # Errors
/// All that is wrong with it as TOML.
pub(super) fn parse(text: &str) -> Result<Spanned<DeTable<'_>>, Vec<Problem>> {
    let (table, errors) = DeTable::parse_recoverable(text);
    if errors.is_empty() {
        return Ok(table);
    }
    Err(errors
        .into_iter()
        .take(limits::PROBLEMS + 1)
        .map(|error| {
            let end = text.len();
            let span = error
                .span()
                .map_or(end..end, |span| span.start.min(end)..span.end.min(end));
            let found = text.get(span.clone()).unwrap_or("");
            let hint = match text.get(span.start..).and_then(|rest| rest.chars().next()) {
                // The parser's own words for it leave one guessing.
                Some(control) if control.is_control() && !matches!(control, '\n' | '\r' | '\t') => {
                    format!("a control character, U+{:04X}: leave it out", u32::from(control))
                }
                _ => error.message().to_owned(),
            };
            Problem::new(ProblemKind::NotToml, span, found).hint(hint)
        })
        .collect())
}

/// A table of the file, read key by key; problems go into one list.
pub(super) struct Reader<'t, 'i> {
    text: &'i str,
    name: &'static str,
    table: &'t DeTable<'i>,
    /// Where a missing key is reported: the name of the table, or the first byte of the file.
    head: Range<usize>,
    /// Keys that are there, but misspelt; they are not reported as missing too.
    misspelt: Vec<&'static str>,
}

/// A string of the file.
pub(super) struct Text<'t> {
    /// What it says.
    pub(super) value: &'t str,
    /// The whole literal with its quotes.
    pub(super) span: Range<usize>,
    /// Where `value` begins in the file, if it stands there letter by letter; not with escapes in it.
    start: Option<usize>,
}

impl Text<'_> {
    /// The place in the file of a piece of `value`.
    pub(super) fn place(&self, piece: Range<usize>) -> Range<usize> {
        match self.start {
            Some(start) => start + piece.start..start + piece.end,
            None => self.span.clone(),
        }
    }
}

impl<'t, 'i> Reader<'t, 'i> {
    /// Of the whole file; keys that nobody knows are reported now.
    pub(super) fn top(text: &'i str, table: &'t Spanned<DeTable<'i>>, problems: &mut Vec<Problem>) -> Self {
        let mut reader = Self {
            text,
            name: "",
            table: table.get_ref(),
            head: 0..0,
            misspelt: Vec::new(),
        };
        reader.report_unknown(problems);
        reader
    }

    /// A table inside this one.
    pub(super) fn table(&self, key: &'static str, problems: &mut Vec<Problem>) -> Option<Self> {
        let (key_span, value) = self.find(key)?;
        let DeValue::Table(table) = value.get_ref() else {
            problems.push(self.wrong_type("a table", value));
            return None;
        };
        let mut reader = Self {
            text: self.text,
            name: key,
            table,
            head: key_span,
            misspelt: Vec::new(),
        };
        reader.report_unknown(problems);
        Some(reader)
    }

    /// The tables of a list inside this one; anything else is reported.
    pub(super) fn tables(&self, key: &'static str, problems: &mut Vec<Problem>) -> Vec<Self> {
        let Some((key_span, value)) = self.find(key) else {
            return Vec::new();
        };
        let DeValue::Array(list) = value.get_ref() else {
            problems.push(
                self.wrong_type("a list of tables", value)
                    .hint(format!("each begins with `[[{key}]]`")),
            );
            return Vec::new();
        };
        if list.len() > limits::CUES {
            let most = Expected::text(format!("at most {}", limits::CUES));
            problems.push(Problem::new(ProblemKind::TooMany("cues"), value.span(), key).expecting([most]));
            return Vec::new();
        }
        let mut readers = Vec::new();
        for item in list {
            let DeValue::Table(table) = item.get_ref() else {
                problems.push(self.wrong_type("a table", item));
                continue;
            };
            let span = item.span();
            let head = if span.is_empty() { key_span.clone() } else { span };
            let mut reader = Self {
                text: self.text,
                name: key,
                table,
                head,
                misspelt: Vec::new(),
            };
            reader.report_unknown(problems);
            readers.push(reader);
        }
        readers
    }

    /// A string; `None` if the key is not there or holds something else, which is reported.
    pub(super) fn text(&self, key: &'static str, problems: &mut Vec<Problem>) -> Option<Text<'t>> {
        let (_, value) = self.find(key)?;
        let DeValue::String(string) = value.get_ref() else {
            problems.push(self.wrong_type("a string", value));
            return None;
        };
        let span = value.span();
        let start = self
            .text
            .get(span.clone())
            .and_then(|literal| letter_by_letter(literal, string));
        Some(Text {
            value: string,
            start: start.map(|offset| span.start + offset),
            span,
        })
    }

    /// `true` or `false`.
    pub(super) fn flag(&self, key: &'static str, problems: &mut Vec<Problem>) -> Option<bool> {
        let (_, value) = self.find(key)?;
        let DeValue::Boolean(flag) = value.get_ref() else {
            problems.push(self.wrong_type("true or false", value));
            return None;
        };
        Some(*flag)
    }

    /// A whole number, with what stands in the file; too large a number comes as `i128::MAX`.
    pub(super) fn integer(
        &self,
        key: &'static str,
        problems: &mut Vec<Problem>,
    ) -> Option<(i128, Range<usize>)> {
        let (_, value) = self.find(key)?;
        let DeValue::Integer(integer) = value.get_ref() else {
            problems.push(self.wrong_type("a whole number", value));
            return None;
        };
        let number = i128::from_str_radix(integer.as_str(), integer.radix()).unwrap_or(i128::MAX);
        Some((number, value.span()))
    }

    /// The same, and that it is missing is reported too.
    pub(super) fn required<T>(
        &self,
        key: &'static str,
        read: impl FnOnce(&Self, &'static str, &mut Vec<Problem>) -> Option<T>,
        problems: &mut Vec<Problem>,
    ) -> Option<T> {
        if self.find(key).is_none() {
            if self.misspelt.contains(&key) {
                return None;
            }
            problems.push(
                Problem::new(ProblemKind::MissingKey(key), self.head.clone(), "")
                    .hint(format!("`{key} = ...` stands {}", place_of(self.name))),
            );
            return None;
        }
        read(self, key, problems)
    }

    /// Whether the key is there.
    pub(super) fn has(&self, key: &str) -> bool {
        self.find(key).is_some()
    }

    /// What stands at a place of the file.
    pub(super) fn written(&self, span: Range<usize>) -> &'i str {
        self.text.get(span).unwrap_or("")
    }

    fn find(&self, key: &str) -> Option<(Range<usize>, &'t Spanned<DeValue<'i>>)> {
        let (name, value) = self.table.iter().find(|(name, _)| name.get_ref() == key)?;
        Some((name.span(), value))
    }

    fn report_unknown(&mut self, problems: &mut Vec<Problem>) {
        let known: Vec<&'static str> =
            format::table(self.name).map_or_else(Vec::new, |table| format::names(table).collect());
        let strangers = self
            .table
            .iter()
            .map(|(name, _)| name)
            .filter(|name| !known.contains(&name.get_ref().as_ref()));
        for name in strangers.take(limits::PROBLEMS + 1) {
            let key = name.get_ref().as_ref();
            let problem = Problem::new(ProblemKind::UnknownKey, name.span(), key)
                .expecting(known.iter().copied().map(Expected::Word));
            self.misspelt.extend(problem.nearest());
            let home = TABLES
                .iter()
                .find(|table| format::names(table).any(|name| name == key));
            problems.push(match home {
                Some(table) => problem.hint(format!("`{key}` stands {}", place_of(table.name))),
                None => problem,
            });
        }
    }

    fn wrong_type(&self, wanted: &'static str, value: &Spanned<DeValue<'_>>) -> Problem {
        let found = match value.get_ref() {
            DeValue::String(_) => "a string",
            DeValue::Integer(_) => "a whole number",
            DeValue::Float(_) => "a decimal number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date or time",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        Problem::new(ProblemKind::WrongType(wanted), value.span(), found)
    }
}

/// Where the keys of a table stand.
fn place_of(table: &str) -> String {
    match format::table(table) {
        Some(table) if table.repeats => format!("under `[[{}]]`", table.name),
        Some(table) if !table.name.is_empty() => format!("under `[{}]`", table.name),
        _ => "before the first `[table]`".to_owned(),
    }
}

/// Where the content begins in a string literal, if it stands there as it reads: no escapes, no line ends that
/// TOML makes into others.
fn letter_by_letter(literal: &str, content: &str) -> Option<usize> {
    ["\"\"\"", "'''", "\"", "'"].into_iter().find_map(|quote| {
        let inside = literal.strip_prefix(quote)?.strip_suffix(quote)?;
        // A line end right after the opening three quotes is not part of the content (TOML 1.0, section "String").
        let trimmed = match quote.len() {
            3 => inside
                .strip_prefix("\r\n")
                .or_else(|| inside.strip_prefix('\n'))
                .unwrap_or(inside),
            _ => inside,
        };
        (trimmed == content).then(|| quote.len() + inside.len() - trimmed.len())
    })
}
