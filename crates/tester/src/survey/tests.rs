//! Scans of two scripted ECUs: what is asked, in which order, and what is found.

extern crate std;
use std::{format, string::String};

use super::*;

/// What ECU `n` answers; nothing for what it does not support.
type Car = fn(u8, &[u8]) -> Option<&'static [u8]>;

/// An engine with a freeze frame, and a transmission that supports little.
fn car(ecu: u8, request: &[u8]) -> Option<&'static [u8]> {
    Some(match (ecu, request) {
        // 01 05 0C, then 2F, then 41 42 51.
        (0, [0x01, 0x00]) => &[0x41, 0x00, 0x88, 0x10, 0x00, 0x01],
        (0, [0x01, 0x20]) => &[0x41, 0x20, 0x00, 0x02, 0x00, 0x01],
        (0, [0x01, 0x40]) => &[0x41, 0x40, 0xC0, 0x00, 0x80, 0x00],
        (1, [0x01, 0x00]) => &[0x41, 0x00, 0x80, 0x00, 0x00, 0x00],
        (0, [0x03]) => &[0x43, 0x01, 0x04, 0x55],
        (1, [0x03]) => &[0x43, 0x00],
        (0, [0x02, 0x00, 0x00]) => &[0x42, 0x00, 0x00, 0x48, 0x10, 0x00, 0x00],
        (1, [0x02, 0x00, 0x00]) => &[0x42, 0x00, 0x00, 0x48, 0x00, 0x00, 0x00],
        (0, [0x02, 0x02, 0x00]) => &[0x42, 0x02, 0x00, 0x04, 0x55],
        (1, [0x02, 0x02, 0x00]) => &[0x42, 0x02, 0x00, 0x00, 0x00],
        (0, [0x02, 0x05, 0x00]) => &[0x42, 0x05, 0x00, 0x6E],
        (0, [0x02, 0x0C, 0x00]) => &[0x42, 0x0C, 0x00, 0x1A, 0xF8],
        (0, [0x09, 0x00]) => &[0x49, 0x00, 0x50, 0x00, 0x00, 0x00],
        (0, [0x09, 0x02]) => b"\x49\x02\x01TWTR1P0SIM0000001",
        (0, [0x06, 0x00]) => &[0x46, 0x00, 0x80, 0x00, 0x00, 0x00],
        (0, [0x06, 0x01]) => &[0x46, 0x01, 0x01, 0x0A, 0x0B, 0xB0, 0x0B, 0xB0, 0x0B, 0xB0],
        (0, [0x01, ..]) => &[0x41, 0x0C, 0x1A, 0xF8],
        (1, [0x01, 0x01]) => &[0x41, 0x01, 0x00, 0x00, 0x00, 0x00],
        (0, [0x04]) => &[0x44],
        _ => return None,
    })
}

/// Whether the ECU has no such service, and refuses it if it is asked alone (SAE J1979).
fn lacks(car: Car, ecu: u8, service: u8) -> bool {
    let asked: [&[u8]; 3] = [&[service], &[service, 0], &[service, 0, 0]];
    asked.iter().all(|request| car(ecu, request).is_none())
}

/// Plays the survey against a car of ECUs 0 and 1; returns the questions as text.
pub(super) fn play(survey: &mut Survey, car: Car) -> Vec<String> {
    let mut asked = Vec::new();
    while let Some(question) = survey.next_question() {
        assert!(asked.len() < 1000, "the survey has no end");
        let whom = match question.target {
            Target::Functional => "all".into(),
            Target::Ecu(ecu) => format!("{ecu}"),
        };
        asked.push(format!("{whom} {:02X?}", question.request()));
        for ecu in EcuNumber::all().filter(|&ecu| question.target.includes(ecu)) {
            let refuses =
                question.target == Target::Ecu(ecu) && lacks(car, ecu.number(), question.request()[0]);
            let answer =
                car(ecu.number(), question.request()).or_else(|| refuses.then_some(&[0x7F, 0, 0x11]));
            if let Some(answer) = answer {
                survey.on_answer(ecu, answer);
            }
        }
        survey.on_finished();
    }
    asked
}

