//! How physical defects are said, after the catalogue of `vehicle`: the part, the word for what is wrong with it,
//! and its size where the word has none of its own.

use twotrip_vehicle::defect::{CATALOGUE, Defect, Entry, Extent, Part, Size};

use super::{
    amount::amount,
    fault::{Fault, Parsed},
    measure::{HOLE, Measure},
    rule::{Explanation, Rule, pick},
};
use crate::problem::ProblemKind;

/// `fuel-cap loose`, `filler-neck hole 1 mm`.
pub(super) struct Physical;

/// The catalogue's entries by part, then by the word behind the part.
fn parts() -> impl Iterator<Item = (&'static str, Part)> + Clone {
    Part::ALL
        .into_iter()
        .filter(|part| CATALOGUE.iter().any(|entry| entry.part == *part))
        .map(|part| (part.name(), part))
}

fn entries(part: Part) -> impl Iterator<Item = (&'static str, &'static Entry)> + Clone {
    CATALOGUE
        .iter()
        .filter(move |entry| entry.part == part)
        .map(|entry| (entry.kind, entry))
}

/// How the size behind an entry's words is read.
enum SizeRule {
    None,
    Diameter(Measure<twotrip_units::Length>),
    Bias(Measure<f64>),
}

fn size(entry: &Entry) -> SizeRule {
    match entry.size {
        Size::None | Size::Fixed(_) => SizeRule::None,
        Size::Diameter { least, greatest } => SizeRule::Diameter(Measure {
            range: [least, greatest],
            ..HOLE
        }),
        Size::Bias { unit, range } => SizeRule::Bias(bias(unit, range)),
    }
}

/// How far a sensor is off.
pub(super) fn bias(unit: &'static str, range: [f64; 2]) -> Measure<f64> {
    Measure {
        slot: "BIAS",
        ..amount("bias", unit, range)
    }
}

impl Rule for Physical {
    type Out = Defect;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Defect> {
        let (rest, part) = pick("defect", parts(), input)?;
        let (rest, entry) = pick("kind of defect", entries(part), rest)?;
        let (rest, extent) = match size(entry) {
            SizeRule::None => (rest, Extent::None),
            SizeRule::Diameter(measure) => measure
                .read(rest)
                .map(|(rest, diameter)| (rest, Extent::Diameter(diameter)))?,
            SizeRule::Bias(measure) => measure
                .read(rest)
                .map(|(rest, bias)| (rest, Extent::Bias(bias)))?,
        };
        let defect = entry.defect(extent).map(|defect| (rest, defect));
        defect.ok_or_else(|| Fault::new(input.trim(), ProblemKind::OutOfRange("defect"), "defect", []))
    }

    fn explain(&self, help: &mut Explanation) {
        help.slot("DEFECT", || {
            let entry = |entry: &Entry| {
                let words = format!("{} {}", entry.part.name(), entry.kind);
                let mut inner = Explanation::default();
                let slot = match size(entry) {
                    SizeRule::None => return words,
                    SizeRule::Diameter(measure) => {
                        measure.explain(&mut inner);
                        measure.slot
                    }
                    SizeRule::Bias(measure) => {
                        measure.explain(&mut inner);
                        measure.slot
                    }
                };
                let range = inner.slots.pop().map(|slot| slot.meaning).unwrap_or_default();
                format!("{words} {slot} ({range})")
            };
            CATALOGUE.iter().map(entry).collect::<Vec<_>>().join("; ")
        });
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let entry = &CATALOGUE[dice.below(CATALOGUE.len())];
        let size = match size(entry) {
            SizeRule::None => String::new(),
            SizeRule::Diameter(measure) => format!(" {}", measure.sample(dice)),
            SizeRule::Bias(measure) => format!(" {}", measure.sample(dice)),
        };
        format!("{} {}{size}", entry.part.name(), entry.kind)
    }
}
