//! ECUs that misbehave: each row of the table shows on the wire, the built-in tester reads codes and VIN all the same or knows
//! what it has not got, and the judge tells it from a tool that does one thing wrong.

use std::{collections::BTreeSet, time::Duration};

use twotrip_can::{CanId, Frame};
use twotrip_dialogue::verdict::Verdict;
use twotrip_scenario::disturbance::{Kind, Subject};
use twotrip_tester::{EcuNumber, Survey, Target, Topic};

use crate::{
    built_in::{Scan, Script},
    world::{Bad, REQUESTS, Tool, World},
};

const ECU: CanId = CanId::Standard(0x7E8);
const CODES: &[u8] = &[
    0x43, 5, 0x03, 0x01, 0x03, 0x02, 0x01, 0x71, 0x04, 0x20, 0x04, 0x55,
];
const VIN: &[u8] = b"\x49\x02\x010TW00TRP3A0000042";
const VIN_BEGINS: [u8; 4] = [0x10, 20, 0x49, 0x02];
const LONG: &[u8] = &[
    5, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21,
];

/// What the built-in tester has in the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Reads {
    /// Codes and VIN.
    Both,
    /// The codes, and of the VIN what came.
    Codes,
    /// Less, and it knows.
    Less,
    /// What came.
    Something,
}

struct Row {
    phrase: &'static str,
    /// Whether the frames of the car show it while the built-in tester asks.
    shows: fn(&[Frame]) -> bool,
    reads: Reads,
    bad: fn() -> Box<dyn Tool>,
}

const fn row(
    phrase: &'static str,
    shows: fn(&[Frame]) -> bool,
    reads: Reads,
    bad: fn() -> Box<dyn Tool>,
) -> Row {
    Row {
        phrase,
        shows,
        reads,
        bad,
    }
}

fn begins(frames: &[Frame], start: &[u8]) -> bool {
    frames
        .iter()
        .any(|frame| frame.id() == ECU && frame.data().starts_with(start))
}

fn count(frames: &[Frame], is_it: fn(&[u8]) -> bool) -> usize {
    frames.iter().filter(|frame| is_it(frame.data())).count()
}

/// Whether the consecutive frames behind some first frame of the VIN have just these numbers.
fn numbers(frames: &[Frame], expected: &[u8]) -> bool {
    let starts = (0..frames.len()).filter(|&place| frames[place].data().starts_with(&VIN_BEGINS));
    let numbers = starts.map(|place| {
        let behind = frames[place + 1..].iter().map(|frame| frame.data()[0]);
        behind
            .take_while(|pci| pci >> 4 == 2)
            .map(|pci| pci & 0x0F)
            .collect::<Vec<_>>()
    });
    numbers.into_iter().any(|numbers| numbers == expected)
}

/// Asks each question once, and never again.
fn careless() -> Box<dyn Tool> {
    Box::new(Bad::new(&REQUESTS, true))
}

fn without_flow_control() -> Box<dyn Tool> {
    Box::new(Bad::new(&REQUESTS, false))
}

/// Asks an ECU again that has asked for time.
fn restless() -> Box<dyn Tool> {
    Box::new(Script::new((0..3).map(|turn| (turn * 500, 0x7E0, vec![1, 0x07]))))
}

/// Sends a longer request with no look at flow control.
fn wild() -> Box<dyn Tool> {
    let frames: [&[u8]; 4] = [
        &[0x10, 22, 5, 1, 2, 3, 4, 5],
        &[0x21, 6, 7, 8, 9, 10, 11, 12],
        &[0x22, 13, 14, 15, 16, 17, 18, 19],
        &[0x23, 20, 21],
    ];
    let frames = (0..)
        .zip(frames)
        .map(|(place, data)| (place * 2, 0x7E0, data.to_vec()));
    Box::new(Script::new(frames))
}