/// Those of them that an ECU was asked again and again.
fn times(asked: &[String], question: &str) -> usize {
    asked.iter().filter(|other| *other == question).count()
}

#[track_caller]
fn asks(topics: &[Topic], expected: &[&str]) -> Survey {
    let mut survey = Survey::new(topics);
    assert_eq!(play(&mut survey, car), expected);
    survey
}

const MASKS: [&str; 3] = ["all [01, 00]", "7E8 [01, 20]", "7E8 [01, 40]"];

#[test]
fn codes_are_asked_of_all() {
    // Their number with them.
    let expected = [
        &MASKS[..],
        &["all [03]", "7E8 [01, 01]", "7E9 [01, 01]"],
        &["all [07]", "7E8 [07]", "7E9 [07]"],
    ]
    .concat();
    let survey = asks(&[Topic::Codes, Topic::Pending], &expected);
    let found: Vec<_> = survey
        .findings()
        .iter()
        .filter(|finding| finding.topic == Topic::Codes)
        .map(|finding| (finding.ecu.number(), &*finding.answer))
        .collect();
    assert_eq!(found, [(0, &[0x43, 0x01, 0x04, 0x55][..]), (1, &[0x43, 0x00])]);
    assert!(survey.unanswered().is_empty(), "it is refused, and so answered");
    assert!(survey.ecus().map(EcuNumber::number).eq([0, 1]));
}

#[test]
fn live_data_come_six_at_once_and_by_what_each_ecu_supports() {
    let expected = [
        &MASKS[..],
        &["7E8 [01, 01, 05, 0C, 2F, 41, 42]", "7E8 [01, 51]", "7E9 [01, 01]"],
    ]
    .concat();
    let survey = asks(&[Topic::Live], &expected);
    let support = survey.support(EcuNumber::ENGINE, Service::CurrentData);
    assert!(support.iter().eq([0x01, 0x05, 0x0C, 0x2F, 0x41, 0x42, 0x51]));
}

#[test]
fn live_data_are_asked_again_without_the_masks() {
    let mut survey = Survey::new(&[Topic::Live]);
    play(&mut survey, car);
    survey.repeat();
    assert!(survey.findings().is_empty());
    let again = play(&mut survey, car);
    assert_eq!(
        again,
        ["7E8 [01, 01, 05, 0C, 2F, 41, 42]", "7E8 [01, 51]", "7E9 [01, 01]"]
    );
    assert_eq!(survey.findings().len(), 3);
}

/// `42 02 00 00 00` is no freeze frame (SAE J1979): nothing else of it is asked.
#[test]
fn freeze_frame_is_read_only_where_there_is_one() {
    let expected = [
        &MASKS[..],
        &[
            "all [02, 00, 00]",
            "7E8 [02, 02, 00]",
            "7E8 [02, 05, 00]",
            "7E8 [02, 0C, 00]",
            "7E9 [02, 02, 00]",
        ],
    ]
    .concat();
    asks(&[Topic::FreezeFrame], &expected);
}

#[test]
fn readiness_tests_and_vehicle_ask_what_is_supported() {
    let expected = [
        &MASKS[..],
        &[
            "7E8 [01, 01, 41]",
            "7E9 [01, 01]",
            "all [06, 00]",
            "7E9 [06, 00]",
            "7E8 [06, 01]",
            "all [09, 00]",
            "7E9 [09, 00]",
            "7E8 [09, 02]",
        ],
        &["7E8 [09, 04]"; ASKED_AT_MOST as usize],
    ]
    .concat();
    let survey = asks(&[Topic::Readiness, Topic::Tests, Topic::Vehicle], &expected);
    // InfoType $04 is announced and never answered, however often it is asked.
    assert_eq!(
        survey
            .unanswered()
            .iter()
            .map(Question::request)
            .collect::<Vec<_>>(),
        [[0x09, 0x04]]
    );
}

