//! Answers then and now as lines of hexadecimal, and what is told of them.
#![allow(clippy::unwrap_used, reason = "tests")]

extern crate std;

mod on_uds;

use alloc::{
    format,
    string::{String, ToString},
    vec,
    vec::Vec,
};

use proptest::prelude::*;
use twotrip_can::CanId;

use super::*;
use crate::Role;

fn bytes(text: &str) -> Vec<u8> {
    let byte = |word| u8::from_str_radix(word, 16).unwrap();
    text.split_whitespace().map(byte).collect()
}

fn ecu(id: u16) -> Ecu {
    match Role::of(CanId::Standard(id)) {
        Some(Role::Answer(ecu)) => ecu,
        _ => panic!("{id:X} answers nothing"),
    }
}

/// `7E8 41 0C 1A F8; 7E9 41 0C 00 00`.
fn replies(text: &str) -> Vec<Reply> {
    let one = |text: &str| {
        let (id, message) = text.trim().split_once(' ').unwrap();
        Reply::new(ecu(u16::from_str_radix(id, 16).unwrap()), bytes(message))
    };
    text.split(';')
        .filter(|one| !one.trim().is_empty())
        .map(one)
        .collect()
}

const FIVE: &str = "tolerance=5%";

fn told(recorded: &str, found: &str, comparison: &str) -> String {
    let differences = compare_messages(&bytes(recorded), &bytes(found), comparison.parse().unwrap());
    let sign = if differences.count() > 0 { "!" } else { "=" };
    format!("{sign} {differences}").trim().into()
}

