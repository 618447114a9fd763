//! What a technician finds on a sensor's circuit: with a meter at the plug, and by looking.
//!
//! With the key on there are volts, with the key off ohms (both ends of the wire unplugged). All of these sensors give
//! a voltage; none has a frequency to measure. Truth comes from the car and its harness, never from the ECU.

use twotrip_harness::{Circuit, KeyPosition, Probe, WiringFault};
use twotrip_units::{Resistance, Voltage};
use twotrip_vehicle::Part;

use crate::{Car, Outcome};

/// Most resistance of a good wire, ohm (common practice, no source).
const GOOD_WIRE_OHMS: f64 = 5.0;

/// Beyond this a meter shows none, ohm.
const OPEN_OHMS: f64 = 2e6;

/// The circuits that end at a part: none for one that is no sensor.
#[must_use]
pub const fn circuits(part: Part) -> &'static [Circuit] {
    match part {
        Part::CoolantSensor => &[Circuit::CoolantSensor],
        Part::IntakeAirSensor => &[Circuit::IntakeAirSensor],
        Part::AirMeter => &[Circuit::AirMeter],
        Part::ManifoldPressureSensor => &[Circuit::ManifoldPressureSensor],
        Part::ThrottleSensor => &[Circuit::ThrottleSensorA, Circuit::ThrottleSensorB],
        Part::TankPressureSensor => &[Circuit::TankPressureSensor],
        Part::FuelLevelSensor => &[Circuit::FuelLevelSensor],
        _ => &[],
    }
}

/// What a meter shows, and what it should show.
pub(crate) fn measure(car: &Car, circuit: Circuit) -> Outcome {
    let sensors = &car.sensors();
    let probe = car.harness.probe(circuit, sensors);
    if sensors.key == KeyPosition::Off {
        return ohms(circuit, &probe);
    }
    let unplugged = circuit.input().idle().volts();
    let healthy = circuit.pin(car.vehicle.good_sensors()).volts();
    Outcome::done(format!(
        "signal at the ECU {}, at the sensor's plug {}, at the unplugged plug {}; the sensor's ground {}",
        volts(probe.at_ecu),
        volts(probe.at_sensor),
        volts(probe.unplugged),
        volts(probe.ground)
    ))
    .with_detail(truth(car, circuit))
    .with_detail(format!(
        "good: {healthy:.2} V now at both ends, {unplugged:.2} V at the unplugged plug, ground 0.00 V; {}",
        sheet(circuit)
    ))
}

/// The circuit with the key off.
fn ohms(circuit: Circuit, probe: &Probe) -> Outcome {
    let connection = |found: Option<Resistance>| found.map_or_else(|| "no connection".to_owned(), say_ohms);
    let sensor = probe
        .sensor
        .map(|sensor| format!(", sensor {}", say_ohms(sensor)))
        .unwrap_or_default();
    let outcome = Outcome::done(format!(
        "key off, wire {} from end to end, to ground {}, to the sensor supply {}{sensor}",
        connection(probe.wire),
        connection(probe.to_ground),
        connection(probe.to_supply)
    ))
    .with_detail(format!(
        "good: under {GOOD_WIRE_OHMS:.0} ohm from end to end, no connection to ground or supply"
    ));
    match circuit {
        Circuit::CoolantSensor | Circuit::IntakeAirSensor => {
            outcome.with_detail("good: sensor 5790 ohm at 0 C, 2450 at 20 C, 1148 at 40 C, 322 at 80 C")
        }
        Circuit::FuelLevelSensor => {
            outcome.with_detail("good: sensor 11 ohm when empty, 100 at half, 900 when full")
        }
        _ => outcome,
    }
}

