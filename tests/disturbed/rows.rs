//! How each misbehaviour of an ECU shows on the wire, what the built-in tester has in the end, and a tool that does one thing
//! wrong about it.

use twotrip_can::{CanId, Frame};

use crate::{
    built_in::Script,
    parties::{Party, Seen},
    world::{Bad, Tool},
};

/// What the built-in tester has in the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reads {
    /// Codes and the long answer.
    Both,
    /// The codes, and of the long answer what came.
    Codes,
    /// Less, and it knows.
    Less,
    /// What came.
    Something,
}

/// What an ECU must have for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Needs {
    Nothing,
    Vin,
}

pub struct Row {
    pub phrase: &'static str,
    pub needs: Needs,
    /// Whether the frames of the car show it while the built-in tester asks.
    pub shows: fn(&Seen<'_>) -> bool,
    pub reads: Reads,
    pub bad: fn(&Party) -> Box<dyn Tool>,
}

const fn row(
    phrase: &'static str,
    shows: fn(&Seen<'_>) -> bool,
    reads: Reads,
    bad: fn(&Party) -> Box<dyn Tool>,
) -> Row {
    Row {
        phrase,
        needs: Needs::Nothing,
        shows,
        reads,
        bad,
    }
}

/// Asks each question once, and never again.
fn careless(party: &Party) -> Box<dyn Tool> {
    Box::new(Bad::of(party.address, &party.requests(), true))
}

fn without_flow_control(party: &Party) -> Box<dyn Tool> {
    Box::new(Bad::of(party.address, &party.requests(), false))
}

/// Asks an ECU again that has asked for time.
fn restless(party: &Party) -> Box<dyn Tool> {
    let length = u8::try_from(party.pending.len()).expect("short");
    let data = [&[length], party.pending].concat();
    let frames = (0..3).map(|turn| (turn * 500, party.address.request, data.clone()));
    Box::new(Script::new(party.address, frames))
}

/// Asks the same over and over: all, or this ECU.
fn hammer_all(party: &Party, request: &[u8]) -> Box<dyn Tool> {
    Box::new(Script::hammer(party.address, party.address.functional, request))
}

fn hammer(party: &Party, request: &[u8]) -> Box<dyn Tool> {
    Box::new(Script::hammer(party.address, party.address.request, request))
}

/// Sends a longer request with no look at flow control.
fn wild(party: &Party) -> Box<dyn Tool> {
    let frames: [&[u8]; 4] = [
        &[0x10, 22, 5, 1, 2, 3, 4, 5],
        &[0x21, 6, 7, 8, 9, 10, 11, 12],
        &[0x22, 13, 14, 15, 16, 17, 18, 19],
        &[0x23, 20, 21],
    ];
    let frames = (0..)
        .zip(frames)
        .map(|(place, data)| (place * 2, party.address.request, data.to_vec()));
    Box::new(Script::new(party.address, frames))
}

fn nobodys(id: CanId) -> CanId {
    match id {
        CanId::Standard(id) => CanId::Standard(id | 0x7F0),
        CanId::Extended(id) => CanId::Extended((id & !0xFF00) | 0xF900),
    }
}

pub static ROWS: &[Row] = &[
    row(
        "late-answer 700 ms 3 times",
        |seen| !seen.frames.is_empty(),
        Reads::Both,
        careless,
    ),
    row(
        "response-pending 6 s 2 times",
        |seen| seen.count(|data| data.starts_with(&[3, 0x7F, seen.party.live[0], 0x78])) == 4,
        Reads::Both,
        restless,
    ),
    row(
        "pending-forever",
        |seen| seen.count(|data| data[..2] == [3, 0x7F]) > 5,
        Reads::Less,
        restless,
    ),
    row(
        "busy 3 times",
        |seen| seen.begins(&[&[3, 0x7F, seen.party.live[0], 0x21]]),
        Reads::Both,
        careless,
    ),
    row(
        "refuse-clear",
        |seen| seen.begins(&[&[3, 0x7F, seen.party.clear[0], 0x22]]),
        Reads::Both,
        |party| hammer_all(party, party.clear),
    ),
    row(
        "silent 2 times",
        |seen| !seen.frames.is_empty(),
        Reads::Both,
        careless,
    ),
    row(
        "silent-refusal",
        |seen| !seen.begins(&[&[3, 0x7F, seen.party.unknown[0]]]),
        Reads::Both,
        |party| hammer(party, party.unknown),
    ),
    row(
        "refusal-for-silence",
        |seen| {
            let code = if seen.party.absent[0] == 0x22 { 0x31 } else { 0x12 };
            seen.begins(&[&[3, 0x7F, seen.party.absent[0], code]])
        },
        Reads::Both,
        |party| hammer_all(party, party.absent),
    ),
    row(
        "padding",
        |seen| {
            let answer = seen.party.live_answer;
            let length = u8::try_from(answer.len()).expect("short");
            seen.begins(&[&[length], answer, &[0xAA, 0xAA]])
        },
        Reads::Both,
        |party| hammer_all(party, party.list),
    ),
    row(
        "short-frames 3 times",
        |seen| seen.has(|frame: &Frame| frame.len() < 8),
        Reads::Both,
        |party| hammer_all(party, party.pending),
    ),
    row(
        "other-identifier 2 times",
        |seen| seen.has_id(nobodys(seen.party.address.response)),
        Reads::Both,
        careless,
    ),
    row(
        "truncated 1 bytes",
        |seen| seen.begins(&[&[seen.mask_length() - 1], seen.party.mask]),
        Reads::Something,
        |party| hammer_all(party, party.list),
    ),
    row(
        "over-long 3 bytes",
        |seen| seen.begins(&[&[0x10, seen.mask_length() + 3], seen.party.mask]),
        Reads::Something,
        |party| hammer_all(party, party.pending),
    ),
    row(
        "wrong-length 14 bytes 2 times",
        |seen| seen.begins(&[&seen.long_begins(14)]),
        Reads::Both,
        careless,
    ),
    row(
        "wrong-sequence 3 times",
        |seen| seen.numbers(&[2, 2]),
        Reads::Both,
        careless,
    ),
    row(
        "missing-frame 1 frames 2 times",
        |seen| seen.numbers(&[1]),
        Reads::Both,
        careless,
    ),
    row(
        "repeated-frame 2 times",
        |seen| seen.numbers(&[1, 1, 2]),
        Reads::Both,
        careless,
    ),
    row(
        "deaf-to-flow-control 2 times",
        |seen| seen.numbers(&[]),
        Reads::Both,
        careless,
    ),
    row(
        "impatient",
        |seen| seen.numbers(&[1, 2]),
        Reads::Both,
        |party| hammer(party, party.long),
    ),
    row(
        "flow-wait 3 frames",
        |seen| seen.count(|data| data[0] == 0x31) == 3,
        Reads::Both,
        wild,
    ),
    row(
        "flow-overflow",
        |seen| seen.begins(&[&[0x32, 0, 0]]),
        Reads::Both,
        wild,
    ),
    row(
        "no-flow-control",
        |seen| seen.count(|data| data[0] >> 4 == 3) == 0,
        Reads::Both,
        wild,
    ),
    row(
        "reserved-st-min",
        |seen| seen.begins(&[&[0x30, 0, 0xF0]]),
        Reads::Both,
        wild,
    ),
    row(
        "code-left-out once",
        |seen| {
            let (whole, one) = seen.party.codes;
            let begins = |length| seen.begins(&[&[0x10, length, seen.party.list[0] + 0x40]]);
            begins(whole - one) && begins(whole)
        },
        Reads::Both,
        careless,
    ),
    Row {
        needs: Needs::Vin,
        ..row(
            "vin-missing",
            |seen| !seen.begins(&[&seen.long_begins(0)]),
            Reads::Codes,
            |party| hammer(party, party.long),
        )
    },
    Row {
        needs: Needs::Vin,
        ..row(
            "vin-short 12 characters",
            |seen| seen.begins(&[&seen.long_begins(-5)]),
            Reads::Codes,
            |party| hammer(party, party.long),
        )
    },
    Row {
        needs: Needs::Vin,
        ..row(
            "vin-garbled",
            |seen| seen.count(|data| data[0] == 0x10 && data[5] == 0x9C) > 0,
            Reads::Codes,
            |party| hammer(party, party.long),
        )
    },
    row(
        "mask-lies",
        |seen| {
            let (announced, true_ones) = seen.announced();
            announced == true_ones + 3
        },
        Reads::Both,
        |party| hammer_all(party, party.mask_request),
    ),
    row(
        "reset 120 ms 2 times",
        |seen| seen.numbers(&[1]),
        Reads::Both,
        careless,
    ),
    row("sleep 1 s", |seen| !seen.frames.is_empty(), Reads::Both, careless),
    row(
        "second-tester 100 ms",
        |seen| seen.has_id(seen.party.address.functional),
        Reads::Both,
        without_flow_control,
    ),
];
