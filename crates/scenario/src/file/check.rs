//! Second pass: from keys and values to a [`Scenario`], or to everything that is wrong.

use core::time::Duration;

use twotrip_ecu::memory::Profile;
use twotrip_obd::Dtc;

use super::{
    Cue, RepairOrder, Scenario, VERSION,
    document::{self, Reader, Text},
    format::{SEED_MOST, TABLES},
};
use crate::{
    limits,
    phrase::{Claim, Expectation, Phrase, Spanned, When, parse_event, parse_script, parse_time},
    problem::{Expected, Problem, ProblemKind},
    vehicle::{self, VehicleModel},
};

/// The seed of a file that names none.
const SEED: u64 = 1;

/// Reads and checks a file.
pub(super) fn check(file: &[u8]) -> Result<Scenario, Vec<Problem>> {
    let text = text_of(file).map_err(|problem| vec![problem])?;
    let document = document::parse(text).map_err(in_order)?;
    let mut problems = Vec::new();
    let scenario = check_document(
        &Reader::top(text, &document, TABLES, &mut problems),
        &mut problems,
    );
    match scenario {
        Some(scenario) if problems.is_empty() => Ok(scenario),
        _ => Err(in_order(problems)),
    }
}

/// The file as text.
pub(crate) fn text_of(file: &[u8]) -> Result<&str, Problem> {
    if file.len() > limits::FILE_BYTES {
        let most = Expected::text(format!("at most {} bytes", limits::FILE_BYTES));
        return Err(Problem::new(ProblemKind::TooLong("file"), 0..0, "").expecting([most]));
    }
    core::str::from_utf8(file).map_err(|error| {
        let start = error.valid_up_to();
        let end = start + error.error_len().unwrap_or(file.len() - start);
        Problem::new(ProblemKind::NotText, start..end, "").hint("save the file as UTF-8")
    })
}

/// In the order of the file, at most so many.
pub(crate) fn in_order(mut problems: Vec<Problem>) -> Vec<Problem> {
    problems.sort_by_key(|problem| (problem.span().start, problem.span().end));
    problems.dedup();
    if problems.len() > limits::PROBLEMS {
        let span = problems[limits::PROBLEMS].span();
        problems.truncate(limits::PROBLEMS);
        problems.push(Problem::new(ProblemKind::More, span, ""));
    }
    problems
}

