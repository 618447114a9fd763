//! Every shipped scenario, recorded in one process and lived through again: the same frames at the same instants and the
//! same happenings, bit for bit, and the same again from the recording of that. Among them a disturbed run.

use std::{fs, ops::ControlFlow, path::Path};

use twotrip_can::{memory_bus::Pacing, timing::BitRate};
use twotrip_host::{
    in_process::Rig,
    recording::{Header, Options, Reader, Writer},
    repeat::{Counts, Exact, Repeat},
    story,
};
use twotrip_scenario::{Scenario, disturbance::Kind, parse_phrase, shipped};
use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_units::BusInstant;

/// Nothing is late here, and instants are bus time.
const EXACT: Exact = Exact {
    instants: true,
    deadlines: true,
};

/// Into how many tests they are cut, so that they run side by side.
const PARTS: usize = 4;

fn writer(path: &Path, header: &Header) -> Writer {
    let options = Options {
        path: path.to_owned(),
        application: "a test".to_owned(),
        header: vec![header.comment()],
        ..Options::default()
    };
    Writer::open(&options, "in-process", Some(500_000))
        .expect("writable")
        .0
}

/// A workshop's visit: codes are read, the order's work is done, the car is driven round the block, cleared and read again.
fn visit(rig: &mut Rig, scenario: &Scenario) {
    let ask = |rig: &mut Rig, request: &[u8]| rig.ask(request).expect("a request");
    for request in [
        &[0x01, 0x00][..],
        &[0x09, 0x02],
        &[0x01, 0x01],
        &[0x03],
        &[0x07],
        &[0x0A],
        &[0x02, 0x02, 0x00],
        &[0x06, 0x01],
    ] {
        ask(rig, request);
    }
    for phrase in scenario
        .repair_order()
        .map_or(&[][..], |order| order.correction())
    {
        rig.tell(phrase.clone());
    }
    for text in ["start", "drive 14 mph for 20 s, stop"] {
        rig.tell(parse_phrase(text).expect("a phrase"));
    }
    ask(rig, &[0x01, 0x04, 0x05, 0x06, 0x0B, 0x0C, 0x0F]);
    for text in ["stop", "key off", "soak 3 h", "key on"] {
        rig.tell(parse_phrase(text).expect("a phrase"));
    }
    ask(rig, &[0x04]);
    ask(rig, &[0x01, 0x05, 0x0F, 0x42]);
    ask(rig, &[0x03]);
}

/// Repeats the recording with a car that is live.
fn repeat(from: &Path, car: Simulator, to: Writer) -> Counts {
    let mut repeat = Repeat::new(car, EXACT, Some(to));
    let mut number = 0;
    let mut reader = Reader::open(from).expect("there");
    let mut done = Ok(());
    reader
        .read(|item| {
            number += 1;
            done = repeat.on_item(&item, number);
            if done.is_ok() {
                ControlFlow::Continue(())
            } else {
                ControlFlow::Break(())
            }
        })
        .expect("readable");
    done.expect("it can be repeated");
    let (counts, difference) = repeat.end().expect("it can be repeated");
    assert_eq!(difference, None, "{}", from.display());
    repeat.finish().expect("written");
    counts
}

/// Records a visit, repeats it, and repeats it from that; says what the first repetition counted.
fn twice(folder: &Path, name: &str, text: &str, visit: fn(&mut Rig, &Scenario)) -> Counts {
    let scenario = Scenario::parse(text.as_bytes()).expect("a scenario");
    let seed = scenario.seed();
    let settings = Settings::of(&scenario, seed, Timing::REAL_ON_PACED_BUS);
    let header = Header::of(name, text.as_bytes()).with(&settings);
    let [first, second, third] = [1, 2, 3].map(|turn| folder.join(format!("{name}-{turn}.pcapng")));

    let mut rig = Rig::new(Simulator::new(settings), Pacing::Rate(BitRate::Kbit500));
    for phrase in scenario.story() {
        rig.live_through(phrase.value.clone());
    }
    rig.go_live(scenario.cues());
    rig.record(writer(&first, &header));
    visit(&mut rig, &scenario);
    let written = rig.finish().expect("written").expect("it was recorded");

    // Another life of the same car, from what the recording says of it.
    let mut car = Simulator::new(header.settings(&scenario));
    story::live_through(&mut car, &scenario, |_| {});
    car.go_live(BusInstant::ZERO, scenario.cues(), []);
    let counts = repeat(&first, car.clone(), writer(&second, &header));
    assert_eq!(counts.left_over, 0, "{name}");
    assert_eq!(counts.frames + counts.heard, written.frames, "{name}");
    repeat(&second, car, writer(&third, &header));
    let [first, second, third] = [first, second, third].map(|path| fs::read(path).expect("there"));
    assert!(first == second && second == third, "{name}: the files differ");
    counts
}

fn part(which: usize) {
    let folder = tempfile::tempdir().expect("a folder");
    for shipped in shipped::ALL.iter().skip(which).step_by(PARTS) {
        let counts = twice(folder.path(), shipped.name, shipped.text, visit);
        let name = shipped.name;
        assert!(counts.frames >= 15 && counts.happened >= 12, "{name}: {counts:?}");
    }
}

/// A story that begins with a disturbance, and cues that bring more.
const DISTURBED: &str = r#"
version = 1
title = "A disturbed line"
vehicle = "compact-2.0"
broadcasts = true

[story]
before = """
key on
preload confirmed P0301 P0302 P0171
disturb drop 7E8 20 %
"""

[[when]]
event = "service 07"
do = "disturb duplicate 7E8 50 %"
"#;

/// Everything that can happen to a line, one after the other, each with questions.
fn disturbed_visit(rig: &mut Rig, _: &Scenario) {
    for kind in Kind::ALL {
        rig.tell(parse_phrase(kind.row().example).expect("a phrase"));
        for request in [&[0x01, 0x00][..], &[0x03], &[0x09, 0x02], &[0x07]] {
            rig.ask(request).expect("a request");
        }
    }
    rig.tell(parse_phrase("disturb off").expect("a phrase"));
    rig.ask(&[0x03]).expect("a request");
}

#[test]
fn a_disturbed_run_is_repeated() {
    let folder = tempfile::tempdir().expect("a folder");
    let counts = twice(folder.path(), "disturbed", DISTURBED, disturbed_visit);
    assert!(counts.frames > 100, "{counts:?}");
    // Each begins and ends, and is told twice: as a phrase and as a disturbance.
    assert!(
        counts.happened > 3 * u64::try_from(Kind::ALL.len()).expect("few"),
        "{counts:?}"
    );
}

#[test]
fn shipped_scenarios_are_repeated_first_quarter() {
    part(0);
}

#[test]
fn shipped_scenarios_are_repeated_second_quarter() {
    part(1);
}

#[test]
fn shipped_scenarios_are_repeated_third_quarter() {
    part(2);
}

#[test]
fn shipped_scenarios_are_repeated_fourth_quarter() {
    part(3);
}
