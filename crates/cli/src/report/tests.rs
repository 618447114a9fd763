//! What is in a report, and that nothing in it gets out of its place.

use std::time::Duration;

use twotrip_can::{CanId, Frame};
use twotrip_dialogue::{Dialogue, conduct::Conduct};
use twotrip_units::BusInstant;

use super::*;

const NASTY: &str = "a <b> & \"c\" 'd' ]]> | `e` \u{1b}[31m\u{0} *f* <!-- -->";

/// A tester that breaks rules of each gravity.
fn conduct() -> Summary {
    let (mut dialogue, mut conduct) = (Dialogue::without_units(), Conduct::default());
    let frames = [
        (0, Frame::padded(CanId::Standard(0x7DF), &[1, 0x04], 0)),
        (4, Frame::padded(CanId::Standard(0x7E8), &[1, 0x44], 0)),
        (
            60,
            Frame::padded(CanId::Standard(0x7DF), &[3, 0x01, 0x00, 0x0C], 0),
        ),
        (120, Frame::padded(CanId::Standard(0x7DF), &[1, 0x03], 0)),
        (
            124,
            Frame::padded(CanId::Standard(0x7E8), &[4, 0x43, 1, 0x03, 0x01], 0),
        ),
        (300, Frame::padded(CanId::Extended(0x18DB_33FA), &[1, 0x03], 0)),
    ];
    for (number, (millis, frame)) in (1..).zip(frames) {
        dialogue.on_frame(number, BusInstant::ZERO + Duration::from_millis(millis), &frame);
        while let Some(event) = dialogue.poll_event() {
            conduct.on_event(&event);
        }
    }
    Summary::of(&conduct, |at| at.saturating_since(BusInstant::ZERO).as_secs_f64())
}

fn report() -> Report {
    let verdict = |met, expectation: &str| Verdict {
        expectation: expectation.to_owned(),
        met,
        outcome: NASTY.to_owned(),
    };
    Report {
        scenario: "first.toml".to_owned(),
        title: NASTY.to_owned(),
        seed: 7,
        version: "0.0.0",
        not_physical: true,
        ended: "stopped",
        expectations: vec![
            verdict(true, "expect mil commanded"),
            verdict(false, "expect no pending"),
        ],
        disturbances: vec![Disturbed {
            number: 1,
            disturbance: "drop 7E8 20 %".to_owned(),
            verdict: FAILED,
            seen: NASTY.to_owned(),
            source: "ISO 15765-2",
        }],
        conduct: conduct(),
        caution: CAUTION,
    }
}

#[test]
fn every_format_says_what_was_expected_and_what_the_tester_did() {
    let report = report();
    for format in [Format::Json, Format::JUnit, Format::Markdown, Format::Html] {
        let text = report.text(format).expect("a report");
        for part in [
            "first.toml",
            "7",
            "0.0.0",
            "expect mil commanded",
            "expect no pending",
            "drop 7E8 20 %",
            "request-mixed",
            "cleared-unread",
            "tester-address",
            "common practice, no source",
            "mixes masks",
            "exhaust",
        ] {
            assert!(text.contains(part), "no {part} in {format:?}:\n{text}");
        }
        assert!(!text.contains('\u{1b}') && !text.contains('\u{0}'), "{format:?}");
    }
    let json: serde_json::Value =
        serde_json::from_str(&report.text(Format::Json).expect("a report")).expect("JSON");
    assert_eq!(json["conduct"]["violations"], 1);
    assert_eq!(json["conduct"]["unwise"], 1);
    assert_eq!(json["conduct"]["notes"], 1);
    assert_eq!(
        json["conduct"]["codes_read"]["confirmed"]["codes"][0],
        "7E8 P0301"
    );
    assert_eq!(json["expectations"][1]["met"], false);
}

/// A case for each expectation and each rule; what is unwise fails nothing.
#[test]
fn a_build_server_counts_violations_and_missed_expectations() {
    let text = report().text(Format::JUnit).expect("a report");
    let cases = 3 + twotrip_dialogue::conduct::Rule::ALL.len();
    assert!(
        text.contains(&format!("tests=\"{cases}\" failures=\"3\"")),
        "{text}"
    );
    assert_eq!(text.matches("<testcase ").count(), cases);
    assert_eq!(text.matches("<failure ").count(), 3);
    assert!(
        text.contains("<system-out>tester with 11-bit identifiers: unwise cleared-unread"),
        "{text}"
    );
}

/// Foreign texts stay texts.
#[test]
fn nothing_gets_out_of_its_place() {
    for format in [Format::JUnit, Format::Html] {
        let text = report().text(format).expect("a report");
        assert!(!text.contains("<b>") && !text.contains("<!-- "), "{text}");
        assert!(text.contains("a &lt;b&gt; &amp; &quot;c&quot;"), "{text}");
    }
    let text = report().text(Format::Markdown).expect("a report");
    assert!(text.contains("\\<b\\>") && text.contains("\\| \\`e\\`"), "{text}");
    assert_eq!(escaped("\u{FFFF}\t"), "\u{FFFD}&#9;");
}

#[test]
fn the_ending_of_the_name_says_how() {
    for (name, format) in [
        ("a.json", Some(Format::Json)),
        ("a.b/c.xml", Some(Format::JUnit)),
        ("a.md", Some(Format::Markdown)),
        ("a.html", Some(Format::Html)),
        ("a.txt", None),
        ("json", None),
    ] {
        assert_eq!(Format::of(Path::new(name)).ok(), format, "{name}");
    }
}