/// What an inspection wants, and of each ECU only what it supports.
#[test]
fn the_past_since_the_clear_and_the_vin_are_asked_where_supported() {
    fn old(ecu: u8, request: &[u8]) -> Option<&'static [u8]> {
        match (ecu, request) {
            (0 | 1, [0x01, 0x00]) => Some(&[0x41, 0x00, 0x00, 0x00, 0x00, 0x01]),
            (0, [0x01, 0x20]) => Some(&[0x41, 0x20, 0x00, 0x01, 0x80, 0x00]),
            (1, [0x01, 0x20]) => Some(&[0x41, 0x20, 0x00, 0x00, 0x80, 0x00]),
            (0, [0x01, 0x30, 0x31]) => Some(&[0x41, 0x30, 0x05, 0x31, 0x00, 0x07]),
            (1, [0x01, 0x31]) => Some(&[0x41, 0x31, 0x00, 0x07]),
            (0, [0x09, 0x02]) => Some(b"\x49\x02\x01TWTR1P0SIM0000001"),
            (0, [0x09, 0x00]) => Some(&[0x49, 0x00, 0x40, 0x00, 0x00, 0x00]),
            (1, [0x09, 0x00]) => Some(&[0x49, 0x00, 0x10, 0x00, 0x00, 0x00]),
            _ => None,
        }
    }
    let mut survey = Survey::new(&[Topic::SinceClear, Topic::Vin]);
    let asked = play(&mut survey, old);
    let expected = ["7E8 [01, 30, 31]", "7E9 [01, 31]", "all [09, 00]", "7E8 [09, 02]"];
    assert_eq!(asked[3..], expected);
}

#[test]
fn clearing_is_part_of_no_reading_and_begins_with_one() {
    assert!(!Topic::READING.contains(&Topic::Clear));
    let survey = asks(
        &[Topic::Clear],
        &[&MASKS[..], &["all [03]", "all [04]", "7E9 [04]"]].concat(),
    );
    let mut topics: Vec<_> = survey.findings().iter().map(|found| found.topic).collect();
    topics.dedup();
    assert_eq!(topics, [Topic::Codes, Topic::Clear]);
    assert_eq!(
        survey.findings().last().map(|found| &found.answer[..]),
        Some(&[0x44][..])
    );
}

/// An answer that was lost once, be it a mask, to all or to one, is there the second time and nothing is missed.
#[test]
fn what_an_ecu_owes_is_asked_again() {
    let mut survey = Survey::new(&[Topic::Live, Topic::Codes]);
    let mut asked: Vec<String> = Vec::new();
    while let Some(question) = survey.next_question() {
        let text = format!("{:02X?}", question.request());
        if times(&asked, &text) > 0
            && let Some(answer) = car(0, question.request())
        {
            survey.on_answer(EcuNumber::ENGINE, answer);
        }
        survey.on_finished();
        asked.push(text);
    }
    let twice = ["[01, 00]", "[01, 20]", "[01, 40]", "[01, 51]", "[03]"];
    assert!(
        twice.iter().all(|question| times(&asked, question) == 2),
        "{asked:?}"
    );
    // Two of live data, the list of codes and their number.
    assert_eq!(survey.findings().len(), 4);
    assert!(survey.unanswered().is_empty());
}

/// An ECU whose first answer was lost is asked for it as soon as it is met.
#[test]
fn who_is_met_late_is_asked_what_it_supports() {
    let mut survey = Survey::new(&[Topic::Codes, Topic::Live]);
    let mut asked = Vec::new();
    while let Some(question) = survey.next_question() {
        for ecu in EcuNumber::all().filter(|&ecu| question.target.includes(ecu)) {
            let is_lost = ecu.number() == 1 && asked.is_empty();
            if !is_lost && let Some(answer) = car(ecu.number(), question.request()) {
                survey.on_answer(ecu, answer);
            }
        }
        asked.push(format!("{:?} {:02X?}", question.target, question.request()));
        survey.on_finished();
    }
    let of_the_other = asked.iter().filter(|question| question.contains("EcuNumber(1)"));
    // What it supports; then PID $01 for the number of its codes, and as live data.
    let status = "Ecu(EcuNumber(1)) [01, 01]";
    assert_eq!(
        of_the_other.collect::<Vec<_>>(),
        ["Ecu(EcuNumber(1)) [01, 00]", status, status]
    );
}