/// The whole file. `None` only where a problem was reported.
fn check_document(file: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<Scenario> {
    // Every line reads on after a problem, so that the next lines report theirs.
    check_version(file, problems);
    let title = file
        .required("title", Reader::text, problems)
        .and_then(|title| check_title(&title, problems));
    let vehicle = file
        .required("vehicle", Reader::text, problems)
        .and_then(|name| check_vehicle(&name, problems));
    let regulation = check_regulation(file, problems);
    let readiness_display = file.flag("readiness-display", problems);
    let broadcasts = file.flag("broadcasts", problems);
    let seed = check_seed(file, problems);
    let repair_order = file
        .table("repair-order", problems)
        .map(|order| check_repair_order(&order, problems));
    let story = file.table("story", problems).map(|story| {
        let before = story.required("before", Reader::text, problems);
        before.map_or_else(Vec::new, |before| check_story(&before, problems))
    });
    let cues = check_cues(file, problems);
    let expectations = file.table("verdict", problems).map(|verdict| {
        let expect = verdict.required("expect", Reader::text, problems);
        expect.map_or_else(Vec::new, |expect| check_expectations(&expect, problems))
    });
    let vehicle = vehicle?;
    Some(Scenario {
        title: title?,
        regulation: regulation?.unwrap_or_else(|| vehicle.regulation()),
        vehicle,
        readiness_display: readiness_display.unwrap_or_default(),
        broadcasts: broadcasts.unwrap_or_default(),
        seed: seed?,
        repair_order: match repair_order {
            Some(order) => Some(order?),
            None => None,
        },
        story: story.unwrap_or_default(),
        cues: cues?,
        expectations: expectations.unwrap_or_default(),
    })
}

/// The version of the format, the same for scenarios and vehicles.
pub(crate) fn check_version(file: &Reader<'_, '_>, problems: &mut Vec<Problem>) {
    let version = file.required("version", Reader::integer, problems);
    if let Some((number, span)) = version
        && number != i128::from(VERSION)
    {
        let wanted = Expected::text(format!("version {VERSION}"));
        let found = file.written(span.clone());
        problems.push(Problem::new(ProblemKind::Version, span, found).expecting([wanted]));
    }
}

pub(crate) fn check_title(title: &Text<'_>, problems: &mut Vec<Problem>) -> Option<String> {
    if let Some((start, found)) = title.value.match_indices(char::is_control).next() {
        let place = title.place(start..start + found.len());
        problems.push(
            Problem::new(ProblemKind::Misplaced("a title"), place, found)
                .hint("a title is one line of plain text"),
        );
        return None;
    }
    check_words("title", title, problems)
}

/// A text for people: says something, and not too much.
pub(crate) fn check_words(
    what: &'static str,
    text: &Text<'_>,
    problems: &mut Vec<Problem>,
) -> Option<String> {
    if text.value.trim().is_empty() {
        problems.push(Problem::new(ProblemKind::Empty(what), text.span.clone(), ""));
        return None;
    }
    if text.value.len() > limits::TEXT_BYTES {
        let most = Expected::text(format!("at most {} bytes", limits::TEXT_BYTES));
        problems.push(Problem::new(ProblemKind::TooLong(what), text.span.clone(), "").expecting([most]));
        return None;
    }
    Some(text.value.to_owned())
}

fn check_vehicle(name: &Text<'_>, problems: &mut Vec<Problem>) -> Option<VehicleModel> {
    let known = vehicle::find(name.value);
    if known.is_none() {
        let place = name.place(0..name.value.len());
        let models = vehicle::SHIPPED.map(|shipped| Expected::Word(shipped.name));
        problems.push(Problem::new(ProblemKind::UnknownWord("vehicle"), place, name.value).expecting(models));
    }
    known
}

/// The regulation that a file names; `None` inside where it names none.
pub(crate) fn check_regulation(
    file: &Reader<'_, '_>,
    problems: &mut Vec<Problem>,
) -> Option<Option<&'static Profile>> {
    if !file.has("regulation") {
        return Some(None);
    }
    let name = file.text("regulation", problems)?;
    let known = Profile::ALL.into_iter().find(|profile| profile.key == name.value);
    if known.is_none() {
        let place = name.place(0..name.value.len());
        let keys = Profile::ALL.map(|profile| Expected::Word(profile.key));
        problems
            .push(Problem::new(ProblemKind::UnknownWord("regulation"), place, name.value).expecting(keys));
    }
    known.map(Some)
}

