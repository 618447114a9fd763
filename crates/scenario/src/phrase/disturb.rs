//! How disturbances are said, after the table of them: the name, whose frames, how much, how often.

use twotrip_units::Ratio;

use super::{
    amount::amount,
    fault::{Fault, Parsed},
    measure::{Measure, number, word},
    rule::{Explanation, Named, Rule, pick},
};
use crate::{
    disturbance::{Disturbance, Identifier, Kind, Occurrence, Often, Picks, Size},
    limits,
    problem::{Expected, ProblemKind},
};

/// `drop 7E8 20 %`, `delay 30 ms 3 times`.
pub(super) struct Disturb;

/// A word that stands for a single time.
const ONCE: &str = "once";
const TIMES: Measure<f64> = Measure {
    what: "number of times",
    slot: "COUNT",
    of: "number of times",
    units: &[("times", |value| value)],
    range: limits::DISTURBED_TIMES,
    show: number,
    unit: "times",
};
const CHANCE: Measure<Ratio> = Measure {
    what: "share of the times",
    slot: "SHARE",
    of: "share of the times",
    units: &[("%", Ratio::from_percent)],
    range: limits::DISTURBED_SHARE,
    show: |value| number(value.percent()),
    unit: "%",
};

/// How the size of a row is read.
fn measure_of(size: Size) -> Measure<f64> {
    amount(size.what, size.unit, size.range)
}

/// The canonical text of a size.
pub(crate) fn size_text(size: Size, value: f64) -> String {
    measure_of(size).text(value)
}

/// The canonical text of when it acts; none for each time.
pub(crate) fn occurrence_text(occurrence: Occurrence) -> Option<String> {
    match occurrence {
        Occurrence::Always => None,
        Occurrence::Times(1) => Some(ONCE.to_owned()),
        Occurrence::Times(times) => Some(TIMES.text(f64::from(times))),
        Occurrence::Chance(share) => Some(CHANCE.text(share)),
    }
}

fn names() -> impl Iterator<Item = (&'static str, Kind)> + Clone {
    Kind::ALL.iter().map(|kind| (kind.name(), *kind))
}

/// The unit behind the number that a text begins with; empty if it begins with none.
fn unit_behind(input: &str) -> &str {
    let text = input.trim_start();
    let digits = text.trim_start_matches(|letter: char| letter.is_ascii_digit() || letter == '.');
    if digits.len() == text.len() {
        return "";
    }
    word(digits).map_or("", |(_, unit)| unit)
}

/// Whether a text goes on with how often, not with how much.
fn says_how_often(input: &str, size: Option<Size>) -> bool {
    let unit = unit_behind(input);
    unit.eq_ignore_ascii_case(TIMES.unit) || unit == CHANCE.unit && size.is_none_or(|size| size.unit != unit)
}

fn identifier<'a>(kind: Kind, input: &'a str) -> Parsed<'a, Option<Identifier>> {
    let (rest, found) = word(input)?;
    let size = kind.row().size;
    let is_a_unit = |unit: &str| {
        size.is_some_and(|size| measure_of(size).knows_unit(unit))
            || unit.eq_ignore_ascii_case(TIMES.unit)
            || unit == CHANCE.unit
    };
    let (_, next) = word(rest)?;
    match Identifier::parse(found).filter(|_| !is_a_unit(next)) {
        None => Ok((input, None)),
        Some(id) if kind.row().picks != Picks::Nothing => Ok((rest, Some(id))),
        Some(_) => Err(Fault::with_hint(
            Fault::new(found, ProblemKind::Surplus, "", []),
            "this disturbance is of the whole bus: it takes no identifier",
        )),
    }
}

fn size<'a>(kind: Kind, input: &'a str) -> Parsed<'a, f64> {
    let Some(size) = kind.row().size else {
        return Ok((input, 0.0));
    };
    let (_, found) = word(input)?;
    let is_left_out =
        found.is_empty() || found.eq_ignore_ascii_case(ONCE) || says_how_often(input, Some(size));
    match size.usual {
        Some(usual) if is_left_out => Ok((input, usual)),
        _ => measure_of(size).read(input),
    }
}

