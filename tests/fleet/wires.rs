//! What ails a wire beside being open or shorted: resistance, a ground that is off, two wires in each other's pins, and a
//! break that comes and goes with bumps, heat and water. `wires.tsv` keeps, of each wire and kind, the smallest size that is
//! always found in the exam of [`crate::sweep`], and its codes; what no size of is found is not in it.

use std::{
    collections::{BTreeMap, BTreeSet},
    fmt::Write as _,
};

use twotrip_scenario::Scenario;
use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_tests::watched_gearbox;

use crate::sweep;

const TABLE: &str = include_str!("wires.tsv");
const TABLE_PATH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fleet/wires.tsv");
/// For how many cars a size has to be found.
const CARS: u64 = 3;

const COMPACT: &str = "compact-2.0";
const SEDAN: &str = "sedan-v6";
/// The car of [`watched_gearbox`], which is no shipped one.
pub(crate) const WATCHED_GEARBOX: &str = "watched gearbox";

/// A wire, its car, the part that hangs on it, and the wire that it is swapped with: of cylinders the first, of banks the
/// second in the car that has one.
pub(crate) const WIRES: &[(&str, &str, &str, Option<&str>)] = &[
    (
        COMPACT,
        "coolant-sensor",
        "coolant-sensor",
        Some("intake-air-sensor"),
    ),
    (
        COMPACT,
        "intake-air-sensor",
        "intake-air-sensor",
        Some("fuel-level-sensor"),
    ),
    (COMPACT, "air-meter", "air-meter", Some("intake-air-sensor")),
    (
        COMPACT,
        "manifold-pressure-sensor",
        "manifold-pressure-sensor",
        Some("throttle-sensor-a"),
    ),
    (
        COMPACT,
        "throttle-sensor-a",
        "throttle-sensor",
        Some("throttle-sensor-b"),
    ),
    (
        COMPACT,
        "throttle-sensor-b",
        "throttle-sensor",
        Some("manifold-pressure-sensor"),
    ),
    (
        COMPACT,
        "tank-pressure-sensor",
        "tank-pressure-sensor",
        Some("fuel-level-sensor"),
    ),
    (
        COMPACT,
        "fuel-level-sensor",
        "fuel-level-sensor",
        Some("rail-pressure-sensor"),
    ),
    (
        COMPACT,
        "rail-pressure-sensor",
        "rail-pressure-sensor",
        Some("manifold-pressure-sensor"),
    ),
    (
        COMPACT,
        "egr-position-sensor",
        "egr-valve",
        Some("manifold-pressure-sensor"),
    ),
    (
        COMPACT,
        "front-oxygen-sensor",
        "front-oxygen-sensor",
        Some("rear-oxygen-sensor"),
    ),
    (
        COMPACT,
        "rear-oxygen-sensor",
        "rear-oxygen-sensor",
        Some("coolant-sensor"),
    ),
    (COMPACT, "egr-valve", "egr-valve", None),
    (COMPACT, "coil-1", "coil-1", Some("coil-2")),
    (COMPACT, "cam-valve", "cam-phaser", Some("purge-valve")),
    (COMPACT, "cam-sensor", "cam-phaser", None),
    (COMPACT, "purge-valve", "purge-valve", Some("vent-valve")),
    (COMPACT, "vent-valve", "vent-valve", Some("cam-valve")),
    (
        COMPACT,
        "front-oxygen-heater",
        "front-oxygen-sensor",
        Some("rear-oxygen-heater"),
    ),
    (COMPACT, "rear-oxygen-heater", "rear-oxygen-sensor", None),
    (
        SEDAN,
        "front-oxygen-sensor-2",
        "front-oxygen-sensor-2",
        Some("front-oxygen-sensor"),
    ),
    (
        SEDAN,
        "rear-oxygen-sensor-2",
        "rear-oxygen-sensor-2",
        Some("rear-oxygen-sensor"),
    ),
    (SEDAN, "cam-valve-2", "cam-phaser-2", Some("cam-valve")),
    (SEDAN, "cam-sensor-2", "cam-phaser-2", None),
    (SEDAN, "front-oxygen-heater-2", "front-oxygen-sensor-2", None),
    (SEDAN, "rear-oxygen-heater-2", "rear-oxygen-sensor-2", None),
];

/// Sizes that are tried, least first.
const OHMS: [f64; 10] = [1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1e3, 1e4, 1e5, 1e6];
const VOLTS: [f64; 4] = [0.2, 0.5, 1.0, 2.0];
/// A break that comes and goes.
const AT_TIMES: [&str; 3] = ["open on bumps", "open when hotter than 80 C", "open when wet"];

/// A row of the table.
pub(crate) struct Row {
    pub(crate) vehicle: String,
    pub(crate) wire: String,
    /// As phrases have it behind the wire.
    pub(crate) fault: String,
    pub(crate) codes: Vec<String>,
}

impl Row {
    pub(crate) fn phrase(&self) -> String {
        format!("wiring {} {}", self.wire, self.fault)
    }
}

/// The table as it stands.
pub(crate) fn rows() -> Vec<Row> {
    let lines = TABLE.lines().filter(|line| !line.starts_with('#'));
    lines
        .map(|line| {
            let cells: Vec<&str> = line.split('\t').collect();
            let [vehicle, wire, fault, codes] = cells[..] else {
                panic!("four cells: {line}");
            };
            Row {
                vehicle: vehicle.to_owned(),
                wire: wire.to_owned(),
                fault: fault.to_owned(),
                codes: codes.split(' ').map(str::to_owned).collect(),
            }
        })
        .collect()
}

