//! All that can be wrong, whether a repair order of it is shipped or not: each defect at the smallest size that is always
//! found ([`crate::table`]), each circuit open, at ground and at its supply, and what else ails wires ([`crate::wires`]).
//!
//! Cylinders are twins: cylinder 1 of the compact car stands for all. Banks are driven both, the second in the six-cylinder car;
//! faults of different cars are no pair.

use twotrip_scenario::vehicle;
use twotrip_vehicle::{Specification, VehicleParams, defect::Size};

use super::{
    Fault,
    looks::{self, Look},
};
use crate::{
    table::{self, Row},
    wires,
};

/// One of them.
#[derive(Clone)]
pub(super) struct Cause {
    /// As phrases have it behind `defect`.
    phrase: String,
    vehicle: &'static str,
    /// The codes that it comes to.
    codes: Vec<String>,
    /// What a technician looks at.
    looks: Vec<Look>,
}

const COMPACT: &str = "compact-2.0";
const SEDAN: &str = "sedan-v6";

/// A circuit, the part that hangs on it, and its codes when open, at ground and at its supply; held by `tests/golden/circuits.rs`
/// and `outputs.rs`.
const CIRCUITS: &[(&str, &str, &str, [&[&str]; 3])] = &[
    (
        COMPACT,
        "coolant-sensor",
        "coolant-sensor",
        [&["P0118"], &["P0117"], &["P0118"]],
    ),
    (
        COMPACT,
        "intake-air-sensor",
        "intake-air-sensor",
        [&["P0113"], &["P0112"], &["P0113"]],
    ),
    (
        COMPACT,
        "air-meter",
        "air-meter",
        [&["P0102"], &["P0102"], &["P0103"]],
    ),
    (
        COMPACT,
        "manifold-pressure-sensor",
        "manifold-pressure-sensor",
        [&["P0107"], &["P0107"], &["P0108"]],
    ),
    (
        COMPACT,
        "throttle-sensor-a",
        "throttle-sensor",
        [&["P0122"], &["P0122"], &["P0123"]],
    ),
    (
        COMPACT,
        "throttle-sensor-b",
        "throttle-sensor",
        [&["P0223"], &["P0222"], &["P0223"]],
    ),
    (
        COMPACT,
        "tank-pressure-sensor",
        "tank-pressure-sensor",
        [&["P0453"], &["P0452"], &["P0453"]],
    ),
    (
        COMPACT,
        "fuel-level-sensor",
        "fuel-level-sensor",
        [&["P0463"], &["P0462"], &["P0463"]],
    ),
    (
        COMPACT,
        "rail-pressure-sensor",
        "rail-pressure-sensor",
        [&["P0192"], &["P0192"], &["P0193"]],
    ),
    (
        COMPACT,
        "egr-position-sensor",
        "egr-valve",
        [&["P0405"], &["P0405"], &["P0406"]],
    ),
    (COMPACT, "egr-valve", "egr-valve", [&["P0403"]; 3]),
    (COMPACT, "coil-1", "coil-1", [&["P0301", "P0351"]; 3]),
    (COMPACT, "cam-valve", "cam-phaser", [&["P0010"]; 3]),
    (COMPACT, "cam-sensor", "cam-phaser", [&["P0340"]; 3]),
    (SEDAN, "cam-valve-2", "cam-phaser-2", [&["P0020"]; 3]),
    (SEDAN, "cam-sensor-2", "cam-phaser-2", [&["P0345"]; 3]),
    (
        COMPACT,
        "purge-valve",
        "purge-valve",
        [&["P0444"], &["P0445"], &["P0445"]],
    ),
    (
        COMPACT,
        "vent-valve",
        "vent-valve",
        [&["P0447"], &["P0448"], &["P0448"]],
    ),
    (
        COMPACT,
        "front-oxygen-sensor",
        "front-oxygen-sensor",
        [&["P0134"], &["P0131"], &["P0132"]],
    ),
    (
        COMPACT,
        "rear-oxygen-sensor",
        "rear-oxygen-sensor",
        [&["P0140"], &["P0137"], &["P0138"]],
    ),
    (
        COMPACT,
        "front-oxygen-heater",
        "front-oxygen-sensor",
        [&["P0135"]; 3],
    ),
    (
        COMPACT,
        "rear-oxygen-heater",
        "rear-oxygen-sensor",
        [&["P0141"]; 3],
    ),
    (
        SEDAN,
        "front-oxygen-sensor-2",
        "front-oxygen-sensor-2",
        [&["P0154"], &["P0151"], &["P0152"]],
    ),
    (
        SEDAN,
        "rear-oxygen-sensor-2",
        "rear-oxygen-sensor-2",
        [&["P0160"], &["P0157"], &["P0158"]],
    ),
    (
        SEDAN,
        "front-oxygen-heater-2",
        "front-oxygen-sensor-2",
        [&["P0155"]; 3],
    ),
    (
        SEDAN,
        "rear-oxygen-heater-2",
        "rear-oxygen-sensor-2",
        [&["P0161"]; 3],
    ),
];
const FAULTS: [&str; 3] = ["open", "short-to-ground", "short-to-supply"];

