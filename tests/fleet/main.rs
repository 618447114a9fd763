//! A fleet of healthy cars, each with a life of its own: no monitor accuses one of them, and all of them run often enough.
//!
//! `TWOTRIP_TRIPS` sets how many trips are driven; the long job (`sh tests/long`) drives twenty times as many.

mod life;
mod pairs;
mod sweep;
mod tally;

use std::{iter, time::Duration};

use twotrip_scenario::{Phrase, parse_phrase};
use twotrip_sim::{Event, Outcome, Settings, Simulator, Timing};

use crate::{life::Dice, tally::Tally};

/// Trips of one car.
const TRIPS: u64 = 8;

/// Trips of the whole fleet.
fn trips() -> u64 {
    std::env::var("TWOTRIP_TRIPS").map_or(1000, |text| text.parse().expect("TWOTRIP_TRIPS is a number"))
}

/// Lives through phrases; what came of each.
pub(crate) fn live(car: &mut Simulator, phrases: &[impl AsRef<str>]) -> Vec<(Phrase, Outcome)> {
    for phrase in phrases.iter().map(AsRef::as_ref) {
        car.tell(parse_phrase(phrase).unwrap_or_else(|problem| panic!("{phrase}: {problem}")));
    }
    let mut came = Vec::new();
    while car.is_busy() {
        car.work(Duration::from_secs(3600));
        let events = iter::from_fn(|| car.poll_event());
        came.extend(events.filter_map(|event| match event {
            Event::Finished { phrase, outcome, .. } => Some((phrase, outcome)),
            _ => None,
        }));
    }
    came
}

/// What was refused of it.
fn refused(came: Vec<(Phrase, Outcome)>) -> impl Iterator<Item = String> {
    let refused = came.into_iter().filter(|(_, outcome)| !outcome.ok);
    refused.map(|(phrase, outcome)| format!("{phrase}: {}", outcome.text))
}

/// What a phrase that only asks says of a car, and the details.
pub(crate) fn ask(car: &Simulator, phrase: &str) -> Outcome {
    live(&mut car.clone(), &[phrase]).remove(0).1
}

/// Pending and confirmed codes.
pub(crate) fn stored(car: &Simulator) -> Vec<String> {
    let memory = car.car().ecu().memory();
    memory
        .pending()
        .chain(memory.confirmed())
        .map(|code| code.to_string())
        .collect()
}

/// Drives one car's life; its accusations.
fn drive(seed: u64, tally: &mut Tally) -> Vec<String> {
    let mut dice = Dice::new(seed);
    let mut car = Simulator::new(Settings::compact(seed, Timing::FAST));
    let (climate, birth) = life::birth(&mut dice);
    let mut all_refused: Vec<String> = refused(live(&mut car, &birth)).collect();
    let mut told = birth;
    for _ in 0..TRIPS {
        let level = car.car().vehicle().fuel_level().percent();
        let trip = life::trip(&mut dice, &climate, level);
        let circumstances = format!("{}; the tank began at {level:.1} %", trip.join(" | "));
        all_refused.extend(refused(live(&mut car, &trip)).map(|text| format!("{text} ({circumstances})")));
        told.extend(trip);
        tally.note(car.car().ecu());
        let codes = stored(&car);
        if let Some(code) = codes.first() {
            tally.close(car.car().ecu());
            return vec![format!(
                "car {seed}: {}\n      {}\n        {}",
                codes.join(" "),
                told.join(" | "),
                ask(&car, &format!("why {code}")).details.join("\n        ")
            )];
        }
    }
    tally.close(car.car().ecu());
    all_refused
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

/// Minimum ratios of 13 CCR 1968.2(d)(3.2) (from memory) are held by `tally`.
#[test]
fn no_healthy_car_is_accused_and_every_monitor_runs_often_enough() {
    let mut tally = Tally::default();
    let mut accused = Vec::new();
    for (of_half, accused_of_half) in side_by_side(vec![0, 1], half) {
        tally.merge(&of_half);
        accused.extend(accused_of_half);
    }
    accused.sort();
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
    let seldom = tally.below_minimum();
    assert!(
        seldom.is_empty(),
        "in-use ratios below the regulated minimum: {seldom:?}"
    );
}
