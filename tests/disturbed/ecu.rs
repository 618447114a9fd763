//! ECUs that misbehave, each party in turn: each row of the table shows on the wire, the built-in tester reads codes and a long
//! answer all the same or knows what it has not got, and the judge tells it from a tool that does one thing wrong.

use std::{collections::BTreeSet, time::Duration};

use twotrip_can::Frame;
use twotrip_dialogue::verdict::Verdict;
use twotrip_scenario::disturbance::{Kind, Picks, Subject};
use twotrip_sim::Event;
use twotrip_tester::{EcuNumber, Survey, Topic};

use crate::{
    built_in::Scan,
    parties::{Party, Seen, parties, run},
    rows::{Needs, ROWS, Reads, Row},
    world::World,
};

fn kind(row: &Row) -> Kind {
    let name = row.phrase.split(' ').next().expect("a name");
    Kind::named(name).expect("a row of the table")
}

/// The rows that there are for a party.
fn rows(party: &Party) -> impl Iterator<Item = &'static Row> {
    let vin = party.long_topic == Topic::Vin;
    ROWS.iter().filter(move |row| vin || row.needs == Needs::Nothing)
}

fn answers(survey: &Survey, topic: Topic, ecu: EcuNumber) -> Vec<Vec<u8>> {
    let of = |finding: &&twotrip_tester::Finding| finding.topic == topic && finding.ecu == ecu;
    let found = survey.findings().iter().filter(of);
    found.map(|finding| finding.answer.clone()).collect()
}

fn of_car(world: &World) -> Vec<Frame> {
    let of_car = world.passed.iter().filter(|passed| passed.from_car);
    of_car.map(|passed| passed.frame).collect()
}

fn disturbed(party: &Party, row: &Row) -> World {
    let mut world = party.world(1);
    let picks = kind(row).row().picks == Picks::AnEcu;
    let told = world.tell(&party.phrase(row.phrase, picks));
    let done = |event: &Event| matches!(event, Event::Finished { outcome, .. } if outcome.ok);
    assert!(told.iter().any(done), "{}: {told:?}", row.phrase);
    world
}

/// What a scan has in the end that nothing disturbs.
fn plain(party: &Party) -> (Scan, Vec<Frame>) {
    let (mut world, mut scan) = (party.world(1), party.scan(false));
    run(&mut world, &mut scan);
    let (ecu, survey) = (party.number(), &scan.survey);
    let long = answers(survey, party.long_topic, ecu);
    let whole = |answer: &Vec<u8>| answer.len() == usize::from(party.long_length);
    assert!(long.iter().any(whole), "{}: {long:02X?}", party.name);
    let list = answers(survey, Topic::Codes, ecu);
    assert_eq!(
        list[0].len(),
        usize::from(party.codes.0),
        "{}: {list:02X?}",
        party.name
    );
    (scan, of_car(&world))
}

