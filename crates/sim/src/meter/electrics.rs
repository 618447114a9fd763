//! What a meter shows at the battery, the alternator, the shared supply, the gearbox controller and the data bus.

use twotrip_harness::{KeyPosition, Wire, WiringFault, transfer::SENSOR_SUPPLY_VOLTS};
use twotrip_units::{Resistance, Voltage};

use super::{gearbox, outputs, say_ohms, scope, volts};
use crate::{Car, Outcome};

/// Resistance of one terminator, ohm (ISO 11898-2: 120 ohm at each end, 60 across the pair).
const TERMINATOR: f64 = 120.0;
/// Pulses of the output-shaft sensor for each metre of road (a choice of this car).
const PULSES_PER_METRE: f64 = 40.0;

/// A bare wire.
fn bare(car: &Car, wire: Wire) -> String {
    say_ohms(Resistance::from_ohms(car.tolerances.wire_ohms(wire)))
}

/// What is lost between alternator and battery, a good cable's share of it included.
pub(super) fn cable_drop(car: &Car) -> Voltage {
    let vehicle = &car.vehicle;
    let good = vehicle.alternator_current().amperes() * car.tolerances.cable_ohms();
    vehicle.charging_cable_drop() + Voltage::from_volts(good)
}

fn key_is_off(car: &Car) -> bool {
    car.sensors().key == KeyPosition::Off
}

/// A wire that is no sensor's signal.
pub(super) fn wire(car: &Car, wire: Wire) -> Outcome {
    match wire {
        Wire::SpeedSensor => speed_sensor(car),
        Wire::CamSensor | Wire::CamSensor2 => outputs::cam_sensor(car, wire),
        Wire::GearboxController => controller(car),
        Wire::DataBus => data_bus(car),
        Wire::Solenoid(solenoid) => gearbox::solenoid(car, solenoid),
        Wire::TurbineSensor => gearbox::turbine_sensor(car),
        Wire::FluidSensor => gearbox::fluid_sensor(car),
        Wire::SensorSupply | Wire::Signal(_) | Wire::Output(_) => sensor_supply(car),
    }
}

fn sensor_supply(car: &Car) -> Outcome {
    let fault = car.harness.fault(Wire::SensorSupply);
    if key_is_off(car) {
        let bare = bare(car, Wire::SensorSupply);
        let bare = bare.as_str();
        let (wire, ground) = match fault {
            Some(WiringFault::Open) => ("no connection", "no connection"),
            Some(WiringFault::ShortToGround) => (bare, bare),
            Some(_) => (bare, "some ohms, with every sensor unplugged too"),
            None => (bare, "no connection"),
        };
        return Outcome::done(format!(
            "key off, the supply wire {wire} from the ECU to the plugs, to ground {ground}"
        ))
        .with_detail(
            "good: under 5 ohm from end to end, no connection to ground with the sensors unplugged",
        );
    }
    let supply = car.harness.sensor_supply();
    let outcome = Outcome::done(format!(
        "supply at the plugs of the sensors that share it {}",
        volts(supply)
    ));
    let outcome = match fault {
        Some(WiringFault::Open) => outcome.with_detail("at the ECU's pin 5.00 V: it does not arrive"),
        Some(_) => outcome.with_detail("it does not rise as the sensors are unplugged one by one: the wire"),
        None => outcome,
    };
    outcome.with_detail(format!(
        "good: {} at all of them; it feeds manifold-pressure-sensor, throttle-sensor, tank-pressure-sensor{}",
        volts(Voltage::from_volts(SENSOR_SUPPLY_VOLTS)),
        if car.ecu.control().calibration().recirculation {
            ", egr-position-sensor"
        } else {
            ""
        }
    ))
}

fn speed_sensor(car: &Car) -> Outcome {
    let fault = car.harness.fault(Wire::SpeedSensor);
    if key_is_off(car) {
        let bare = bare(car, Wire::SpeedSensor);
        let found = |set| {
            if fault == Some(set) {
                bare.as_str()
            } else {
                "no connection"
            }
        };
        let wire = if fault == Some(WiringFault::Open) {
            "no connection"
        } else {
            bare.as_str()
        };
        return Outcome::done(format!(
            "key off, wire {wire} from end to end, to ground {}, to the sensor supply {}",
            found(WiringFault::ShortToGround),
            found(WiringFault::ShortToSupply)
        ))
        .with_detail("good: under 5 ohm from end to end, no connection to ground or supply");
    }
    let speed = car.vehicle.road_speed();
    let good = speed.metres_per_second() * PULSES_PER_METRE;
    let alive = car.vehicle.speed_sensor_works();
    let hertz = |works: bool| if works { good } else { 0.0 };
    let turned = |works: bool| if works { "pulses" } else { "no pulses" };
    let shorted = matches!(
        fault,
        Some(WiringFault::ShortToGround | WiringFault::ShortToSupply)
    );
    let at_sensor = alive && !shorted;
    let at_controller = at_sensor && fault.is_none();
    Outcome::done(format!(
        "signal at the sensor {:.0} Hz, at the gearbox-controller {:.0} Hz",
        hertz(at_sensor),
        hertz(at_controller)
    ))
    .with_detail(format!(
        "with the wheels off the ground and turned by hand: {} at the sensor, {} at the controller",
        turned(at_sensor),
        turned(at_controller)
    ))
    .with_detail(format!(
        "good: {good:.0} Hz at both, {PULSES_PER_METRE:.0} pulses for each metre; the car goes {:.0} km/h",
        speed.kilometres_per_hour()
    ))
}

