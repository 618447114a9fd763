//! A fleet of healthy cars of every shipped vehicle, each with a life of its own: no monitor accuses one of them, and all of
//! them run often enough.
//!
//! `TWOTRIP_TRIPS` sets how many trips are driven, `TWOTRIP_FROM` the number of the first car, `TWOTRIP_VEHICLE` one vehicle
//! for all of them. With `TWOTRIP_KEEP` each slice of the fleet leaves a file in that folder and is not driven again where
//! its file is: the long job (`sh tests/long`) can be left and taken up again.

use std::{collections::BTreeMap, fs, path::PathBuf};

use twotrip_scenario::{Phrase, VehicleModel, vehicle};
use twotrip_sim::{Outcome, Settings, Simulator, Timing};
use twotrip_vehicle::VehicleParams;

use crate::{
    ask,
    life::{self, Dice},
    live, side_by_side, stored,
    tally::Tally,
};

/// Trips of one car.
const TRIPS: u64 = 8;
/// Cars of a slice.
const SLICE: u64 = 30;

fn from_environment(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).map_or(otherwise, |text| {
        text.parse()
            .unwrap_or_else(|_| panic!("{name} is a number, not {text}"))
    })
}

/// Trips of the whole fleet.
fn trips() -> u64 {
    from_environment("TWOTRIP_TRIPS", 1000)
}

/// What came of some cars: sums by vehicle, and what went wrong.
#[derive(Default)]
struct Came {
    tallies: BTreeMap<String, Tally>,
    wrong: Vec<String>,
}

impl Came {
    fn merge(&mut self, other: Self) {
        for (name, tally) in other.tallies {
            self.tallies.entry(name).or_default().merge(&tally);
        }
        self.wrong.extend(other.wrong);
    }

    /// As a file that [`Self::read`] understands.
    fn text(&self) -> String {
        let tallies = self.tallies.iter().flat_map(|(name, tally)| {
            let lines = tally.lines().into_iter();
            lines.map(move |line| format!("{name}\t{line}\n"))
        });
        let wrong = self.wrong.iter();
        let wrong = wrong.map(|text| format!("wrong\t{}\n", text.replace('\n', "\\n")));
        tallies.chain(wrong).collect()
    }

    fn read(text: &str) -> Self {
        let mut came = Self::default();
        for line in text.lines() {
            let (name, rest) = line.split_once('\t').expect("name and what is said of it");
            if name == "wrong" {
                came.wrong.push(rest.replace("\\n", "\n"));
            } else {
                came.tallies.entry(name.to_owned()).or_default().take_line(rest);
            }
        }
        came
    }
}

/// The vehicles that drive unlike each other; what differs only in its ECUs drives as its like here.
const VEHICLES: [&str; 3] = ["compact-2.0", "sedan-v6", "hatch-1.8"];
/// The first of them with a transmission ECU, which is to accuse nobody either, in place of each so many of these.
const WATCHED: (&str, u64) = ("compact-2.0-transmission", 3);

/// The one vehicle that all cars are of, where that is wanted.
fn chosen() -> Option<String> {
    std::env::var("TWOTRIP_VEHICLE").ok()
}

/// The car of a number: each third one is of another vehicle.
fn model(number: u64) -> (String, VehicleModel) {
    let kinds = u64::try_from(VEHICLES.len()).expect("few");
    let (turn, place) = (number / kinds, usize::try_from(number % kinds).expect("few"));
    let of_turn = match place {
        0 if turn % WATCHED.1 == WATCHED.1 - 1 => WATCHED.0,
        _ => VEHICLES[place],
    };
    let name = chosen().unwrap_or_else(|| of_turn.to_owned());
    let model = vehicle::find(&name).unwrap_or_else(|| panic!("{name} is not shipped"));
    (name, model)
}

/// What was refused of it.
fn refused(came: Vec<(Phrase, Outcome)>) -> impl Iterator<Item = String> {
    let refused = came.into_iter().filter(|(_, outcome)| !outcome.ok);
    refused.map(|(phrase, outcome)| format!("{phrase}: {}", outcome.text))
}

