//! What each disturbance of the wire does there: the frames, beside those of a run without it.

use std::time::Duration;

use twotrip_can::{
    Frame, FrameKind,
    error_frame::{ErrorFrame, ErrorState},
    timing::{BitRate, BusLoad, frame_bits},
};
use twotrip_scenario::disturbance::{Kind, Subject};
use twotrip_units::BusInstant;

use crate::world::{Bad, Passed, World};

/// Asks for the VIN (a long answer), then for engine speed.
const ASKED: [&[u8]; 2] = [&[0x09, 0x02], &[0x01, 0x0C]];

fn run(phrase: &str) -> World {
    let mut world = World::new(3);
    if !phrase.is_empty() {
        world.tell(phrase);
    }
    world.run(&mut Bad::new(&ASKED, true), Duration::from_secs(3));
    world
}

fn states(world: &World) -> Vec<ErrorState> {
    let reports = world
        .passed
        .iter()
        .filter(|passed| passed.frame.kind() == FrameKind::Error);
    reports
        .filter_map(|passed| ErrorFrame::decode(&passed.frame)?.state())
        .collect()
}

fn bytes(frames: &[Passed]) -> Vec<Frame> {
    frames.iter().map(|passed| passed.frame).collect()
}

/// How much later than without it each frame of the car is, in milliseconds.
fn later(plain: &[Passed], disturbed: &[Passed]) -> Vec<u128> {
    assert_eq!(bytes(plain), bytes(disturbed));
    let each = plain.iter().zip(disturbed);
    each.map(|(plain, other)| other.at.saturating_since(plain.at).as_millis())
        .collect()
}

#[test]
fn each_disturbance_of_the_wire_shows_there() {
    let plain = run("");
    let answers = plain.of(0x7E8);
    // First frame, two consecutive ones, a single frame.
    assert_eq!(answers.len(), 4);
    for &kind in Kind::ALL
        .iter()
        .filter(|kind| kind.row().subject == Subject::Wire)
    {
        match kind {
            Kind::Drop => {
                assert_eq!(run("disturb drop").of(0x7E8).len(), 0);
                assert_eq!(
                    run("disturb drop 7E0").of(0x7E8).len(),
                    0,
                    "the questions are lost"
                );
                assert_eq!(bytes(&run("disturb drop 7E9").of(0x7E8)), bytes(&answers));
                let one = run("disturb drop 7E8 once").of(0x7E8);
                assert_eq!(
                    bytes(&one),
                    bytes(&answers[3..]),
                    "without its first frame a long one is none"
                );
            }
            Kind::Delay => {
                let late = later(&answers, &run("disturb delay 7E8 30 ms").of(0x7E8));
                // Flow control comes later by as much as the first frame, so that what follows is late twice.
                assert!(matches!(late[..], [30, 59 | 60, 59 | 60, 30]), "{late:?}");
            }
            Kind::Jitter => {
                let late = later(&answers, &run("disturb jitter 7E8 20 ms").of(0x7E8));
                assert!(late[0] <= 20 && late[3] <= 20, "{late:?}");
                assert!(late.windows(2).any(|pair| pair[0] != pair[1]), "{late:?}");
            }
            Kind::Duplicate => {
                let twice = run("disturb duplicate 7E8").of(0x7E8);
                let expected: Vec<Frame> = bytes(&answers).iter().flat_map(|&frame| [frame; 2]).collect();
                assert_eq!(bytes(&twice), expected);
            }
            Kind::Reorder => {
                let late = later(&answers, &run("disturb reorder 7E8 40 ms").of(0x7E8));
                assert_eq!(late[3], 40, "there is nobody else to overtake it");
                overtakes();
            }
            Kind::BusError => {
                let world = run("disturb bus-error 7E8 3 times");
                let late = later(&answers, &world.of(0x7E8));
                assert!(late.iter().all(|millis| *millis <= 2), "{late:?}");
                let errors = world
                    .passed
                    .iter()
                    .filter(|passed| passed.frame.kind() == FrameKind::Error);
                assert_eq!(errors.count(), 3);
                let confined = states(&run("disturb bus-error 7E8 32 times"));
                assert_eq!(
                    confined.last_chunk(),
                    Some(&[ErrorState::BusOff, ErrorState::Active])
                );
                assert!(confined.contains(&ErrorState::Warning) && confined.contains(&ErrorState::Passive));
            }
            Kind::ErrorPassive => {
                let mut world = run("disturb error-passive");
                assert_eq!(bytes(&world.of(0x7E8)), bytes(&answers));
                assert_eq!(states(&world), [ErrorState::Passive]);
                world.tell("disturb error-passive off");
                world.run(&mut Bad::new(&[], true), Duration::from_millis(1));
                assert_eq!(states(&world), [ErrorState::Passive, ErrorState::Active]);
            }
            Kind::BusOff => {
                let world = run("disturb bus-off 300 ms");
                assert_eq!(states(&world), [ErrorState::BusOff, ErrorState::Active]);
                assert_eq!(
                    bytes(&world.of(0x7E8)),
                    bytes(&answers[3..]),
                    "the second question is answered"
                );
                let absent = run("disturb bus-off 900 ms");
                assert!(absent.of(0x7E8).is_empty());
            }
            Kind::BackgroundLoad => {
                let world = run("disturb background-load 60 %");
                assert_eq!(bytes(&world.of(0x7E8)), bytes(&answers));
                let mut load = BusLoad::new(BitRate::Kbit500, Duration::from_millis(10));
                for passed in &world.passed {
                    load.on_frame(passed.at, frame_bits(&passed.frame));
                }
                let found = load.over(Duration::from_secs(3)).percent();
                assert!((58.0..63.0).contains(&found), "{found} %");
            }
            Kind::InterfaceDown => {
                let world = run("disturb interface-down 0.3 s");
                assert_eq!(bytes(&world.of(0x7E8)), bytes(&answers[3..]));
                assert!(run("disturb interface-down 2 s").of(0x7E8).is_empty());
            }
            other => panic!("{}: what does it do?", other.name()),
        }
    }
}

