//! Cues and the verdict: a scenario file on a bus, from `ready` to the end of the run.

use std::{iter, time::Duration};

use twotrip_scenario::{Phrase, Scenario, shipped};
use twotrip_sim::{Event, Timing};
use twotrip_units::BusInstant;

use crate::desk::Desk;

const HEAD: &str = "version = 1\ntitle = \"A car\"\nvehicle = \"compact-2.0\"\n";

/// A car of this scenario that has lived through its story and is on the bus.
fn live(text: &str) -> Desk {
    live_file(&format!("{HEAD}{text}"))
}

fn live_file(text: &str) -> Desk {
    let scenario = Scenario::parse(text.as_bytes()).unwrap_or_else(|problems| panic!("{problems:#?}"));
    let story: Vec<String> = scenario
        .story()
        .iter()
        .map(|phrase| phrase.value.to_string())
        .collect();
    let mut desk = Desk::new(scenario.seed(), Timing::FAST);
    desk.tell(&story.iter().map(String::as_str).collect::<Vec<_>>());
    let verdict = scenario.expectations().iter().map(|phrase| match phrase.value {
        Phrase::Expect(expectation) => expectation,
        _ => unreachable!("checked"),
    });
    desk.car.go_live(desk.now, scenario.cues(), verdict);
    desk
}

/// Phrases that have been carried out since, with the second of the car's time.
fn told(desk: &mut Desk) -> Vec<(f64, String)> {
    iter::from_fn(|| desk.car.poll_event())
        .filter_map(|event| match event {
            Event::Finished { at, phrase, .. } => Some((at.as_secs_f64(), phrase.to_string())),
            _ => None,
        })
        .collect()
}

fn names(desk: &mut Desk) -> Vec<String> {
    told(desk).into_iter().map(|(_, phrase)| phrase).collect()
}

/// Lets the car do what waits.
fn finish(desk: &mut Desk) {
    while desk.car.is_busy() {
        desk.car.work(Duration::from_secs(60));
    }
}

#[test]
fn a_cue_acts_so_long_after_ready() {
    let mut desk = live(
        "[story]\nbefore = 'key on'\n[[when]]\nevent = 'ready'\nafter = '30 s'\ndo = 'hold coolant-temperature 60 C'\n\
         [[when]]\nevent = 'ready'\ndo = 'ambient 5 C'\n",
    );
    assert_eq!(names(&mut desk), ["ambient 5 C"]);
    let ready = desk.car.car().now().as_secs_f64();
    desk.car.stand(Duration::from_millis(29_990));
    assert_eq!(told(&mut desk), []);
    desk.car.stand(Duration::from_millis(20));
    let done = told(&mut desk);
    assert_eq!(done.len(), 1);
    assert!((done[0].0 - ready - 30.0).abs() < 0.011, "{done:?}");
    desk.car.stand(Duration::from_secs(1));
    assert_eq!(desk.pid(0x05), [100], "60 C is what the ECU measures");
}

#[test]
fn questions_are_events() {
    let mut desk = live(
        "[story]\nbefore = 'key on'\n[[when]]\nevent = 'first request'\ndo = 'ambient 1 C'\n\
         [[when]]\nevent = 'service 03'\ntimes = 2\ndo = 'ambient 3 C'\n[[when]]\nevent = 'clear'\ndo = 'ambient 4 C'\n",
    );
    desk.pid(0x0C);
    assert_eq!(names(&mut desk), ["ambient 1 C"]);
    desk.pid(0x0C);
    assert_eq!(names(&mut desk), [""; 0]);
    for expected in [&["ambient 3 C"][..], &["ambient 3 C"], &[]] {
        desk.codes(0x03);
        assert_eq!(names(&mut desk), expected);
    }
    assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]));
    desk.car.stand(Duration::from_millis(10));
    assert_eq!(names(&mut desk), ["ambient 4 C"]);
}

/// What takes no time is done in the middle of the drive; what takes time waits for its end.
#[test]
fn the_memory_and_the_drive_are_events() {
    let mut desk = live(
        "[story]\nbefore = '''\nambient 18 C\ndefect fuel-cap loose\nsoak 9 h\n'''\n\
         [[when]]\nevent = 'pending P0455'\ndo = '''\ntighten fuel-cap\nwait 10 s\ninspect fuel-cap\n'''\n\
         [[when]]\nevent = 'confirmed'\ndo = 'ambient 40 C'\n\
         [[when]]\nevent = 'drive end'\ndo = 'key off'\n[[when]]\nevent = 'key off'\nafter = '1 h'\ndo = 'ambient -10 C'\n",
    );
    let begun = desk.car.car().now().as_secs_f64();
    desk.car
        .tell(twotrip_scenario::parse_phrase("drive udds").unwrap());
    finish(&mut desk);
    desk.car.stand(Duration::from_secs(4000));
    let done = told(&mut desk);
    let phrases: Vec<&str> = done.iter().map(|(_, phrase)| phrase.as_str()).collect();
    assert_eq!(
        phrases,
        [
            "tighten fuel-cap",
            "drive udds",
            "wait 10 s",
            "inspect fuel-cap",
            "key off",
            "ambient -10 C"
        ]
    );
    let at = |place: usize| done[place].0 - begun;
    assert!(
        (150.0..600.0).contains(&at(0)),
        "in the middle of the drive: {done:?}"
    );
    assert!(
        (3590.0..3620.0).contains(&(at(5) - at(3))),
        "an hour after key off: {done:?}"
    );
    assert_eq!(desk.car.car().ecu().memory().confirmed().count(), 0);
}

