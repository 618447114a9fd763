//! What the grammar is made of: small rules that each know how to be read *and* how to be explained.
//!
//! A phrase's parser, its line in `twotrip list phrases` and the words that an error message offers are all taken from
//! the same value, so none of them can say what the others do not.

use super::{
    fault::{Fault, Parsed},
    measure::{blank, word},
};
use crate::problem::{Expected, ProblemKind};

/// Something that can be read from the beginning of a text.
pub(super) trait Rule: Sync {
    /// What it means.
    type Out;

    /// Reads it.
    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Self::Out>;

    /// Writes down how it is written.
    fn explain(&self, help: &mut Explanation);

    /// The words that it can begin with; none where it does not begin with a known word.
    fn first_words(&self, _each: &mut dyn FnMut(&'static str)) {}

    /// Whether it can begin with this word.
    fn begins(&self, found: &str) -> bool {
        let mut known = false;
        self.first_words(&mut |word| known |= word.eq_ignore_ascii_case(found));
        known
    }

    /// A text that it reads, drawn by dice.
    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String;
}

/// How a rule is written, as it is gathered.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Explanation {
    /// Words to write as they are, choices with `|` between, capitals for what the writer fills in.
    pub(super) pattern: String,
    /// What may stand for the capitals.
    pub(super) slots: Vec<Slot>,
}

/// What may stand for a word in capitals.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Slot {
    /// The word in capitals.
    pub name: &'static str,
    /// What may stand for it.
    pub meaning: String,
}

impl Explanation {
    /// The next words of the pattern.
    pub(super) fn words(&mut self, words: &str) {
        if !self.pattern.is_empty() && !self.pattern.ends_with('[') && !words.starts_with([',', ']']) {
            self.pattern.push(' ');
        }
        self.pattern.push_str(words);
    }

    /// The next word of the pattern is to be filled in.
    pub(super) fn slot(&mut self, name: &'static str, meaning: impl FnOnce() -> String) {
        self.words(name);
        self.note(name, meaning);
    }

    /// What may stand for a word in capitals.
    pub(super) fn note(&mut self, name: &'static str, meaning: impl FnOnce() -> String) {
        if !self.slots.iter().any(|slot| slot.name == name) {
            let meaning = meaning();
            self.slots.push(Slot { name, meaning });
        }
    }
}

/// One word and no other.
pub(super) struct Word {
    pub(super) text: &'static str,
    /// What the word is read as, for messages.
    pub(super) what: &'static str,
}

/// A word that only joins others.
pub(super) const fn keyword(text: &'static str) -> Word {
    Word { text, what: "word" }
}

impl Rule for Word {
    type Out = ();

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, ()> {
        pick(self.what, [(self.text, ())], input)
    }

    fn explain(&self, help: &mut Explanation) {
        help.words(self.text);
    }

    fn first_words(&self, each: &mut dyn FnMut(&'static str)) {
        each(self.text);
    }

    #[cfg(test)]
    fn sample(&self, _: &mut super::tests::Dice) -> String {
        self.text.to_owned()
    }
}

/// One of a few words, each with its meaning.
pub(super) struct Choice<T: 'static> {
    pub(super) what: &'static str,
    pub(super) options: &'static [(&'static str, T)],
}

impl<T: Clone + Sync> Rule for Choice<T> {
    type Out = T;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, T> {
        pick(self.what, self.options.iter().cloned(), input)
    }

    fn explain(&self, help: &mut Explanation) {
        help.words(&joined(self.options.iter().map(|(word, _)| *word), " | "));
    }

    fn first_words(&self, each: &mut dyn FnMut(&'static str)) {
        self.options.iter().for_each(|(word, _)| each(word));
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        self.options[dice.below(self.options.len())].0.to_owned()
    }
}

/// One of the things that another crate owns, by its name.
pub(super) struct Named<T: 'static> {
    /// The word in capitals that stands for it in patterns; empty to list the names there.
    pub(super) slot: &'static str,
    pub(super) what: &'static str,
    pub(super) all: &'static [T],
    pub(super) name: fn(T) -> &'static str,
}

impl<T: Copy + Sync> Named<T> {
    pub(super) fn names(&self) -> impl Iterator<Item = &'static str> + '_ {
        self.all.iter().map(|thing| (self.name)(*thing))
    }
}

impl<T: Copy + Sync> Rule for Named<T> {
    type Out = T;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, T> {
        pick(
            self.what,
            self.all.iter().map(|thing| ((self.name)(*thing), *thing)),
            input,
        )
    }

    fn explain(&self, help: &mut Explanation) {
        if self.slot.is_empty() {
            help.words(&joined(self.names(), " | "));
        } else {
            help.slot(self.slot, || joined(self.names(), ", "));
        }
    }

    fn first_words(&self, each: &mut dyn FnMut(&'static str)) {
        self.names().for_each(each);
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        (self.name)(self.all[dice.below(self.all.len())]).to_owned()
    }
}

/// A word that says nothing by itself, and what follows it.
pub(super) struct After<A, B>(pub(super) A, pub(super) B);

impl<A: Rule<Out = ()>, B: Rule> Rule for After<A, B> {
    type Out = B::Out;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, B::Out> {
        self.1.read(self.0.read(input)?.0)
    }