/// Recorded, found, whether shape and tolerance count it (`!`) or let it pass (`=`), and what is told. Exact counts all of them.
#[test]
fn each_kind_of_answer_is_compared_by_what_it_says() {
    for (recorded, found, marks, text) in [
        // Numbers that live. 800 rpm and 5 % are 40 rpm.
        ("41 0C 0C B0", "41 0C 20 F8", "=!", "engine speed 812 -> 2110 rpm"),
        ("41 0C 0C 80", "41 0C 0D 20", "==", "engine speed 800 -> 840 rpm"),
        ("41 0C 0C 80", "41 0C 0D 30", "=!", "engine speed 800 -> 844 rpm"),
        // Around zero two steps of the scale pass, three do not.
        ("41 05 28", "41 05 2A", "==", "coolant temperature 0 -> 2 °C"),
        ("41 05 28", "41 05 2B", "=!", "coolant temperature 0 -> 3 °C"),
        // Several parameters: one that lives, one gone, one new; another order.
        (
            "41 0C 0C B0 0D 50",
            "41 0C 0C B0 05 50",
            "!!",
            "coolant temperature appeared, vehicle speed gone",
        ),
        (
            "41 0C 0C B0 0D 50",
            "41 0D 50 0C 0C B0",
            "==",
            "bytes 41 0C 0C B0 0D 50 -> 41 0D 50 0C 0C B0",
        ),
        (
            "41 0C 0C B0 0D 50",
            "41 0D 52 0C 0C C0",
            "==",
            "engine speed 812 -> 816 rpm, vehicle speed 80 -> 82 km/h",
        ),
        // A state lives, but is no number.
        (
            "41 03 01 00",
            "41 03 02 00",
            "=!",
            "fuel system: system 1 open loop, not ready for closed loop -> closed loop",
        ),
        // What the ECU was built for does not live.
        (
            "41 13 03",
            "41 13 33",
            "!!",
            "oxygen sensors bank 1 sensor 1, bank 1 sensor 2 -> bank 1 sensor 1, bank 1 sensor 2, bank 2 sensor 1, bank 2 sensor 2",
        ),
        // Lamp, count of codes and readiness do not live either.
        (
            "41 01 00 07 E5 00",
            "41 01 81 07 E5 04",
            "!!",
            "monitors since clear: lamp command off -> on, monitors since clear: confirmed codes 0 -> 1, readiness of evap: complete -> not complete",
        ),
        // But those of this driving cycle do; which monitors there are does not.
        (
            "41 41 00 07 E5 00",
            "41 41 00 07 E5 04",
            "=!",
            "readiness this driving cycle of evap: complete -> not complete",
        ),
        (
            "41 41 00 07 E5 00",
            "41 41 00 07 E1 00",
            "!!",
            "readiness this driving cycle of evap: complete -> not supported",
        ),
        // A sensor that is no longer used for the trim.
        (
            "41 14 5A 80",
            "41 14 5A FF",
            "!!",
            "oxygen sensor, bank 1 sensor 1: short-term trim 0 % -> not used",
        ),
        // Masks bit by bit.
        (
            "41 00 00 10 00 00",
            "41 00 00 08 00 00",
            "!!",
            "support of PID $0C (engine speed) gone, support of PID $0D (vehicle speed) appeared",
        ),
        (
            "49 00 55 40 00 00",
            "49 00 55 40 00 01 20 80 00 00 00",
            "!!",
            "support of InfoType $20 appeared, mask of InfoTypes from $21 appeared",
        ),
        // Codes.
        (
            "43 01 04 55",
            "43 01 01 71",
            "!!",
            "confirmed code P0171 appeared, confirmed code P0455 gone",
        ),
        (
            "47 02 04 55 01 71",
            "47 02 01 71 04 55",
            "==",
            "bytes 47 02 04 55 01 71 -> 47 02 01 71 04 55",
        ),
        ("4A 00", "4A 01 04 55", "!!", "permanent code P0455 appeared"),
        // Freeze frame: the cause does not live, its data do; another frame is another thing.
        (
            "42 02 00 04 55",
            "42 02 00 01 71",
            "!!",
            "causing code P0455 -> P0171",
        ),
        (
            "42 0C 00 0C B0",
            "42 0C 01 0C B0",
            "!!",
            "engine speed gone, engine speed (frame 1) appeared",
        ),
        // Tests: the value lives, limits and verdict do not. Unit $0A is a voltage in steps of 0.122 mV (SAE J1979-DA).
        (
            "46 01 01 0A 10 00 00 00 20 00",
            "46 01 01 0A 10 10 00 00 20 00",
            "==",
            "oxygen sensor, bank 1 sensor 1, rich to lean sensor threshold voltage 499.7 -> 501.7 mV",
        ),
        (
            "46 01 01 0A 00 00 00 00 00 00",
            "46 01 01 0A 10 00 00 00 20 00",
            "!!",
            "oxygen sensor, bank 1 sensor 1, rich to lean sensor threshold voltage: not run since clear -> passed",
        ),
        // Information.
        (
            "49 02 01 30 54 57 30 30 54 52 50 33 41 30 30 30 30 30 34 32",
            "49 02 01 30 54 57 30 30 54 52 50 33 41 30 30 30 30 1B 34 32",
            "!!",
            "vehicle identification number 0TW00TRP3A0000042 -> 0TW00TRP3A0000\\x1b42",
        ),
        (
            "49 06 01 12 34 56 78",
            "49 06 01 12 34 56 79",
            "!!",
            "calibration verification number 12345678 -> 12345679",
        ),
        (
            "49 08 02 00 05 00 64",
            "49 08 02 00 05 00 6E",
            "=!",
            "counter of ignition cycles 100 -> 110",
        ),
        (
            "49 10 01 01",
            "49 10 01 02",
            "!!",
            "protocol identification 1 -> 2",
        ),
        // Refusals, and answers of another kind.
        (
            "41 0C 0C B0",
            "7F 01 12",
            "!!",
            "answer: engine speed 812 rpm -> current data refused: sub-function not supported ($12)",
        ),
        (
            "7F 04 22",
            "44",
            "!!",
            "answer: clear codes refused: conditions not correct ($22) -> codes, freeze frame and readiness cleared",
        ),
        // What is not taken apart: its length is its shape.
        (
            "63 F4 0C 0C B0",
            "63 F4 0C 20 F8",
            "=!",
            "data F4 0C 0C B0 -> F4 0C 20 F8",
        ),
        ("62 F4 0C", "62 F4 0C 00", "!!", "length of data 2 -> 3 bytes"),
        (
            "41 0D 50 FA 01",
            "41 0D 50 FA 01 02",
            "!!",
            "length of unread data 2 -> 3 bytes",
        ),
        (
            "43 02 01",
            "43 03 01",
            "!!",
            "answer: malformed answer: the count says `2` codes, `1` bytes of codes follow -> malformed answer: the count says `3` codes, `1` bytes of codes follow",
        ),
        (
            "",
            "44",
            "!!",
            "answer: malformed answer: the answer is empty -> codes, freeze frame and readiness cleared",
        ),
    ] {
        for (comparison, mark) in ["exact", "shape", FIVE]
            .into_iter()
            .zip(['!'].into_iter().chain(marks.chars()))
        {
            let told = told(recorded, found, comparison);
            assert_eq!(
                told,
                format!("{mark} {text}"),
                "{comparison}: {recorded} and {found}"
            );
            assert_eq!(self::told(recorded, recorded, comparison), "=", "{recorded}");
        }
    }
}

#[test]
fn a_test_that_fails_now_counts_though_its_value_lives() {
    let (passed, failed) = ("46 01 01 0A 10 00 00 00 20 00", "46 01 01 0A 30 00 00 00 20 00");
    let verdict = "! oxygen sensor, bank 1 sensor 1, rich to lean sensor threshold voltage: passed -> failed";
    assert_eq!(told(passed, failed, "shape"), verdict);
    let value = "oxygen sensor, bank 1 sensor 1, rich to lean sensor threshold voltage 499.7 -> 1499.1 mV";
    assert_eq!(told(passed, failed, "exact"), format!("{verdict}, {value}"));
}

