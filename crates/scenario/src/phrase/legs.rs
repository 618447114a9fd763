//! A drive plan of one's own: legs between commas.

use nom::{Parser as _, character::complete::char, combinator::cut, sequence::preceded};

use super::{
    Leg,
    fault::{Fault, Parsed},
    measure::{ENGINE_SPEED, LEG, SPEED, blank},
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
    &Map(
        After(first("rev"), (ENGINE_SPEED, After(keyword("for"), LEG))),
        |(speed, time)| Leg::Rev(speed, time),
    ),
    &Map(
        After(
            first("full"),
            After(keyword("throttle"), After(keyword("to"), SPEED)),
        ),
        Leg::FullThrottle,
    ),
    &Map(After(first("coast"), After(keyword("to"), SPEED)), Leg::Coast),
    &Map(first("stop"), |()| Leg::Stop),
    &Map((SPEED, After(keyword("for"), LEG)), |(speed, time)| {
        Leg::Cruise(speed, time)
    }),
]);

/// The key goes off where the drive ends, with the car rolling.
const KEY_OFF: After<Word, Word> = After(first("key"), keyword("off"));

/// A leg after the first.
const LATER_LEG: AnyOf<Leg> = AnyOf(&[&LEG_RULE, &Map(KEY_OFF, |()| Leg::KeyOff)]);

/// One leg or more; nothing is driven after the key went off.
pub(super) struct Legs;

impl Rule for Legs {
    type Out = Vec<Leg>;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Vec<Leg>> {
        let (mut rest, first) = LEG_RULE.read(input)?;
        let mut legs = vec![first];
        while legs.last() != Some(&Leg::KeyOff)
            && let Ok((after, _)) = comma(rest)
        {
            let (after, leg) = cut(|input: &'a str| LATER_LEG.read(input)).parse(after)?;
            legs.push(leg);
            rest = after;
        }
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
        LATER_LEG.explain(&mut inner);
        help.note("LEG", || inner.pattern.clone());
        for slot in inner.slots {
            help.note(slot.name, || slot.meaning);
        }
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let mut legs: Vec<String> = (0..1 + dice.below(5)).map(|_| LEG_RULE.sample(dice)).collect();
        if dice.below(4) == 0 {
            legs.push(KEY_OFF.sample(dice));
        }
        legs.join(", ")
    }
}

/// What stands between two legs.
fn comma(input: &str) -> Parsed<'_, char> {
    preceded(blank, char(',')).parse(input)
}