fn occurrence<'a>(kind: Kind, input: &'a str) -> Parsed<'a, Occurrence> {
    let (rest, found) = word(input)?;
    if found.is_empty() || kind.row().often == Often::Lasting {
        return Ok((input, kind.usual_occurrence()));
    }
    if found.eq_ignore_ascii_case(ONCE) {
        return Ok((rest, Occurrence::Times(1)));
    }
    if unit_behind(input) == CHANCE.unit {
        return CHANCE
            .read(input)
            .map(|(rest, share)| (rest, Occurrence::Chance(share)));
    }
    if !found.starts_with(|first: char| first.is_ascii_digit()) {
        let words = [
            Expected::Word(ONCE),
            Expected::text("3 times".to_owned()),
            Expected::text("20 %".to_owned()),
        ];
        return Err(Fault::new(found, ProblemKind::UnknownWord("word"), "", words));
    }
    let (rest, times) = TIMES.read(input)?;
    // In range, as `read` has made sure.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "within the limits of `TIMES`"
    )]
    Ok((rest, Occurrence::Times(times.round() as u32)))
}

impl Rule for Disturb {
    type Out = Disturbance;

    fn read<'a>(&self, input: &'a str) -> Parsed<'a, Disturbance> {
        let (rest, kind) = pick("disturbance", names(), input)?;
        let (rest, on) = identifier(kind, rest)?;
        let (rest, size) = size(kind, rest)?;
        let (rest, occurrence) = occurrence(kind, rest)?;
        let disturbance = Disturbance {
            kind,
            on,
            size,
            occurrence,
        };
        Ok((rest, disturbance))
    }

    fn explain(&self, help: &mut Explanation) {
        help.slot("DISTURBANCE", || {
            let one = |kind: &Kind| {
                let row = kind.row();
                row.size.map_or_else(
                    || row.name.to_owned(),
                    |size| {
                        let [least, most] = size.range.map(|end| measure_of(size).text(end));
                        let may = if size.usual.is_some() { "[SIZE]" } else { "SIZE" };
                        format!("{} {may} ({least} to {most})", row.name)
                    },
                )
            };
            let all: Vec<String> = Kind::ALL.iter().map(one).collect();
            format!("{}; see `list disturbances`", all.join(", "))
        });
        help.words("[");
        help.slot("ID", || {
            "only frames with this identifier, those of the tool too, or only the ECU that answers by it: 7E8, 18DAF110"
                .to_owned()
        });
        help.words("]");
        help.words("[");
        help.slot("OFTEN", || {
            format!(
                "how often: once, a number of `times` ({} to {}), or a share of the times in % ({} to {})",
                number(TIMES.range[0]),
                number(TIMES.range[1]),
                CHANCE.text(CHANCE.range[0]),
                CHANCE.text(CHANCE.range[1]),
            )
        });
        help.words("]");
    }

    #[cfg(test)]
    fn sample(&self, dice: &mut super::tests::Dice) -> String {
        let kind = Kind::ALL[dice.below(Kind::ALL.len())];
        let row = kind.row();
        let mut text = row.name.to_owned();
        if row.picks != Picks::Nothing && dice.below(2) == 0 {
            text += [" 7E8", " 7df", " 18DAF110", " 18db33f1"][dice.below(4)];
        }
        if let Some(size) = row.size
            && (size.usual.is_none() || dice.below(2) == 0)
        {
            text += &format!(" {}", measure_of(size).sample(dice));
        }
        if row.often != Often::Lasting {
            text += &match dice.below(4) {
                0 => format!(" {ONCE}"),
                1 => format!(" {} times", 1 + dice.below(50)),
                2 => format!(" {}", CHANCE.sample(dice)),
                _ => String::new(),
            };
        }
        text
    }
}

/// The name of a disturbance, and nothing else of it.
pub(super) const KIND: Named<Kind> = Named {
    slot: "NAME",
    what: "disturbance",
    all: Kind::ALL,
    name: Kind::name,
};
