//! A run in this process, recorded and repeated: the same, the same again, and what is told where it is not.

use std::{fs, path::Path};

use twotrip_can::{memory_bus::Pacing, timing::BitRate};
use twotrip_capture::{Item, items};
use twotrip_scenario::{Scenario, shipped};
use twotrip_sim::{Settings, Simulator, Timing};

use super::*;
use crate::{
    in_process::Rig,
    recording::{Options, Writer},
    story,
};

fn scenario(name: &str) -> Scenario {
    let found = shipped::find(name).expect("shipped");
    Scenario::parse(found.text.as_bytes()).expect("a scenario")
}

fn car(scenario: &Scenario, seed: u64) -> Simulator {
    Simulator::new(Settings::of(scenario, seed, Timing::REAL_ON_PACED_BUS))
}

fn writer(path: &Path) -> Writer {
    let options = Options {
        path: path.to_owned(),
        application: "a test".to_owned(),
        ..Options::default()
    };
    Writer::open(&options, "in-process", Some(500_000))
        .expect("writable")
        .0
}

/// Phrases and questions on an in-memory bus, recorded into this file.
fn record(path: &Path, name: &str, seed: u64) {
    let scenario = scenario(name);
    let mut rig = Rig::new(car(&scenario, seed), Pacing::Rate(BitRate::Kbit500));
    for phrase in scenario.story() {
        rig.live_through(phrase.value.clone());
    }
    rig.go_live(scenario.cues());
    rig.record(writer(path));
    let tell = |rig: &mut Rig, text: &str| {
        rig.tell(parse_phrase(text).expect("a phrase"));
    };
    let ask = |rig: &mut Rig, request: &[u8]| {
        assert!(
            !rig.ask(request).expect("a request").frames.is_empty(),
            "{request:02X?}"
        );
    };
    tell(&mut rig, "start");
    ask(&mut rig, &[0x01, 0x0C]);
    ask(&mut rig, &[0x09, 0x02]);
    tell(&mut rig, "drive 14 mph for 20 s, stop");
    tell(&mut rig, "soak 90 min");
    ask(&mut rig, &[0x01, 0x05]);
    tell(&mut rig, "key on");
    ask(&mut rig, &[0x01, 0x05, 0x0B, 0x0F, 0x42]);
    ask(&mut rig, &[0x04]);
    let counts = rig.finish().expect("written").expect("it was recorded");
    assert!(counts.frames > 10 && counts.dropped == 0, "{counts:?}");
}

const EXACT: Exact = Exact {
    instants: true,
    deadlines: true,
};

type Ended = Result<(Counts, Option<Difference>), RepeatError>;

/// Repeats what is in these bytes with this car.
fn repeat(bytes: &[u8], name: &str, seed: u64, writer: Option<Writer>) -> Ended {
    let scenario = scenario(name);
    let mut simulator = car(&scenario, seed);
    story::live_through(&mut simulator, &scenario, |_| {});
    simulator.go_live(BusInstant::ZERO, scenario.cues(), []);
    let mut repeat = Repeat::new(simulator, EXACT, writer);
    let mut number = 0;
    for item in items(bytes) {
        let item = item.expect("whole");
        number += u64::from(matches!(item, Item::Packet(_)));
        repeat.on_item(&item, number)?;
    }
    let ended = repeat.end()?;
    repeat.finish().expect("written");
    Ok(ended)
}

#[test]
fn a_run_is_repeated_and_so_is_the_recording_of_that() {
    let folder = tempfile::tempdir().expect("a folder");
    let [first, second, third] = ["1", "2", "3"].map(|name| folder.path().join(name));
    record(&first, "healthy", 1);
    let bytes = fs::read(&first).expect("there");
    for (from, to) in [(&first, &second), (&second, &third)] {
        let bytes = fs::read(from).expect("there");
        let (counts, difference) = repeat(&bytes, "healthy", 1, Some(writer(to))).expect("repeated");
        assert_eq!(difference, None);
        assert!(
            counts.frames > 6 && counts.heard > 6 && counts.happened > 8,
            "{counts:?}"
        );
        assert_eq!(
            (counts.left_over, counts.told, counts.late),
            (0, 4, Duration::ZERO)
        );
    }
    assert!(bytes == fs::read(&second).expect("there"), "the first repetition");
    assert!(bytes == fs::read(&third).expect("there"), "the second one");
}

