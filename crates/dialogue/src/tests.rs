//! Conversations as scripts: `ms id bytes` a line, and what is told of them.
#![allow(clippy::unwrap_used, reason = "tests")]

extern crate std;

use alloc::{format, string::String, vec::Vec};
use std::println;

use proptest::prelude::*;
use twotrip_can::{CanId, Frame};
use twotrip_units::BusInstant;

use super::*;

fn id(text: &str) -> CanId {
    let raw = u32::from_str_radix(text, 16).unwrap();
    if text.len() > 3 {
        CanId::Extended(raw)
    } else {
        CanId::Standard(u16::try_from(raw).unwrap())
    }
}

/// `12.5 7E8 03 41 0C`: filled up to eight bytes unless the line ends in `!`.
pub(crate) fn frame(line: &str) -> (BusInstant, Frame) {
    let mut words = line.split_whitespace();
    let millis: f64 = words.next().unwrap().parse().unwrap();
    let id = id(words.next().unwrap());
    let words: Vec<&str> = words.collect();
    let exact = words.last() == Some(&"!");
    let bytes: Vec<u8> = words
        .iter()
        .filter(|word| **word != "!")
        .map(|word| u8::from_str_radix(word, 16).unwrap())
        .collect();
    let frame = if exact {
        Frame::new(id, &bytes).unwrap()
    } else {
        Frame::padded(id, &bytes, 0x55)
    };
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "small numbers of a test"
    )]
    let nanos = (millis * 1e6) as u64;
    (BusInstant::from_nanos(nanos), frame)
}

/// Messages and breaches of a script, a line each.
fn told(script: &str) -> Vec<String> {
    let mut dialogue = Dialogue::default();
    let mut told = Vec::new();
    let mut end = BusInstant::ZERO;
    let lines = script.lines().map(str::trim).filter(|line| !line.is_empty());
    for (number, line) in (0..).zip(lines) {
        let (at, frame) = frame(line);
        dialogue.on_frame(number, at, &frame);
        end = at;
        drain(&mut dialogue, &mut told);
    }
    dialogue.on_end(end);
    drain(&mut dialogue, &mut told);
    println!("{told:#?}");
    told
}

fn drain(dialogue: &mut Dialogue, told: &mut Vec<String>) {
    while let Some(event) = dialogue.poll_event() {
        match event {
            Event::Unit(_) => {}
            Event::Message(message) => {
                let bytes: Vec<String> = message.bytes.iter().map(|byte| format!("{byte:02X}")).collect();
                let answers = message.answers.map_or_else(String::new, |(question, latency)| {
                    format!(" answers {question} after {} us", latency.as_micros())
                });
                told.push(format!("{}: {}{answers}", message.role, bytes.join(" ")));
            }
            Event::Breach {
                frame, role, breach, ..
            } => {
                assert!(!breach.rule().is_empty());
                told.push(format!("! frame {frame}, {role}: {breach}"));
            }
        }
    }
}

/// Frames as ISO 15765-2 lays them out, a VIN of the tests' own.
#[test]
fn a_long_answer_with_flow_control_is_one_message() {
    let told = told(
        "0    7DF 02 09 02
         3.5  7E8 10 14 49 02 01 30 54 57
         4    7E0 30 00 00
         4.5  7E8 21 30 30 54 52 50 33 41
         5    7E8 22 30 30 30 30 30 34 32",
    );
    assert_eq!(
        told,
        [
            "tester to all: 09 02",
            "7E8 to tester: 49 02 01 30 54 57 30 30 54 52 50 33 41 30 30 30 30 30 34 32 answers 0 after 3500 us"
        ]
    );
}

#[test]
fn interleaved_ecus_are_kept_apart() {
    let told = told(
        "0    7DF 02 09 0A
         1    7E8 10 0A 49 0A 01 41 42 43
         1.2  7E9 10 0A 49 0A 01 61 62 63
         2    7E0 30 00 00
         2.2  7E1 30 00 00
         3    7E9 21 64 65 66 67
         3.2  7E8 21 44 45 46 47",
    );
    assert!(told[1].starts_with("7E9 to tester: 49 0A 01 61 62 63 64 65 66 67 answers 0 after 1200 us"));
    assert!(told[3].starts_with("7E8 to tester: 49 0A 01 41 42 43 44 45 46 47 answers 0 after 1000 us"));
}

