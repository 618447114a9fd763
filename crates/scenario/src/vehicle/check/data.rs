//! What a listed ECU says of service $01: lines of a parameter and its values, or its bytes.
//!
//! ```text
//! 42 13.8 V            # numbers in the units of the parameter, one a field, commas between
//! 24 0.99, 2.5 V
//! 9A hex 03 00 12 34   # the data bytes as they are
//! ```

use core::ops::Range;

use twotrip_obd::{
    Pid,
    pid::{Definition, Field, Kind, Scaling},
};

use crate::{
    file::document::Text,
    problem::{Expected, Problem, ProblemKind},
    vehicle::format::PARAMETERS,
};

/// PID $01 follows from the codes, PID $02 belongs to a freeze frame.
const OWN: [u8; 2] = [0x01, 0x02];
/// Most bytes of a parameter that is not known here: what a multi-frame answer of one has in the tables, and more.
const BYTES: usize = 64;

/// A parameter with its data bytes.
type Row = (u8, Box<[u8]>);

/// Reads the lines. `None` only where a problem was reported.
pub(super) fn check(text: &Text<'_>, problems: &mut Vec<Problem>) -> Option<Vec<Row>> {
    let mut rows: Vec<Row> = Vec::new();
    let before = problems.len();
    let mut start = 0;
    for line in text.value.split('\n') {
        let code = line.split('#').next().unwrap_or("");
        if !code.trim().is_empty() {
            match Line::of(start, code).read(&rows) {
                Ok(row) => rows.push(row),
                Err(problem) => {
                    let place = text.place(problem.span());
                    problems.push(problem.moved_to(place));
                }
            }
        }
        start += line.len() + 1;
    }
    if rows.len() > PARAMETERS && problems.len() == before {
        let most = Expected::text(format!("at most {PARAMETERS}"));
        problems.push(
            Problem::new(ProblemKind::TooMany("parameters"), text.span.clone(), "data").expecting([most]),
        );
    }
    (problems.len() == before).then_some(rows)
}

/// A piece of the text: where it begins, and what it says without white space around it.
#[derive(Clone, Copy)]
struct Line<'t> {
    start: usize,
    text: &'t str,
}

impl<'t> Line<'t> {
    fn of(start: usize, text: &'t str) -> Self {
        Self {
            start: start + (text.len() - text.trim_start().len()),
            text: text.trim(),
        }
    }

    fn place(self) -> Range<usize> {
        self.start..self.start + self.text.len()
    }

    fn problem(self, kind: ProblemKind) -> Problem {
        Problem::new(kind, self.place(), self.text)
    }

    /// The first word, and what follows it.
    fn split(self) -> (Self, Self) {
        let length = self.text.find(char::is_whitespace).unwrap_or(self.text.len());
        let (word, rest) = self.text.split_at(length);
        (Self::of(self.start, word), Self::of(self.start + length, rest))
    }

    fn read(self, before: &[Row]) -> Result<Row, Problem> {
        let (word, rest) = self.split();
        let number = byte(word.text).ok_or_else(|| {
            word.problem(ProblemKind::UnknownWord("parameter"))
                .expecting([Expected::text(
                    "the number of a PID in two hexadecimal digits, such as 42",
                )])
        })?;
        let pid = Pid::new(number);
        if pid.is_mask() || OWN.contains(&number) {
            return Err(word.problem(ProblemKind::Misfit("is worked out by the ECU itself")));
        }
        if before.iter().any(|(other, _)| *other == number) {
            return Err(word.problem(ProblemKind::Misfit("has its values above already")));
        }
        let data = match rest.split() {
            (hex, bytes) if hex.text == "hex" => bytes.bytes(pid.definition())?,
            _ => rest.values(pid.definition())?,
        };
        Ok((number, data))
    }

