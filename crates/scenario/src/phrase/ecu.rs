//! Which ECU of a car a phrase is about: by what it controls, or by the identifier that it answers by.

use core::fmt::{self, Display, Formatter};

use super::{
    fault::{Fault, Parsed},
    measure::word,
    rule::{Explanation, Rule},
};
use crate::{
    disturbance::Identifier,
    problem::{Expected, ProblemKind},
};

/// An ECU of a car.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum EcuRef {
    /// That of the engine.
    #[default]
    Engine,
    /// That of the transmission.
    Transmission,
    /// The one that answers by this identifier.
    Answering(Identifier),
}

/// Those that have a word, with it.
const WORDS: [(&str, EcuRef); 2] = [("engine", EcuRef::Engine), ("transmission", EcuRef::Transmission)];

impl Display for EcuRef {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        match self {
            Self::Engine => f.write_str("engine"),
            Self::Transmission => f.write_str("transmission"),
            Self::Answering(id) => id.fmt(f),
        }
    }
}

/// `transmission`, `7E9`.
pub(super) struct Ecu;

impl Rule for Ecu {
    type Out = EcuRef;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, EcuRef> {
        let (rest, found) = word(input)?;
        let known = WORDS
            .into_iter()
            .find(|(name, _)| name.eq_ignore_ascii_case(found));
        let known = known.map(|(_, ecu)| ecu);
        if let Some(ecu) = known.or_else(|| Identifier::parse(found).map(EcuRef::Answering)) {
            return Ok((rest, ecu));
        }
        let words = WORDS.map(|(name, _)| Expected::Word(name));
        let identifier = Expected::text("an identifier such as 7E9".to_owned());
        Err(Fault::new(
            found,
            ProblemKind::UnknownWord("ECU"),
            "ECU",
            words.into_iter().chain([identifier]),
        ))
    }

    fn explain(&self, help: &mut Explanation) {
        help.slot("ECU", || {
            "engine, transmission, or the identifier that it answers by: 7E9, 18DAF118".to_owned()
        });
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        ["engine", "transmission", "7e9", "18DAF118"][dice.below(4)].to_owned()
    }
}
