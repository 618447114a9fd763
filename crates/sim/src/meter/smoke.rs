//! A smoke machine on the vapour space, vent valve and purge valve held shut: its flow meter says how much gets out, the
//! smoke where. Common practice, no source.

use twotrip_units::Pressure;
use twotrip_vehicle::Part;

use crate::{Car, Outcome};

/// What the machine holds.
const PRESSURE: Pressure = Pressure::from_pascals(3200.0);
/// Most that it can push, l/min.
const MOST: f64 = 12.0;

/// Where the smoke of a defect comes out.
fn place(part: Part, kind: &str) -> Option<&'static str> {
    Some(match (part, kind) {
        (Part::FuelCap, "missing") => "out of the open filler neck",
        (Part::FuelCap, _) => "beside the fuel cap",
        (Part::FillerNeck, _) => "at a seam of the filler neck",
        (Part::VapourHose, "loose") => "at a quick connector of the vapour hose",
        (Part::VapourHose, _) => "from a chafed place of the vapour hose",
        (Part::PurgeValve, "leaking" | "stuck-open") => "through the purge valve into the intake",
        (Part::VentValve, "leaking" | "stuck-open") => {
            "at the vent filter, though the vent valve has current"
        }
        _ => return None,
    })
}

/// What flow meter and eyes find.
pub(super) fn vapour_space(car: &Car) -> Outcome {
    let flow = car.vehicle.vapour_leak(PRESSURE);
    let places: Vec<&str> = car
        .vehicle
        .defects()
        .filter_map(|defect| place(defect.part(), defect.entry().kind))
        .collect();
    let where_from = match places.as_slice() {
        [] => "no smoke anywhere".to_owned(),
        _ => format!("smoke comes out {}", places.join(", ")),
    };
    let flows = if flow > MOST {
        format!("the smoke machine pushes {MOST:.0} l/min and does not reach its pressure")
    } else {
        format!("the smoke machine pushes {flow:.2} l/min at 3.2 kPa")
    };
    Outcome::done(format!("{flows}; {where_from}"))
        .with_detail("0.54 l/min: a hole of 0.5 mm; 2.1 l/min: one of 1.0 mm; good: no flow")
}
