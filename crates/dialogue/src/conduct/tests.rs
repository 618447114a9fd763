//! Each breach is found, and is the only one: frames in, rules out.
#![allow(clippy::unwrap_used, reason = "tests")]

extern crate std;

mod on_uds;

use alloc::{format, string::String, vec::Vec};
use core::time::Duration;

use twotrip_units::BusInstant;

use super::*;
use crate::{Dialogue, tests::frame};

/// Listens to a script, `ms id bytes` a line; it ends with its last line, or at the `end` after it.
fn heard(script: &str, slack: Duration) -> Conduct {
    let (mut dialogue, mut conduct) = (Dialogue::without_units().with_slack(slack), Conduct::default());
    let mut end = BusInstant::ZERO;
    let lines = script.lines().map(str::trim).filter(|line| !line.is_empty());
    for (number, line) in (1..).zip(lines) {
        let (at, frame) = frame(line);
        dialogue.on_frame(number, at, &frame);
        end = at;
        tell(&mut dialogue, &mut conduct);
    }
    dialogue.on_end(end);
    tell(&mut dialogue, &mut conduct);
    conduct
}

fn tell(dialogue: &mut Dialogue, conduct: &mut Conduct) {
    while let Some(event) = dialogue.poll_event() {
        conduct.on_event(&event);
        if let Event::Message(message) = event {
            dialogue.recycle(message);
        }
    }
}

/// The rules that a script breaks.
pub(super) fn broken(script: &str) -> Vec<Rule> {
    let conduct = heard(script, Duration::ZERO);
    let tallies = conduct.testers().iter().flat_map(|tester| &tester.tallies);
    tallies.map(|tally| tally.rule).collect()
}

/// A question with its answer, at the time given.
fn polls(times: u32, from: u32, every: u32, id: &str, request: &str) -> String {
    (0..times)
        .map(|turn| format!("{} {id} {request}\n", from + turn * every))
        .collect()
}

const VIN: &str = "0 7DF 02 09 02
    3 7E8 10 14 49 02 01 30 54 57
    4 7E0 30 00 00
    4.5 7E8 21 30 30 54 52 50 33 41
    5 7E8 22 30 30 30 30 30 34 32";

