//! How physical defects are said, after the catalogue of `vehicle`: the part, the word for what is wrong with it,
//! and its size where the word has none of its own.

use twotrip_vehicle::defect::{CATALOGUE, Defect, Entry, Part, Size};

use super::{
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
fn size(entry: &Entry) -> Option<Measure<twotrip_units::Length>> {
    match entry.size {
        Size::Fixed(_) => None,
        Size::Diameter { least, greatest } => Some(Measure {
            range: [least, greatest],
            ..HOLE
        }),
    }
}

impl Rule for Physical {
    type Out = Defect;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Defect> {
        let (rest, part) = pick("defect", parts(), input)?;
        let (rest, entry) = pick("kind of defect", entries(part), rest)?;
        let (rest, diameter) = match size(entry) {
            None => (rest, None),
            Some(measure) => {
                let (rest, diameter) = measure.read(rest)?;
                (rest, Some(diameter))
            }
        };
        let defect = entry.defect(diameter).map(|defect| (rest, defect));
        defect.ok_or_else(|| Fault::new(input.trim(), ProblemKind::OutOfRange("defect"), "defect", []))
    }

    fn explain(&self, help: &mut Explanation) {
        help.slot("DEFECT", || {
            let entry = |entry: &Entry| {
                let words = format!("{} {}", entry.part.name(), entry.kind);
                match size(entry) {
                    None => words,
                    Some(measure) => {
                        let mut inner = Explanation::default();
                        measure.explain(&mut inner);
                        let range = inner.slots.pop().map(|slot| slot.meaning).unwrap_or_default();
                        format!("{words} {} ({range})", measure.slot)
                    }
                }
            };
            CATALOGUE.iter().map(entry).collect::<Vec<_>>().join("; ")
        });
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let entry = &CATALOGUE[dice.below(CATALOGUE.len())];
        let size = size(entry).map_or_else(String::new, |measure| format!(" {}", measure.sample(dice)));
        format!("{} {}{size}", entry.part.name(), entry.kind)
    }
}