#[test]
fn both_sizes_of_identifiers_are_known() {
    let told = told(
        "0    18DB33F1 02 01 0C
         2    18DAF110 04 41 0C 1A F8
         100  18DA10F1 02 01 0D
         103  18DAF110 03 41 0D 50",
    );
    assert_eq!(
        told,
        [
            "tester to all: 01 0C",
            "18DAF110 to tester: 41 0C 1A F8 answers 0 after 2000 us",
            "tester to 18DAF110: 01 0D",
            "18DAF110 to tester: 41 0D 50 answers 2 after 3000 us"
        ]
    );
}

/// Each script breaks one rule, and is told of that one.
#[test]
fn each_breach_is_named() {
    for (script, breach) in [
        (
            "0 7DF 02 01 0C ! \n 1 7E8 04 41 0C 1A F8",
            "frame 0, tester to all: short frame: 3 bytes, should be 8",
        ),
        (
            "0 7DF 00 01 0C",
            "frame 0, tester to all: single frame length `0`, allowed 1 to 7",
        ),
        (
            "0 7DF 01 03 \n 1 7E8 21 00",
            "frame 1, 7E8 to tester: consecutive frame that continues nothing",
        ),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 2 7E0 30 00 00 \n 3 7E8 22 44 45 46 47",
            "frame 3, 7E8 to tester: wrong sequence number 2, 1 was due; the message is lost",
        ),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 2 7E8 03 41 0D 50",
            "frame 2, 7E8 to tester: a new message after 6 of 10 bytes of the one before",
        ),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 200 100 00",
            "frame 1, tester to 7E8: flow control never came: 6 of 10 bytes were sent",
        ),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 2 7E0 30 00 00 \n 200 100 00",
            "frame 2, 7E8 to tester: only 6 of 10 bytes came",
        ),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 2 7E8 21 44 45 46 47",
            "frame 2, 7E8 to tester: consecutive frame before flow control",
        ),
        (
            "0 7DF 02 09 02 \n 1 7E8 10 14 49 02 01 30 54 57 \n 2 7E0 30 01 00 \n 3 7E8 21 30 30 54 52 50 33 41 \n 4 7E8 22 30 30 30 30 30 34 32",
            "frame 4, 7E8 to tester: consecutive frame beyond the block",
        ),
        (
            "0 7DF 02 09 02 \n 1 7E8 10 14 49 02 01 30 54 57 \n 2 7E0 30 00 14 \n 22 7E8 21 30 30 54 52 50 33 41 \n 24 7E8 22 30 30 30 30 30 34 32",
            "frame 4, 7E8 to tester: 2.0 ms after the frame before, STmin is 20.0 ms",
        ),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 2 7E0 30 00 00 \n 200 7E8 21 44 45 46 47",
            "frame 3, 7E8 to tester: the next frame took 198 ms, limit 150 ms",
        ),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 91 7E0 30 00 00 \n 92 7E8 21 44 45 46 47",
            "frame 2, tester to 7E8: flow control took 90.0 ms, limit 75.0 ms",
        ),
        (
            "0 7E0 30 00 00",
            "frame 0, tester to 7E8: flow control that nobody waits for",
        ),
        (
            "0 7DF 10 0A 01 0C 0D 05 04 0B",
            "frame 0, tester to all: a request of several frames to all",
        ),
        (
            "0 7DF 01 03 \n 60 7E8 02 43 00",
            "frame 1, 7E8 to tester: late answer: 60.0 ms, limit 50.0 ms",
        ),
        (
            "0 7E8 02 43 00",
            "frame 0, 7E8 to tester: an answer that nobody asked for",
        ),
        (
            "0 7DF 01 03 \n 9 7E8 02 43 00 \n 12 7E8 02 43 00",
            "frame 2, 7E8 to tester: a second answer to one request",
        ),
        (
            "0 7DF 02 01 0C \n 9 7E8 03 7F 01 12",
            "frame 1, 7E8 to tester: refuses a request to all (",
        ),
        (
            "0 7DF 02 01 00 \n 5 7E8 06 41 00 00 10 00 00 \n 60 7DF 02 01 0D \n 65 7E8 03 41 0D 00",
            "frame 3, 7E8 to tester: answers $01 $0D, which its own mask leaves out",
        ),
        (
            "0 7DF 01 03 \n 9 7DF 01 07",
            "frame 1, tester to all: the next request 9.0 ms after the one before",
        ),
        (
            "0 7DF 01 03 \n 60 100 00",
            "frame 0, tester to all: nobody answered",
        ),
        (
            "0 7DF 01 04 \n 9 7E8 01 44",
            "frame 0, tester to all: cleared before any code was read",
        ),
        ("0 7DF 01 01", "frame 0, tester to all: "),
        (
            "0 7DF 01 03 \n 9 7E8 03 43 02 01",
            "frame 1, 7E8 to tester: the count says `2` codes",
        ),
    ] {
        let told = told(script);
        assert!(
            told.iter().any(|line| line.contains(breach)),
            "no `{breach}` in {told:#?} of\n{script}"
        );
    }
}