fn check_seed(file: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<u64> {
    if !file.has("seed") {
        return Some(SEED);
    }
    check_whole(file, "seed", [0, SEED_MOST], problems)
}

/// A whole number within limits.
fn check_whole(
    table: &Reader<'_, '_>,
    key: &'static str,
    [least, most]: [u64; 2],
    problems: &mut Vec<Problem>,
) -> Option<u64> {
    let (number, span) = table.integer(key, problems)?;
    let number = u64::try_from(number)
        .ok()
        .filter(|number| (least..=most).contains(number));
    if number.is_none() {
        let wanted = Expected::text(format!("{least} to {most}"));
        let found = table.written(span.clone());
        problems.push(Problem::new(ProblemKind::OutOfRange(key), span, found).expecting([wanted]));
    }
    number
}

fn check_repair_order(order: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<RepairOrder> {
    let complaint = order
        .required("complaint", Reader::text, problems)
        .and_then(|complaint| check_words("complaint", &complaint, problems));
    let breaks = |phrase: &Phrase| matches!(phrase, Phrase::Defect(_) | Phrase::BreakWire(..));
    let mends = |phrase: &Phrase| matches!(phrase, Phrase::Work(..) | Phrase::MendWire(_));
    let both = order.has("cause") || order.has("correction");
    let mut phrases = |key, place, hint, fits: &dyn Fn(&Phrase) -> bool| {
        if !both {
            return Vec::new();
        }
        let text = order.required(key, Reader::text, problems);
        text.map_or_else(Vec::new, |text| check_phrases(&text, place, hint, fits, problems))
    };
    let cause = phrases("cause", "a cause", "a cause is what broke: `defect ...`", &breaks);
    let correction = phrases(
        "correction",
        "a correction",
        "a correction is work: `tighten ...`, `replace ...`, `mend wiring ...`",
        &mends,
    );
    let mut optional = |key, place, hint, fits: &dyn Fn(&Phrase) -> bool| {
        let text = order
            .has(key)
            .then(|| order.required(key, Reader::text, problems))
            .flatten();
        text.map_or_else(Vec::new, |text| check_phrases(&text, place, hint, fits, problems))
    };
    let traps = optional(
        "traps",
        "traps",
        "a trap is work that mends nothing: `replace ...`",
        &mends,
    );
    let symptom = optional(
        "symptom",
        "a symptom",
        "a symptom is `expect live | freeze-frame VALUE ...` or `expect measured GAUGE ...`, without a time",
        &|phrase| {
            matches!(
                phrase,
                Phrase::Expect(Expectation {
                    claim: Claim::Reported { .. } | Claim::Measured { .. },
                    when: When::Now,
                })
            )
        },
    );
    let proof = optional(
        "proof",
        "a proof",
        "a repair is proven by `soak ...`, `drive ...`, `wait ...`, `switch ...`, weather and fuel",
        &|phrase| {
            matches!(
                phrase,
                Phrase::Soak(_)
                    | Phrase::Drive(_)
                    | Phrase::Wait(_)
                    | Phrase::KeyOn
                    | Phrase::KeyOff
                    | Phrase::Start
                    | Phrase::Stop
                    | Phrase::Ambient(_)
                    | Phrase::Rain(_)
                    | Phrase::Wash
                    | Phrase::Altitude(_)
                    | Phrase::Road(_)
                    | Phrase::Refuel(_)
                    | Phrase::Drain(_)
                    | Phrase::Switch(..)
            )
        },
    );
    check_time("proof", &proof, 1, problems);
    let codes = order
        .has("codes")
        .then(|| order.required("codes", Reader::text, problems))
        .flatten();
    let codes = codes.map_or_else(Vec::new, |text| check_codes(&text, problems));
    let bare = |phrases: Vec<Spanned<Phrase>>| phrases.into_iter().map(|phrase| phrase.value).collect();
    Some(RepairOrder {
        complaint: complaint?,
        cause: bare(cause),
        correction: bare(correction),
        codes,
        symptom: bare(symptom),
        traps: bare(traps),
        proof: bare(proof),
    })
}

/// Trouble codes, with white space between.
pub(crate) fn check_codes(text: &Text<'_>, problems: &mut Vec<Problem>) -> Vec<Dtc> {
    let mut codes = Vec::new();
    for word in text.value.split_whitespace() {
        match word.parse() {
            Ok(code) => codes.push(code),
            Err(error) => problems.push(
                Problem::new(ProblemKind::NotACode, text.span.clone(), word)
                    .expecting([Expected::text("a code such as P0455")])
                    .hint(format!("{error}")),
            ),
        }
    }
    codes
}

/// The story: nothing about the tool in it, and an end to it.
fn check_story(before: &Text<'_>, problems: &mut Vec<Problem>) -> Vec<Spanned<Phrase>> {
    let story = check_script(before, problems);
    for Spanned { value: phrase, span } in &story {
        if phrase.is_about_the_tool() {
            problems.push(
                Problem::new(
                    ProblemKind::Misplaced("a story"),
                    span.clone(),
                    &phrase.to_string(),
                )
                .hint("no tool is there before the story is over: this stands under `[verdict]`"),
            );
        }
    }
    check_time("story", &story, 1, problems);
    story
}

/// Phrases lived through so often have an end.
fn check_time(what: &'static str, phrases: &[Spanned<Phrase>], times: u64, problems: &mut Vec<Problem>) {
    let times = u32::try_from(times).unwrap_or(u32::MAX);
    let mut whole = Duration::ZERO;
    let mut driven = Duration::ZERO;
    for Spanned { value: phrase, span } in phrases {
        let time = phrase.time().saturating_mul(times);
        whole = whole.saturating_add(time);
        if !matches!(phrase, Phrase::Soak(_)) {
            driven = driven.saturating_add(time);
        }
        if whole > limits::STORY || driven > limits::STORY_DRIVING {
            let most = format!(
                "at most {} h of driving and waiting, {} days in all",
                limits::STORY_DRIVING.as_secs() / 3600,
                limits::STORY.as_secs() / 86_400,
            );
            problems.push(
                Problem::new(ProblemKind::TooLong(what), span.clone(), &phrase.to_string())
                    .expecting([Expected::text(most)]),
            );
            break;
        }
    }
}

/// The cues. `None` only where a problem was reported.
fn check_cues(file: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<Vec<Cue>> {
    let cues = file.tables("when", "cues", limits::CUES, problems);
    let checked: Vec<Option<Cue>> = cues.iter().map(|cue| check_cue(cue, problems)).collect();
    let mut sum = 0_u64;
    for cue in checked.iter().flatten() {
        let phrases = u64::try_from(cue.phrases.len()).unwrap_or(u64::MAX);
        sum = sum.saturating_add(phrases.saturating_mul(cue.times));
        if sum > limits::CUE_PHRASES
            && let Some(first) = cue.phrases.first()
        {
            let most = Expected::text(format!(
                "at most {} phrases, each as often as its cue acts",
                limits::CUE_PHRASES
            ));
            problems.push(
                Problem::new(
                    ProblemKind::TooMany("phrases of cues"),
                    first.span.clone(),
                    &first.value.to_string(),
                )
                .expecting([most]),
            );
            break;
        }
    }
    checked.into_iter().collect()
}

fn check_cue(cue: &Reader<'_, '_>, problems: &mut Vec<Problem>) -> Option<Cue> {
    let event = cue.required("event", Reader::text, problems);
    let event = event.and_then(|text| placed(&text, parse_event(text.value), problems));
    let after = if cue.has("after") {
        cue.text("after", problems).and_then(|text| {
            let time = parse_time("time after the event", limits::CUE_AFTER, text.value);
            placed(&text, time, problems)
        })
    } else {
        Some(Duration::ZERO)
    };
    let times = if cue.has("times") {
        check_whole(cue, "times", [1, limits::CUE_TIMES], problems)
    } else {
        Some(1)
    };
    let text = cue.required("do", Reader::text, problems);
    let anything = |_: &Phrase| true;
    let hint = "a cue does something: phrases, one a line";
    let phrases = text.map(|text| check_phrases(&text, "a cue", hint, &anything, problems));
    if let (Some(phrases), Some(times)) = (&phrases, times) {
        check_time("cue", phrases, times, problems);
    }
    Some(Cue {
        event: event?,
        after: after?,
        times: times?,
        phrases: phrases?,
    })
}

/// What was read of a string, or its problem at its place in the file.
fn placed<T>(text: &Text<'_>, read: Result<T, Problem>, problems: &mut Vec<Problem>) -> Option<T> {
    match read {
        Ok(value) => Some(value),
        Err(problem) => {
            let place = text.place(problem.span());
            problems.push(problem.moved_to(place));
            None
        }
    }
}

fn check_expectations(expect: &Text<'_>, problems: &mut Vec<Problem>) -> Vec<Spanned<Phrase>> {
    let is_expectation = |phrase: &Phrase| matches!(phrase, Phrase::Expect(_));
    let hint = "what happens to the car stands under `[story]`; here every line begins with `expect`";
    let phrases = check_phrases(expect, "a verdict", hint, &is_expectation, problems);
    if let Some(Spanned { value, span }) = phrases.get(limits::EXPECTATIONS) {
        let most = Expected::text(format!("at most {} expectations", limits::EXPECTATIONS));
        problems.push(
            Problem::new(
                ProblemKind::TooMany("expectations"),
                span.clone(),
                &value.to_string(),
            )
            .expecting([most]),
        );
    }
    phrases
}

/// A script in which only phrases of one kind have business, and at least one.
fn check_phrases(
    text: &Text<'_>,
    place: &'static str,
    hint: &'static str,
    fits: &dyn Fn(&Phrase) -> bool,
    problems: &mut Vec<Problem>,
) -> Vec<Spanned<Phrase>> {
    let before = problems.len();
    let phrases = check_script(text, problems);
    if phrases.is_empty() && problems.len() == before {
        problems.push(Problem::new(ProblemKind::Empty(place), text.span.clone(), "").hint(hint));
    }
    for Spanned { value, span } in phrases.iter().filter(|phrase| !fits(&phrase.value)) {
        problems
            .push(Problem::new(ProblemKind::Misplaced(place), span.clone(), &value.to_string()).hint(hint));
    }
    phrases
}

/// Phrases with their places in the file; none if one of them is wrong.
fn check_script(text: &Text<'_>, problems: &mut Vec<Problem>) -> Vec<Spanned<Phrase>> {
    match parse_script(text.value) {
        Ok(phrases) => phrases
            .into_iter()
            .map(|Spanned { value, span }| Spanned {
                value,
                span: text.place(span),
            })
            .collect(),
        Err(found) => {
            problems.extend(found.into_iter().map(|problem| {
                let place = text.place(problem.span());
                problem.moved_to(place)
            }));
            Vec::new()
        }
    }
}
