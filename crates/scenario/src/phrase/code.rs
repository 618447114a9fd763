//! Trouble codes in phrases: one, or a list.

use twotrip_obd::Dtc;

use super::{
    fault::{Fault, Parsed},
    measure::word,
    rule::{Explanation, Rule},
};
use crate::{
    limits,
    problem::{Expected, ProblemKind},
};

/// A trouble code.
pub(super) struct Code;

impl Code {
    const SLOT: &'static str = "CODE";

    fn note(help: &mut Explanation) {
        help.note(Self::SLOT, || {
            "a letter P, C, B or U and four digits, such as P0455".into()
        });
    }
}

impl Rule for Code {
    type Out = Dtc;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Dtc> {
        let (rest, found) = word(input)?;
        found.parse().map(|code| (rest, code)).map_err(|error| {
            let wanted = Expected::text("a code such as P0455");
            Fault::because(
                Fault::new(found, ProblemKind::NotACode, "trouble code", [wanted]),
                error,
            )
        })
    }

    fn explain(&self, help: &mut Explanation) {
        help.words(Self::SLOT);
        Self::note(help);
    }

    /// No known word begins a code, but each code does.
    fn begins(&self, found: &str) -> bool {
        // What looks like a code and is none is to be called so.
        let mut letters = found.chars();
        letters
            .next()
            .is_some_and(|first| matches!(first.to_ascii_uppercase(), 'P' | 'C' | 'B' | 'U'))
            && letters.next().is_some_and(|second| second.is_ascii_digit())
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let letter = ["P", "C", "B", "U"][dice.below(4)];
        format!("{letter}{:04X}", dice.below(0x4000))
    }
}

/// One code or more, commas allowed between; up to the word that says whose they are.
pub(super) struct Codes;

/// The word that ends a list of codes.
pub(super) const END: &str = "in";

impl Rule for Codes {
    type Out = Vec<Dtc>;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Vec<Dtc>> {
        let (mut rest, first) = Code.read(input)?;
        let mut codes = vec![first];
        while !rest.trim_start().is_empty() && !word(rest)?.1.eq_ignore_ascii_case(END) {
            let comma = rest.trim_start().strip_prefix(',').unwrap_or(rest);
            let (after, next) = Code.read(comma)?;
            if codes.len() == limits::PRELOAD_CODES {
                let most = Expected::text(format!("at most {} codes a phrase", limits::PRELOAD_CODES));
                return Err(Fault::new(
                    rest.trim_start(),
                    ProblemKind::TooMany("codes"),
                    "",
                    [most],
                ));
            }
            codes.push(next);
            rest = after;
        }
        Ok((rest, codes))
    }

    fn explain(&self, help: &mut Explanation) {
        help.words("CODE ..");
        Code::note(help);
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let codes: Vec<String> = (0..1 + dice.below(limits::PRELOAD_CODES))
            .map(|_| Code.sample(dice))
            .collect();
        codes.join([" ", ", "][dice.below(2)])
    }
}
