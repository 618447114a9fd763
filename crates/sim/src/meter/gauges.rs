//! What gauges on the engine show: vacuum in the manifold, pressure in the exhaust.
//!
//! Good readings: of a warm healthy car of this kind (computed); of back pressure, that of a free exhaust at the flow of
//! full load. What a needle does for a valve that leaks and for firings that fail: common practice, no source.

use core::time::Duration;

use twotrip_units::{Limit as _, Pressure};

use crate::{Car, Outcome};

/// Below this the engine stands, rpm.
const STANDS: f64 = 50.0;
/// How long a needle is watched.
const WATCHED: Duration = Duration::from_secs(10);
/// How far a needle falls each time a cylinder without any compression comes up, and with a firing that fails, kPa.
const NO_COMPRESSION: f64 = 20.0;
const NO_FIRING: f64 = 5.0;
/// What a good cylinder may lack of the compression of the best.
const GOOD_COMPRESSION: f64 = 0.1;
/// Shares of the firings of one cylinder above which a needle flicks now and then, and at each of its turns.
const NOW_AND_THEN: f64 = 0.01;
const EACH_TURN: f64 = 0.8;
/// Movement of the mean above which a needle wanders, kPa.
const WANDERS: f64 = 6.0;

fn kilopascals(pressure: Pressure) -> String {
    format!("{:.0} kPa", pressure.kilopascals().round() + 0.0)
}

/// The gauge at the manifold: below the air outside.
pub(super) fn manifold_vacuum(car: &Car) -> Outcome {
    let vehicle = &car.vehicle;
    let vacuum = vehicle.ambient_pressure() - vehicle.manifold_pressure();
    let rpm = vehicle.engine_speed().rpm();
    let outcome = if rpm < STANDS {
        Outcome::done(format!(
            "the vacuum gauge shows {} with the engine off",
            kilopascals(vacuum)
        ))
    } else {
        Outcome::done(format!(
            "the vacuum gauge shows {} at {rpm:.0} rpm; {}",
            kilopascals(vacuum),
            needle(car, rpm)
        ))
    };
    outcome.with_detail(
        "good: 68 to 72 kPa at warm idle by the sea, 60 to 65 in Drive, steady; 80 on the overrun; a needle that falls at \
         each turn of one cylinder: a valve that leaks; that flicks down at times: firings that fail",
    )
}

/// What the needle does while it is watched.
fn needle(car: &Car, rpm: f64) -> String {
    let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
    let missed = car.vehicle.missed_firings();
    let mut missed_then = missed;
    car.watched(WATCHED, |vehicle| {
        let pressure = vehicle.manifold_pressure().kilopascals();
        least = least.min(pressure);
        most = most.max(pressure);
        missed_then = vehicle.missed_firings();
    });
    let turns = rpm / 120.0 * WATCHED.as_secs_f64();
    let (missed, wanders) = (missed_then - missed, most - least);
    let share = f64::from(u32::try_from(missed).unwrap_or(u32::MAX)) / turns.at_least(1.0);
    let cylinders = 0..usize::from(car.vehicle.cylinders());
    let weakest = cylinders
        .map(|cylinder| car.vehicle.compression(cylinder).fraction())
        .fold(1.0, f64::min);
    if weakest < 1.0 - GOOD_COMPRESSION {
        let falls = (1.0 - weakest) * NO_COMPRESSION;
        format!("its needle falls by {falls:.0} kPa at each turn of one cylinder")
    } else if share > EACH_TURN {
        format!("its needle falls by {NO_FIRING:.0} kPa in a steady beat, {share:.1} times in two turns")
    } else if share > NOW_AND_THEN {
        let a_minute = share * rpm / 2.0;
        format!("its needle flicks down by {NO_FIRING:.0} kPa now and then, {a_minute:.0} times a minute")
    } else if wanders > WANDERS {
        format!("its needle wanders over {wanders:.0} kPa")
    } else {
        format!("its needle stands within {:.0} kPa", wanders.at_least(1.0))
    }
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
