//! The same rules in SAE J1979-2: each broken, and kept by what stands beside it.

use super::*;

/// Masks with $0C alone, $21 alone, $02 alone; the answer to the question for the dialect.
const MASKS: &str = "0 7DF 03 22 F8 10 \n 4 7E8 04 62 F8 10 01
    60 7DF 03 22 F4 00 \n 64 7E8 07 62 F4 00 00 10 00 00
    120 7DF 03 22 F6 00 \n 124 7E8 07 62 F6 00 00 00 00 01 \n 180 7DF 03 22 F6 20 \n 184 7E8 07 62 F6 20 80 00 00 00
    240 7DF 03 22 F8 00 \n 244 7E8 07 62 F8 00 40 00 00 00\n";

#[test]
fn each_breach_is_found_and_no_other() {
    let masks = |script: &str| format!("{MASKS}{script}");
    let busy = "0 7E0 03 22 F8 06 \n 5 7E8 03 7F 22 21\n";
    let asleep = format!(
        "0 7DF 05 19 42 33 08 FF \n 4 7E8 06 59 42 33 FF E1 04 \n {}",
        polls(15, 100, 100, "7DF", "05 19 42 33 08 FF")
    );
    for (script, rule) in [
        ("0 7DF 04 14 FF FF 33 \n 9 7E8 01 54", Rule::ClearedUnread),
        // The number of codes is none of them, nor is a refusal; a question that nobody answers reads nothing.
        (
            "0 7DF 03 22 F4 01 \n 4 7E8 07 62 F4 01 81 07 00 00 \n 60 7DF 04 14 FF FF 33 \n 64 7E8 01 54",
            Rule::ClearedUnread,
        ),
        (
            "0 7E0 03 19 55 33 \n 4 7E8 03 7F 19 12 \n 60 7DF 04 14 FF FF 33 \n 64 7E8 01 54",
            Rule::ClearedUnread,
        ),
        (&masks("300 7DF 03 22 F4 0D"), Rule::Unsupported),
        // One of three, and one beyond the last mask that is announced.
        (
            &masks("300 7DF 07 22 F4 0C F8 02 F4 2F \n 304 7E8 05 62 F4 0C 00 00"),
            Rule::Unsupported,
        ),
        (
            &masks("300 7E0 03 22 F6 22 \n 304 7E8 03 7F 22 31"),
            Rule::Unsupported,
        ),
        (
            &masks("300 7E0 03 22 F8 04 \n 304 7E8 03 7F 22 31"),
            Rule::Unsupported,
        ),
        (
            "0 7E0 10 09 22 F4 0C F4 0D F4 \n 1 7E8 30 00 00 \n 2 7E0 21 05 F4 04 \n 6 7E8 03 7F 22 13",
            Rule::TooManyIdentifiers,
        ),
        ("0 7DF 10 09 22 F4 0C F4 0D F4", Rule::LongRequestToAll),
        // Half an identifier, no severities, no record, half a group, no sub-function, no routine.
        ("0 7DF 02 22 F4", Rule::Layout),
        ("0 7DF 04 19 42 33 08", Rule::Layout),
        ("0 7DF 05 19 04 03 01 00", Rule::Layout),
        (
            "0 7DF 03 19 55 33 \n 4 7E8 05 59 55 33 FF 04 \n 60 7DF 03 14 FF FF",
            Rule::Layout,
        ),
        ("0 7E0 01 3E", Rule::Layout),
        ("0 7E0 02 31 01", Rule::Layout),
        (
            "0 7DF 05 19 42 33 08 FF \n 9 7DF 03 19 55 33 \n 12 7E8 05 59 55 33 FF 04",
            Rule::Patience,
        ),
        (
            "0 7E0 03 22 F8 06 \n 9 7E8 03 7F 22 78 \n 1009 7E0 03 22 F4 0C \n 1014 7E8 05 62 F4 0C 00 00",
            Rule::Pending,
        ),
        (
            &format!("{busy} 104 7E0 03 22 F8 06 \n 110 7E8 07 62 F8 06 01 02 03 04"),
            Rule::RetryTooSoon,
        ),
        (
            &format!("{busy} 2100 7E0 03 22 F4 0C \n 2105 7E8 05 62 F4 0C 00 00"),
            Rule::NotRetried,
        ),
        (&asleep, Rule::PollsSleeping),
        (
            "0 18DB33F1 03 22 F8 10 \n 5 18DAF110 04 62 F8 10 01 \n 60 7DF 03 22 F4 0C",
            Rule::SizeUnanswered,
        ),
    ] {
        assert_eq!(broken(script), [rule], "{script}");
    }
}