impl Cause {
    /// A row of the table of sensitivities; nothing where no monitor finds it, and of cylinders of which another is a twin.
    fn of(row: &Row) -> Option<Self> {
        let entry = row.entry()?;
        if row.codes.is_empty() || entry.part.cylinder().is_some_and(|cylinder| cylinder > 1) {
            return None;
        }
        let amount = match entry.size {
            Size::Amount { range, .. } => Some(row.always.unwrap_or(range[1])),
            _ => None,
        };
        let vehicle = if entry.part.is_of_watched_gearbox() {
            wires::WATCHED_GEARBOX
        } else if VehicleParams::new(&Specification::compact_2_0()).has(entry.part) {
            COMPACT
        } else {
            SEDAN
        };
        Some(Self {
            phrase: entry.defect(amount)?.to_string(),
            vehicle,
            codes: row.codes.iter().cloned().collect(),
            looks: looks::of_part(entry.part),
        })
    }

    /// What is driven for it: a cold trip that lets every monitor run, and the key on after an hour.
    pub(super) fn fault(self) -> Fault {
        let Self {
            phrase,
            vehicle,
            looks,
            ..
        } = self;
        let name = phrase.clone();
        let broken = move |seed| {
            let mut car = wires::examined(vehicle, &phrase, seed);
            crate::live(&mut car, &["key on"]);
            car
        };
        Fault::new(name, looks, Box::new(broken))
    }
}

/// All of them.
pub(super) fn all() -> Vec<Cause> {
    let rows = table::rows();
    let mut all: Vec<Cause> = rows.iter().filter_map(Cause::of).collect();
    for (vehicle, wire, part, codes) in CIRCUITS {
        let looks = looks::of_wire(wire, part);
        all.extend(FAULTS.iter().zip(codes).map(|(fault, codes)| Cause {
            phrase: format!("wiring {wire} {fault}"),
            vehicle,
            codes: codes.iter().map(|code| (*code).to_owned()).collect(),
            looks: looks.clone(),
        }));
    }
    for row in wires::rows() {
        let of_row = wires::WIRES
            .iter()
            .find(|(vehicle, wire, ..)| *vehicle == row.vehicle && *wire == row.wire);
        let (vehicle, wire, part, _) = of_row.expect("a wire of the list");
        all.push(Cause {
            phrase: row.phrase(),
            vehicle,
            looks: looks::of_wire(wire, part),
            codes: row.codes,
        });
    }
    all
}

/// Code and both names of all that share one.
pub(super) fn pairs() -> Vec<[String; 3]> {
    let all = all();
    let mut pairs = Vec::new();
    for (place, one) in all.iter().enumerate() {
        for other in all[place + 1..]
            .iter()
            .filter(|other| other.vehicle == one.vehicle)
        {
            let shared = one.codes.iter().filter(|code| other.codes.contains(code));
            pairs.extend(shared.map(|code| [code.clone(), one.phrase.clone(), other.phrase.clone()]));
        }
    }
    pairs
}

/// The vehicles named here are shipped.
#[test]
fn the_cars_of_the_circuits_are_shipped() {
    for (name, wire, ..) in CIRCUITS {
        assert!(vehicle::find(name).is_some(), "{wire}");
    }
}
