//! The periodic messages of the car's control units among the answers, as a tester on its bus sees them.

use std::{collections::BTreeMap, time::Duration};

use twotrip_can::{
    CanId, Frame,
    timing::{self, BitRate},
};
use twotrip_harness::broadcast::{BroadcastMessage, Content, MESSAGES, checksum};
use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_units::BusInstant;

use crate::desk::{Desk, FUNCTIONAL, PHYSICAL, Sent};

fn desk(timing: Timing) -> Desk {
    Desk {
        car: Simulator::new(Settings {
            broadcasts: true,
            ..Settings::compact(1, timing)
        }),
        now: BusInstant::ZERO,
    }
}

fn message(frame: &Frame) -> Option<&'static BroadcastMessage> {
    let CanId::Standard(id) = frame.id() else {
        return None;
    };
    MESSAGES.iter().find(|message| message.id == id)
}

/// What a frame says.
fn says(frame: &Frame, content: Content) -> Option<f64> {
    let message = message(frame)?;
    let signal = message.signals.iter().find(|signal| signal.content == content)?;
    let mut data = [0; 8];
    data[..frame.data().len()].copy_from_slice(frame.data());
    Some(message.decode(signal, data))
}

fn last(frames: &[Sent], content: Content) -> f64 {
    let mut said = frames.iter().rev().filter_map(|(_, frame)| says(frame, content));
    said.next().expect("it is sent")
}

#[test]
fn every_message_keeps_its_cycle_and_none_overlaps() {
    let mut desk = desk(Timing::REAL);
    assert_eq!(desk.sends(Duration::from_secs(1)), [], "key off: silence");
    desk.tell(&["start", "wait 10 s"]);
    let begun = desk.now;
    let frames = desk.sends(Duration::from_secs(10));
    let mut counts = BTreeMap::new();
    for (at, frame) in &frames {
        let message = message(frame).expect("nobody asks");
        assert_eq!(
            frame.data().len(),
            usize::from(message.length),
            "{}",
            message.name
        );
        let turns: &mut Vec<BusInstant> = counts.entry(message.id).or_default();
        turns.push(*at);
    }
    for message in &MESSAGES {
        let turns = &counts[&message.id];
        let wanted = (10_000 - message.offset.as_millis()).div_ceil(message.cycle.as_millis());
        assert_eq!(
            turns.len() as u128,
            wanted + 1 - u128::from(message.offset.as_nanos() > 0),
            "{}",
            message.name
        );
        for (turn, at) in (0..).zip(turns) {
            let planned = begun + message.offset + message.cycle * turn;
            let late = at.saturating_since(planned);
            assert!(
                *at >= planned && late < Duration::from_millis(2),
                "{}: {late:?}",
                message.name
            );
        }
    }
    for pair in frames.windows(2) {
        let taken = timing::frame_time(&pair[0].1, BitRate::Kbit500);
        assert!(pair[0].0 + taken <= pair[1].0, "two frames at once");
    }
}

#[test]
fn they_say_what_the_car_does() {
    let mut desk = desk(Timing::REAL);
    desk.tell(&["drive 50 km/h for 60 s"]);
    let frames = desk.sends(Duration::from_secs(2));
    let vehicle = desk.car.car().vehicle();
    let near = |content, value: f64, by: f64| {
        let said = last(&frames, content);
        assert!((said - value).abs() <= by, "{content:?}: {said}, not {value}");
    };
    near(Content::EngineSpeed, vehicle.engine_speed().rpm(), 5.0);
    near(
        Content::OutputSpeed,
        vehicle.road_speed().kilometres_per_hour(),
        0.01,
    );
    near(
        Content::WheelSpeed,
        vehicle.road_speed().kilometres_per_hour(),
        0.01,
    );
    near(Content::Odometer, vehicle.distance().kilometres(), 0.06);
    near(
        Content::CoolantTemperature,
        vehicle.coolant_temperature().celsius(),
        1.5,
    );
    near(Content::BatteryVoltage, vehicle.battery_voltage().volts(), 0.05);
    near(
        Content::ManifoldPressure,
        vehicle.manifold_pressure().kilopascals(),
        1.5,
    );
    near(Content::EngineRuns, 1.0, 0.0);
    near(Content::Key, 1.0, 0.0);
    near(Content::Selector, 3.0, 0.0);
    // Counters go round without a gap, checksums hold.
    let mut counts: BTreeMap<CanId, f64> = BTreeMap::new();
    for (_, frame) in &frames {
        let Some(count) = says(frame, Content::Counter) else {
            continue;
        };
        if let Some(before) = counts.insert(frame.id(), count) {
            assert!((count - (before + 1.0) % 16.0).abs() < 0.5);
        }
        let (bytes, sum) = frame.data().split_at(frame.data().len() - 1);
        assert_eq!(sum, [checksum(bytes)]);
    }
    assert!(counts.len() >= 3);
    desk.tell(&["key off"]);
    assert_eq!(desk.sends(Duration::from_secs(2)), [], "asleep");
    desk.tell(&["key on"]);
    assert!(!desk.sends(Duration::from_secs(1)).is_empty(), "awake again");
}

/// An answer of several frames comes whole and in time, among them; and the same calls give the same bytes.
#[test]
fn answers_find_their_way_among_them() {
    let ask = || {
        let mut desk = desk(Timing::REAL);
        desk.tell(&["start"]);
        let mut frames = desk.sends(Duration::from_millis(497));
        desk.hears(&Frame::padded(FUNCTIONAL, &[2, 0x09, 0x02], 0));
        let asked = desk.now;
        frames.extend(desk.sends(Duration::from_millis(20)));
        desk.hears(&Frame::padded(PHYSICAL, &[0x30, 0, 0], 0));
        let cleared = desk.now;
        frames.extend(desk.sends(Duration::from_millis(20)));
        (frames, asked, cleared)
    };
    let (frames, asked, cleared) = ask();
    let answers: Vec<&Sent> = frames
        .iter()
        .filter(|(_, frame)| message(frame).is_none())
        .collect();
    let bytes: Vec<u8> = answers.iter().map(|(_, frame)| frame.data()[0]).collect();
    assert_eq!(bytes, [0x10, 0x21, 0x22]);
    assert!(answers[0].0.saturating_since(asked) < Duration::from_millis(10));
    assert!(answers[2].0.saturating_since(cleared) < Duration::from_millis(4));
    assert_eq!(ask().0, frames);
}

/// However answers and turns fall upon each other, every deadline leads on: asked at many instants of a cycle.
#[test]
fn no_deadline_stands_still() {
    let mut desk = desk(Timing::REAL);
    desk.tell(&["start"]);
    let mut turns = 0;
    for question in 0..100 {
        desk.sends(Duration::from_micros(20_000 + 137 * question));
        desk.hears(&Frame::padded(FUNCTIONAL, &[2, 0x09, 0x02], 0));
        let until = desk.now + Duration::from_millis(40);
        let mut cleared = false;
        while let Some(at) = desk.car.poll_timeout().filter(|&at| at <= until) {
            turns += 1;
            assert!(turns < 50_000, "the same deadline again and again");
            desk.now = at.max(desk.now);
            desk.car.handle_timeout(desk.now);
            while let Some(frame) = desk.car.poll_frame(desk.now) {
                desk.car.handle_transmitted(desk.now);
                if message(&frame).is_none() && !cleared {
                    cleared = true;
                    desk.hears(&Frame::padded(PHYSICAL, &[0x30, 0, 0], 0));
                }
            }
        }
    }
}
