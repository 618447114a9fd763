//! How large a defect has to be to be found: the exam that a car is driven through, and a sweep of each defect's amounts, whose
//! outcome the table keeps ([`crate::table`]). What the compact car does not have is driven in the first shipped vehicle that
//! has it.

use std::{collections::BTreeSet, time::Duration};

use twotrip_scenario::{Scenario, parse_phrase, vehicle};
use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_vehicle::{
    Defect, Specification, VehicleParams,
    defect::{Entry, Size, catalogue},
};

use crate::table::{self, Row};

/// One trip that lets every monitor run: cold start, city, highway, coasting, full throttle, hot idle.
pub(crate) const EXAM: &[&str] = &[
    "soak 9 h",
    "drive udds",
    "drive hwfet",
    "drive 90 km/h for 60 s, coast to 40 km/h, 90 km/h for 20 s, coast to 40 km/h, full throttle to 100 km/h, stop, \
     full throttle to 100 km/h, stop, idle 5 min",
    "key off",
    "soak 1 h",
];
/// The same with everything switched on that the alternator has to feed, once the engine runs.
const LOADED_EXAM: &[&str] = &[
    "soak 9 h",
    "switch lights on",
    "switch blower on",
    "switch rear-screen on",
    "drive udds",
    "drive hwfet",
    "switch lights off",
    "key off",
    "soak 1 h",
];

/// The trip in which a defect shows, if it shows in any.
fn exam(entry: &Entry) -> &'static [&'static str] {
    match entry.part.name() {
        "alternator" | "drive-belt" | "charging-cable" | "battery" => LOADED_EXAM,
        _ => EXAM,
    }
}

/// The car that a defect is driven in: the compact one, or the first that has the part.
fn settings(entry: &Entry, seed: u64) -> Settings {
    if VehicleParams::new(&Specification::compact_2_0()).has(entry.part) {
        return Settings::compact(seed, Timing::FAST);
    }
    let has = |name: &&str| {
        vehicle::find(name).is_some_and(|model| VehicleParams::new(model.specification()).has(entry.part))
    };
    let name = vehicle::SHIPPED
        .iter()
        .map(|shipped| shipped.name)
        .find(has)
        .unwrap_or_else(|| panic!("no shipped vehicle has a {}", entry.part.name()));
    let text = format!("version = 1\ntitle = \"x\"\nvehicle = \"{name}\"\n");
    let scenario = Scenario::parse(text.as_bytes()).unwrap_or_else(|problems| panic!("{problems:?}"));
    Settings::of(&scenario, seed, Timing::FAST)
}

/// Trips after which a defect counts as not found: two, and as many nights as the averaged test asks where one hole is in the
/// vapour space.
pub(crate) fn trips(entry: &Entry) -> usize {
    match entry.part.name() {
        "filler-neck" | "vapour-hose" => 6,
        _ => 2,
    }
}

/// A car with a defect, before its first trip.
fn broken(defect: Defect, seed: u64) -> Simulator {
    let mut car = Simulator::new(settings(defect.entry(), seed));
    super::live(
        &mut car,
        &["ambient 20 C", "refuel to 60 %", &format!("defect {defect}")],
    );
    car
}

/// The codes that are pending when the first is; none if it is not found in so many trips.
pub(crate) fn first_codes(defect: Defect, seed: u64, trips: usize) -> BTreeSet<String> {
    let mut car = broken(defect, seed);
    for _ in 0..trips {
        for phrase in exam(defect.entry()) {
            car.tell(parse_phrase(phrase).expect("a phrase"));
        }
        while car.is_busy() {
            car.work(Duration::from_secs(20));
            while car.poll_event().is_some() {}
            let stored = super::stored(&car);
            if !stored.is_empty() {
                return stored.into_iter().collect();
            }
        }
    }
    BTreeSet::new()
}

/// The codes that a defect comes to in its trips; none if it is not found.
pub(crate) fn codes(defect: Defect, seed: u64) -> BTreeSet<String> {
    let mut car = broken(defect, seed);
    let mut found = BTreeSet::new();
    for _ in 0..trips(defect.entry()) {
        super::live(&mut car, exam(defect.entry()));
        found.extend(super::stored(&car));
        if !found.is_empty() {
            break;
        }
    }
    found
}

