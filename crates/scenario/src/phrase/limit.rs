//! A value on one side of a limit: `engine-speed below 1000 rpm`.

use super::{
    Side,
    amount::Amount,
    fault::Parsed,
    rule::{Choice, Explanation, Rule},
};

const SIDE: Choice<Side> = Choice {
    what: "side of a limit",
    options: &[
        (Side::Below.name(), Side::Below),
        (Side::Above.name(), Side::Above),
    ],
};

/// One of the values that another crate owns, the side, and the limit in a unit of that value.
pub(super) struct Limit<T: 'static>(pub(super) Amount<T>);

impl<T: Copy + Sync> Rule for Limit<T> {
    type Out = (T, Side, f64);

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Self::Out> {
        let (rest, thing) = self.0.named().read(input)?;
        let (rest, side) = SIDE.read(rest)?;
        let (rest, limit) = self.0.measure(thing).read(rest)?;
        Ok((rest, (thing, side, limit)))
    }

    fn explain(&self, help: &mut Explanation) {
        self.0.explain_name(help);
        SIDE.explain(help);
        self.0.explain_amount(help);
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let thing = self.0.all[dice.below(self.0.all.len())];
        format!(
            "{} {} {}",
            (self.0.name)(thing),
            SIDE.sample(dice),
            self.0.measure(thing).sample(dice)
        )
    }
}
