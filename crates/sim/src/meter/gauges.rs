//! What gauges on the engine show: vacuum in the manifold, pressure in the exhaust.
//!
//! Good readings: of a warm healthy car of this kind (computed); of back pressure, that of a free exhaust at the flow of
//! full load.

use twotrip_units::Pressure;

use crate::{Car, Outcome};

/// Below this the engine stands, rpm.
const STANDS: f64 = 50.0;

fn kilopascals(pressure: Pressure) -> String {
    format!("{:.0} kPa", pressure.kilopascals().round() + 0.0)
}

/// The gauge at the manifold: below the air outside.
pub(super) fn manifold_vacuum(car: &Car) -> Outcome {
    let vehicle = &car.vehicle;
    let vacuum = vehicle.ambient_pressure() - vehicle.manifold_pressure();
    let rpm = vehicle.engine_speed().rpm();
    let at = if rpm < STANDS {
        "with the engine off".to_owned()
    } else {
        format!("at {rpm:.0} rpm")
    };
    Outcome::done(format!("the vacuum gauge shows {} {at}", kilopascals(vacuum))).with_detail(
        "good: 68 to 72 kPa at warm idle by the sea, 60 to 65 in Drive, steady; 80 on the overrun",
    )
}

/// The gauge where the front oxygen sensor sits, with a drag hand.
pub(super) fn back_pressure(car: &Car) -> Outcome {
    let vehicle = &car.vehicle;
    Outcome::done(format!(
        "the gauge before the front oxygen sensor shows {}, its drag hand {} since the last start",
        kilopascals(vehicle.back_pressure()),
        kilopascals(vehicle.highest_back_pressure())
    ))
    .with_detail("good: next to nothing at idle, 25 kPa at most after a run at full throttle")
}
