//! The grammar of one phrase, verb by verb.
//!
//! The first word decides what may follow, so a message names what is wrong with *this* phrase. Words are read in
//! either case.

use nom::{
    Parser as _, branch::alt, character::complete::char, combinator::cut, multi::many0, sequence::preceded,
};
use twotrip_harness::Circuit;
use twotrip_obd::{Dtc, Group};
use twotrip_vehicle::schedule::{HWFET, UDDS};

use super::{
    CodeList, Expectation, Leg, Part, Phrase, Plan, Preload, Quantity, Work,
    defect::{physical, wiring},
    fault::{Fault, Parsed},
    measure::{ALTITUDE, AMBIENT, LEG, REFUEL, SOAK, SPEED, WAIT, blank, reported, word},
};
use crate::{
    limits,
    problem::{Expected, ProblemKind},
};

/// What reads the rest of a phrase.
type Rest = for<'a> fn(&'a str) -> Parsed<'a, Phrase>;

/// The verbs that are not work on a part.
const VERBS: &[(&str, Rest)] = &[
    ("key", |rest| {
        pick(
            "key position",
            &[("on", Phrase::KeyOn), ("off", Phrase::KeyOff)],
            rest,
        )
    }),
    ("start", |rest| Ok((rest, Phrase::Start))),
    ("stop", |rest| Ok((rest, Phrase::Stop))),
    ("drive", |rest| said(plan(rest), Phrase::Drive)),
    ("soak", |rest| said(SOAK.parse(rest), Phrase::Soak)),
    ("wait", |rest| said(WAIT.parse(rest), Phrase::Wait)),
    ("ambient", |rest| said(AMBIENT.parse(rest), Phrase::Ambient)),
    ("altitude", |rest| said(ALTITUDE.parse(rest), Phrase::Altitude)),
    ("refuel", |rest| {
        said(REFUEL.parse(keyword("to", rest)?.0), Phrase::Refuel)
    }),
    ("defect", defect),
    ("mend", |rest| {
        said(
            named("circuit", Circuit::ALL, Circuit::name, keyword("wiring", rest)?.0),
            Phrase::MendWire,
        )
    }),
    ("measure", |rest| {
        said(
            named("circuit", Circuit::ALL, Circuit::name, rest),
            Phrase::Measure,
        )
    }),
    ("inspect", |rest| {
        said(named("part", Part::ALL, Part::name, rest), Phrase::Inspect)
    }),
    ("preload", preload),
    ("override", pinned),
    ("release", |rest| {
        said(
            named("reported value", Quantity::ALL, Quantity::name, rest),
            Phrase::Release,
        )
    }),
    ("expect", |rest| said(expectation(rest), Phrase::Expect)),
];

/// Reads one phrase, all of `line`, which holds no remark and no line end.
pub(super) fn phrase<'a>(line: &'a str) -> Result<Phrase, Fault<'a>> {
    let whole = |line: &'a str| {
        let (rest, phrase) = any(line)?;
        let (rest, _) = blank(rest)?;
        if rest.is_empty() {
            Ok(phrase)
        } else {
            Err(Fault::new(rest, ProblemKind::Surplus, "", []))
        }
    };
    whole(line.trim_end()).map_err(Fault::out_of)
}

fn any(line: &str) -> Parsed<'_, Phrase> {
    let (rest, found) = word(line)?;
    if let Some((_, read)) = VERBS.iter().find(|(verb, _)| verb.eq_ignore_ascii_case(found)) {
        return read(rest);
    }
    if let Some(work) = Work::ALL
        .into_iter()
        .find(|work| work.name().eq_ignore_ascii_case(found))
    {
        let (rest, part) = named("part", Part::ALL, Part::name, rest)?;
        return Ok((rest, Phrase::Work(work, part)));
    }
    let verbs = VERBS
        .iter()
        .map(|(verb, _)| *verb)
        .chain(Work::ALL.map(Work::name));
    Err(Fault::new(
        found,
        ProblemKind::UnknownWord("phrase"),
        "phrase",
        verbs.map(Expected::Word),
    ))
}

/// A drive schedule, or legs between commas.
fn plan(input: &str) -> Parsed<'_, Plan> {
    alt((
        |input| {
            pick(
                "drive",
                &[(UDDS.name(), Plan::Udds), (HWFET.name(), Plan::Hwfet)],
                input,
            )
        },
        |input| {
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
            Ok((rest, Plan::Free(legs)))
        },
    ))
    .parse(input)
}

/// `idle 60 s`, `50 km/h for 5 min`, `stop`.
fn leg(input: &str) -> Parsed<'_, Leg> {
    let (rest, found) = word(input)?;
    if found.eq_ignore_ascii_case("idle") {
        return LEG.parse(rest).map(|(rest, time)| (rest, Leg::Idle(time)));
    }
    if found.eq_ignore_ascii_case("stop") {
        return Ok((rest, Leg::Stop));
    }
    if found.starts_with(|first: char| first.is_ascii_digit() || matches!(first, '+' | '-' | '.')) {
        let (rest, speed) = SPEED.parse(input)?;
        let (rest, time) = LEG.parse(keyword("for", rest)?.0)?;
        return Ok((rest, Leg::Cruise(speed, time)));
    }
    let legs = [
        Expected::Word("idle"),
        Expected::Word("stop"),
        Expected::text("a speed, as in `50 km/h for 5 min`"),
    ];
    Err(Fault::new(found, ProblemKind::UnknownWord("leg"), "leg", legs))
}