/// What a fault needs of road and weather to show.
fn circumstances(phrase: &str) -> Option<&'static str> {
    if phrase.ends_with("on bumps") {
        Some("road rough")
    } else if phrase.ends_with("when wet") {
        Some("weather rain")
    } else {
        None
    }
}

/// A car of a seed with this defect, after the exam and an hour, key off.
pub(crate) fn examined(vehicle: &str, defect: &str, seed: u64) -> Simulator {
    let settings = if vehicle == WATCHED_GEARBOX {
        watched_gearbox::settings(seed)
    } else {
        let text = format!("version = 1\ntitle = \"x\"\nvehicle = \"{vehicle}\"\n");
        let scenario = Scenario::parse(text.as_bytes()).unwrap_or_else(|problems| panic!("{problems:?}"));
        Settings::of(&scenario, seed, Timing::FAST)
    };
    let mut car = Simulator::new(settings);
    let mut before = vec!["ambient 20 C".to_owned(), "refuel to 60 %".to_owned()];
    before.extend(circumstances(defect).map(str::to_owned));
    before.push(format!("defect {defect}"));
    crate::live(&mut car, &before);
    crate::live(&mut car, sweep::EXAM);
    car
}

fn codes(vehicle: &str, defect: &str, seed: u64) -> BTreeSet<String> {
    crate::stored(&examined(vehicle, defect, seed))
        .into_iter()
        .collect()
}

/// The codes that this comes to in all cars, if it is found in each; `first` are those of the first.
fn always(vehicle: &str, defect: &str, first: BTreeSet<String>) -> Option<BTreeSet<String>> {
    let mut shared = first;
    for seed in 2..=CARS {
        if shared.is_empty() {
            return None;
        }
        let found = codes(vehicle, defect, seed);
        shared.retain(|code| found.contains(code));
    }
    (!shared.is_empty()).then_some(shared)
}

/// The smallest size of a kind that is always found.
fn smallest(vehicle: &str, wire: &str, sizes: &[String]) -> Option<Row> {
    let row = |fault: &str, codes: BTreeSet<String>| Row {
        vehicle: vehicle.to_owned(),
        wire: wire.to_owned(),
        fault: fault.to_owned(),
        codes: codes.into_iter().collect(),
    };
    // The more of it, the surer.
    let phrase = |fault: &str| format!("wiring {wire} {fault}");
    let mut first = BTreeMap::new();
    let begin = sizes.partition_point(|fault| {
        let found = codes(vehicle, &phrase(fault), 1);
        let none = found.is_empty();
        first.insert(fault.clone(), found);
        none
    });
    sizes[begin..].iter().find_map(|fault| {
        let of_first = first.remove(fault);
        let of_first = of_first.unwrap_or_else(|| codes(vehicle, &phrase(fault), 1));
        always(vehicle, &phrase(fault), of_first).map(|codes| row(fault, codes))
    })
}

fn of_wire(&(vehicle, wire, _, swapped): &(&str, &str, &str, Option<&str>)) -> Vec<Row> {
    let is_signal = wire.contains("sensor") && !wire.starts_with("cam-") || wire == "air-meter";
    let mut kinds: Vec<Vec<String>> = Vec::new();
    if !wire.starts_with("cam-sensor") {
        kinds.push(OHMS.iter().map(|ohms| format!("resistance {ohms} ohm")).collect());
    }
    if is_signal {
        for sign in ["", "-"] {
            kinds.push(
                VOLTS
                    .iter()
                    .map(|volts| format!("bias {sign}{volts} V"))
                    .collect(),
            );
        }
    }
    kinds.extend(swapped.map(|other| vec![format!("swapped-with {other}")]));
    kinds.extend(AT_TIMES.map(|fault| vec![fault.to_owned()]));
    let found = kinds.iter().filter_map(|sizes| smallest(vehicle, wire, sizes));
    found
        .inspect(|row| println!("{} {}: {:?}", row.wire, row.fault, row.codes))
        .collect()
}

/// Writes the table anew.
#[test]
#[ignore = "long: writes the table of what ails a wire"]
fn write_the_wires() {
    let found = crate::side_by_side(WIRES.iter().collect(), of_wire);
    let mut text = String::from(
        "# The smallest size of each ailment of a wire that is always found in the exam of tests/fleet/sweep.rs, and its codes; \
         made by its `write_the_wires`.\n# vehicle\twire\tfault\tcodes\n",
    );
    for row in found.into_iter().flatten() {
        let codes = row.codes.join(" ");
        writeln!(text, "{}\t{}\t{}\t{codes}", row.vehicle, row.wire, row.fault).expect("memory");
    }
    std::fs::write(TABLE_PATH, text).expect("the table is written");
}

/// Of each kind of ailment one wire is driven, and comes to the codes of the table.
#[test]
fn one_wire_of_each_ailment_is_found() {
    let rows = rows();
    let kinds = [
        "resistance",
        "bias",
        "swapped-with",
        "open on bumps",
        "open when hotter",
        "open when wet",
    ];
    let drawn: Vec<&Row> = kinds
        .iter()
        .map(|kind| {
            let row = rows.iter().find(|row| row.fault.starts_with(kind));
            row.unwrap_or_else(|| panic!("no wire is ever found with {kind}"))
        })
        .collect();
    let wrong: Vec<String> = crate::side_by_side(drawn, |row| {
        let found = codes(&row.vehicle, &row.phrase(), 2);
        let missing = row.codes.iter().any(|code| !found.contains(code));
        missing.then(|| format!("{}: {found:?}", row.phrase()))
    })
    .into_iter()
    .flatten()
    .collect();
    assert!(wrong.is_empty(), "{wrong:#?}");
}