static ROWS: &[Row] = &[
    row(
        "late-answer 700 ms 3 times",
        |frames| !frames.is_empty(),
        Reads::Both,
        careless,
    ),
    row(
        "response-pending 6 s 2 times",
        |frames| count(frames, |data| data.starts_with(&[3, 0x7F, 0x01, 0x78])) == 4,
        Reads::Both,
        restless,
    ),
    row(
        "pending-forever",
        |frames| count(frames, |data| data[..2] == [3, 0x7F]) > 5,
        Reads::Less,
        restless,
    ),
    row(
        "busy 3 times",
        |frames| begins(frames, &[3, 0x7F, 0x01, 0x21]),
        Reads::Both,
        careless,
    ),
    row(
        "refuse-clear",
        |frames| begins(frames, &[3, 0x7F, 0x04, 0x22]),
        Reads::Both,
        || Box::new(Script::hammer(0x7DF, &[0x04])),
    ),
    row(
        "silent 5 times",
        |frames| !frames.is_empty(),
        Reads::Both,
        careless,
    ),
    row(
        "silent-refusal",
        |frames| !begins(frames, &[3, 0x7F, 0x05]),
        Reads::Both,
        || Box::new(Script::hammer(0x7E0, &[0x05])),
    ),
    row(
        "refusal-for-silence",
        |frames| begins(frames, &[3, 0x7F, 0x01, 0x12]),
        Reads::Both,
        || Box::new(Script::hammer(0x7DF, &[0x01, 0xFF])),
    ),
    row(
        "padding",
        |frames| begins(frames, &[4, 0x41, 0x0C, 0, 0, 0xAA, 0xAA, 0xAA]),
        Reads::Both,
        || Box::new(Script::hammer(0x7DF, &[0x03])),
    ),
    row(
        "short-frames 3 times",
        |frames| frames.iter().any(|frame| frame.len() < 8),
        Reads::Both,
        || Box::new(Script::hammer(0x7DF, &[0x0A])),
    ),
    row(
        "other-identifier 4 times",
        |frames| frames.iter().any(|frame| frame.id() == CanId::Standard(0x7F8)),
        Reads::Both,
        careless,
    ),
    row(
        "truncated 2 bytes",
        |frames| begins(frames, &[4, 0x41, 0x00]),
        Reads::Something,
        || Box::new(Script::hammer(0x7DF, &[0x03])),
    ),
    row(
        "over-long 3 bytes",
        |frames| begins(frames, &[0x10, 9, 0x41, 0x00]),
        Reads::Something,
        || Box::new(Script::hammer(0x7DF, &[0x07])),
    ),
    row(
        "wrong-length 14 bytes 2 times",
        |frames| begins(frames, &[0x10, 34, 0x49, 0x02]),
        Reads::Both,
        careless,
    ),
    row(
        "wrong-sequence 3 times",
        |frames| numbers(frames, &[2, 2]),
        Reads::Both,
        careless,
    ),
    row(
        "missing-frame 1 frames 2 times",
        |frames| numbers(frames, &[1]),
        Reads::Both,
        careless,
    ),
    row(
        "repeated-frame 2 times",
        |frames| numbers(frames, &[1, 1, 2]),
        Reads::Both,
        careless,
    ),
    row(
        "deaf-to-flow-control 2 times",
        |frames| numbers(frames, &[]),
        Reads::Both,
        careless,
    ),
    row(
        "impatient",
        |frames| numbers(frames, &[1, 2]),
        Reads::Both,
        || Box::new(Script::hammer(0x7DF, &[0x09, 0x02])),
    ),
    row(
        "flow-wait 3 frames",
        |frames| count(frames, |data| data[0] == 0x31) == 3,
        Reads::Both,
        wild,
    ),
    row(
        "flow-overflow",
        |frames| begins(frames, &[0x32, 0, 0]),
        Reads::Both,
        wild,
    ),
    row(
        "no-flow-control",
        |frames| count(frames, |data| data[0] >> 4 == 3) == 0,
        Reads::Both,
        wild,
    ),
    row(
        "reserved-st-min",
        |frames| begins(frames, &[0x30, 0, 0xF0]),
        Reads::Both,
        wild,
    ),
    row(
        "code-left-out once",
        |frames| begins(frames, &[0x10, 10, 0x43, 4]) && begins(frames, &[0x10, 12, 0x43, 5]),
        Reads::Both,
        careless,
    ),
    row(
        "vin-missing",
        |frames| !begins(frames, &VIN_BEGINS),
        Reads::Codes,
        || Box::new(Script::hammer(0x7DF, &[0x09, 0x02])),
    ),
    row(
        "vin-short 12 characters",
        |frames| begins(frames, &[0x10, 15, 0x49, 0x02]),
        Reads::Codes,
        || Box::new(Script::hammer(0x7DF, &[0x09, 0x02])),
    ),
    row(
        "vin-garbled",
        |frames| begins(frames, &[0x10, 20, 0x49, 0x02, 0x01, 0x9C]),
        Reads::Codes,
        || Box::new(Script::hammer(0x7DF, &[0x09, 0x02])),
    ),
    row(
        "mask-lies",
        |frames| begins(frames, &[6, 0x41, 0x00, 0xFF]),
        Reads::Both,
        || Box::new(Script::hammer(0x7DF, &[0x01, 0x00])),
    ),
    row(
        "reset 120 ms 2 times",
        |frames| numbers(frames, &[1]),
        Reads::Both,
        careless,
    ),
    row("sleep 1 s", |frames| !frames.is_empty(), Reads::Both, careless),
    row(
        "second-tester 100 ms",
        |frames| frames.iter().any(|frame| frame.id() == CanId::Standard(0x7DF)),
        Reads::Both,
        without_flow_control,
    ),
];