#[test]
fn each_breach_is_found_and_no_other() {
    let busy = |at: &str| format!("{at} 7E8 03 7F 09 21\n");
    let repeated: String = (0..8)
        .map(|turn| {
            format!(
                "{} 7E0 02 09 06\n{}",
                turn * 300,
                busy(&format!("{}", turn * 300 + 5))
            )
        })
        .collect();
    let asleep = format!(
        "0 7DF 02 01 0C \n 4 7E8 04 41 0C 1A F8 \n {}",
        polls(15, 100, 100, "7DF", "02 01 0C")
    );
    for (script, rule) in [
        ("0 7DF 02 01 0C ! \n 4 7E8 04 41 0C 1A F8", Rule::FrameLength),
        ("0 7DF 00 01 0C", Rule::Unit),
        ("0 7E0 21 00 00", Rule::Sequence),
        // A request of several frames: out of turn, without the rest, broken off by another.
        (
            "0 7E0 10 09 22 F1 87 F1 8C F1 \n 1 7E8 30 00 00 \n 2 7E0 23 90 F1 95",
            Rule::Sequence,
        ),
        (
            "0 7E0 10 09 22 F1 87 F1 8C F1 \n 1 7E8 30 00 00 \n 300 100 00",
            Rule::Sequence,
        ),
        (
            "0 7E0 10 09 22 F1 87 F1 8C F1 \n 1 7E8 30 00 00 \n 60 7E0 01 03 \n 65 7E8 02 43 00",
            Rule::Sequence,
        ),
        (
            "0 7E0 10 09 22 F1 87 F1 8C F1 \n 1 7E8 30 00 00 \n 170 7E0 21 90 F1 95",
            Rule::Sequence,
        ),
        // Without waiting for the ECU's flow control; closer than its STmin; beyond its block.
        (
            "0 7E0 10 09 22 F1 87 F1 8C F1 \n 1 7E0 21 90 F1 95 \n 60 100 00",
            Rule::Release,
        ),
        (
            "0 7E0 10 11 22 F1 87 F1 8C F1 \n 1 7E8 30 00 0A \n 2 7E0 21 90 F1 95 F1 97 F1 99 \n 4 7E0 22 F1 9E F1 9F",
            Rule::Release,
        ),
        (
            "0 7E0 10 11 22 F1 87 F1 8C F1 \n 1 7E8 30 01 00 \n 2 7E0 21 90 F1 95 F1 97 F1 99 \n 4 7E0 22 F1 9E F1 9F",
            Rule::Release,
        ),
        ("0 7DF 10 0A 01 0C 0D 05 04 0B", Rule::LongRequestToAll),
        (
            &VIN.replace("4 7E0 30", "79 7E0 30")
                .replace("4.5", "80")
                .replace("5 7E8 22", "81 7E8 22"),
            Rule::LateFlowControl,
        ),
        (
            &VIN.replace("4 7E0 30", "33 7E0 30")
                .replace("4.5", "34")
                .replace("5 7E8 22", "35 7E8 22"),
            Rule::SlowFlowControl,
        ),
        // Never, and the recording goes on; never, and the next question comes.
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 200 100 00",
            Rule::MissingFlowControl,
        ),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 90 7DF 01 03 \n 95 7E8 02 43 00",
            Rule::MissingFlowControl,
        ),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 2 7DF 30 00 00 \n 200 100 00",
            Rule::FlowControlToAll,
        ),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 2 7E1 30 00 00 \n 200 100 00",
            Rule::FlowControlToAnother,
        ),
        ("0 7E0 30 00 00", Rule::StrayFlowControl),
        (
            &VIN.replace("4 7E0 30", "4 7E0 31 00 00 \n 4.2 7E0 30"),
            Rule::Wait,
        ),
        (&VIN.replace("30 00 00\n", "30 08 00\n"), Rule::BlockSize),
        (&VIN.replace("30 00 00\n", "30 00 F1\n"), Rule::Pause),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 2 7E0 32 00 00",
            Rule::NotTaken,
        ),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 2 7E0 33 00 00",
            Rule::NotTaken,
        ),
        // Seven parameters, by a request of two frames; three monitors; no parameter.
        (
            "0 7E0 10 08 01 04 05 0B 0C 0D \n 1 7E8 30 00 00 \n 2 7E0 21 0F 11",
            Rule::Length,
        ),
        ("0 7DF 04 06 01 21 22", Rule::Length),
        ("0 7DF 01 01", Rule::Length),
        ("0 7DF 03 01 00 0C", Rule::Mixed),
        ("0 7DF 02 03 00", Rule::Layout),
        (
            "0 7DF 02 01 00 \n 5 7E8 06 41 00 00 10 00 00 \n 60 7DF 02 01 0D",
            Rule::Unsupported,
        ),
        // The mask before says that there is no other.
        (
            "0 7DF 02 01 00 \n 5 7E8 06 41 00 00 10 00 00 \n 60 7E0 02 01 2F",
            Rule::Unsupported,
        ),
        (
            "0 7DF 02 09 00 \n 5 7E8 06 49 00 40 00 00 00 \n 60 7E0 02 09 04",
            Rule::Unsupported,
        ),
        ("0 7DF 01 03 \n 9 7DF 01 07 \n 12 7E8 02 47 00", Rule::Patience),
        // The other ECU has not answered.
        (
            "0 7DF 01 03 \n 9 7E8 02 43 00 \n 12 7E9 02 43 00 \n 14 7DF 01 07 \n 20 7E9 02 47 00 \n 21 7E0 01 03 \n 25 7E8 02 43 00",
            Rule::Patience,
        ),
        (
            "0 7E0 02 09 06 \n 9 7E8 03 7F 09 78 \n 1009 7E0 02 01 0C \n 1014 7E8 04 41 0C 00 00",
            Rule::Pending,
        ),
        (
            "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 24 7E0 30 00 00 \n 60 7E0 01 03",
            Rule::Interrupts,
        ),
        // The same flow control twice; the other size while an ECU may still answer.
        (&VIN.replace("4.5 ", "4.2 7E0 30 00 00 \n 4.5 "), Rule::OneTester),
        (
            "0 7DF 01 03 \n 20 18DB33F1 02 01 00 \n 24 7E8 02 43 00",
            Rule::OneTester,
        ),
        (
            &format!(
                "0 7E0 02 09 06 \n {} 104 7E0 02 09 06 \n 110 7E8 02 49 06",
                busy("5")
            ),
            Rule::RetryTooSoon,
        ),
        (&repeated, Rule::RetryTooOften),
        (
            &format!(
                "0 7E0 02 09 06 \n {} 2100 7E0 02 01 0C \n 2105 7E8 04 41 0C 00 00",
                busy("5")
            ),
            Rule::NotRetried,
        ),
        (
            &format!("0 7E0 02 09 06 \n {} 300 100 00", busy("5")),
            Rule::NotRetried,
        ),
        ("0 7DF 01 04 \n 9 7E8 01 44", Rule::ClearedUnread),
        (&asleep, Rule::PollsSleeping),
        (
            "0 7DF 02 01 00 \n 5 7E8 06 41 00 00 10 00 00 \n 60 18DB33F1 02 01 0C",
            Rule::SizeUnanswered,
        ),
        (&polls(5, 0, 2000, "18DB33F1", "02 01 0C"), Rule::SizeUnanswered),
        ("0 18DB33F5 02 01 0C", Rule::TesterAddress),
        (
            "0 18DB33F1 02 01 00 \n 5 18DAF110 06 41 00 00 10 00 00 \n 60 18DA10FA 02 01 0C",
            Rule::TesterAddress,
        ),
    ] {
        assert_eq!(broken(script), [rule], "{script}");
    }
}