/// What is allowed is not called a breach.
#[test]
fn good_conduct_is_left_in_peace() {
    for script in [
        // An ECU asks for time, twice, and answers within P2* of the last time.
        "0 7DF 01 03 \n 9 7E8 03 7F 03 78 \n 4009 7E8 03 7F 03 78 \n 8000 7E8 02 43 00",
        // Two ECUs answer, the next question comes when both have.
        "0 7DF 01 03 \n 9 7E8 02 43 00 \n 12 7E9 02 43 00 \n 14 7DF 01 07 \n 20 7E9 02 47 00 \n 21 7E8 02 47 00",
        // Read, then clear; a refusal to one that was asked alone.
        "0 7DF 01 03 \n 9 7E8 02 43 00 \n 70 7DF 01 04 \n 79 7E8 01 44 \n 140 7E0 01 05 \n 144 7E8 03 7F 05 11",
        // A request of several frames: WAIT, then blocks of one frame, STmin kept. An ECU may; of a tester it is a breach.
        "0 7E0 10 13 22 F1 87 F1 8C F1 \n 2 7E8 31 00 00 \n 20 7E8 30 01 0A \n 21 7E0 21 90 F1 95 F1 97 F1 99 \n 22 7E8 30 01 0A \n 33 7E0 22 F1 9E F1 9F F1 A0",
        // A recording that ends before it is anybody's turn.
        "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43",
        "0 7DF 01 03",
        // Others' traffic is none of ours.
        "0 100 01 02 03 ! \n 1 7D0 02 01 0C \n 2 18FEF100 01 \n 3 7F0 00",
    ] {
        let told = told(script);
        assert!(
            !told.iter().any(|line| line.starts_with('!')),
            "{told:#?} of\n{script}"
        );
    }
}

/// A script as conversations: `request: answers`, and how many answers belong to none.
fn gathered(script: &str) -> (Vec<String>, u64) {
    let (mut dialogue, mut gather) = (Dialogue::default(), Gather::default());
    let mut told = Vec::new();
    let mut tell = |gather: &mut Gather| {
        while let Some(conversation) = gather.poll() {
            let hex = |bytes: &[u8]| -> String {
                let bytes: Vec<_> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
                bytes.join(" ")
            };
            let replies = conversation.replies.iter().map(|reply| {
                let waits = "... ".repeat(usize::try_from(reply.waits).unwrap());
                let took = reply.latency.as_millis();
                format!("; {} {took} ms {waits}{}", reply.ecu, hex(&reply.bytes))
            });
            let replies: String = replies.collect();
            let broken = conversation.broken.iter().map(|ecu| format!("; {ecu} broken"));
            let broken: String = broken.collect();
            told.push(format!(
                "{}: {}{replies}{broken}",
                conversation.role,
                hex(&conversation.request)
            ));
        }
    };
    let lines = script.lines().map(str::trim).filter(|line| !line.is_empty());
    for (number, line) in (0..).zip(lines) {
        let (at, frame) = frame(line);
        dialogue.on_frame(number, at, &frame);
        while let Some(event) = dialogue.poll_event() {
            match event {
                Event::Unit(unit) => gather.on_unit(&unit),
                Event::Message(message) => {
                    gather.on_message(message);
                    tell(&mut gather);
                }
                Event::Breach { .. } => {}
            }
        }
    }
    gather.on_end();
    tell(&mut gather);
    (told, gather.unasked())
}