fn controller(car: &Car) -> Outcome {
    let battery = car.vehicle.battery_voltage();
    let powered = car.harness.gearbox().powered;
    let intermittent = car.harness.fault(Wire::GearboxController).is_some() && powered;
    if key_is_off(car) {
        let ground = if powered {
            bare(car, Wire::GearboxController)
        } else {
            "no connection".to_owned()
        };
        return Outcome::done(format!(
            "key off, from the controller's plug to battery and ground {ground}"
        ))
        .with_detail("good: under 1 ohm");
    }
    let at_plug = if powered { battery } else { Voltage::ZERO };
    let outcome = Outcome::done(format!("supply at the controller's plug {}", volts(at_plug)));
    let outcome = if intermittent {
        outcome.with_detail("it drops out when the plug is wiggled")
    } else {
        outcome
    };
    outcome.with_detail(format!(
        "good: as at the battery, {} now, less 0.5 V at the most",
        volts(battery)
    ))
}

fn data_bus(car: &Car) -> Outcome {
    if !key_is_off(car) && car.ecu.control().is_running() {
        return Outcome::refused("ohms on the data bus are measured with the engine off and the bus asleep")
            .with_detail("first: key off");
    }
    let ends = if car.harness.fault(Wire::DataBus).is_some() {
        1.0
    } else {
        2.0
    };
    if !key_is_off(car) {
        return Outcome::done("CAN high 2.6 V, CAN low 2.4 V on average: the bus is awake")
            .with_detail("ohms across the pair: with the key off");
    }
    Outcome::done(format!(
        "key off, {:.0} ohm across CAN high and low",
        TERMINATOR / ends
    ))
    .with_detail("good: 60 ohm, the two terminators of 120 ohm side by side")
}

/// Across the battery.
pub(super) fn battery(car: &Car) -> Outcome {
    let vehicle = &car.vehicle;
    let running = car.ecu.control().is_running();
    let flows = vehicle.battery_current().amperes();
    let way = if flows >= 0.0 { "into" } else { "out of" };
    let outcome = Outcome::done(format!(
        "battery {}, {:.1} A {way} it",
        volts(vehicle.battery_voltage()),
        flows.abs()
    ))
    .with_detail(format!(
        "a battery tester shows {:.0} % of charge, {:.1} milliohm",
        vehicle.battery_charge().percent(),
        vehicle.battery_resistance().ohms() * 1000.0
    ));
    // Common practice, no source.
    outcome.with_detail(if running {
        "good: 13.8 to 14.6 V at 2000 rpm with loads on, current into it"
    } else {
        "good: 12.4 to 12.7 V at rest, up to 13.3 V just after charging (surface charge), \
         12.2 to 12.4 V with the key on, over 9.6 V while cranking; 6 to 9 milliohm"
    })
}

/// At the alternator.
pub(super) fn alternator(car: &Car) -> Outcome {
    let vehicle = &car.vehicle;
    if !car.ecu.control().is_running() {
        return Outcome::refused("an alternator is measured with the engine running")
            .with_detail("first: start");
    }
    let drop = cable_drop(car);
    let at_terminal = vehicle.battery_voltage() + drop;
    Outcome::done(format!(
        "alternator {}, {:.0} A; between it and the battery {} are lost",
        volts(at_terminal),
        vehicle.alternator_current().amperes(),
        volts(drop)
    ))
    .with_detail(format!(
        "loads draw {:.0} A now, at {:.0} rpm",
        vehicle.alternator_current().amperes() - vehicle.battery_current().amperes(),
        vehicle.engine_speed().rpm()
    ))
    .with_detail(scope::pulley(car))
    .with_detail("good: 13.8 to 14.8 V, more ampere than the loads draw, under 0.2 V lost in the cable")
}
