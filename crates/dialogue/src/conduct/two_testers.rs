//! Two testers with the same identifiers: what gives them away, and what a single one may do that looks like it.
#![allow(clippy::unwrap_used, reason = "tests")]

extern crate std;

use alloc::{format, string::String, vec::Vec};

use twotrip_can::{CanId, Frame};
use twotrip_units::BusInstant;

use super::{Conduct, Rule, tests::broken};
use crate::{Breach, Dialogue, Event, Sign};

/// The signs that a script gives.
fn signs(script: &str) -> Vec<Sign> {
    let mut dialogue = Dialogue::without_units();
    let mut signs = Vec::new();
    for (number, line) in (0..).zip(script.lines().map(str::trim).filter(|line| !line.is_empty())) {
        let (at, frame) = crate::tests::frame(line);
        dialogue.on_frame(number, at, &frame);
        while let Some(event) = dialogue.poll_event() {
            if let Event::Breach {
                breach: Breach::TwoAtOnce(sign),
                ..
            } = event
            {
                signs.push(sign);
            }
        }
    }
    signs
}

const FIRST: &str = "0 7E0 02 09 02 \n 3 7E8 10 14 49 02 01 30 54 57 \n";
const REST: &str = "6.5 7E8 21 30 30 54 52 50 33 41 \n 7 7E8 22 30 30 30 30 30 34 32 \n";
const LONGER: &str = "0 7E0 10 10 31 01 E0 01 00 00 \n 1 7E8 30 00 00 \n 2 7E0 21 00 00 00 00 00 00 00 \n";

/// Another request between first frame and flow control; the answer comes whole, and both are answered.
#[test]
fn who_steers_an_answer_behind_another_request_is_another() {
    let script = format!("{FIRST} 4 7E0 02 01 0C \n 6 7E0 30 00 00 \n {REST} 9 7E8 04 41 0C 1A F8");
    assert_eq!(signs(&script), [Sign::SteersBehindRequest]);
    let rules = broken(&script);
    assert!(rules.contains(&Rule::OneTester), "{rules:?}");
    assert!(
        !rules.contains(&Rule::MissingFlowControl),
        "it has come: {rules:?}"
    );
    assert!(!rules.contains(&Rule::StrayFlowControl), "{rules:?}");
}

/// A request of several frames goes on as if nothing had been asked between.
#[test]
fn who_goes_on_behind_another_request_is_another() {
    let script = format!("{LONGER} 3 7E0 02 01 0C \n 4 7E0 22 00 00 00 \n 9 7E8 04 41 0C 1A F8");
    assert_eq!(signs(&script), [Sign::ContinuesBehindRequest]);
    assert!(broken(&script).contains(&Rule::OneTester));
}

/// A single tester that forgets its flow control, breaks off a request, or sends a frame too many is one that does just this.
#[test]
fn a_single_tester_is_not_taken_for_two() {
    for (script, rule) in [
        // The flow control never comes: the next answer, a later request, or the end says so.
        (
            format!("{FIRST} 60 7E0 02 01 0C \n 64 7E8 04 41 0C 1A F8"),
            Rule::MissingFlowControl,
        ),
        (
            format!("{FIRST} 60 7E0 02 01 0C \n 120 7E0 02 01 0D \n 125 7E8 03 41 0D 00"),
            Rule::MissingFlowControl,
        ),
        (
            format!("{FIRST} 60 7E0 02 01 0C \n 200 100 00"),
            Rule::MissingFlowControl,
        ),
        // Broken off, and begun anew.
        (
            format!(
                "{LONGER} 60 7E0 10 10 31 01 E0 01 00 00 \n 61 7E8 30 00 00 \n 62 7E0 21 00 00 00 00 00 00 00 \n 64 7E0 22 00 00 00"
            ),
            Rule::Sequence,
        ),
        // A consecutive frame out of turn behind it.
        (
            format!("{LONGER} 60 7E0 02 01 0C \n 64 7E8 04 41 0C 1A F8 \n 70 7E0 25 00 00"),
            Rule::Sequence,
        ),
    ] {
        assert_eq!(signs(&script), [], "{script}");
        assert_eq!(broken(&script), [rule], "{script}");
    }
}

/// Rules broken by requests that are filled up with these bytes; `None`: not filled up.
fn looks(pads: &[Option<u8>]) -> Vec<Rule> {
    let (mut dialogue, mut conduct) = (Dialogue::without_units(), Conduct::default());
    for (number, pad) in (0..).zip(pads) {
        let (request, answer) = (CanId::Standard(0x7E0), CanId::Standard(0x7E8));
        let asks = [2, 0x01, 0x0C];
        let frame = match pad {
            Some(pad) => Frame::padded(request, &asks, *pad),
            None => Frame::new(request, &asks).unwrap(),
        };
        let at = BusInstant::from_millis(number * 100);
        dialogue.on_frame(number * 2, at, &frame);
        let answer = Frame::padded(answer, &[4, 0x41, 0x0C, 0, 0], 0);
        dialogue.on_frame(number * 2 + 1, BusInstant::from_millis(number * 100 + 5), &answer);
        while let Some(event) = dialogue.poll_event() {
            conduct.on_event(&event);
        }
    }
    let tallies = conduct.testers().iter().flat_map(|tester| &tester.tallies);
    tallies
        .map(|tally| tally.rule)
        .filter(|rule| *rule != Rule::FrameLength)
        .collect()
}

#[test]
fn two_looks_by_turns_are_noted_and_a_change_is_not() {
    let (a, b) = (Some(0x00), Some(0xCC));
    for pads in [[a, b, a, b], [b, a, b, a], [None, a, None, a]] {
        assert_eq!(looks(&pads), [Rule::OneLook], "{pads:?}");
    }
    // One that another follows; one that comes once between; bytes that are left over from before.
    for pads in [
        &[a, a, b, b, b][..],
        &[a, b, a, a, a],
        &[a, b, Some(0x55), a, b, a, b],
        &[None, None, a, a],
    ] {
        assert_eq!(looks(pads), [], "{pads:?}");
    }
}

/// Frames of others in between: the look is that of requests of one frame on one identifier.
#[test]
fn other_parts_of_a_tool_may_look_otherwise() {
    let script: String = (0..6)
        .map(|turn| {
            let at = turn * 100;
            format!(
                "{at} 7E0 02 3E 00 00 00 00 00 00 \n {} 7E8 02 7E 00 \n {} 7DF 02 01 0C CC CC CC CC CC \n {} 7E8 04 41 0C 00 00 \n",
                at + 3,
                at + 50,
                at + 53
            )
        })
        .collect();
    assert_eq!(broken(&script), []);
}
