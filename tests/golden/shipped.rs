//! The shipped scenarios as a whole: they meet their own expectations, and the same seed gives the same bytes.

use std::{iter, time::Duration};

use twotrip_can::{CanId, Frame};
use twotrip_ecu::EcuConfig;
use twotrip_harness::KeyPosition;
use twotrip_obd::Dtc;
use twotrip_scenario::{Phrase, Scenario, Spanned, parse_phrase, shipped};
use twotrip_sim::{Event, Outcome, Settings, Simulator, Timing};
use twotrip_units::BusInstant;

fn scenario(name: &str) -> Scenario {
    let shipped = shipped::find(name).unwrap_or_else(|| panic!("{name} is not shipped"));
    Scenario::parse(shipped.text.as_bytes()).unwrap_or_else(|problems| panic!("{name}: {problems:?}"))
}

/// Lets a car do what it was told; the outcomes.
fn finish(car: &mut Simulator) -> Vec<Outcome> {
    let mut outcomes = Vec::new();
    while car.is_busy() {
        car.work(Duration::from_secs(3600));
        outcomes.extend(
            iter::from_fn(|| car.poll_event()).filter_map(|event| match event {
                Event::Finished { outcome, .. } => Some(outcome),
                _ => None,
            }),
        );
    }
    outcomes
}

/// A car that has lived through the scenario's story, and was judged.
fn lived(name: &str, seed: u64, timing: Timing) -> Simulator {
    let scenario = scenario(name);
    let mut car = Simulator::new(Settings::of(&scenario, seed, timing));
    let of_the_car = |phrase: &&Spanned<Phrase>| !phrase.value.is_about_the_tool();
    let verdict = scenario.expectations().iter().filter(of_the_car);
    for phrase in scenario.story().iter().chain(verdict) {
        car.tell(phrase.value.clone());
    }
    for outcome in finish(&mut car) {
        assert!(outcome.ok, "{name}: {}", outcome.text);
    }
    car
}

fn tell(car: &mut Simulator, phrases: &[&str]) {
    for phrase in phrases {
        car.tell(parse_phrase(phrase).unwrap_or_else(|problem| panic!("{phrase}: {problem}")));
    }
    for outcome in finish(car) {
        assert!(outcome.ok, "{}", outcome.text);
    }
}

/// Everything that the car sends while a few questions are asked, with its instants.
fn frames(car: &mut Simulator) -> Vec<(BusInstant, Frame)> {
    let mut sent = Vec::new();
    let mut now = BusInstant::ZERO;
    for request in [
        &[2, 0x01, 0x0C][..],
        &[1, 0x03],
        &[2, 0x09, 0x02],
        &[7, 0x01, 0x04, 0x05, 0x0B, 0x0C, 0x11, 0x42],
    ] {
        now += Duration::from_millis(100);
        car.stand(Duration::from_millis(100));
        car.handle_frame(now, &Frame::padded(CanId::Standard(0x7DF), request, 0));
        let mut next = Some(now);
        while let Some(at) = next {
            now = at.max(now);
            car.handle_timeout(now);
            while let Some(frame) = car.poll_frame(now) {
                sent.push((now, frame));
                car.handle_transmitted(now);
                if frame.data()[0] >> 4 == 1 {
                    car.handle_frame(now, &Frame::padded(CanId::Standard(0x7E0), &[0x30, 0, 0], 0));
                }
            }
            next = car
                .poll_timeout()
                .filter(|&at| at < now + Duration::from_millis(60));
        }
    }
    sent
}

#[test]
fn every_shipped_scenario_meets_its_own_expectations() {
    for shipped in shipped::ALL {
        lived(shipped.name, scenario(shipped.name).seed(), Timing::FAST);
    }
}

#[test]
fn the_loose_cap_waits_with_key_on_lamp_commanded_and_one_code() {
    for seed in 1..=5 {
        let car = lived("loose-fuel-cap", seed, Timing::FAST);
        let memory = car.car().ecu().memory();
        assert!(memory.mil_commanded());
        assert_eq!(
            memory.confirmed().collect::<Vec<_>>(),
            [Dtc::p(0x0455)],
            "seed {seed}"
        );
        assert_eq!(
            memory.permanent().collect::<Vec<_>>(),
            [Dtc::p(0x0455)],
            "seed {seed}"
        );
        assert_eq!(car.car().vehicle().sensors().key, KeyPosition::On);
        assert!(car.car().vehicle().engine_speed().rpm() < 1.0);
    }
}

