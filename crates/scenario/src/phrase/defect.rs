//! How physical defects are said, after the catalogue of `vehicle`: the part, the word for what is wrong with it, its
//! size where the word has none of its own, and how it behaves in time.

use twotrip_units::Temperature;
use twotrip_vehicle::{
    Course, When,
    defect::{Defect, Entry, Part, Size, catalogue},
};

use super::{
    amount::amount,
    fault::{Fault, Parsed},
    measure::{Measure, precise, word},
    rule::{After, AnyOf, Explanation, Map, Rule, keyword, pick},
};
use crate::problem::ProblemKind;

/// `fuel-cap loose`, `filler-neck hole 1 mm growing 0.2 mm every 100 km`, `air-meter dead on bumps`.
pub(super) struct Physical;

/// The parts of the catalogue.
fn parts() -> impl Iterator<Item = (&'static str, Part)> + Clone {
    Part::ALL
        .iter()
        .copied()
        .filter(|part| catalogue().any(|entry| entry.part == *part))
        .map(|part| (part.name(), part))
}

fn entries(part: Part) -> impl Iterator<Item = (&'static str, &'static Entry)> + Clone {
    catalogue()
        .filter(move |entry| entry.part == part)
        .map(|entry| (entry.kind, entry))
}

/// How the amount behind an entry's words is read.
fn size(entry: &Entry) -> Option<Measure<f64>> {
    match entry.size {
        Size::None | Size::Fixed { .. } => None,
        Size::Amount { unit, range } => Some(amount("size", unit, range)),
    }
}

const HOTNESS: Measure<f64> = Measure {
    what: "coolant temperature",
    slot: "TEMPERATURE",
    of: "coolant temperature",
    units: &[
        ("C", |value| value),
        ("F", |value| Temperature::from_fahrenheit(value).celsius()),
    ],
    range: Course::TEMPERATURES,
    show: precise,
    unit: "C",
};
const LOAD: Measure<f64> = Measure {
    what: "load",
    slot: "LOAD",
    of: "load",
    units: &[("%", |value| value)],
    range: Course::LOADS,
    show: precise,
    unit: "%",
};

/// When a defect is there.
pub(super) const WHEN: AnyOf<When> = AnyOf(&[
    &Map(
        After(
            keyword("when"),
            After(keyword("hotter"), After(keyword("than"), HOTNESS)),
        ),
        When::HotterThan,
    ),
    &Map(
        After(
            keyword("when"),
            After(keyword("colder"), After(keyword("than"), HOTNESS)),
        ),
        When::ColderThan,
    ),
    &Map(
        After(
            keyword("when"),
            After(keyword("load"), After(keyword("over"), LOAD)),
        ),
        When::LoadOver,
    ),
    &Map(After(keyword("on"), keyword("bumps")), |()| When::OnBumps),
    &Map(After(keyword("when"), keyword("wet")), |()| When::Wet),
]);

/// How much a defect grows.
fn growth(entry: &Entry) -> Option<Measure<f64>> {
    match entry.size {
        Size::Amount { unit, range } => {
            let most = range[0].abs().max(range[1].abs());
            Some(amount("growth", unit, [0.0, most]))
        }
        Size::None | Size::Fixed { .. } => None,
    }
}

/// The course behind a defect; steady if nothing is said.
fn course<'a>(entry: &Entry, input: &'a str) -> Parsed<'a, Course> {
    let (after, found) = word(input)?;
    if WHEN.begins(found) {
        return WHEN.read(input).map(|(rest, when)| (rest, Course::When(when)));
    }
    match growth(entry).filter(|_| found.eq_ignore_ascii_case("growing")) {
        Some(measure) => {
            let (rest, rate) = measure.read(after)?;
            let every = After(keyword("every"), After(keyword("100"), keyword("km")));
            let (rest, ()) = every.read(rest)?;
            Ok((rest, Course::Growing(rate)))
        }
        None => Ok((input, Course::Steady)),
    }
}

impl Rule for Physical {
    type Out = Defect;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Defect> {
        let (rest, part) = pick("defect", parts(), input)?;
        let (rest, entry) = pick("kind of defect", entries(part), rest)?;
        let (rest, amount) = match size(entry) {
            None => (rest, None),
            Some(measure) => measure.read(rest).map(|(rest, amount)| (rest, Some(amount)))?,
        };
        let Some(defect) = entry.defect(amount) else {
            return Err(Fault::new(
                input.trim(),
                ProblemKind::OutOfRange("defect"),
                "defect",
                [],
            ));
        };
        let (rest, course) = course(entry, rest)?;
        Ok((rest, defect.with_course(course)))
    }

    fn explain(&self, help: &mut Explanation) {
        help.slot("DEFECT", || {
            let entry = |entry: &Entry| {
                let words = format!("{} {}", entry.part.name(), entry.kind);
                match entry.size {
                    Size::None | Size::Fixed { .. } => words,
                    Size::Amount { unit, range } => {
                        format!("{words} SIZE ({} to {} {unit})", range[0], range[1])
                    }
                }
            };
            catalogue().map(entry).collect::<Vec<_>>().join("; ")
        });
        help.words("[");
        help.slot("COURSE", || {
            "how it behaves in time: growing SIZE every 100 km; when hotter than TEMPERATURE; when colder than \
             TEMPERATURE (of the coolant); when load over LOAD (in %); on bumps; when wet (after rain or a wash). Without it the defect stays as it is"
                .to_owned()
        });
        help.words("]");
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let entries: Vec<&Entry> = catalogue().collect();
        let entry = entries[dice.below(entries.len())];
        let size = size(entry).map_or(String::new(), |measure| format!(" {}", measure.sample(dice)));
        let course = match dice.below(4) {
            0 => format!(" {}", WHEN.sample(dice)),
            1 => growth(entry).map_or(String::new(), |measure| {
                format!(" growing {} every 100 km", measure.sample(dice))
            }),
            _ => String::new(),
        };
        format!("{} {}{size}{course}", entry.part.name(), entry.kind)
    }
}