fn verdicts(recorded: &str, found: &str, comparison: Comparison) -> Vec<String> {
    let findings = compare_replies(&replies(recorded), &replies(found), comparison);
    let say = |finding: &Finding| {
        format!(
            "{} {} {}",
            finding.ecu,
            finding.verdict.word(),
            finding.differences
        )
    };
    findings
        .iter()
        .map(|finding| say(finding).trim().into())
        .collect()
}

#[test]
fn replies_belong_together_by_ecu_whatever_their_order() {
    let two = "7E8 41 0C 0C B0; 7E9 41 0C 00 00";
    let swapped = "7E9 41 0C 00 00; 7E8 41 0C 0C B0";
    assert_eq!(
        verdicts(two, swapped, Comparison::Exact),
        ["7E8 same", "7E9 same"]
    );
    assert_eq!(
        verdicts(two, "7E9 41 0C 00 04", Comparison::Exact),
        ["7E8 missing", "7E9 different engine speed 0 -> 1 rpm"]
    );
    assert_eq!(
        verdicts("7E8 44", "7E9 44; 7E8 44", Comparison::Shape),
        ["7E8 same", "7E9 unexpected"]
    );
    assert_eq!(
        verdicts("7E8 44", "7E8 44; 7E8 44", Comparison::Shape),
        ["7E8 same", "7E8 unexpected"]
    );
    assert_eq!(
        verdicts("7E8 44; 7E8 7F 04 22", "7E8 44", Comparison::Shape),
        ["7E8 same", "7E8 missing"]
    );
    assert!(
        verdicts("", "", Comparison::Exact).is_empty(),
        "silence then and now"
    );
}

#[test]
fn asking_for_time_counts_only_where_every_byte_does() {
    let reply = |waits| {
        let reply = Reply::new(ecu(0x7E8), vec![0x44]);
        [Reply { waits, ..reply }]
    };
    for (comparison, verdict) in [
        (Comparison::Exact, Verdict::Different),
        (Comparison::Shape, Verdict::Same),
    ] {
        let finding = &compare_replies(&reply(1), &reply(0), comparison)[0];
        assert_eq!(finding.verdict, verdict);
        assert_eq!(
            finding.differences.to_string(),
            "asked for time (7F xx 78) once -> 0 times"
        );
    }
}

#[test]
fn comparisons_are_read_and_written_alike() {
    for text in [
        "exact",
        "shape",
        "tolerance=5%",
        "tolerance=0%",
        "tolerance=100%",
        "tolerance=0.5%",
    ] {
        assert_eq!(text.parse::<Comparison>().unwrap().to_string(), text);
    }
    for (text, error) in [
        ("", ComparisonError::Word),
        ("Exact", ComparisonError::Word),
        ("tolerance", ComparisonError::Word),
        ("tolerance=", ComparisonError::Share),
        ("tolerance=5", ComparisonError::Share),
        ("tolerance=-1%", ComparisonError::Share),
        ("tolerance=101%", ComparisonError::Share),
        ("tolerance=NaN%", ComparisonError::Share),
    ] {
        assert_eq!(text.parse::<Comparison>(), Err(error), "{text}");
    }
}

#[test]
fn differences_without_end_are_counted_not_kept() {
    let codes = |from: u8| -> Vec<u8> {
        let codes = (0..200).flat_map(|code| [from, code]);
        [0x43, 200].into_iter().chain(codes).collect()
    };
    let differences = compare_messages(&codes(1), &codes(2), Comparison::Shape);
    assert_eq!(differences.count(), 400);
    assert_eq!(differences.kept().len(), 64);
    assert!(differences.to_string().ends_with(", 336 more"));
}

proptest! {
    /// Whatever two ECUs say: no panic; the same is the same; what differs is told; what exact lets pass, all do.
    #[test]
    fn any_two_messages_are_survived(
        service in prop::sample::select(&[0x41_u8, 0x42, 0x43, 0x46, 0x48, 0x49, 0x59, 0x62, 0x71, 0x7F][..]),
        a in prop::collection::vec(any::<u8>(), 0..60),
        b in prop::collection::vec(any::<u8>(), 0..60),
        replaced in prop::option::of((any::<prop::sample::Index>(), any::<u8>())),
    ) {
        let first: Vec<u8> = core::iter::once(service).chain(a).collect();
        let mut second: Vec<u8> = core::iter::once(service).chain(b).collect();
        if let Some((place, byte)) = replaced {
            second.clone_from(&first);
            let place = place.index(second.len());
            second[place] = byte;
        }
        for comparison in ["exact", "shape", FIVE] {
            let comparison = comparison.parse().unwrap();
            prop_assert!(compare_messages(&first, &first, comparison).is_empty());
            let differences = compare_messages(&first, &second, comparison);
            prop_assert_eq!(differences.is_empty(), first == second);
            prop_assert!(comparison != Comparison::Exact || first == second || differences.count() > 0);
        }
    }
}
