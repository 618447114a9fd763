//! What is wrong with a text, as data: kind, place, what was found, what is allowed. The command draws it.

use core::{cmp::Reverse, fmt, ops::Range};
use std::borrow::Cow;

use thiserror::Error;

/// One thing wrong with a scenario file or a phrase.
///
/// `Display` is the one-line summary; the place is [`Problem::span`] in the text that was given.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("{}", self.summary())]
pub struct Problem {
    kind: ProblemKind,
    span: Range<usize>,
    found: Box<str>,
    expected: Box<[Expected]>,
    nearest: Option<&'static str>,
    hint: Option<Cow<'static, str>>,
}

/// Which rule a text breaks. The `&'static str`s name what the text was read as (`part`, `ambient temperature`).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ProblemKind {
    /// A word that is none of the known ones.
    UnknownWord(&'static str),
    /// A known word for something that does not fit here.
    Misfit(&'static str),
    /// The phrase ends before this.
    Missing(&'static str),
    /// The phrase was complete; more follows.
    Surplus,
    /// A number was expected, something else stands there.
    NotANumber(&'static str),
    /// The word after a number is no unit of this.
    UnknownUnit(&'static str),
    /// A value beyond its limits.
    OutOfRange(&'static str),
    /// Not a trouble code.
    NotACode,
    /// More of these than a text may have; remedy: fewer, see [`crate::limits`].
    TooMany(&'static str),
    /// Longer or larger than this may be, see [`crate::limits`].
    TooLong(&'static str),
    /// A good phrase that has no business at this place.
    Misplaced(&'static str),
    /// Not UTF-8.
    NotText,
    /// Not TOML; the parser's own words are in [`Problem::advice`].
    NotToml,
    /// A key that this table does not have.
    UnknownKey,
    /// A key that has to be there.
    MissingKey(&'static str),
    /// A key whose value has another type than this.
    WrongType(&'static str),
    /// A version of the format that this program does not read.
    Version,
    /// A text that has to say something is empty.
    Empty(&'static str),
    /// There are more problems than are listed.
    More,
}

/// One thing that would have been right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Expected {
    /// This word.
    Word(&'static str),
    /// Something of this description.
    Description(Cow<'static, str>),
}

impl fmt::Display for Expected {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Word(word) => write!(f, "`{word}`"),
            Self::Description(text) => f.write_str(text),
        }
    }
}

impl Expected {
    /// A description.
    pub(crate) fn text(text: impl Into<Cow<'static, str>>) -> Self {
        Self::Description(text.into())
    }
}

impl Problem {
    /// A problem with the text at `span`, which reads `found`.
    pub(crate) fn new(kind: ProblemKind, span: Range<usize>, found: &str) -> Self {
        Self {
            kind,
            span,
            found: printable(found).into(),
            expected: Box::default(),
            nearest: None,
            hint: None,
        }
    }

    /// With what would have been right; the nearest of the words, if one is near, is kept beside.
    pub(crate) fn expecting(mut self, expected: impl IntoIterator<Item = Expected>) -> Self {
        // Alternatives that begin alike may each ask for the same word here.
        let mut once: Vec<Expected> = Vec::new();
        for expected in expected {
            if !once.contains(&expected) {
                once.push(expected);
            }
        }
        self.expected = once.into();
        self.nearest = nearest(
            &self.found,
            self.expected.iter().filter_map(|expected| match expected {
                Expected::Word(word) => Some(*word),
                Expected::Description(_) => None,
            }),
        );
        self
    }

    /// With the next thing to try.
    pub(crate) fn hint(mut self, hint: impl Into<Cow<'static, str>>) -> Self {
        self.hint = Some(match hint.into() {
            Cow::Borrowed(own) => Cow::Borrowed(own),
            Cow::Owned(made) => Cow::Owned(escaped(&made)),
        });
        self
    }

    /// The same problem at another place.
    pub(crate) fn moved_to(mut self, span: Range<usize>) -> Self {
        self.span = span;
        self
    }

    /// Which rule is broken.
    #[must_use]
    pub const fn kind(&self) -> ProblemKind {
        self.kind
    }

    /// The bytes of the text it is about; empty where something is missing.
    #[must_use]
    pub fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// What stands there, shortened and with control characters escaped: fit to be printed.
    #[must_use]
    pub fn found(&self) -> &str {
        &self.found
    }

    /// What would have been right; empty if that cannot be listed.
    #[must_use]
    pub fn expected(&self) -> &[Expected] {
        &self.expected
    }

    /// The known word nearest to what was found, if one is near.
    #[must_use]
    pub const fn nearest(&self) -> Option<&'static str> {
        self.nearest
    }

    /// What to do about it, where that is not plain; fit to be printed.
    #[must_use]
    pub fn advice(&self) -> Option<&str> {
        self.hint.as_deref()
    }

    fn summary(&self) -> String {
        let found = &self.found;
        match self.kind {
            ProblemKind::UnknownWord(what) => format!("unknown {what} `{found}`"),
            ProblemKind::Misfit(why) => format!("`{found}` {why}"),
            ProblemKind::Missing(what) => format!("{what} is missing"),
            ProblemKind::Surplus => format!("the phrase is complete before `{found}`"),
            ProblemKind::NotANumber(what) => format!("{what} begins with a number, not with `{found}`"),
            ProblemKind::UnknownUnit(what) => format!("`{found}` is no unit of {what}"),
            ProblemKind::OutOfRange(what) => format!("{what} `{found}` is out of range"),
            ProblemKind::NotACode => format!("`{found}` is not a trouble code"),
            ProblemKind::TooMany(what) => format!("too many {what}"),
            ProblemKind::TooLong(what) => format!("{what} is too long"),
            ProblemKind::Misplaced(place) => format!("`{found}` does not belong in {place}"),
            ProblemKind::NotText => "the file is not UTF-8 text".into(),
            ProblemKind::NotToml => "the file is not TOML".into(),
            ProblemKind::UnknownKey => format!("unknown key `{found}`"),
            ProblemKind::MissingKey(key) => format!("the key `{key}` is missing"),
            ProblemKind::WrongType(wanted) => format!("{wanted} is expected, not {found}"),
            ProblemKind::Version => format!("format version `{found}` cannot be read"),
            ProblemKind::Empty(what) => format!("{what} is empty"),
            ProblemKind::More => "more problems follow that are not listed".into(),
        }
    }
}

/// The words nearest to `found`, if it is near enough to be a slip: one letter wrong, missing, surplus or swapped
/// with its neighbour for each three letters written.
pub(crate) fn nearest<'w>(found: &str, words: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
    const LONGEST: usize = 40;
    if found.is_empty() || found.len() > LONGEST {
        return None;
    }
    let found = found.to_lowercase();
    let allowed = found.chars().count().div_ceil(3);
    words
        .into_iter()
        .map(|word| (strsim::osa_distance(&found, &word.to_lowercase()), word))
        .filter(|(distance, word)| *distance <= allowed && *distance < word.chars().count())
        .min_by_key(|(distance, word)| (*distance, Reverse(common_beginning(&found, word))))
        .map(|(_, word)| word)
}

/// With how many same letters two words begin: people slip less there.
fn common_beginning(one: &str, other: &str) -> usize {
    one.chars()
        .zip(other.chars())
        .take_while(|(one, other)| one == other)
        .count()
}

/// Text from outside, made fit for a terminal: control and invisible characters escaped, at most 40 characters.
pub(crate) fn printable(text: &str) -> String {
    const LONGEST: usize = 40;
    match text.char_indices().nth(LONGEST) {
        Some((end, _)) => escaped(&text[..end]) + "...",
        None => escaped(text),
    }
}

/// Text with its control and invisible characters escaped.
fn escaped(text: &str) -> String {
    let mut shown = String::new();
    for character in text.chars() {
        // `escape_debug` knows which characters do not print; quotes and backslashes do.
        if matches!(character, '"' | '\'' | '\\') {
            shown.push(character);
        } else {
            shown.extend(character.escape_debug());
        }
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_has_a_nearest_word_and_another_word_has_none() {
        let words = ["udds", "hwfet", "fuel-cap", "filler-neck"];
        assert_eq!(nearest("ufds", words), Some("udds"));
        assert_eq!(nearest("fule-cap", words), Some("fuel-cap"));
        assert_eq!(nearest("FUEL-CAP", words), Some("fuel-cap"));
        assert_eq!(nearest("of", ["on", "off"]), Some("off"));
        assert_eq!(nearest("gearbox", words), None);
        assert_eq!(nearest("", words), None);
        assert_eq!(nearest(&"u".repeat(100_000), words), None);
    }

    #[test]
    fn what_was_found_is_fit_for_a_terminal() {
        assert_eq!(printable("a\u{1b}[31m\0\u{202e}b"), r"a\u{1b}[31m\0\u{202e}b");
        assert_eq!(printable(&"x".repeat(99)), format!("{}...", "x".repeat(40)));
    }
}