/// Drives one car's life; its accusations, and what it refused to do.
fn drive(number: u64) -> Came {
    let (name, model) = model(number);
    let mut dice = Dice::new(number);
    let mut car = Simulator::new(Settings {
        vehicle: VehicleParams::new(model.specification()),
        ecu: model.ecu(model.regulation()).expect("it is shipped"),
        transmission: model.transmission(model.regulation()),
        ..Settings::compact(number, Timing::FAST)
    });
    let (climate, birth) = life::birth(&mut dice, model.specification(), car.car().vehicle());
    let mut wrong: Vec<String> = refused(live(&mut car, &birth)).collect();
    let mut told = birth;
    let mut tally = Tally::default();
    for _ in 0..TRIPS {
        let level = car.car().vehicle().fuel_level().percent();
        let trip = life::trip(&mut dice, &climate, level);
        let circumstances = format!("{}; the tank began at {level:.1} %", trip.join(" | "));
        wrong.extend(refused(live(&mut car, &trip)).map(|text| format!("{text} ({circumstances})")));
        told.extend(trip);
        tally.note(car.car().ecu());
        let codes = stored(&car);
        if let Some(code) = codes.first() {
            wrong = vec![format!(
                "{}\n      {}\n        {}",
                codes.join(" "),
                told.join(" | "),
                ask(&car, &format!("why {code}")).details.join("\n        ")
            )];
            break;
        }
    }
    tally.close(car.car().ecu());
    Came {
        wrong: wrong
            .into_iter()
            .map(|text| format!("car {number} ({name}): {text}"))
            .collect(),
        tallies: BTreeMap::from([(name, tally)]),
    }
}

/// Drives these cars, or reads what came of them.
fn slice(cars: std::ops::Range<u64>) -> Came {
    let kept = std::env::var_os("TWOTRIP_KEEP").map(|folder| {
        fs::create_dir_all(&folder).expect("a folder that can be written to");
        let of = chosen().map_or_else(String::new, |name| format!("{name}-"));
        PathBuf::from(folder).join(format!("cars-{of}{}-{}.tsv", cars.start, cars.end - 1))
    });
    if let Some(text) = kept.as_ref().and_then(|path| fs::read_to_string(path).ok()) {
        return Came::read(&text);
    }
    let mut came = Came::default();
    for of_car in side_by_side(cars.collect(), drive) {
        came.merge(of_car);
    }
    if let Some(path) = kept {
        fs::write(path, came.text()).expect("the slice is written");
    }
    came
}

/// Minimum ratios of 13 CCR 1968.2(d)(3.2) (from memory) are held by `tally`.
#[test]
fn no_healthy_car_is_accused_and_every_monitor_runs_often_enough() {
    let first = from_environment("TWOTRIP_FROM", 0);
    let end = first + trips().div_ceil(TRIPS);
    let mut came = Came::default();
    let mut from = first;
    while from < end {
        let to = (from + SLICE).min(end);
        came.merge(slice(from..to));
        from = to;
    }
    let mut report = String::new();
    let mut seldom = Vec::new();
    let mut all = Tally::default();
    for (name, tally) in &came.tallies {
        report += &format!("{name}: {}\n", tally.report());
        seldom.extend(
            tally
                .below_minimum()
                .into_iter()
                .map(|text| format!("{name}: {text}")),
        );
        all.merge(tally);
    }
    seldom.extend(all.below_minimum());
    println!("{report}all vehicles: {}", all.ratios());
    if let Ok(path) = std::env::var("TWOTRIP_FLEET_REPORT") {
        fs::write(&path, &report).expect("the report is written");
    }
    assert!(
        came.wrong.is_empty(),
        "{} of the cars:\n  {}",
        came.wrong.len(),
        came.wrong.join("\n  ")
    );
    assert!(
        seldom.is_empty(),
        "in-use ratios below the regulated minimum: {seldom:?}"
    );
}

/// A slice that is taken up again is the one that was left.
#[test]
fn a_kept_slice_reads_back_as_it_was() {
    let came = drive(1);
    let text = came.text();
    assert!(
        text.lines().any(|line| line.starts_with("sedan-v6\ttest ")),
        "{text}"
    );
    assert_eq!(Came::read(&text).text(), text);
}
