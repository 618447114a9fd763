//! What a meter shows on the gearbox: at its solenoids, its turbine speed sensor and the thermistor in its fluid.

use twotrip_harness::{Circuit, KeyPosition, Solenoid, Wire, WiringFault};
use twotrip_units::Voltage;

use super::{
    outputs::{connections, say},
    say_ohms, volts,
};
use crate::{Car, Outcome};

/// Teeth that the turbine speed sensor counts in a turn (our choice).
const TURBINE_TEETH: f64 = 30.0;

fn key_is_off(car: &Car) -> bool {
    car.sensors().key == KeyPosition::Off
}

/// A wire with both ends unplugged.
fn ohms(fault: Option<WiringFault>, supply: &str) -> String {
    let [wire, ground, to_supply] = connections(fault);
    format!(
        "key off, wire {} from end to end, to ground {}, to {supply} {}",
        say(wire),
        say(ground),
        say(to_supply)
    )
}

/// A solenoid and its wire.
pub(super) fn solenoid(car: &Car, solenoid: Solenoid) -> Outcome {
    let fault = car.harness.shows(solenoid);
    if key_is_off(car) {
        return Outcome::done(format!(
            "{}, winding {}",
            ohms(fault, "12 V"),
            say_ohms(solenoid.load())
        ))
        .with_detail(format!(
            "good: under 5 ohm from end to end, no connection to ground or 12 V; winding {:.0} to {:.0} ohm",
            0.85 * solenoid.load().ohms(),
            1.15 * solenoid.load().ohms()
        ));
    }
    let battery = car.vehicle.battery_voltage();
    let commanded = car.solenoids().contains(solenoid);
    let state = |on: bool| if on { "on" } else { "off" };
    // A solenoid that is on has its other end at ground.
    let behind = match fault {
        Some(WiringFault::ShortToGround) => Voltage::ZERO,
        Some(WiringFault::ShortToSupply | WiringFault::Open) => battery,
        _ if commanded => Voltage::ZERO,
        _ => battery,
    };
    Outcome::done(format!(
        "supply at the plug {}, behind the winding {}; the gearbox-controller has it {}",
        volts(battery),
        volts(behind),
        state(commanded)
    ))
    .with_detail("a sound wire: 0 V behind the winding when it is on, 12 V when it is off")
}

/// The sensor at the converter's turbine.
pub(super) fn turbine_sensor(car: &Car) -> Outcome {
    let fault = car.harness.shows(Wire::TurbineSensor);
    if key_is_off(car) {
        return Outcome::done(ohms(fault, "the sensor supply"))
            .with_detail("good: under 5 ohm from end to end, no connection to ground or supply");
    }
    let hertz = |rpm: f64| rpm / 60.0 * TURBINE_TEETH;
    let good = hertz(car.vehicle.turbine_speed().rpm());
    let given = hertz(car.vehicle.gearbox_pins().turbine.speed.rpm());
    let [at_sensor, at_controller] = match fault {
        None => [given; 2],
        Some(WiringFault::Open) => [given, 0.0],
        Some(_) => [0.0; 2],
    };
    Outcome::done(format!(
        "signal at the sensor {at_sensor:.0} Hz, at the gearbox-controller {at_controller:.0} Hz"
    ))
    .with_detail(format!(
        "good: {good:.0} Hz at both, {TURBINE_TEETH:.0} pulses for each turn of the turbine; in Park it turns with the engine"
    ))
}

/// The thermistor in the fluid.
pub(super) fn fluid_sensor(car: &Car) -> Outcome {
    let fault = car.harness.shows(Wire::FluidSensor);
    let pin = car.vehicle.gearbox_pins().fluid_temperature;
    let celsius = car.vehicle.oil_temperature().celsius();
    let probe = Circuit::CoolantSensor.probe(pin, fault);
    if key_is_off(car) {
        return Outcome::done(format!(
            "{}, sensor {}",
            ohms(fault, "the sensor supply"),
            say(probe.sensor)
        ))
        .with_detail("good: under 5 ohm from end to end, no connection to ground or supply")
        .with_detail("good: sensor 5790 ohm at 0 C, 2450 at 20 C, 1148 at 40 C, 322 at 80 C");
    }
    Outcome::done(format!(
        "signal at the gearbox-controller {}, at the sensor's plug {}, at the unplugged plug {}",
        volts(probe.at_ecu),
        volts(probe.at_sensor),
        volts(probe.unplugged)
    ))
    .with_detail(format!("a thermometer at the gearbox's pan shows {celsius:.0} C"))
    .with_detail("a good sensor: 4.26 V at 0 C, 3.55 V at 20 C, 2.67 V at 40 C, 1.22 V at 80 C")
}
