//! A fleet of healthy cars, each with a life of its own: no monitor accuses one of them, and all of them run often enough.
//!
//! `TWOTRIP_TRIPS` sets how many trips are driven; the long job (`sh tests/long`) drives twenty times as many.

mod life;
mod pairs;
mod sweep;
mod tally;

use std::{iter, time::Duration};

use twotrip_scenario::parse_phrase;
use twotrip_sim::{Event, Settings, Simulator, Timing};

use crate::{life::Dice, tally::Tally};

/// Trips of one car.
const TRIPS: u64 = 8;

/// Trips of the whole fleet.
fn trips() -> u64 {
    std::env::var("TWOTRIP_TRIPS").map_or(1000, |text| text.parse().expect("TWOTRIP_TRIPS is a number"))
}

/// Lives through phrases; what was refused, apart from a drive that ended early.
fn live(car: &mut Simulator, phrases: &[String]) -> Vec<String> {
    for phrase in phrases {
        car.tell(parse_phrase(phrase).unwrap_or_else(|problem| panic!("{phrase}: {problem}")));
    }
    let mut refused = Vec::new();
    while car.is_busy() {
        car.work(Duration::from_secs(3600));
        refused.extend(
            iter::from_fn(|| car.poll_event()).filter_map(|event| match event {
                Event::Finished { phrase, outcome, .. } if !outcome.ok => {
                    Some(format!("{phrase}: {}", outcome.text))
                }
                _ => None,
            }),
        );
    }
    refused
}

/// What `why` says of a code.
fn why(car: &mut Simulator, code: &str) -> String {
    car.tell(parse_phrase(&format!("why {code}")).expect("a question"));
    while car.is_busy() {
        car.work(Duration::from_secs(1));
    }
    let events = iter::from_fn(|| car.poll_event());
    events
        .filter_map(|event| match event {
            Event::Finished { outcome, .. } => Some(outcome.details.join("\n        ")),
            _ => None,
        })
        .collect()
}

/// Drives one car's life; its accusations.
fn drive(seed: u64, tally: &mut Tally) -> Vec<String> {
    let mut dice = Dice::new(seed);
    let mut car = Simulator::new(Settings::compact(seed, Timing::FAST));
    let (climate, birth) = life::birth(&mut dice);
    let mut refused = live(&mut car, &birth);
    let mut told = birth;
    for _ in 0..TRIPS {
        let level = car.car().vehicle().fuel_level().percent();
        let trip = life::trip(&mut dice, &climate, level);
        let of_this_trip = live(&mut car, &trip);
        refused.extend(
            of_this_trip
                .iter()
                .map(|text| format!("{text} ({}; the tank began at {level:.1} %)", trip.join(" | "))),
        );
        told.extend(trip);
        tally.note(car.car().ecu());
        let memory = car.car().ecu().memory();
        let codes: Vec<String> = memory
            .pending()
            .chain(memory.confirmed())
            .map(|code| code.to_string())
            .collect();
        if let Some(code) = codes.first() {
            tally.close(car.car().ecu());
            return vec![format!(
                "car {seed}: {}\n      {}\n        {}",
                codes.join(" "),
                told.join(" | "),
                why(&mut car, code)
            )];
        }
    }
    tally.close(car.car().ecu());
    refused
        .into_iter()
        .map(|text| format!("car {seed}: {text}"))
        .collect()
}

/// Half of the fleet each, side by side.
fn half(which: u64) -> (Tally, Vec<String>) {
    let mut tally = Tally::default();
    let cars = trips().div_ceil(TRIPS);
    let accused = (0..cars)
        .filter(|car| car % 2 == which)
        .flat_map(|car| drive(car, &mut tally))
        .collect();
    (tally, accused)
}

/// Splits work over two threads, in order.
fn side_by_side<T: Send, R: Send>(items: Vec<T>, work: impl Fn(T) -> R + Sync) -> Vec<R> {
    let (one, other): (Vec<_>, Vec<_>) = items
        .into_iter()
        .enumerate()
        .partition(|(place, _)| place % 2 == 0);
    let mut done: Vec<(usize, R)> = std::thread::scope(|scope| {
        let work = &work;
        let run = move |items: Vec<(usize, T)>| -> Vec<(usize, R)> {
            items
                .into_iter()
                .map(|(place, item)| (place, work(item)))
                .collect()
        };
        let other = scope.spawn(move || run(other));
        let mut done = run(one);
        done.extend(other.join().expect("the other half is done"));
        done
    });
    done.sort_by_key(|(place, _)| *place);
    done.into_iter().map(|(_, result)| result).collect()
}

/// Engines that may die on the way in a thousand trips, after the file of exceptions.
fn stalls_let_through() -> u64 {
    let rows = include_str!("../exceptions.tsv").lines();
    let row = rows
        .map(|line| line.split('\t').collect::<Vec<_>>())
        .find(|row| row.len() > 2 && row[..2] == ["fleet", "stalls"]);
    row.map_or(0, |row| row[2].parse().expect("a number"))
}

/// Minimum ratios of 13 CCR 1968.2(d)(3.2) (from memory) are held by `tally`.
#[test]
fn no_healthy_car_is_accused_and_every_monitor_runs_often_enough() {
    let (tally, mut accused) = std::thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        let mut one = half(0);
        let (tally, accused) = other.join().expect("the other half is driven");
        one.0.merge(&tally);
        one.1.extend(accused);
        one
    });
    accused.sort();
    let (stalled, accused): (Vec<_>, Vec<_>) = accused
        .into_iter()
        .partition(|text| text.contains("died on the way"));
    println!("engines that died on the way: {stalled:#?}");
    let report = tally.report();
    println!("{report}");
    if let Ok(path) = std::env::var("TWOTRIP_FLEET_REPORT") {
        std::fs::write(&path, &report).expect("the report is written");
    }
    assert!(
        accused.is_empty(),
        "{} of the cars:\n  {}",
        accused.len(),
        accused.join("\n  ")
    );
    let most = stalls_let_through() * trips().div_ceil(1000);
    let count = u64::try_from(stalled.len()).expect("few");
    assert!(
        count <= most,
        "{count} stalls, at most {most}:\n  {}",
        stalled.join("\n  ")
    );
    let seldom = tally.below_minimum();
    assert!(
        seldom.is_empty(),
        "in-use ratios below the regulated minimum: {seldom:?}"
    );
}