/// With others on the bus a frame that gives way is overtaken by one of theirs, and never by its own.
fn overtakes() {
    let mut world = World::new(3);
    world.tell("disturb background-load 20 %");
    world.tell("disturb reorder 7E8 40 ms");
    world.run(&mut Bad::new(&ASKED, true), Duration::from_secs(3));
    let plain = run("").of(0x7E8);
    let late = later(&plain, &world.of(0x7E8));
    assert!(late[3] < 10, "{late:?}");
}

/// Dice of its own each, of the run's seed: the same again, and another with another seed.
#[test]
fn chances_repeat_with_their_seed() {
    let frames = |seed: u64, others: &[&str]| {
        let mut world = World::new(seed);
        for phrase in others {
            world.tell(phrase);
        }
        let asked = [&[0x01, 0x0C][..]; 40];
        world.run(&mut Bad::new(&asked, true), Duration::from_secs(25));
        world.of(0x7E8).len()
    };
    let lost = frames(1, &["disturb drop 7E8 50 %"]);
    assert!((10..30).contains(&lost), "{lost} of 40");
    assert_eq!(frames(1, &["disturb drop 7E8 50 %"]), lost);
    assert!((2..8).any(|seed| frames(seed, &["disturb drop 7E8 50 %"]) != lost));
    assert_eq!(
        frames(1, &["disturb drop 7E8 50 %", "disturb jitter 7E8 9 ms"]),
        lost,
        "another disturbance draws from dice of its own"
    );
}

/// The first frame counts, also where the car is in the middle of an answer as it begins.
#[test]
fn it_may_begin_in_the_middle_of_an_answer() {
    for micros in (0..12_000).step_by(250) {
        let mut world = World::new(3);
        let mut tool = Bad::new(&ASKED, true);
        world.run(&mut tool, Duration::from_micros(micros));
        world.tell("disturb error-passive");
        world.run(&mut tool, Duration::from_secs(2));
        assert_eq!(world.of(0x7E8).len(), 4, "after {micros} us");
        assert!(world.now > BusInstant::from_secs(1));
    }
}