/// As long as nobody is there all are asked again, with longer and longer pauses, and then it is over.
#[test]
fn nobody_is_asked_for_ever() {
    let mut survey = Survey::new(&Topic::READING);
    let mut pauses = Vec::new();
    while let Some(question) = survey.next_question() {
        assert_eq!(question.target, Target::Functional);
        match question.request() {
            [0x01, 0x00] => pauses.push(question.pause().as_millis()),
            // In the other dialect, at once.
            request => assert_eq!(
                (request, question.pause().as_millis()),
                (&[0x22, 0xF8, 0x10][..], 0)
            ),
        }
        survey.on_finished();
        if !survey.unanswered().is_empty() {
            break;
        }
    }
    assert_eq!(pauses, [0, 0, 100, 200, 300, 400, 500]);
}

/// Parameters without a known length cannot be read in a list.
#[test]
fn parameters_of_unknown_length_are_asked_alone() {
    fn odd(ecu: u8, request: &[u8]) -> Option<&'static [u8]> {
        match (ecu, request) {
            (0, [0x01, 0x00]) => Some(&[0x41, 0x00, 0x00, 0x00, 0x00, 0x01]),
            (0, [0x01, base @ (0x20 | 0x40 | 0x60 | 0x80 | 0xA0)]) => Some(match base {
                0x20 => &[0x41, 0x20, 0x00, 0x00, 0x00, 0x01],
                0x40 => &[0x41, 0x40, 0x00, 0x00, 0x00, 0x01],
                0x60 => &[0x41, 0x60, 0x00, 0x00, 0x00, 0x01],
                0x80 => &[0x41, 0x80, 0x00, 0x00, 0x00, 0x01],
                _ => &[0x41, 0xA0, 0x00, 0x00, 0x00, 0x01],
            }),
            (0, [0x01, 0xC0]) => Some(&[0x41, 0xC0, 0x30, 0x00, 0x00, 0x00]),
            _ => None,
        }
    }
    let mut survey = Survey::new(&[Topic::Live]);
    let asked = play(&mut survey, odd);
    // Nobody answers, so each is asked again and again.
    assert!(
        asked[7..]
            .iter()
            .all(|question| question.starts_with("7E8 [01, C"))
    );
    assert_eq!(
        ["7E8 [01, C3]", "7E8 [01, C4]"].map(|question| times(&asked, question)),
        [7, 7]
    );
}

/// An ECU that announces masks without end, and answers with the wrong ones, ends all the same.
#[test]
fn masks_end_at_the_last_one() {
    fn endless(ecu: u8, request: &[u8]) -> Option<&'static [u8]> {
        match (ecu, request) {
            (0, [0x01, 0xE0]) => Some(&[0x41, 0xE0, 0xFF, 0xFF, 0xFF, 0xFF]),
            (0, [0x01, 0x00]) => Some(&[0x41, 0x00, 0x00, 0x00, 0x00, 0x01]),
            (0, [0x01, 0x20]) => Some(&[0x41, 0x00, 0x00, 0x00, 0x00, 0x01]),
            (1, [0x01, 0x00]) => Some(&[0x41]),
            _ => None,
        }
    }
    let mut survey = Survey::new(&[]);
    assert_eq!(play(&mut survey, endless), ["all [01, 00]", "7E8 [01, 20]"]);
}

/// Plays the survey against an engine whose answers are made from how often this was asked before; 78 puts off for ever.
fn play_moods(topics: &[Topic], mood: fn(&[u8], usize) -> Option<&'static [u8]>) -> (Survey, Vec<String>) {
    let mut survey = Survey::new(topics);
    let mut asked: Vec<Vec<u8>> = Vec::new();
    let mut told = Vec::new();
    while let Some(question) = survey.next_question() {
        assert!(asked.len() < 100, "the survey has no end: {told:?}");
        let request = question.request().to_vec();
        let before = asked.iter().filter(|other| **other == request).count();
        let whom = if question.target == Target::Functional {
            "all"
        } else {
            "7E8"
        };
        told.push(format!("{whom} {request:02X?}"));
        match mood(&request, before) {
            Some([0x78]) => survey.on_put_off(EcuNumber::ENGINE),
            Some(answer) => survey.on_answer(EcuNumber::ENGINE, answer),
            None => {}
        }
        survey.on_finished();
        asked.push(request);
    }
    (survey, told)
}