    fn explain(&self, help: &mut Explanation) {
        self.0.explain(help);
        self.1.explain(help);
    }

    fn first_words(&self, each: &mut dyn FnMut(&'static str)) {
        self.0.first_words(each);
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        format!("{} {}", self.0.sample(dice), self.1.sample(dice))
    }
}

/// One after the other.
impl<A: Rule, B: Rule> Rule for (A, B) {
    type Out = (A::Out, B::Out);

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Self::Out> {
        let (rest, first) = self.0.read(input)?;
        let (rest, second) = self.1.read(rest)?;
        Ok((rest, (first, second)))
    }

    fn explain(&self, help: &mut Explanation) {
        self.0.explain(help);
        self.1.explain(help);
    }

    fn first_words(&self, each: &mut dyn FnMut(&'static str)) {
        self.0.first_words(each);
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        format!("{} {}", self.0.sample(dice), self.1.sample(dice))
    }
}

/// What was read, as something said with it.
pub(super) struct Map<R, F>(pub(super) R, pub(super) F);

impl<R: Rule, T, F: Fn(R::Out) -> T + Sync> Rule for Map<R, F> {
    type Out = T;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, T> {
        self.0.read(input).map(|(rest, value)| (rest, (self.1)(value)))
    }

    fn explain(&self, help: &mut Explanation) {
        self.0.explain(help);
    }

    fn first_words(&self, each: &mut dyn FnMut(&'static str)) {
        self.0.first_words(each);
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        self.0.sample(dice)
    }
}

/// What may be left out; its first word says whether it is there.
pub(super) struct Optional<R>(pub(super) R);

impl<R: Rule> Rule for Optional<R> {
    type Out = Option<R::Out>;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Self::Out> {
        let (_, found) = word(input)?;
        if self.0.begins(found) {
            self.0.read(input).map(|(rest, value)| (rest, Some(value)))
        } else {
            Ok((input, None))
        }
    }

    fn explain(&self, help: &mut Explanation) {
        help.words("[");
        self.0.explain(help);
        help.words("]");
    }

    fn first_words(&self, each: &mut dyn FnMut(&'static str)) {
        self.0.first_words(each);
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        if dice.below(2) == 0 {
            String::new()
        } else {
            self.0.sample(dice)
        }
    }
}

/// One of several; of their complaints, that of the one which came furthest is heard.
pub(super) struct AnyOf<T: 'static>(pub(super) &'static [&'static dyn Rule<Out = T>]);

impl<T> Rule for AnyOf<T> {
    type Out = T;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, T> {
        first_of(self.0.iter().map(|rule| rule.read(input)))
    }

    fn explain(&self, help: &mut Explanation) {
        for (place, rule) in self.0.iter().enumerate() {
            if place > 0 {
                help.words("|");
            }
            rule.explain(help);
        }
    }

    fn first_words(&self, each: &mut dyn FnMut(&'static str)) {
        self.0.iter().for_each(|rule| rule.first_words(each));
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        self.0[dice.below(self.0.len())].sample(dice)
    }
}

/// The first of the ways to read a text that succeeds.
pub(super) fn first_of<'a, T>(ways: impl Iterator<Item = Parsed<'a, T>>) -> Parsed<'a, T> {
    let mut fault: Option<Fault<'a>> = None;
    for way in ways {
        match way {
            Ok(read) => return Ok(read),
            Err(nom::Err::Error(other)) => {
                fault = Some(match fault {
                    Some(before) => nom::error::ParseError::or(before, other),
                    None => other,
                });
            }
            Err(certain) => return Err(certain),
        }
    }
    Err(match fault {
        Some(fault) => nom::Err::Error(fault),
        None => Fault::new("", ProblemKind::Surplus, "phrase", []),
    })
}

/// One of these words.
pub(super) fn pick<'a, T>(
    what: &'static str,
    options: impl IntoIterator<Item = (&'static str, T)> + Clone,
    input: &'a str,
) -> Parsed<'a, T> {
    let (rest, found) = word(input)?;
    let known = options
        .clone()
        .into_iter()
        .find(|(name, _)| name.eq_ignore_ascii_case(found));
    match known {
        Some((_, value)) => Ok((rest, value)),
        None => {
            let words = options.into_iter().map(|(name, _)| Expected::Word(name));
            Err(Fault::new(found, ProblemKind::UnknownWord(what), what, words))
        }
    }
}

/// Nothing but white space is left.
pub(super) fn end(input: &str) -> Parsed<'_, ()> {
    let (rest, _) = blank(input)?;
    if rest.is_empty() {
        Ok((rest, ()))
    } else {
        Err(Fault::new(rest, ProblemKind::Surplus, "", []))
    }
}

fn joined(words: impl Iterator<Item = &'static str>, separator: &str) -> String {
    words.collect::<Vec<_>>().join(separator)
}