/// A scan of VIN and codes; then engine speed, an unknown parameter, an unknown service, a longer request, and a clear if it is
/// about that.
fn built_in(clears: bool) -> Scan {
    let engine = Target::Ecu(EcuNumber::ENGINE);
    let mut more = vec![
        (engine, &[0x01, 0x0C][..]),
        (Target::Functional, &[0x01, 0xFF]),
        (engine, &[0x05]),
        (engine, LONG),
    ];
    if clears {
        more.push((Target::Functional, &[0x04]));
    }
    Scan::new(&[Topic::Vin, Topic::Codes, Topic::Pending], &more)
}

fn answers(survey: &Survey, topic: Topic) -> Vec<&[u8]> {
    let of = |finding: &&twotrip_tester::Finding| finding.topic == topic;
    survey
        .findings()
        .iter()
        .filter(of)
        .map(|finding| &*finding.answer)
        .collect()
}

fn disturbed(phrase: &str) -> World {
    let mut world = World::new(1);
    world.tell(&format!("disturb {phrase}"));
    world
}

/// Time for all of it.
const SPAN: Duration = Duration::from_secs(150);

#[test]
fn every_misbehaviour_shows_and_the_built_in_tester_survives_it() {
    let mut problems: Vec<String> = Vec::new();
    for row in ROWS {
        let phrase = row.phrase;
        let mut world = disturbed(phrase);
        let mut scan = built_in(phrase == "refuse-clear");
        world.run(&mut scan, SPAN);
        let mut say = |what: String| problems.push(format!("{phrase}: {what}"));
        if !scan.is_over() {
            say("it still waits".to_owned());
        }
        let of_car = world.passed.iter().filter(|passed| passed.from_car);
        let frames: Vec<Frame> = of_car.map(|passed| passed.frame).collect();
        if !(row.shows)(&frames) {
            say(format!("the frames do not show it: {frames:#?}"));
        }
        let survey = &scan.survey;
        let codes = answers(survey, Topic::Codes) == [CODES];
        let vin = answers(survey, Topic::Vin) == [VIN];
        let knows = !survey.unanswered().is_empty() || survey.given_up().next().is_some();
        let fits = match row.reads {
            Reads::Both => codes && vin,
            Reads::Codes => codes && !vin,
            Reads::Less => knows && !(codes && vin),
            Reads::Something => !survey.findings().is_empty(),
        };
        if !fits {
            say(format!("read in the end: {:02X?}", survey.findings()));
        }
        let finding = world.finding();
        if finding.verdict != Verdict::Held {
            say(format!("{}: {}", finding.verdict, finding.seen));
        }
    }
    assert!(problems.is_empty(), "{}", problems.join("\n"));
}

#[test]
fn every_misbehaviour_tells_a_bad_tool_from_a_good_one() {
    let mut problems: Vec<String> = Vec::new();
    for row in ROWS {
        let mut world = disturbed(row.phrase);
        world.run(&mut *(row.bad)(), Duration::from_secs(20));
        let finding = world.finding();
        if finding.verdict != Verdict::Failed {
            problems.push(format!("{}: {}: {}", row.phrase, finding.verdict, finding.seen));
        }
    }
    assert!(problems.is_empty(), "{}", problems.join("\n"));
}

/// What shows by its time alone: requests before the first answer, and how long after the first request that comes.
#[test]
fn what_is_late_or_silent_shows_by_its_time() {
    for (phrase, least, most) in [
        ("late-answer 700 ms once", 3..8, 700..900),
        ("silent 5 times", 6..7, 600..1700),
        ("sleep 1 s", 2..5, 100..410),
        ("busy 3 times", 1..2, 0..20),
    ] {
        let mut world = disturbed(phrase);
        world.run(&mut built_in(false), SPAN);
        let first = world
            .passed
            .iter()
            .position(|passed| passed.from_car)
            .expect("an answer");
        let span = world.passed[first]
            .at
            .saturating_since(world.passed[0].at)
            .as_millis();
        assert!(
            least.contains(&first) && most.contains(&span),
            "{phrase}: {first} requests, {span} ms"
        );
    }
}

#[test]
fn every_misbehaviour_is_tried() {
    let tried: BTreeSet<&str> = ROWS
        .iter()
        .filter_map(|row| row.phrase.split(' ').next())
        .collect();
    let kinds = Kind::ALL.iter().filter(|kind| kind.row().subject == Subject::Ecu);
    assert_eq!(tried, kinds.map(|kind| kind.name()).collect());
}