/// `wiring tank-pressure-sensor open`, or a part and what is wrong with it.
fn defect(input: &str) -> Parsed<'_, Phrase> {
    let (rest, found) = word(input)?;
    if found.eq_ignore_ascii_case("wiring") {
        let (rest, circuit) = named("circuit", Circuit::ALL, Circuit::name, rest)?;
        return said(wiring(rest), |fault| Phrase::BreakWire(circuit, fault));
    }
    said(physical(input), Phrase::Defect)
}

/// `confirmed P0301 P0302`, commas allowed between.
fn preload(input: &str) -> Parsed<'_, Phrase> {
    let lists = [("confirmed", Preload::Confirmed), ("pending", Preload::Pending)];
    let (rest, list) = pick("list of codes", &lists, input)?;
    let (mut rest, first) = code(rest)?;
    let mut codes = vec![first];
    while !rest.trim_start().is_empty() {
        let comma = rest.trim_start().strip_prefix(',').unwrap_or(rest);
        let (after, next) = code(comma)?;
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
    Ok((rest, Phrase::Preload(list, codes)))
}

/// `engine-speed 3000 rpm`.
fn pinned(input: &str) -> Parsed<'_, Phrase> {
    let (rest, quantity) = named("reported value", Quantity::ALL, Quantity::name, input)?;
    said(reported(quantity).parse(rest), |value| {
        Phrase::Override(quantity, value)
    })
}

/// `mil commanded`, `lamp dark`, `confirmed P0455`, `no pending`, `evap complete`.
fn expectation(input: &str) -> Parsed<'_, Expectation> {
    const LISTS: [(&str, CodeList); 3] = [
        ("confirmed", CodeList::Confirmed),
        ("pending", CodeList::Pending),
        ("permanent", CodeList::Permanent),
    ];
    #[derive(Clone, Copy)]
    enum Subject {
        Mil,
        Lamp,
        No,
        List(CodeList),
        Group(Group),
    }
    let subjects: Vec<(&'static str, Subject)> = [
        ("mil", Subject::Mil),
        ("lamp", Subject::Lamp),
        ("no", Subject::No),
    ]
    .into_iter()
    .chain(LISTS.map(|(name, list)| (name, Subject::List(list))))
    .chain(Group::ALL.map(|group| (group.name(), Subject::Group(group))))
    .collect();
    let (rest, subject) = pick("expectation", &subjects, input)?;
    match subject {
        Subject::Mil => said(
            pick("state of the mil", &[("commanded", true), ("off", false)], rest),
            |commanded| Expectation::Mil { commanded },
        ),
        Subject::Lamp => said(
            pick("state of the lamp", &[("lit", true), ("dark", false)], rest),
            |lit| Expectation::Lamp { lit },
        ),
        Subject::No => said(pick("list of codes", &LISTS, rest), Expectation::NoCode),
        Subject::List(list) => {
            let (rest, code) = code(rest)?;
            match rest.trim_start() {
                "" => Ok((rest, Expectation::Code(list, code))),
                more => Err(Fault::with_hint(
                    Fault::new(more, ProblemKind::Surplus, "", []),
                    "one code an expectation: write a line for each",
                )),
            }
        }
        Subject::Group(group) => said(
            pick(
                "state of the monitor",
                &[("complete", true), ("incomplete", false)],
                rest,
            ),
            |complete| Expectation::Readiness { group, complete },
        ),
    }
}

/// A trouble code.
fn code(input: &str) -> Parsed<'_, Dtc> {
    let (rest, found) = word(input)?;
    found.parse().map(|code| (rest, code)).map_err(|error| {
        let wanted = Expected::text("a code such as P0455");
        Fault::because(
            Fault::new(found, ProblemKind::NotACode, "trouble code", [wanted]),
            error,
        )
    })
}

/// This word and no other.
pub(super) fn keyword<'a>(wanted: &'static str, input: &'a str) -> Parsed<'a, ()> {
    pick("word", &[(wanted, ())], input)
}

/// One of the things that a crate owns, by its name.
pub(super) fn named<'a, T: Copy>(
    what: &'static str,
    all: impl IntoIterator<Item = T>,
    name: impl Fn(T) -> &'static str,
    input: &'a str,
) -> Parsed<'a, T> {
    let options: Vec<_> = all.into_iter().map(|thing| (name(thing), thing)).collect();
    pick(what, &options, input)
}

/// One of these words.
pub(super) fn pick<'a, T: Clone>(
    what: &'static str,
    options: &[(&'static str, T)],
    input: &'a str,
) -> Parsed<'a, T> {
    let (rest, found) = word(input)?;
    match options.iter().find(|(name, _)| name.eq_ignore_ascii_case(found)) {
        Some((_, value)) => Ok((rest, value.clone())),
        None => {
            let words = options.iter().map(|(name, _)| Expected::Word(name));
            Err(Fault::new(found, ProblemKind::UnknownWord(what), what, words))
        }
    }
}

/// What was read, as something to say with it.
pub(super) fn said<T, P>(parsed: Parsed<'_, T>, phrase: impl FnOnce(T) -> P) -> Parsed<'_, P> {
    parsed.map(|(rest, value)| (rest, phrase(value)))
}