#[test]
fn requests_and_their_answers_are_gathered_in_the_order_of_the_requests() {
    let script = "0    7E9 41 00
         10   7DF 02 01 0C
         14   7E8 03 7F 01 78
         15   7E9 04 41 0C 00 00
         30   7E8 03 7F 01 78
         44   7E8 04 41 0C 1A F8
         100  7E1 01 04
         105  7E9 03 7F 04 78
         9000 18DB33F1 01 03
         9004 18DAF110 02 43 00
         9005 18DAF110 02 43 00
         9100 7DF 01 07";
    let (told, unasked) = gathered(&script.replace("7E9 41 00", "7E9 02 41 00"));
    assert_eq!(
        told,
        [
            "tester to all: 01 0C; 7E8 34 ms ... ... 41 0C 1A F8; 7E9 5 ms 41 0C 00 00",
            "tester to 7E9: 04; 7E9 5 ms ... 7F 04 78",
            "tester to all: 03; 18DAF110 4 ms 43 00; 18DAF110 5 ms 43 00",
            "tester to all: 07",
        ]
    );
    assert_eq!(unasked, 1);
}

/// Wrong number, a new message instead of the rest, the end of the recording: each belongs to the request that was answered.
#[test]
fn answers_that_do_not_come_whole_are_known_by_their_request() {
    let script = "0   7DF 02 09 0A
         3   7E8 10 0A 49 0A 01 41 42 43
         4   7E9 10 0A 49 0A 01 61 62 63
         5   7E0 30 00 00
         6   7E8 22 44 45 46 47
         7   7E1 30 00 00
         8   7E9 21 64 65 66 67
         200 7E0 02 09 04
         203 7E8 10 0A 49 04 01 41 42 43
         400 7E0 01 03
         404 7E8 02 43 00
         500 7E0 02 09 02
         503 7E8 10 14 49 02 01 30 54 57";
    let (told, unasked) = gathered(script);
    assert_eq!(
        told,
        [
            "tester to all: 09 0A; 7E9 4 ms 49 0A 01 61 62 63 64 65 66 67; 7E8 broken",
            "tester to 7E8: 09 04; 7E8 broken",
            "tester to 7E8: 03; 7E8 4 ms 43 00",
            "tester to 7E8: 09 02; 7E8 broken",
        ]
    );
    assert_eq!(unasked, 0);
}

/// P2* is 5 s; twice that and nothing was said.
#[test]
fn a_quiet_conversation_is_over_after_ten_seconds() {
    let mut gather = Gather::default();
    let mut ask = |frame, millis| {
        let at = BusInstant::from_millis(millis);
        gather.on_message(Message {
            number: frame,
            role: Role::AskAll { extended: false },
            bytes: [0x03].into(),
            frames: (frame, frame),
            pieces: 1,
            began: at,
            ended: at,
            answers: None,
        });
    };
    ask(7, 0);
    ask(8, 6000);
    gather.on_time(BusInstant::from_secs(10));
    assert_eq!((gather.poll(), gather.oldest_open()), (None, Some(7)));
    gather.on_time(BusInstant::from_millis(10_001));
    assert_eq!(gather.poll().map(|over| over.frames), Some((7, 7)));
    assert_eq!((gather.poll(), gather.oldest_open()), (None, Some(8)));
}

#[test]
fn of_answers_without_end_some_are_kept_and_the_rest_counted() {
    let ecu = |line: u32| format!("{} 7E8 02 43 00\n", 1 + line);
    let script: String = (0..100).map(ecu).collect();
    let (told, unasked) = gathered(&format!("0 7DF 01 03\n{script}"));
    assert_eq!(told.len(), 1);
    assert_eq!((told[0].matches("7E8").count(), unasked), (32, 0));
}

proptest! {
    /// Whatever is on the bus: no panic, and each frame makes a bounded number of events.
    #[test]
    fn any_traffic_is_survived(
        frames in prop::collection::vec((0_u16..24, prop::collection::vec(any::<u8>(), 0..9), 0_u64..100), 0..200),
    ) {
        let mut dialogue = Dialogue::default();
        let mut at = BusInstant::ZERO;
        for (number, (id, data, gap)) in (0..).zip(&frames) {
            at += core::time::Duration::from_millis(*gap);
            let frame = Frame::new(CanId::Standard(0x7DA + id), data).unwrap();
            dialogue.on_frame(number, at, &frame);
            let events = core::iter::from_fn(|| dialogue.poll_event()).count();
            prop_assert!(events < 100);
        }
        dialogue.on_end(at);
    }
}