/// Every rule can be broken: each has a script in the table above, or one here for what text cannot say.
#[test]
fn remote_frames_are_no_requests() {
    use twotrip_can::{CanId, Frame};
    let (mut dialogue, mut conduct) = (Dialogue::without_units(), Conduct::default());
    let remote = Frame::remote(CanId::Standard(0x7DF), 8).unwrap();
    dialogue.on_frame(1, BusInstant::ZERO, &remote);
    tell(&mut dialogue, &mut conduct);
    assert_eq!(conduct.testers()[0].tallies[0].rule, Rule::FrameKind);
}

/// What ECUs do wrong is not the tester's.
#[test]
fn breaches_of_ecus_are_nobody_elses() {
    for script in [
        "0 7DF 01 03 \n 60 7E8 02 43 00",
        "0 7E8 02 43 00",
        "0 7DF 01 03 \n 9 7E8 02 43 00 \n 12 7E8 02 43 00",
        "0 7DF 02 01 0C \n 9 7E8 03 7F 01 12",
        "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 2 7E0 30 00 00 \n 3 7E8 22 44 45 46 47",
        "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 2 7E0 30 00 00 \n 200 7E8 21 44 45 46 47",
        "0 7DF 02 09 0A \n 1 7E8 10 0A 49 0A 01 41 42 43 \n 2 7E8 21 44 45 46 47",
        "0 7DF 01 03 \n 9 7E8 02 43 00 !",
        "0 7DF 01 03 \n 9 7E8 03 43 02 01",
    ] {
        assert_eq!(broken(script), [], "{script}");
    }
}

/// Initialisation by ISO 15765-4 asks by both sizes; $3E wants nothing (ISO 14229-1); a slow poll lets an ECU sleep.
#[test]
fn what_is_allowed_breaks_no_rule() {
    let slow = format!(
        "0 7DF 02 01 0C \n 4 7E8 04 41 0C 1A F8 \n {}",
        polls(30, 1000, 1500, "7DF", "02 01 0C")
    );
    for script in [
        VIN,
        "0 7DF 02 01 00 \n 60 18DB33F1 02 01 00 \n 64 18DAF110 06 41 00 00 10 00 00",
        "0 7DF 01 03 \n 9 7E8 03 7F 03 78 \n 500 7DF 02 3E 80 \n 4009 7E8 03 7F 03 78 \n 8000 7E8 02 43 00",
        "0 7DF 01 03 \n 9 7E8 02 43 00 \n 70 7DF 01 04 \n 79 7E8 01 44",
        "0 7E0 02 09 06 \n 5 7E8 03 7F 09 21 \n 210 7E0 02 09 06 \n 215 7E8 07 49 06 01 00 00 00 01",
        &slow,
    ] {
        assert_eq!(broken(script), [], "{script}");
    }
}