/// Every way to read codes counts before a clear; what masks do not speak of may be asked; the makers' own use of these services is no
/// business of SAE J1979-2.
#[test]
fn what_is_allowed_breaks_no_rule() {
    let cleared = |read: &str| format!("{read} \n 60 7DF 04 14 FF FF 33 \n 64 7E8 01 54");
    for script in [
        &cleared("0 7DF 05 19 42 33 0C FF \n 4 7E8 06 59 42 33 FF E1 04")[..],
        &cleared("0 7DF 03 19 55 33 \n 4 7E8 05 59 55 33 FF 04"),
        &cleared("0 7DF 06 19 04 03 01 00 FF \n 4 7E8 06 59 04 03 01 00 50"),
        &cleared("0 7E0 06 19 06 03 01 00 FF \n 4 7E8 06 59 06 03 01 00 50"),
        &cleared("0 7E0 03 19 02 FF \n 4 7E8 07 59 02 FF 03 01 00 2F"),
        &cleared("0 7DF 01 03 \n 4 7E8 02 43 00"),
        // Who it is may be asked at any time; what one of two has; a range whose mask was not read.
        &format!("{MASKS} 300 7DF 03 22 F8 10 \n 304 7E8 04 62 F8 10 01"),
        &format!("{MASKS} 300 7E0 03 22 F5 01 \n 304 7E8 03 7F 22 31"),
        &format!("{MASKS} 300 7DF 07 22 F4 0C F6 21 F8 02 \n 304 7E8 05 62 F4 0C 1A F8"),
        "0 7DF 03 22 F4 00 \n 4 7E8 07 62 F4 00 00 10 00 00 \n 5 7E9 07 62 F4 00 00 08 00 00 \n 60 7DF 03 22 F4 0D \n 64 7E9 04 62 F4 0D 50",
        "0 7E0 03 22 F1 90 \n 4 7E8 03 7F 22 31 \n 60 7E0 02 10 03 \n 64 7E8 02 50 03 \n 120 7E0 02 27 01 \n 124 7E8 03 7F 27 11",
        "0 7E0 10 09 22 F1 87 F1 8C F1 \n 1 7E8 30 00 00 \n 2 7E0 21 90 F1 95 \n 6 7E8 03 7F 22 31",
        "0 7DF 05 19 42 33 08 FF \n 9 7E8 03 7F 19 78 \n 500 7DF 02 3E 80 \n 4009 7E8 06 59 42 33 FF E1 04",
    ] {
        assert_eq!(broken(script), [], "{script}");
    }
}

/// Bit 7 of a sub-function: silence is what was asked for (ISO 14229-1).
#[test]
fn nobody_is_missed_who_was_asked_to_be_quiet() {
    let unanswered = |script: &str| heard(script, Duration::ZERO).testers()[0].unanswered;
    for (request, missed) in [
        ("02 10 81", 0),
        ("05 19 C2 33 08 FF", 0),
        ("02 10 01", 1),
        ("03 22 F8 90", 1),
    ] {
        assert_eq!(
            unanswered(&format!("0 7DF {request} \n 100 100 00")),
            missed,
            "{request}"
        );
    }
}

/// What an ECU answers outside of its masks, or not in whole entries, is not the tester's.
#[test]
fn breaches_of_ecus_are_nobody_elses() {
    let told = |script: &str| {
        let mut dialogue = Dialogue::without_units();
        let mut told = Vec::new();
        for (number, line) in (1..).zip(script.lines().map(str::trim).filter(|line| !line.is_empty())) {
            let (at, frame) = frame(line);
            dialogue.on_frame(number, at, &frame);
            while let Some(event) = dialogue.poll_event() {
                if let Event::Breach {
                    role: Role::Answer(_),
                    breach,
                    ..
                } = event
                {
                    told.push(format!("{breach}"));
                }
            }
        }
        told
    };
    for (script, expected) in [
        (
            format!("{MASKS} 300 7DF 03 22 F4 0C \n 304 7E8 07 62 F4 0C 1A F8 F4 0D"),
            None,
        ),
        (
            format!("{MASKS} 300 7DF 03 22 F4 0C \n 304 7E8 04 62 F4 0D 50"),
            Some("answers $22 $F40D, which its own mask leaves out"),
        ),
        (
            String::from("0 7DF 03 19 55 33 \n 4 7E8 07 59 55 33 FF 04 03 01"),
            Some("an answer of `service $19 (codes and their data)` cannot have `7` bytes"),
        ),
    ] {
        assert_eq!(told(&script), Vec::from_iter(expected), "{script}");
        assert_eq!(broken(&script), []);
    }
}

/// Which list was read is told by the question.
#[test]
fn the_codes_that_were_read_are_known() {
    let conduct = heard(
        "0 7DF 05 19 42 33 08 FF
         3 7E8 10 0B 59 42 33 FF E1 04 \n 4 7E0 30 00 00 \n 5 7E8 21 41 03 01 00 AF
         6 7E9 06 59 42 33 FF E1 04
         60 7E1 05 19 42 33 0C FF
         63 7E9 10 0B 59 42 33 FF E1 04 \n 64 7E1 30 00 00 \n 65 7E9 21 41 07 31 92 27
         120 7DF 03 19 55 33
         123 7E8 10 09 59 55 33 FF 04 03 \n 124 7E0 30 00 00 \n 125 7E8 21 01 00 AF",
        Duration::ZERO,
    );
    let read = |service| -> Vec<String> {
        let codes = conduct.codes_read(service);
        codes.map(|(ecu, code)| format!("{ecu} {code}")).collect()
    };
    assert_eq!(read(Service::ConfirmedCodes), ["7E8 P0301"]);
    assert_eq!(read(Service::PendingCodes), ["7E9 P0731"]);
    assert_eq!(read(Service::PermanentCodes), ["7E8 P0301"]);
    let times = [
        Service::ConfirmedCodes,
        Service::PendingCodes,
        Service::PermanentCodes,
    ]
    .map(|service| conduct.times_read(service));
    assert_eq!(times, [3, 1, 1]);
}
