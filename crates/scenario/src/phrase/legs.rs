//! A drive plan of one's own: legs between commas.

use nom::{Parser as _, character::complete::char, combinator::cut, multi::many0, sequence::preceded};

use super::{
    Leg,
    fault::{Fault, Parsed},
    measure::{LEG, SPEED, blank},
    rule::{After, AnyOf, Explanation, Map, Rule, Word, keyword},
};
use crate::{
    limits,
    problem::{Expected, ProblemKind},
};

/// The first word of a leg.
const fn first(text: &'static str) -> Word {
    Word { text, what: "leg" }
}

const LEG_RULE: AnyOf<Leg> = AnyOf(&[
    &Map(After(first("idle"), LEG), Leg::Idle),
    &Map(first("stop"), |()| Leg::Stop),
    &Map((SPEED, After(keyword("for"), LEG)), |(speed, time)| {
        Leg::Cruise(speed, time)
    }),
]);

/// One leg or more.
pub(super) struct Legs;

impl Rule for Legs {
    type Out = Vec<Leg>;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Vec<Leg>> {
        let leg = |input: &'a str| LEG_RULE.read(input);
        let (rest, first) = leg(input)?;
        let comma = preceded(blank, char(','));
        let (rest, more) = many0(preceded(comma, cut(leg))).parse(rest)?;
        let legs: Vec<Leg> = core::iter::once(first).chain(more).collect();
        if legs.len() > limits::LEGS {
            let most = Expected::text(format!("at most {} legs", limits::LEGS));
            return Err(Fault::new(
                input.trim(),
                ProblemKind::TooMany("legs"),
                "leg",
                [most],
            ));
        }
        Ok((rest, legs))
    }

    fn explain(&self, help: &mut Explanation) {
        help.words("LEG, LEG ..");
        let mut inner = Explanation::default();
        LEG_RULE.explain(&mut inner);
        help.note("LEG", || inner.pattern.clone());
        for slot in inner.slots {
            help.note(slot.name, || slot.meaning);
        }
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let legs: Vec<String> = (0..1 + dice.below(5)).map(|_| LEG_RULE.sample(dice)).collect();
        legs.join(", ")
    }
}