/// Who hears frames later than they were on the wire does not know shorter waits from jitter.
#[test]
fn slack_forgives_what_it_may_have_caused() {
    let rules = |millis, script| {
        let conduct = heard(script, Duration::from_millis(millis));
        conduct.testers()[0].tallies.len()
    };
    let impatient = "0 7DF 01 03 \n 46 7DF 01 07";
    assert_eq!((rules(0, impatient), rules(5, impatient)), (1, 0));
    let eager = "0 7E0 02 09 06 \n 5 7E8 03 7F 09 21 \n 201 7E0 02 09 06";
    assert_eq!((rules(0, eager), rules(5, eager)), (1, 0));
}

#[test]
fn testers_are_kept_apart_and_their_requests_counted() {
    let conduct = heard(
        "0 7DF 01 03 \n 9 7E8 06 43 02 03 01 04 20 \n 60 7DF 02 01 0C \n 120 7E0 02 01 0C \n 124 7E8 04 41 0C 00 00
         200 18DB33F1 01 04 \n 300 7DF 01 07 \n 304 7E8 04 47 01 01 71 \n 400 7DF 02 01 00",
        Duration::ZERO,
    );
    let [one, other] = conduct.testers() else { panic!() };
    assert_eq!((one.id, other.id), (TesterId::Standard, TesterId::Extended(0xF1)));
    assert_eq!((one.to_all, one.to_one, one.unanswered), (4, 1, 1));
    assert_eq!(one.services, [(0x03, 1), (0x01, 3), (0x07, 1)]);
    assert_eq!((other.requests(), other.unanswered), (1, 1));
    assert_eq!(conduct.answers(), 3);
    let read = |service| -> Vec<String> {
        let codes = conduct.codes_read(service);
        codes.map(|(ecu, code)| format!("{ecu} {code}")).collect()
    };
    assert_eq!(read(Service::ConfirmedCodes), ["7E8 P0301", "7E8 P0420"]);
    assert_eq!(read(Service::PendingCodes), ["7E8 P0171"]);
    assert_eq!(
        (
            conduct.times_read(Service::PermanentCodes),
            read(Service::PermanentCodes).len()
        ),
        (0, 0)
    );
}

#[test]
fn of_many_breaches_the_first_few_are_kept_and_all_counted() {
    let script: String = (0..1000)
        .map(|turn| format!("{} 7DF 02 01 0C !\n", turn * 60))
        .collect();
    let conduct = heard(&script, Duration::ZERO);
    let tally = &conduct.testers()[0].tallies[0];
    assert_eq!(
        (tally.rule, tally.count, tally.examples.len()),
        (Rule::FrameLength, 1000, EXAMPLES)
    );
    assert_eq!(tally.examples[1].frame, 2);
    assert_eq!(tally.examples[1].at, BusInstant::from_millis(60));
    assert_eq!(conduct.breaches(Severity::Violation), 1000);
}

/// Memory is bounded whatever comes: addresses, services and codes without end.
#[test]
fn any_number_of_testers_and_codes_is_survived() {
    let (mut dialogue, mut conduct) = (Dialogue::without_units(), Conduct::default());
    for number in 0..5000_u32 {
        let at = BusInstant::from_millis(u64::from(number));
        let [.., high, low] = number.to_be_bytes();
        for line in [
            format!("0 18DB33{low:02X} 02 {high:02X} {low:02X}"),
            format!("0 7DF 02 {low:02X} 00"),
            String::from("0 7DF 01 03"),
            format!("0 7E8 04 43 01 {high:02X} {low:02X}"),
        ] {
            let (_, frame) = frame(&line);
            dialogue.on_frame(u64::from(number), at, &frame);
            tell(&mut dialogue, &mut conduct);
        }
    }
    assert_eq!(conduct.testers().len(), TESTERS);
    assert!(
        conduct
            .testers()
            .iter()
            .all(|tester| tester.services.len() <= 256)
    );
    assert!(conduct.codes_read(Service::ConfirmedCodes).count() <= CODES);
}

#[test]
fn every_rule_has_a_name_and_words_of_its_own() {
    for (place, rule) in Rule::ALL.iter().enumerate() {
        let others = &Rule::ALL[place + 1..];
        assert!(
            others
                .iter()
                .all(|other| other.name() != rule.name() && other.kept() != rule.kept())
        );
        assert!(
            rule.name()
                .bytes()
                .all(|byte| byte.is_ascii_lowercase() || byte == b'-')
        );
    }
}