/// Every bit of the car's frames counts, and so does what it is and when.
#[test]
fn where_a_recording_and_its_repetition_part_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("1");
    record(&path, "healthy", 1);
    let whole = fs::read(&path).expect("there");
    let parted = |bytes: &[u8]| repeat(bytes, "healthy", 1, None).expect("repeated").1;
    let place = |bytes: &[u8], what: &[u8]| {
        let mut windows = bytes.windows(what.len());
        windows.position(|window| window == what).expect("it is in there")
    };
    let changed = |what: &[u8], at: usize, to: u8| {
        let mut bytes = whole.clone();
        bytes[place(&whole, what) + at] = to;
        bytes
    };
    // A byte of the answer with the coolant temperature.
    let answer = [0, 0, 0x07, 0xE8, 8, 0, 0, 0, 4, 0x41, 0x0C];
    let Some(Difference::Frame {
        number: 2,
        recorded,
        now,
        ..
    }) = parted(&changed(&answer, 12, 0xFF))
    else {
        panic!("a frame")
    };
    assert_eq!(recorded.data()[4], 0xFF);
    assert_eq!(recorded.data()[..4], now.data()[..4]);
    // The instant of a frame: the low bytes stand before the two lengths of 16.
    let stamp = [16, 0, 0, 0, 16, 0, 0, 0, 0, 0, 0x07, 0xE8];
    let low = place(&whole, &stamp) - 4;
    let mut bytes = whole.clone();
    bytes[low] ^= 1;
    assert!(matches!(
        parted(&bytes),
        Some(Difference::Instant { number: 2, .. })
    ));
    // What happened inside.
    let bytes = changed(b"engine starts", 7, b'S');
    let Some(Difference::Happened { recorded, now }) = parted(&bytes) else {
        panic!("a line")
    };
    assert_eq!(recorded.replace('S', "s"), now);
    // Another phrase makes another car.
    let bytes = changed(b"told \"soak 90", 11, b'4');
    assert!(matches!(parted(&bytes), Some(Difference::Happened { .. })));
    // So does another seed: answers come at other instants.
    let other = repeat(&whole, "healthy", 2, None).expect("repeated").1;
    assert!(
        matches!(
            other,
            Some(Difference::Silent { .. } | Difference::Early { .. } | Difference::Happened { .. })
        ),
        "{other:?}"
    );
}

#[test]
fn what_cannot_be_repeated_is_refused() {
    let simulator = car(&scenario("healthy"), 1);
    let new = || Repeat::new(simulator.clone(), Exact::default(), None);
    assert_eq!(new().end(), Err(RepeatError::NoJournal));
    let mut repeat = new();
    let began = "time: 0 began \"live\" @0.000000000, stood 0.010000000 @0.010000000";
    repeat.on_comment(began).expect("the first line");
    repeat.on_comment(began).expect("twice is once");
    assert_eq!(
        repeat.on_comment("time: 3 turn @1.000000000"),
        Err(RepeatError::Gap { from: 2, to: 2 })
    );
    assert!(matches!(
        repeat.on_comment("time: 2 turned @1.000000000"),
        Err(RepeatError::Line(_))
    ));
    assert!(matches!(
        new().on_comment("time: 0 told \"drink tea\" @1.000000000"),
        Err(RepeatError::Phrase(_))
    ));
    // As often as one likes: what does nothing is done once.
    let mut repeat = new();
    repeat
        .on_comment("time: 0 worked 2.000000000x18446744073709551615 @1.000000000")
        .expect("nothing to work on");
    // Lines without end.
    let mut repeat = new();
    let ended = (0..).find_map(|line| repeat.on_comment(&format!("car: bus={line} car=0 x")).err());
    assert_eq!(ended, Some(RepeatError::OutOfStep));
}
