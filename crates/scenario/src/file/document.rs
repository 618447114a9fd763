//! First pass: TOML as keys and values with their places in the file.

use core::ops::Range;

use toml::{
    Spanned,
    de::{DeTable, DeValue},
};

use super::format::{self, Table};
use crate::{
    limits,
    problem::{Expected, Problem, ProblemKind},
};

/// Parses the TOML.
///
/// # Errors
/// All that is wrong with it as TOML.
pub(crate) fn parse(text: &str) -> Result<Spanned<DeTable<'_>>, Vec<Problem>> {
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
pub(crate) struct Reader<'t, 'i> {
    text: &'i str,
    /// The format.
    tables: &'static [Table],
    name: &'static str,
    table: &'t DeTable<'i>,
    /// Where a missing key is reported: the name of the table, or the first byte of the file.
    head: Range<usize>,
    /// Keys that are there, but misspelt; they are not reported as missing too.
    misspelt: Vec<&'static str>,
}

/// A number of the file and its place.
pub(crate) type Placed = (f64, Range<usize>);

/// A string of the file.
pub(crate) struct Text<'t> {
    /// What it says.
    pub(crate) value: &'t str,
    /// The whole literal with its quotes.
    pub(crate) span: Range<usize>,
    /// Where `value` begins in the file, if it stands there letter by letter; not with escapes in it.
    start: Option<usize>,
}

impl Text<'_> {
    /// The place in the file of a piece of `value`.
    pub(crate) fn place(&self, piece: Range<usize>) -> Range<usize> {
        match self.start {
            Some(start) => start + piece.start..start + piece.end,
            None => self.span.clone(),
        }
    }
}

impl<'t, 'i> Reader<'t, 'i> {
    /// Of the whole file; keys that nobody knows are reported now.
    pub(crate) fn top(
        text: &'i str,
        table: &'t Spanned<DeTable<'i>>,
        tables: &'static [Table],
        problems: &mut Vec<Problem>,
    ) -> Self {
        let mut reader = Self {
            text,
            tables,
            name: "",
            table: table.get_ref(),
            head: 0..0,
            misspelt: Vec::new(),
        };
        reader.report_unknown(problems);
        reader
    }

    /// A table inside this one.
    pub(crate) fn table(&self, key: &'static str, problems: &mut Vec<Problem>) -> Option<Self> {
        let (key_span, value) = self.find(key)?;
        let DeValue::Table(table) = value.get_ref() else {
            problems.push(self.wrong_type("a table", value));
            return None;
        };
        let mut reader = Self {
            text: self.text,
            tables: self.tables,
            name: key,
            table,
            head: key_span,
            misspelt: Vec::new(),
        };
        reader.report_unknown(problems);
        Some(reader)
    }

    /// The tables of a list inside this one; anything else is reported.
    pub(crate) fn tables(
        &self,
        key: &'static str,
        what: &'static str,
        most: usize,
        problems: &mut Vec<Problem>,
    ) -> Vec<Self> {
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
        if list.len() > most {
            let most = Expected::text(format!("at most {most}"));
            problems.push(Problem::new(ProblemKind::TooMany(what), value.span(), key).expecting([most]));
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
                tables: self.tables,
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
    pub(crate) fn text(&self, key: &'static str, problems: &mut Vec<Problem>) -> Option<Text<'t>> {
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
    pub(crate) fn flag(&self, key: &'static str, problems: &mut Vec<Problem>) -> Option<bool> {
        let (_, value) = self.find(key)?;
        let DeValue::Boolean(flag) = value.get_ref() else {
            problems.push(self.wrong_type("true or false", value));
            return None;
        };
        Some(*flag)
    }

    /// A whole number, with what stands in the file; too large a number comes as `i128::MAX`.
    pub(crate) fn integer(
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

    /// A number, whole or not; `None` if the key holds something else, which is reported.
    pub(crate) fn number(
        &self,
        key: &'static str,
        problems: &mut Vec<Problem>,
    ) -> Option<(f64, Range<usize>)> {
        let (_, value) = self.find(key)?;
        match number(value) {
            Some(number) => Some((number, value.span())),
            None => {
                problems.push(self.wrong_type("a number", value));
                None
            }
        }
    }

    /// The numbers of a list, and the place of the list; `None` if it is something else, which is reported.
    pub(crate) fn numbers(
        &self,
        key: &'static str,
        problems: &mut Vec<Problem>,
    ) -> Option<(Vec<Placed>, Range<usize>)> {
        let (_, value) = self.find(key)?;
        let DeValue::Array(list) = value.get_ref() else {
            problems.push(self.wrong_type("a list of numbers", value));
            return None;
        };
        let mut numbers = Vec::new();
        for item in list {
            match number(item) {
                Some(number) => numbers.push((number, item.span())),
                None => {
                    problems.push(self.wrong_type("a number", item));
                    return None;
                }
            }
        }
        Some((numbers, value.span()))
    }

    /// The same, and that it is missing is reported too.
    pub(crate) fn required<T>(
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
                Problem::new(ProblemKind::MissingKey(key), self.head.clone(), "").hint(format!(
                    "`{key} = ...` stands {}",
                    format::find(self.tables, self.name).map_or_else(String::new, place_of)
                )),
            );
            return None;
        }
        read(self, key, problems)
    }

    /// Whether the key is there.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.find(key).is_some()
    }

    /// What stands at a place of the file.
    pub(crate) fn written(&self, span: Range<usize>) -> &'i str {
        self.text.get(span).unwrap_or("")
    }

    fn find(&self, key: &str) -> Option<(Range<usize>, &'t Spanned<DeValue<'i>>)> {
        let (name, value) = self.table.iter().find(|(name, _)| name.get_ref() == key)?;
        Some((name.span(), value))
    }

    fn report_unknown(&mut self, problems: &mut Vec<Problem>) {
        let known: Vec<&'static str> = format::find(self.tables, self.name)
            .map_or_else(Vec::new, |table| format::names(self.tables, table).collect());
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
            let home = self
                .tables
                .iter()
                .find(|table| format::names(self.tables, table).any(|name| name == key));
            problems.push(match home {
                Some(table) => problem.hint(format!("`{key}` stands {}", place_of(table))),
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

/// A TOML number as one.
fn number(value: &Spanned<DeValue<'_>>) -> Option<f64> {
    match value.get_ref() {
        DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix())
            .ok()
            .and_then(|whole| i32::try_from(whole).ok())
            .map(f64::from),
        DeValue::Float(float) => float.as_str().parse().ok(),
        _ => None,
    }
}

/// Where the keys of a table stand.
fn place_of(table: &Table) -> String {
    match table.name {
        "" => "before the first `[table]`".to_owned(),
        name if table.repeats => format!("under `[[{name}]]`"),
        name => format!("under `[{name}]`"),
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