/// Driving cycle by driving cycle: the lamp under the regulation of a scenario's file.
#[test]
fn a_european_car_lights_its_lamp_one_driving_cycle_later() {
    let american = scenario("tank-pressure-sensor-low").regulation();
    let european = scenario("european-tank-pressure-sensor").regulation();
    for (regulation, trips) in [(american, 2), (european, 3)] {
        let mut car = Simulator::new(Settings {
            ecu: EcuConfig::under(regulation),
            ..Settings::compact(1, Timing::FAST)
        });
        tell(&mut car, &["defect wiring tank-pressure-sensor short-to-ground"]);
        for trip in 1..=trips {
            assert!(!car.car().ecu().memory().mil_commanded(), "before trip {trip}");
            tell(
                &mut car,
                &["start", "wait 10 s", "expect pending P0452", "key off"],
            );
        }
        let memory = car.car().ecu().memory();
        assert!(memory.mil_commanded(), "{}", regulation.name);
        assert_eq!(
            memory.permanent().count(),
            usize::from(regulation.permanent_codes)
        );
        // PID $1C: 01 is California's OBD II, 06 EOBD (SAE J1979, from memory). Service $0A is unknown to the latter.
        tell(&mut car, &["key on"]);
        let said: Vec<Vec<u8>> = [
            (0x7DF, &[2, 0x01, 0x1C][..]),
            (0x7DF, &[1, 0x0A]),
            (0x7E0, &[1, 0x0A]),
        ]
        .into_iter()
        .map(|(id, request)| {
            let now = BusInstant::from_secs(1);
            car.handle_frame(now, &Frame::padded(CanId::Standard(id), request, 0));
            let frame = car.poll_frame(now);
            car.handle_transmitted(now);
            frame.map_or_else(Vec::new, |frame| {
                frame.data()[1..=usize::from(frame.data()[0])].to_vec()
            })
        })
        .collect();
        let permanent = vec![0x4A, 1, 0x04, 0x52];
        let expected = if regulation.permanent_codes {
            [vec![0x41, 0x1C, 0x01], permanent.clone(), permanent]
        } else {
            [vec![0x41, 0x1C, 0x06], vec![], vec![0x7F, 0x0A, 0x11]]
        };
        assert_eq!(said, expected, "{}", regulation.name);
    }
}

#[test]
fn the_same_seed_gives_the_same_bytes_at_the_same_instants() {
    let run = |seed| frames(&mut lived("loose-fuel-cap", seed, Timing::REAL));
    let first = run(1);
    assert!(first.len() > 6, "{first:?}");
    assert_eq!(first, run(1));
    assert_ne!(first, run(2), "the seed has no effect");
}

#[test]
fn a_fork_lives_on_by_itself() {
    let mut repaired = lived("loose-fuel-cap", 1, Timing::FAST);
    let mut neglected = repaired.clone();
    tell(&mut repaired, &["tighten fuel-cap"]);
    for car in [&mut repaired, &mut neglected] {
        let now = BusInstant::from_secs(1);
        car.handle_frame(now, &Frame::padded(CanId::Standard(0x7DF), &[1, 0x04], 0));
        assert_eq!(car.poll_frame(now).map(|frame| frame.data()[1]), Some(0x44));
        car.handle_transmitted(now);
        tell(car, &["soak 9 h", "drive udds", "key off", "soak 1 h", "key on"]);
    }
    assert_eq!(repaired.car().ecu().memory().pending().count(), 0);
    assert_eq!(repaired.car().ecu().memory().permanent().count(), 0);
    assert_eq!(
        neglected.car().ecu().memory().pending().collect::<Vec<_>>(),
        [Dtc::p(0x0455)]
    );
    assert_eq!(neglected.car().ecu().memory().permanent().count(), 1);
}

/// How often anybody looks changes nothing: standing in one piece or in many gives the same car.
#[test]
fn standing_time_can_be_cut_anywhere() {
    let mut whole = lived("loose-fuel-cap", 1, Timing::FAST);
    let mut cut = whole.clone();
    whole.stand(Duration::from_secs(20));
    for _ in 0..20_000 {
        cut.stand(Duration::from_millis(1));
    }
    assert_eq!(whole.car().ecu().live(), cut.car().ecu().live());
    assert_eq!(whole.car().now(), cut.car().now());
}