/// What another instrument shows at the same place.
fn truth(car: &Car, circuit: Circuit) -> String {
    let vehicle = &car.vehicle;
    match circuit {
        Circuit::CoolantSensor => {
            let celsius = vehicle.coolant_temperature().celsius();
            format!("a thermometer on the thermostat housing shows {celsius:.0} C")
        }
        Circuit::IntakeAirSensor => {
            let celsius = vehicle.intake_air_temperature().celsius();
            format!("a thermometer in the intake shows {celsius:.0} C")
        }
        Circuit::AirMeter => {
            let flow = vehicle.throttle_flow().grams_per_second();
            format!("the engine draws {flow:.1} g/s through the meter")
        }
        Circuit::ManifoldPressureSensor => {
            let pressure = vehicle.manifold_pressure().kilopascals();
            format!("a gauge on the manifold shows {pressure:.0} kPa absolute")
        }
        Circuit::ThrottleSensorA | Circuit::ThrottleSensorB => {
            let angle = vehicle.throttle_angle().degrees();
            format!("the plate stands at {angle:.1} deg")
        }
        Circuit::TankPressureSensor => {
            let pressure = vehicle.tank_pressure().pascals().round() + 0.0;
            format!("a gauge on the tank shows {pressure:.0} Pa")
        }
        Circuit::FuelLevelSensor => {
            let level = vehicle.fuel_level().percent();
            format!("the tank is {level:.0} % full")
        }
    }
}

/// The sensor's data sheet in one line.
const fn sheet(circuit: Circuit) -> &'static str {
    match circuit {
        Circuit::CoolantSensor | Circuit::IntakeAirSensor => {
            "4.26 V at 0 C, 3.55 V at 20 C, 2.67 V at 40 C, 1.22 V at 80 C"
        }
        Circuit::AirMeter => "0.40 V without flow, 0.90 V at 2.5 g/s, 2.60 V at 20 g/s",
        Circuit::ManifoldPressureSensor => "4.63 V at 100 kPa, 1.56 V at 30 kPa",
        Circuit::ThrottleSensorA => {
            "0.65 V when shut, 0.045 V more for each deg; both tracks add up to 5.00 V"
        }
        Circuit::ThrottleSensorB => {
            "4.35 V when shut, 0.045 V less for each deg; both tracks add up to 5.00 V"
        }
        Circuit::TankPressureSensor => "2.50 V at atmosphere, 0.50 V more for each kPa",
        Circuit::FuelLevelSensor => "0.50 V when empty, 2.50 V at half, 4.50 V when full",
    }
}

/// What a look at a sensor, its connector and its wires shows.
pub(crate) fn look(car: &Car, part: Part) -> String {
    let found: Vec<String> = circuits(part)
        .iter()
        .filter_map(|&circuit| Some(seen(circuit, car.harness.fault(circuit)?)))
        .collect();
    if found.is_empty() {
        "sensor, connector and wires look good".to_owned()
    } else {
        format!("the sensor looks good; {}", found.join("; "))
    }
}

fn seen(circuit: Circuit, fault: WiringFault) -> String {
    let signal = match circuit {
        Circuit::ThrottleSensorA => "the signal wire of track A",
        Circuit::ThrottleSensorB => "the signal wire of track B",
        _ => "its signal wire",
    };
    match fault {
        WiringFault::Open => format!("{signal} is broken at the connector"),
        WiringFault::ShortToGround => format!("{signal} has chafed through on the body"),
        WiringFault::ShortToSupply => format!("{signal} and the supply wire touch in the connector"),
        WiringFault::Resistance(_) => format!("the terminal of {signal} is green with corrosion"),
        WiringFault::Bias(_) => format!("the ground terminal beside {signal} is loose and discoloured"),
    }
}

/// What is wrong with a circuit, in a sentence.
pub(crate) fn say_wire(circuit: Circuit, fault: WiringFault) -> String {
    let name = circuit.name();
    match fault {
        WiringFault::Open => format!("the signal wire of the {name} is broken"),
        WiringFault::ShortToGround => format!("the signal wire of the {name} is shorted to ground"),
        WiringFault::ShortToSupply => {
            format!("the signal wire of the {name} is shorted to the sensor supply")
        }
        WiringFault::Resistance(added) => {
            format!("the signal wire of the {name} has {} in it", say_ohms(added))
        }
        WiringFault::Bias(offset) => {
            format!("the ground of the {name} is off by {}", volts(offset))
        }
    }
}

fn volts(voltage: Voltage) -> String {
    // No minus before nothing.
    let hundredths = (voltage.volts() * 100.0).round() / 100.0 + 0.0;
    format!("{hundredths:.2} V")
}

fn say_ohms(resistance: Resistance) -> String {
    let ohms = resistance.ohms();
    if ohms > OPEN_OHMS {
        "no connection".to_owned()
    } else if ohms < 10.0 {
        format!("{ohms:.1} ohm")
    } else {
        format!("{ohms:.0} ohm")
    }
}