/// Amounts to try, smallest defect first: even steps in ratio where all are of one sign, else from nothing to either end.
pub(crate) fn amounts(entry: &Entry) -> Vec<Vec<f64>> {
    const STEPS: i32 = 5;
    let Size::Amount {
        range: [least, most], ..
    } = entry.size
    else {
        return Vec::new();
    };
    let share = |step: i32| f64::from(step) / f64::from(STEPS);
    let rounded = |value: f64| (value * 1000.0).round() / 1000.0;
    if least < 0.0 && most > 0.0 {
        let side = |end: f64| (1..=STEPS).map(|step| rounded(end * share(step))).collect();
        return vec![side(most), side(least)];
    }
    let low = if least > 0.0 { least } else { most * 0.01 };
    let ascending: Vec<f64> = (0..=STEPS)
        .map(|step| rounded(low * (most / low).powf(share(step))).clamp(least, most))
        .collect();
    vec![ascending]
}

/// Shares of a good part's output that are left: less is worse, also where every size is found.
const LESS_IS_WORSE: &[&str] = &[
    "alternator weak",
    "drive-belt slipping",
    "gearbox-fluid low",
    "forward-clutch slipping",
    "overdrive-clutch slipping",
    "converter-clutch slipping",
];

/// Which end of a sweep is the worse car: where little is bad (a blocked line's flow, a worn catalyst's store), the other way round.
fn sweep(entry: &'static Entry, seeds: u64) -> Row {
    let mut row = Row {
        part: entry.part.name().to_owned(),
        kind: entry.kind.to_owned(),
        unit: entry.unit().to_owned(),
        never: None,
        always: None,
        codes: BTreeSet::new(),
    };
    let tried = |amount: Option<f64>| -> Option<(u64, BTreeSet<String>)> {
        let defect = entry.defect(amount)?;
        let all: Vec<BTreeSet<String>> = (1..=seeds).map(|seed| codes(defect, seed)).collect();
        let found = all.iter().filter(|codes| !codes.is_empty()).count();
        Some((
            u64::try_from(found).expect("few"),
            all.into_iter().flatten().collect(),
        ))
    };
    let sides = amounts(entry);
    if sides.is_empty() {
        let (_, codes) = tried(None).expect("no amount is asked for");
        row.codes = codes;
        return row;
    }
    for side in sides {
        let mut results: Vec<(f64, u64, BTreeSet<String>)> = side
            .into_iter()
            .filter_map(|amount| tried(Some(amount)).map(|(found, codes)| (amount, found, codes)))
            .collect();
        let name = format!("{} {}", row.part, row.kind);
        let (first, last) = (results[0].1, results[results.len() - 1].1);
        if first > last || first == last && LESS_IS_WORSE.contains(&name.as_str()) {
            results.reverse();
        }
        row.codes
            .extend(results.iter().flat_map(|result| result.2.iter().cloned()));
        let never = results
            .iter()
            .take_while(|result| result.1 == 0)
            .last()
            .map(|result| result.0);
        let always = results
            .iter()
            .rev()
            .take_while(|result| result.1 == seeds)
            .last()
            .map(|result| result.0);
        // Of two sides the positive one stands in the table.
        row.never = row.never.or(never);
        row.always = row.always.or(always);
    }
    row
}

/// Writes the table anew: `TWOTRIP_SEEDS` says for how many cars each amount is tried.
#[test]
#[ignore = "writes the table of sensitivities"]
fn write_the_table() {
    let seeds = std::env::var("TWOTRIP_SEEDS").map_or(3, |text| text.parse().expect("a number"));
    let all = catalogue().collect();
    table::write(&super::side_by_side(all, |entry| sweep(entry, seeds)));
}

/// The rows of one part, for whoever changes it: `TWOTRIP_PART=fuel-pump cargo test -p twotrip-tests --test fleet
/// sweep::rows_of_a_part -- --ignored --nocapture` prints them.
#[test]
#[ignore = "wants TWOTRIP_PART"]
fn rows_of_a_part() {
    let part = std::env::var("TWOTRIP_PART").expect("TWOTRIP_PART names one");
    let entries: Vec<_> = catalogue().filter(|entry| entry.part.name() == part).collect();
    for row in super::side_by_side(entries, |entry| sweep(entry, 3)) {
        println!("{}", row.text());
    }
}
