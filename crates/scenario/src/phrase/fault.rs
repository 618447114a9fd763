//! The error of the grammar: the place it happened at, and what would have been right there.
//!
//! Of two branches that fail, the one that came further knows best; at the same place their wishes add up.

use core::fmt::Display;
use std::borrow::Cow;

use nom::{
    IResult, Offset as _,
    error::{ErrorKind, ParseError},
};

use crate::problem::{Expected, Problem, ProblemKind};

/// What every parser of the grammar gives back.
pub(super) type Parsed<'a, T> = IResult<&'a str, T, Fault<'a>>;

/// Why a parser did not succeed.
#[derive(Debug)]
pub(super) struct Fault<'a> {
    /// The word that does not fit, a slice of the text; empty at the end of the phrase.
    found: &'a str,
    kind: ProblemKind,
    expected: Vec<Expected>,
    hint: Option<Cow<'static, str>>,
}

impl<'a> Fault<'a> {
    /// A fault at the word `found`; if there is none, `missing` is what the phrase lacks.
    pub(super) fn new(
        found: &'a str,
        kind: ProblemKind,
        missing: &'static str,
        expected: impl IntoIterator<Item = Expected>,
    ) -> nom::Err<Self> {
        let kind = if found.is_empty() {
            ProblemKind::Missing(missing)
        } else {
            kind
        };
        nom::Err::Error(Self {
            found,
            kind,
            expected: expected.into_iter().collect(),
            hint: None,
        })
    }

    /// With the next thing to try.
    pub(super) fn with_hint(error: nom::Err<Self>, hint: &'static str) -> nom::Err<Self> {
        error.map(|fault| Self {
            hint: Some(Cow::Borrowed(hint)),
            ..fault
        })
    }

    /// The word that does not fit.
    pub(super) const fn found(&self) -> &'a str {
        self.found
    }

    /// Which rule is broken.
    pub(super) const fn kind(&self) -> ProblemKind {
        self.kind
    }

    /// With the next thing to try, if there is none yet.
    pub(super) fn or_hint(mut self, hint: &'static str) -> Self {
        self.hint.get_or_insert(Cow::Borrowed(hint));
        self
    }

    /// With what another parser found wrong with the word.
    pub(super) fn because(error: nom::Err<Self>, cause: impl Display) -> nom::Err<Self> {
        error.map(|fault| {
            let hint = (!fault.found.is_empty()).then(|| Cow::Owned(cause.to_string()));
            Self { hint, ..fault }
        })
    }

    /// Whether only the unit is wrong, or missing.
    pub(super) fn is_of_a_unit(error: &nom::Err<Self>) -> bool {
        match error {
            nom::Err::Error(fault) | nom::Err::Failure(fault) => matches!(
                fault.kind,
                ProblemKind::UnknownUnit(_) | ProblemKind::Missing(super::measure::UNIT)
            ),
            nom::Err::Incomplete(_) => false,
        }
    }

    /// Out of nom's wrapping; the grammar is complete, it never waits for more.
    pub(super) fn out_of(error: nom::Err<Self>) -> Self {
        match error {
            nom::Err::Error(fault) | nom::Err::Failure(fault) => fault,
            nom::Err::Incomplete(_) => Self::from_error_kind("", ErrorKind::Complete),
        }
    }

    /// The problem in `text`, of which the parsed line is a slice.
    pub(super) fn into_problem(self, text: &str) -> Problem {
        let start = text.offset(self.found);
        let problem =
            Problem::new(self.kind, start..start + self.found.len(), self.found).expecting(self.expected);
        match self.hint {
            Some(hint) => problem.hint(hint),
            None => problem,
        }
    }
}

impl<'a> ParseError<&'a str> for Fault<'a> {
    /// Only nom's own small parsers come here; every rule of the grammar names its wish itself.
    fn from_error_kind(input: &'a str, _: ErrorKind) -> Self {
        Self {
            found: input,
            kind: ProblemKind::Surplus,
            expected: Vec::new(),
            hint: None,
        }
    }

    fn append(_: &'a str, _: ErrorKind, other: Self) -> Self {
        other
    }

    fn or(mut self, other: Self) -> Self {
        // Both are slices of one line, so their addresses order them; at one place, the longer has read more.
        let place = |fault: &Self| (fault.found.as_ptr(), fault.found.len());
        match place(&other).cmp(&place(&self)) {
            core::cmp::Ordering::Greater => other,
            core::cmp::Ordering::Less => self,
            core::cmp::Ordering::Equal => {
                self.expected.extend(other.expected);
                self
            }
        }
    }
}