#[test]
fn a_cue_that_calls_itself_comes_to_an_end() {
    let mut desk = live(
        "[story]\nbefore = 'key on'\n[[when]]\nevent = 'key off'\ntimes = 5\ndo = '''\nkey on\nkey off\n'''\n",
    );
    desk.car.tell(twotrip_scenario::parse_phrase("key off").unwrap());
    finish(&mut desk);
    assert_eq!(names(&mut desk).len(), 11);
    assert!(!desk.car.is_busy());
}

/// The verdict with what was seen instead, before and after the tool has done its work.
#[test]
fn the_verdict_judges_car_and_tool_at_the_end() {
    let mut desk = live(
        "[story]\nbefore = '''\nkey on\npreload confirmed P0301\n'''\n[verdict]\nexpect = '''\nexpect mil off\n\
         expect confirmed P0301 always\nexpect no permanent within 1 min\nexpect mil commanded within 10 s\n\
         expect tool read confirmed within 5 s\nexpect tool read freeze-frame\nexpect tool cleared\n\
         expect no tool cleared within 30 s\nexpect no tool read vin\n'''\n",
    );
    let judged = |desk: &Desk| -> Vec<(bool, String)> {
        let verdict = desk.car.verdict();
        verdict
            .into_iter()
            .map(|(_, outcome)| (outcome.ok, outcome.text))
            .collect()
    };
    let met = |desk: &Desk| judged(desk).iter().map(|(met, _)| *met).collect::<Vec<_>>();
    assert_eq!(
        met(&desk),
        [false, true, false, true, false, false, false, true, true]
    );
    let first = judged(&desk);
    assert_eq!(first[0].1, "not as expected: the lamp is commanded on");
    assert!(first[2].1.contains("permanent P0301"), "{first:?}");
    assert_eq!(
        first[4].1,
        "not as expected: the tool never read confirmed; it asked nothing"
    );

    let wait = |desk: &mut Desk, seconds: u64| {
        desk.now += Duration::from_secs(seconds);
        desk.car.stand(Duration::from_secs(seconds));
    };
    wait(&mut desk, 8);
    desk.codes(0x03);
    desk.ask(&[0x02, 0x0C, 0x00]);
    desk.ask(&[0x09, 0x02]);
    wait(&mut desk, 12);
    assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]));
    wait(&mut desk, 1);
    assert_eq!(
        met(&desk),
        [true, false, false, true, false, true, true, false, false]
    );
    let last = judged(&desk);
    assert!(last[1].1.starts_with("not as expected after 20"), "{last:?}");
    assert!(
        last[4].1.contains("only after 8.0 s, not within 5.0 s"),
        "{last:?}"
    );
    assert!(desk.now > BusInstant::from_secs(21));
}

/// The shipped example: a tool that does all it should, and then once more what it should not.
#[test]
fn a_first_visit_is_met_by_a_tool_that_looks_before_it_clears() {
    let mut desk = live_file(shipped::find("first-visit").unwrap().text);
    desk.codes(0x03);
    desk.car.stand(Duration::from_secs(1));
    assert_eq!(desk.pid(0x05), [100], "the coolant has warmed up meanwhile");
    desk.ask(&[0x02, 0x02, 0x00]);
    desk.codes(0x0A);
    assert_eq!(desk.ask(&[0x04]), Some(vec![0x44]));
    assert!(desk.car.verdict().iter().all(|(_, outcome)| outcome.ok));
    desk.car.stand(Duration::from_secs(3));
    finish(&mut desk);
    assert_eq!(
        desk.ask(&[0x04]),
        Some(vec![0x7F, 0x04, 0x22]),
        "the engine runs by now"
    );
}

#[test]
fn an_expectation_waits_in_a_story_and_can_be_broken_later() {
    let mut desk = Desk::new(1, Timing::FAST);
    desk.tell(&["ambient 18 C", "defect fuel-cap loose", "soak 9 h", "start"]);
    let outcomes = desk.outcomes(&[
        "expect no pending always",
        "expect pending P0455 within 10 s",
        "expect lamp dark within 10 s",
    ]);
    let ok: Vec<bool> = outcomes.iter().map(|outcome| outcome.ok).collect();
    assert_eq!(ok, [true, false, true], "{outcomes:#?}");
    assert_eq!(outcomes[1].text, "not as expected in 10.0 s: no pending code");
    desk.tell(&["drive udds", "expect pending P0455"]);
    let verdict = desk.car.verdict();
    assert_eq!(verdict.len(), 1);
    assert!(
        !verdict[0].1.ok && verdict[0].1.text.ends_with("pending P0455"),
        "{verdict:?}"
    );
    // A refusal at once is not watched any further.
    assert!(!desk.outcomes(&["expect no pending always"])[0].ok);
    assert_eq!(desk.car.verdict().len(), 1);
}

/// A car that cannot do what the drive asks for does not keep anybody waiting for ever.
#[test]
fn a_drive_that_cannot_be_driven_ends() {
    let mut desk = Desk::new(1, Timing::FAST);
    desk.tell(&["hold engine-speed 0 rpm"]);
    let outcome = desk.outcomes(&["drive 50 km/h for 5 min"]).remove(0);
    assert!(
        !outcome.ok && outcome.text.contains("did not start"),
        "{outcome:?}"
    );
    desk.tell(&["release engine-speed", "drive 50 km/h for 5 min"]);
}
