//! Evidence, not regression: figures of real cars that a healthy one here has to show too.
//!
//! Bands derived from a public log of one 2.4-litre petrol car with air meter and manifold sensor (23 drives, 12 h,
//! near sea level; repository `cephasax/OBDdatasets`), as statistics only: idle manifold pressure 28-45 kPa in 98 %
//! of readings and speed within 25 rpm of the mean in 97 %, 16-22 kPa in fuel cut above 1500 rpm, meter against
//! the model within 7 % filtered over ten seconds and within 10 % in about 90 % of single readings.

use std::time::Duration;

use twotrip_harness::KeyPosition;
use twotrip_vehicle::{DriverControls, Plan, schedule};

use crate::fingerprint;

/// The share of values within a range.
fn share(values: &[f64], low: f64, high: f64) -> f64 {
    let inside = values
        .iter()
        .filter(|value| (low..=high).contains(*value))
        .count();
    f64::from(u32::try_from(inside).expect("few")) / f64::from(u32::try_from(values.len()).expect("few"))
}

#[test]
fn a_warm_idle_is_one_of_a_real_car() {
    let mut bench = fingerprint::warm(23);
    let parked = DriverControls {
        key: KeyPosition::On,
        ..DriverControls::default()
    };
    let (mut manifold, mut rpm) = (Vec::new(), Vec::new());
    for _ in 0..1200 {
        bench.hold(&parked, Duration::from_millis(100));
        let live = bench.ecu.live();
        manifold.push(live.manifold_pressure.kilopascals());
        rpm.push(live.engine_speed.rpm());
    }
    let mean = rpm.iter().sum::<f64>() / 1200.0;
    assert!(share(&manifold, 28.0, 45.0) > 0.98);
    assert!(share(&rpm, mean - 25.0, mean + 25.0) > 0.97);
}

#[test]
fn air_in_driving_is_that_of_a_real_car() {
    let mut bench = fingerprint::warm(29);
    let (mut cut, mut single, mut filtered) = (Vec::new(), Vec::new(), Vec::new());
    let mut step = 0_u32;
    let mut mean = 1.0;
    let mut last = (0.0, 0.0);
    for drive in [&schedule::UDDS, &schedule::HWFET] {
        bench.drive(Plan::schedule(drive), |moment| {
            step += 1;
            if !step.is_multiple_of(10) {
                return;
            }
            let views = moment.bench.ecu.control().air_estimates();
            let live = moment.bench.ecu.live();
            let manifold = live.manifold_pressure.kilopascals();
            let rpm = live.engine_speed.rpm();
            if moment.bench.vehicle.fuel_flow().grams_per_second() < 1e-9 && rpm > 1500.0 && views.fuel_cut {
                cut.push(manifold);
            }
            // As the log was read: only where speed and pressure stand still.
            let steady = (rpm / f64::max(last.0, 1.0) - 1.0).abs() < 0.01
                && (manifold - last.1).abs() < 1.0 + 0.02 * manifold
                && !views.fuel_cut;
            last = (rpm, manifold);
            if steady && rpm > 500.0 {
                let ratio = views.metered.grams_per_second() / views.density.grams_per_second();
                single.push(ratio);
                mean += (ratio - mean) / 100.0;
                filtered.push(mean);
            }
        });
    }
    assert!(
        cut.len() > 100 && share(&cut, 16.0, 24.0) > 0.9,
        "{} in fuel cut",
        cut.len()
    );
    assert!(
        share(&single, 0.90, 1.10) > 0.90,
        "{}",
        share(&single, 0.90, 1.10)
    );
    assert!(
        share(&filtered, 0.93, 1.07) > 0.99,
        "{}",
        share(&filtered, 0.93, 1.07)
    );
}
