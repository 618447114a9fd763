//! What a meter shows on what the ECU drives, and on the cam sensor.
//!
//! Key on: the 12 V at the plug, the other side of the load, and what is commanded. Key off: the wire, its connections and
//! the load, unplugged.

use twotrip_harness::{KeyPosition, Output, Wire, WiringFault};
use twotrip_units::{Resistance, Voltage};

use super::{say_connection, say_ohms, scope, volts};
use crate::{Car, Outcome};

/// A good wire, or a short, by itself.
const WIRE: Resistance = Resistance::from_ohms(0.2);
/// Teeth of the cam sensor's wheel, one turn in two of the crank (our choice).
const CAM_TEETH: f64 = 4.0;

/// What is found between the ends of a wire, to ground and to its supply, key off.
pub(super) fn connections(fault: Option<WiringFault>) -> [Option<Resistance>; 3] {
    match fault {
        None => [Some(WIRE), None, None],
        // From end to end as drawn there is none.
        Some(WiringFault::Open | WiringFault::SwappedWith(_)) => [None, None, None],
        Some(WiringFault::ShortToGround) => [Some(WIRE), Some(WIRE), None],
        Some(WiringFault::ShortToSupply) => [Some(WIRE), None, Some(WIRE)],
        Some(WiringFault::Resistance(added)) => [Some(added), None, None],
        Some(WiringFault::Bias(_) | WiringFault::PulledDown(_)) => [Some(WIRE), None, None],
    }
}

/// What is found at a load.
pub(super) fn say(found: Option<Resistance>) -> String {
    found.map_or_else(|| "no connection".to_owned(), say_ohms)
}

/// The load itself, unplugged; `None` where its winding is broken.
fn load(car: &Car, output: Output) -> Option<Resistance> {
    if car.vehicle.good_sensors().drivers.open.contains(output) {
        return None;
    }
    match output.heater() {
        Some((bank, place)) => car.vehicle.oxygen_heater(bank, place),
        None => Some(car.tolerances.winding(output, output.load())),
    }
}

const fn good_load(output: Output) -> &'static str {
    match output {
        Output::EgrValve => "2 to 5 ohm",
        Output::CamValve | Output::CamValve2 => "6.5 to 8 ohm",
        Output::PurgeValve => "20 to 30 ohm",
        Output::VentValve => "25 to 35 ohm",
        _ if output.coil().is_some() => "0.5 to 0.8 ohm",
        _ => "5 to 17 ohm, more the hotter it is",
    }
}

/// A wire to something that the ECU drives.
pub(super) fn output(car: &Car, output: Output) -> Outcome {
    let fault = car.harness.shows(output);
    let load = load(car, output);
    if car.sensors().key == KeyPosition::Off {
        let [wire, ground, supply] =
            connections(fault).map(|found| say_connection(car, Wire::Output(output), found));
        return Outcome::done(format!(
            "key off, wire {wire} from end to end, to ground {ground}, to 12 V {supply}, load {}",
            say(load)
        ))
        .with_detail(format!(
            "good: under 5 ohm from end to end, no connection to ground or 12 V; load {}",
            good_load(output)
        ));
    }
    let battery = car.vehicle.battery_voltage();
    let commanded = output.command(car.commands());
    // The driver's share of the time on, in which it holds its pin at ground.
    let driven = battery * (1.0 - commanded);
    let through = load.is_some();
    let [at_plug, at_ecu] = match fault {
        None if through => [driven; 2],
        None => [Voltage::ZERO; 2],
        Some(WiringFault::Open) if through => [battery, Voltage::ZERO],
        Some(WiringFault::Open | WiringFault::ShortToGround) => [Voltage::ZERO; 2],
        Some(WiringFault::ShortToSupply) => [battery; 2],
        Some(WiringFault::Resistance(added)) if through => {
            let load = load.map_or(0.0, Resistance::ohms);
            let share = load / (load + added.ohms());
            [battery * (1.0 - commanded * share), driven]
        }
        Some(WiringFault::SwappedWith(Wire::Output(other))) if through => {
            [battery * (1.0 - other.command(car.commands())); 2]
        }
        Some(_) => [Voltage::ZERO; 2],
    };
    let command = if output.coil().is_some() {
        if car.ecu.control().is_running() {
            "the ECU fires it once in two turns".to_owned()
        } else {
            "the ECU does not fire it now".to_owned()
        }
    } else {
        format!("commanded {:.0} %", commanded * 100.0)
    };
    Outcome::done(format!(
        "supply at the plug {}, behind the load {}, at the ECU {}; {command}",
        volts(battery),
        volts(at_plug),
        volts(at_ecu)
    ))
    .with_detail(format!(
        "a sound wire and winding: {} at both ends of the wire now, as a mean over the duty; {} when it is off",
        volts(driven),
        volts(battery)
    ))
    .with_details(scope::spark(car, output))
    .with_details(scope::cam(car, output))
}

/// A cam sensor's wire.
pub(super) fn cam_sensor(car: &Car, wire: Wire) -> Outcome {
    let fault = car.harness.shows(wire);
    if car.sensors().key == KeyPosition::Off {
        let [end, ground, supply] = connections(fault).map(|found| say_connection(car, wire, found));
        return Outcome::done(format!(
            "key off, wire {end} from end to end, to ground {ground}, to the sensor supply {supply}"
        ))
        .with_detail("good: under 5 ohm from end to end, no connection to ground or supply");
    }
    let good = car.vehicle.engine_speed().rpm() / 120.0 * CAM_TEETH;
    let [at_sensor, at_ecu] = match fault {
        None => [good; 2],
        Some(WiringFault::Open) => [good, 0.0],
        Some(_) => [0.0; 2],
    };
    Outcome::done(format!(
        "signal at the sensor {at_sensor:.0} Hz, at the ECU {at_ecu:.0} Hz"
    ))
    .with_detail(format!(
        "a sound wire: {good:.0} Hz at both; a good sensor: {CAM_TEETH:.0} pulses for each two turns of the crank"
    ))
}