fn survives(party: &Party, problems: &mut Vec<String>) {
    let (undisturbed, plain) = plain(party);
    let ecu = party.number();
    for row in rows(party) {
        let phrase = row.phrase;
        let mut world = disturbed(party, row);
        let mut scan = party.scan(phrase == "refuse-clear");
        run(&mut world, &mut scan);
        let mut say = |what: String| problems.push(format!("{}: {phrase}: {what}", party.name));
        if !scan.is_over() {
            say("it still waits".to_owned());
        }
        let frames = of_car(&world);
        let seen = Seen {
            party,
            frames: &frames,
            plain: &plain,
        };
        if !(row.shows)(&seen) {
            say(format!("the frames do not show it: {frames:#?}"));
        }
        let survey = &scan.survey;
        let same = |topic| {
            let mut found = [&undisturbed.survey, survey].map(|survey| answers(survey, topic, ecu));
            found.iter_mut().for_each(|answers| answers.sort());
            found[0] == found[1]
        };
        let (codes, long) = (same(Topic::Codes), same(party.long_topic));
        let knows = !survey.unanswered().is_empty() || survey.given_up().next().is_some();
        let fits = match row.reads {
            Reads::Both => codes && long,
            Reads::Codes => codes && !long,
            Reads::Less => knows && !(codes && long),
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
}

fn is_told_apart(party: &Party, problems: &mut Vec<String>) {
    for row in rows(party) {
        let mut world = disturbed(party, row);
        world.run(&mut *(row.bad)(party), Duration::from_secs(9));
        let finding = world.finding();
        if finding.verdict != Verdict::Failed {
            problems.push(format!(
                "{}: {}: {}: {}",
                party.name, row.phrase, finding.verdict, finding.seen
            ));
        }
    }
}

/// A test for each party, so that they run beside each other.
fn of_party(number: usize) {
    let party = &parties()[number];
    let mut problems = Vec::new();
    survives(party, &mut problems);
    is_told_apart(party, &mut problems);
    assert!(problems.is_empty(), "{}", problems.join("\n"));
}

#[test]
fn every_misbehaviour_of_the_engine_ecu_shows_and_is_survived() {
    of_party(0);
}

#[test]
fn every_misbehaviour_on_29_bits_shows_and_is_survived() {
    of_party(1);
}

#[test]
fn every_misbehaviour_of_the_transmission_ecu_shows_and_is_survived() {
    of_party(2);
}

#[test]
fn every_misbehaviour_in_the_newer_dialect_shows_and_is_survived() {
    of_party(3);
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
        let party = &parties()[0];
        let mut world = party.world(1);
        world.tell(&format!("disturb {phrase}"));
        world.run(&mut party.scan(false), Duration::from_secs(20));
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

/// Request, bytes of a code, whether another message tells how many there are.
type List = (&'static [u8], usize, bool);

/// Each list of either dialect lacks its last code once. Only of the confirmed ones another message tells the number: who
/// does not read those again fails.
#[test]
fn any_list_of_codes_can_lack_one() {
    let lists: [(usize, &[List]); 2] = [
        (0, &[(&[0x03], 2, true), (&[0x07], 2, false), (&[0x0A], 2, false)]),
        (
            3,
            &[
                (&[0x19, 0x42, 0x33, 0x08, 0xFF], 5, true),
                (&[0x19, 0x42, 0x33, 0x04, 0xFF], 5, false),
                (&[0x19, 0x55, 0x33], 4, false),
                (&[0x19, 0x1A, 0x01], 4, false),
            ],
        ),
    ];
    for (party, lists) in lists {
        let party = &parties()[party];
        for &(request, each, is_counted) in lists {
            let world = || {
                let mut world = party.world(1);
                world.tell("preload pending P0128 P0506");
                world.tell("disturb code-left-out once");
                world
            };
            let mut twice = world();
            let mut tool = party.good(&[request, request]);
            twice.run(&mut tool, Duration::from_secs(8));
            let [first, second] = &tool.answers[..] else {
                panic!("{request:02X?}: {:02X?}", tool.answers);
            };
            assert_eq!(first.len() + each, second.len(), "{first:02X?} {second:02X?}");
            assert_eq!(twice.finding().verdict, Verdict::Held, "{request:02X?}");
            let mut once = world();
            once.run(&mut party.good(&[request]), Duration::from_secs(8));
            let expected = if is_counted {
                Verdict::Failed
            } else {
                Verdict::NotTried
            };
            assert_eq!(once.finding().verdict, expected, "{request:02X?}");
        }
    }
}

/// What would never act is refused, and says what there is.
#[test]
fn an_ecu_that_is_not_there_or_has_no_vin_is_refused() {
    for (party, phrase, what, those) in [
        (0, "busy 7E9", "no ECU of this car answers by 7E9", "7E8 (ECM)"),
        (
            1,
            "silent 7E8",
            "no ECU of this car answers by 7E8",
            "18DAF110 (ECM), 18DAF118 (TCM), 18DAF140 (BCM)",
        ),
        (
            2,
            "vin-short 7E9",
            "the ECU that answers by 7E9 tells no VIN",
            "7E8 (ECM)",
        ),
    ] {
        let mut world = parties()[party].world(1);
        let told = world.tell(&format!("disturb {phrase}"));
        let outcome = told.iter().find_map(|event| match event {
            Event::Finished { outcome, .. } => Some(outcome),
            _ => None,
        });
        let outcome = outcome.expect("it was told");
        assert!(!outcome.ok, "{phrase}");
        assert_eq!(outcome.text, what);
        assert_eq!(outcome.details, [format!("of this one: {those}")]);
        assert_eq!(world.car.disturbances().count(), 0);
    }
}

#[test]
fn every_misbehaviour_is_tried() {
    let tried: BTreeSet<Kind> = ROWS.iter().map(kind).collect();
    let kinds = Kind::ALL.iter().filter(|kind| kind.row().subject == Subject::Ecu);
    assert_eq!(tried, kinds.copied().collect());
}