    /// Data bytes as they are.
    fn bytes(self, definition: Option<&Definition>) -> Result<Box<[u8]>, Problem> {
        let mut data = Vec::new();
        let mut left = self;
        while !left.text.is_empty() {
            let (word, rest) = left.split();
            data.push(byte(word.text).ok_or_else(|| {
                word.problem(ProblemKind::UnknownWord("byte"))
                    .expecting([Expected::text("two hexadecimal digits, such as 0C")])
            })?);
            left = rest;
        }
        let fits = definition.map_or(1..=BYTES, |known| known.length..=known.length);
        if fits.contains(&data.len()) {
            return Ok(data.into());
        }
        let wanted = Expected::text(match definition {
            Some(known) => format!("{} bytes of {}", known.length, known.name),
            None => format!("1 to {BYTES} bytes"),
        });
        Err(self.problem(ProblemKind::OutOfRange("hex")).expecting([wanted]))
    }

    /// Numbers with their units, one a field.
    fn values(self, definition: Option<&'static Definition>) -> Result<Box<[u8]>, Problem> {
        let hint = "what has no table here, or is no number, is given as bytes: `9A hex 03 00`";
        let Some(definition) = definition else {
            let kind = ProblemKind::Misfit("is no value for this parameter, which has no table here");
            return Err(self.problem(kind).hint(hint));
        };
        let fields = definition.fields;
        if fields.iter().any(|field| scaling(field).is_none()) {
            let kind = ProblemKind::Misfit("is no value for this parameter, which is not made of numbers");
            return Err(self.problem(kind).hint(hint));
        }
        let count = self.text.split(',').count();
        if self.text.is_empty() || count != fields.len() {
            let names: Vec<&str> = fields.iter().map(|field| field.name).collect();
            let wanted = match names[..] {
                [_] => format!("one value: {}", definition.name),
                _ => format!("{} values, commas between: {}", names.len(), names.join(", ")),
            };
            let kind = if self.text.is_empty() {
                ProblemKind::Missing("the value")
            } else {
                ProblemKind::OutOfRange(definition.name)
            };
            return Err(self.problem(kind).expecting([Expected::text(wanted)]));
        }
        let mut data = vec![0; definition.length];
        let mut start = self.start;
        for (field, value) in fields.iter().zip(self.text.split(',')) {
            field.encode_number(Self::of(start, value).number(definition, field)?, &mut data);
            start += value.len() + 1;
        }
        Ok(data.into())
    }

    fn number(self, definition: &Definition, field: &Field) -> Result<f64, Problem> {
        let name = definition.name;
        let Some(scaling) = scaling(field) else {
            return Ok(0.0);
        };
        let is_of_number = |character: char| character.is_ascii_digit() || "+-.".contains(character);
        let digits = self.text.find(|c| !is_of_number(c)).unwrap_or(self.text.len());
        let (number, unit) = self.text.split_at(digits);
        let unit = Line::of(self.start + digits, unit);
        let value: f64 = number
            .parse()
            .map_err(|_| self.problem(ProblemKind::NotANumber(name)))?;
        let symbol = scaling.unit.symbol();
        // Few keyboards have the sign.
        let plain = symbol.trim_start_matches('°');
        if !["", symbol, plain].contains(&unit.text) {
            let units = [plain, symbol].map(|unit| match unit {
                "" => Expected::text("no unit"),
                unit => Expected::Word(unit),
            });
            return Err(unit.problem(ProblemKind::UnknownUnit(name)).expecting(units));
        }
        let (lowest, highest) = (scaling.lowest(), scaling.highest());
        if !(lowest..=highest).contains(&value) {
            let wanted = Expected::text(format!("{lowest} to {highest} {plain}").trim_end().to_owned());
            return Err(self.problem(ProblemKind::OutOfRange(name)).expecting([wanted]));
        }
        Ok(value)
    }
}

/// How a field is scaled that is a number.
const fn scaling(field: &Field) -> Option<Scaling> {
    match field.kind {
        Kind::Number(scaling) | Kind::NumberOrAbsent(scaling) => Some(scaling),
        _ => None,
    }
}

/// Two hexadecimal digits.
fn byte(text: &str) -> Option<u8> {
    if text.len() != 2 || !text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
        return None;
    }
    u8::from_str_radix(text, 16).ok()
}
