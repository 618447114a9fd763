//! The built-in tester under the judge: in every subject, against every shipped vehicle, it breaks no rule.

use std::time::Duration;

use twotrip_can::{memory_bus::Pacing, timing::BitRate};
use twotrip_dialogue::{Dialogue, conduct::Conduct};
use twotrip_host::in_process::{Rig, Wired};
use twotrip_scenario::{Scenario, parse_phrase, vehicle};
use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_tester::{Survey, Topic};

/// What `scan` and its inspection read, each by itself, and what clears.
const SUBJECTS: &[&[Topic]] = &[
    &[Topic::Codes],
    &[Topic::Pending],
    &[Topic::Permanent],
    &[Topic::FreezeFrame],
    &[Topic::Readiness],
    &[
        Topic::Readiness,
        Topic::SinceClear,
        Topic::Codes,
        Topic::Permanent,
        Topic::Vin,
    ],
    &[Topic::Live],
    &[Topic::Tests],
    &[Topic::Vehicle],
    &Topic::READING,
    &[Topic::Clear],
];

fn rig(vehicle: &str, phrases: &[&str]) -> Rig {
    let text = format!("version = 1\ntitle = \"x\"\nvehicle = \"{vehicle}\"\n");
    let scenario = Scenario::parse(text.as_bytes()).expect("a scenario");
    let settings = Settings::of(&scenario, 1, Timing::REAL_ON_PACED_BUS);
    let mut rig = Rig::new(Simulator::new(settings), Pacing::Rate(BitRate::Kbit500));
    for phrase in phrases {
        rig.tell(parse_phrase(phrase).expect("a phrase"));
    }
    rig
}

/// Surveys, each question as soon as the one before is over; the frames of all.
fn survey(rig: &mut Rig, topics: &[Topic]) -> Vec<Wired> {
    let mut survey = Survey::new(topics);
    let mut frames = Vec::new();
    while let Some(question) = survey.next_question() {
        let exchange = rig.ask_after(Duration::ZERO, question.target, question.request());
        let exchange = exchange.expect("a request");
        for answer in &exchange.answers {
            survey.on_answer(answer.ecu, &answer.payload);
        }
        survey.on_finished();
        frames.extend(exchange.frames);
    }
    frames
}

fn judged(frames: &[Wired]) -> Conduct {
    let (mut dialogue, mut conduct) = (Dialogue::without_units(), Conduct::default());
    for (number, seen) in (1..).zip(frames) {
        dialogue.on_frame(number, seen.at, &seen.frame);
        while let Some(event) = dialogue.poll_event() {
            conduct.on_event(&event);
        }
    }
    if let Some(last) = frames.last() {
        dialogue.on_end(last.at + Duration::from_secs(1));
    }
    while let Some(event) = dialogue.poll_event() {
        conduct.on_event(&event);
    }
    conduct
}

#[test]
fn the_built_in_tester_breaks_no_rule_in_any_subject_of_any_vehicle() {
    for shipped in vehicle::SHIPPED {
        for phrases in [&["key on", "preload confirmed P0301 P0420"][..], &["start"]] {
            for topics in SUBJECTS {
                let mut rig = rig(shipped.name, phrases);
                let conduct = judged(&survey(&mut rig, topics));
                let [tester] = conduct.testers() else {
                    panic!("one tester asks {}", shipped.name)
                };
                assert!(tester.requests() > 1, "{topics:?}");
                assert!(
                    tester.tallies.is_empty(),
                    "{} {topics:?}: {:?}",
                    shipped.name,
                    tester.tallies
                );
            }
        }
    }
}
