//! What changes places: two like parts, two wires whose pins fit each other. What does not fit is refused where it is
//! written, with what would.

use twotrip_harness::{Wire, WiringFault, WiringFaultKind};
use twotrip_vehicle::Part;

use super::{
    Phrase,
    fault::{Fault, Parsed},
    measure::word,
    rule::{After, Explanation, Named, Rule, Word, keyword, pick},
    wiring::PRESENCE,
};
use crate::problem::{Expected, ProblemKind};

/// `swap coil-1 coil-2`.
pub(super) struct SwappedParts;

/// Parts that another one is like.
fn swappable() -> impl Iterator<Item = Part> + Clone {
    Part::ALL
        .iter()
        .copied()
        .filter(|part| partners(*part).next().is_some())
}

/// The parts that fit in the place of this one.
fn partners(part: Part) -> impl Iterator<Item = Part> + Clone {
    Part::ALL
        .iter()
        .copied()
        .filter(move |&other| other != part && part.is_like(other))
}

/// The next word is known, but does not fit: why, and what does.
fn misfit<'a>(
    input: &'a str,
    what: &'static str,
    why: &'static str,
    fitting: impl Iterator<Item = &'static str>,
) -> nom::Err<Fault<'a>> {
    match word(input) {
        Ok((_, found)) => Fault::new(found, ProblemKind::Misfit(why), what, fitting.map(Expected::Word)),
        Err(error) => error,
    }
}

fn part(input: &str) -> Parsed<'_, Part> {
    pick("part", Part::ALL.iter().map(|part| (part.name(), *part)), input)
}

impl Rule for SwappedParts {
    type Out = Phrase;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Phrase> {
        let (rest, ()) = keyword("swap").read(input)?;
        let (after, one) = part(rest)?;
        if partners(one).next().is_none() {
            let why = "has no like part to change places with";
            return Err(misfit(rest, "part", why, swappable().map(Part::name)));
        }
        let (rest, other) = part(after)?;
        if one == other || !one.is_like(other) {
            let why = "does not fit into the place of the other part";
            return Err(misfit(after, "part", why, partners(one).map(Part::name)));
        }
        Ok((rest, Phrase::Swap(one, other)))
    }

    fn explain(&self, help: &mut Explanation) {
        help.words("swap");
        help.slot("PART", || {
            let names: Vec<&str> = swappable().map(Part::name).collect();
            format!("two that differ in their number only, of {}", names.join(", "))
        });
        help.words("PART");
    }

    fn first_words(&self, each: &mut dyn FnMut(&'static str)) {
        keyword("swap").first_words(each);
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let ones: Vec<Part> = swappable().collect();
        let one = ones[dice.below(ones.len())];
        let others: Vec<Part> = partners(one).collect();
        format!("swap {} {}", one.name(), others[dice.below(others.len())].name())
    }
}

/// `defect wiring WIRE swapped-with WIRE [WHEN]`.
pub(super) struct SwappedWires;

const WIRE: After<Word, After<Word, Named<Wire>>> = After(
    keyword("defect"),
    After(
        keyword("wiring"),
        Named {
            slot: "WIRE",
            what: "wire",
            all: &Wire::SINGLE,
            name: Wire::name,
        },
    ),
);
const SWAPPED: Word = Word {
    text: WiringFaultKind::Swapped.name(),
    what: "wiring fault",
};

fn fitting(wire: Wire) -> impl Iterator<Item = Wire> + Clone {
    Wire::SINGLE
        .into_iter()
        .filter(move |&other| wire.swaps_with(other))
}

impl Rule for SwappedWires {
    type Out = Phrase;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Phrase> {
        let (rest, wire) = WIRE.read(input)?;
        let (rest, ()) = SWAPPED.read(rest)?;
        let (after, other) = pick(
            "wire",
            Wire::SINGLE.into_iter().map(|wire| (wire.name(), wire)),
            rest,
        )?;
        if !wire.swaps_with(other) {
            let why = "does not fit into the pin of the other wire";
            return Err(misfit(rest, "wire", why, fitting(wire).map(Wire::name)));
        }
        let (rest, when) = PRESENCE.read(after)?;
        Ok((
            rest,
            Phrase::BreakWire(wire, WiringFault::SwappedWith(other), when),
        ))
    }

    fn explain(&self, help: &mut Explanation) {
        WIRE.explain(help);
        SWAPPED.explain(help);
        help.slot("OTHER", || {
            "of a sensor any other sensor's; of what the ECU drives another coil, another heater, another of \
             purge-valve, vent-valve and cam-valve"
                .to_owned()
        });
        PRESENCE.explain(help);
    }

    fn first_words(&self, each: &mut dyn FnMut(&'static str)) {
        WIRE.first_words(each);
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let wires: Vec<Wire> = Wire::SINGLE
            .into_iter()
            .filter(|wire| fitting(*wire).next().is_some())
            .collect();
        let wire = wires[dice.below(wires.len())];
        let others: Vec<Wire> = fitting(wire).collect();
        let other = others[dice.below(others.len())].name();
        let when = PRESENCE.sample(dice);
        format!("defect wiring {} {} {other} {when}", wire.name(), SWAPPED.text)
            .trim_end()
            .to_owned()
    }
}