const ONLY_STATUS: &[u8] = &[0x41, 0x00, 0x80, 0x00, 0x00, 0x00];
const TWO_COUNTED: &[u8] = &[0x41, 0x01, 0x82, 0x07, 0xE5, 0x00];

/// SAE J1979: PID $01 tells how many confirmed codes there are.
#[test]
fn a_list_of_codes_that_is_not_whole_is_read_once_more() {
    let (survey, asked) = play_moods(&[Topic::Codes], |request, before| match request {
        [0x01, 0x00] => Some(ONLY_STATUS),
        [0x01, ..] => Some(TWO_COUNTED),
        _ if before == 0 => Some(&[0x43, 0x01, 0x03, 0x01]),
        _ => Some(&[0x43, 0x02, 0x03, 0x01, 0x03, 0x02]),
    });
    assert_eq!(
        asked,
        [
            "all [01, 00]",
            "all [03]",
            "7E8 [01, 01]",
            "7E8 [03]",
            "7E8 [01, 01]"
        ]
    );
    let lists = survey
        .findings()
        .iter()
        .filter(|finding| finding.topic == Topic::Codes);
    let counts: Vec<u8> = lists.map(|list| list.answer[1]).collect();
    assert_eq!(counts, [2]);
    assert_eq!(survey.miscounts(EcuNumber::ENGINE), None);
    // One that never is whole is said to be none.
    let (survey, asked) = play_moods(&[Topic::Codes], |request, _| match request {
        [0x01, 0x00] => Some(ONLY_STATUS),
        [0x01, ..] => Some(TWO_COUNTED),
        _ => Some(&[0x43, 0x01, 0x03, 0x01]),
    });
    assert_eq!(asked.len(), 5);
    assert_eq!(survey.miscounts(EcuNumber::ENGINE), Some((2, 1)));
}

/// The same in SAE J1979-2: $F401 tells their number.
#[test]
fn a_list_of_the_newer_dialect_is_read_once_more_too() {
    let (survey, asked) = play_moods(&[Topic::Codes], |request, before| match request {
        [0x01, 0x00] => None,
        [0x22, 0xF8, 0x10] => Some(&[0x62, 0xF8, 0x10, 0x01]),
        [0x22, 0xF4, 0x00] => Some(&[0x62, 0xF4, 0x00, 0x80, 0x00, 0x00, 0x00]),
        [0x22, ..] => Some(&[0x62, 0xF4, 0x01, 0x82, 0x07, 0xE5, 0x00]),
        _ if before == 0 => Some(&[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04, 0x41, 0x04, 0x55, 0x7A, 0x2F]),
        _ => Some(&[
            0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04, 0x41, 0x04, 0x55, 0x7A, 0x2F, 0x41, 0x03, 0x01, 0x00, 0x2F,
        ]),
    });
    assert_eq!(
        asked[3..],
        [
            "all [19, 42, 33, 08, FF]",
            "7E8 [22, F4, 01]",
            "7E8 [19, 42, 33, 08, FF]",
            "7E8 [22, F4, 01]"
        ]
    );
    assert_eq!(survey.miscounts(EcuNumber::ENGINE), None);
}

#[test]
fn an_ecu_that_puts_off_its_answer_for_ever_is_asked_nothing_more() {
    let (survey, asked) = play_moods(&[Topic::Codes, Topic::Pending], |request, _| match request {
        [0x01, 0x00] => Some(ONLY_STATUS),
        _ => Some(&[0x78]),
    });
    assert_eq!(asked, ["all [01, 00]", "all [03]"]);
    assert!(survey.given_up().eq([EcuNumber::ENGINE]));
    assert!(
        survey
            .unanswered()
            .iter()
            .map(Question::request)
            .eq([&[0x01, 0x01][..], &[0x07]])
    );
}
