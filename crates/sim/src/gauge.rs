//! What a technician finds with a gauge on the fuel rail, an ohmmeter on a heater, a bottle of propane at the intake.
//! Truth comes from the car, never from the ECU.

use core::time::Duration;

use twotrip_units::{MassFlow, Resistance};
use twotrip_vehicle::Part;

use crate::{Car, Outcome};

/// Fuel flow at warm idle and at full load, g/s: where the gauge is read.
const IDLE: MassFlow = MassFlow::from_grams_per_second(0.2);
const FULL_LOAD: MassFlow = MassFlow::from_grams_per_second(4.0);
/// How long the gauge stays on with everything off.
const STANDING: Duration = Duration::from_secs(600);

/// What is found on a part, one that the car has, that such an instrument tells something of.
pub(crate) fn find(car: &Car, part: Part) -> Option<Outcome> {
    match part {
        Part::PressureRegulator => Some(pressure(car)),
        Part::FuelPump | Part::FuelFilter => Some(before_and_behind(car)),
        Part::FrontOxygenSensor => Some(oxygen(car, 0, 0)),
        Part::RearOxygenSensor => Some(oxygen(car, 0, 1)),
        Part::FrontOxygenSensor2 => Some(oxygen(car, 1, 0)),
        Part::RearOxygenSensor2 => Some(oxygen(car, 1, 1)),
        _ => None,
    }
}

fn pressure(car: &Car) -> Outcome {
    let vehicle = &car.vehicle;
    Outcome::done(format!(
        "a gauge on the fuel rail shows {:.0} kPa with the pump running at idle, {:.0} kPa on the road at full load, {:.0} kPa ten \
         minutes after the pump was shut off",
        vehicle.rail_pressure_at(IDLE).kilopascals(),
        vehicle.rail_pressure_at(FULL_LOAD).kilopascals(),
        vehicle.rail_pressure_after(STANDING).kilopascals(),
    ))
    .with_detail("good: 340 to 360 kPa at idle and at full load, over 250 kPa after ten minutes")
}

/// The same, and a second gauge ahead of the filter.
fn before_and_behind(car: &Car) -> Outcome {
    let before = car.vehicle.pressure_before_filter_at(FULL_LOAD).kilopascals();
    pressure(car).with_detail(format!(
        "between pump and fuel filter {before:.0} kPa at full load; good: the same as behind the filter"
    ))
}

fn oxygen(car: &Car, bank: usize, sensor: usize) -> Outcome {
    let vehicle = &car.vehicle;
    let heater = vehicle.oxygen_heater(bank, sensor).map_or_else(
        || "no connection".to_owned(),
        |ohms: Resistance| format!("{:.1} ohm", ohms.ohms()),
    );
    Outcome::done(format!(
        "unplugged, the heater has {heater}; with propane in the intake the warm sensor shows {:.2} V",
        vehicle.oxygen_sensor_enriched(bank, sensor).volts()
    ))
    .with_detail("good: heater 5 to 17 ohm, more the hotter it is; 0.80 V or more with propane")
}

#[cfg(test)]
mod tests {
    use twotrip_scenario::parse_phrase;

    use crate::{Event, Settings, Simulator, Timing};

    /// What the last of these phrases comes to.
    fn said(phrases: &[&str]) -> String {
        let mut car = Simulator::new(Settings::compact(3, Timing::FAST));
        let mut last = String::new();
        for phrase in phrases {
            car.tell(parse_phrase(phrase).expect("a phrase"));
            while car.is_busy() {
                car.work(core::time::Duration::from_secs(60));
            }
            while let Some(event) = car.poll_event() {
                if let Event::Finished { outcome, .. } = event {
                    last = outcome.text;
                }
            }
        }
        last
    }

    #[test]
    fn gauge_ohmmeter_and_propane_tell_what_is_wrong() {
        for (defect, look, finds) in [
            (
                None,
                "inspect fuel-pump",
                "shows 350 kPa with the pump running at idle, 350 kPa on the road at full load, 280 kPa",
            ),
            (
                Some("defect fuel-pump weak 100 %"),
                "inspect fuel-pump",
                "80 kPa on the road at full load",
            ),
            (
                Some("defect fuel-filter blocked 100 kPa"),
                "inspect fuel-filter",
                "200 kPa on the road at full load",
            ),
            (
                Some("defect pressure-regulator low 200 kPa"),
                "inspect pressure-regulator",
                "shows 200 kPa with the pump running",
            ),
            (
                Some("defect front-oxygen-sensor heater-open"),
                "inspect front-oxygen-sensor",
                "the heater has no connection",
            ),
            (
                Some("defect front-oxygen-sensor bias -0.45 V"),
                "inspect front-oxygen-sensor",
                "shows 0.42 V",
            ),
            (
                None,
                "inspect rear-oxygen-sensor",
                "the heater has 6.0 ohm; with propane in the intake the warm sensor shows 0.87 V",
            ),
        ] {
            let phrases: Vec<&str> = defect.into_iter().chain([look]).collect();
            let text = said(&phrases);
            assert!(text.contains(finds), "{phrases:?}: {text}");
        }
    }
}
