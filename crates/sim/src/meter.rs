//! What a technician finds on a sensor's circuit, and in `electrics` on battery, supplies and bus: with a meter at the plug, and by looking; what the ECU drives is in `outputs`.
//!
//! With the key on there are volts, with the key off ohms (both ends of the wire unplugged). All of these sensors give
//! a voltage; none has a frequency to measure. Truth comes from the car and its harness, never from the ECU.

use std::time::Duration;

use twotrip_harness::{Circuit, KeyPosition, Output, Probe, Solenoid, Wire, WiringFault};
use twotrip_scenario::phrase::{Comparison, Point, Presence, Provocation};
use twotrip_units::{Resistance, Voltage};
use twotrip_vehicle::Part;

use crate::{Car, Outcome, workshop::missing_wire};

mod electrics;
mod gauges;
mod gearbox;
mod outputs;
mod provoked;
mod scope;
mod smoke;

/// Most resistance of a good wire, ohm (common practice, no source).
const GOOD_WIRE_OHMS: f64 = 5.0;

/// Most that the ground of a sensor may be off, V (common practice, no source).
const GOOD_GROUND_VOLTS: f64 = 0.05;

/// Resistances up to this are of a wire and its terminals, ohm: every car has its own.
const BARE_WIRE_OHMS: f64 = 0.25;

/// How long an analyser is watched for the swing of the mixture.
const WATCHED: Duration = Duration::from_secs(10);

/// Beyond this a meter shows none, ohm.
const OPEN_OHMS: f64 = 2e6;

/// Where a meter goes to judge a part: its wires first, then what they share. Nowhere for what has none.
#[must_use]
pub const fn points(part: Part) -> &'static [Point] {
    const fn on(circuit: Circuit) -> Point {
        Point::Wire(Wire::Signal(circuit))
    }
    const fn to(output: Output) -> Point {
        Point::Wire(Wire::Output(output))
    }
    const SUPPLY: Point = Point::Wire(Wire::SensorSupply);
    match part {
        Part::CoolantSensor => const { &[on(Circuit::CoolantSensor)] },
        Part::IntakeAirSensor => const { &[on(Circuit::IntakeAirSensor)] },
        Part::AirMeter => const { &[on(Circuit::AirMeter)] },
        Part::ManifoldPressureSensor => const { &[on(Circuit::ManifoldPressureSensor), SUPPLY] },
        Part::ThrottleSensor => {
            const { &[on(Circuit::ThrottleSensorA), on(Circuit::ThrottleSensorB), SUPPLY] }
        }
        Part::TankPressureSensor => const { &[on(Circuit::TankPressureSensor), SUPPLY] },
        Part::FuelLevelSensor => const { &[on(Circuit::FuelLevelSensor)] },
        Part::RailPressureSensor => const { &[on(Circuit::RailPressureSensor)] },
        Part::VehicleSpeedSensor => &[Point::Wire(Wire::SpeedSensor)],
        Part::GearboxController | Part::Gearbox => {
            &[Point::Wire(Wire::GearboxController), Point::Wire(Wire::DataBus)]
        }
        Part::TurbineSpeedSensor => &[Point::Wire(Wire::TurbineSensor)],
        Part::GearboxFluidSensor => &[Point::Wire(Wire::FluidSensor)],
        Part::ShiftSolenoidA => &[Point::Wire(Wire::Solenoid(Solenoid::ShiftA))],
        Part::ShiftSolenoidB => &[Point::Wire(Wire::Solenoid(Solenoid::ShiftB))],
        Part::ShiftSolenoidC => &[Point::Wire(Wire::Solenoid(Solenoid::ShiftC))],
        Part::ConverterClutch => &[Point::Wire(Wire::Solenoid(Solenoid::ConverterClutch))],
        Part::Coil1 => const { &[to(Output::Coil1)] },
        Part::Coil2 => const { &[to(Output::Coil2)] },
        Part::Coil3 => const { &[to(Output::Coil3)] },
        Part::Coil4 => const { &[to(Output::Coil4)] },
        Part::Coil5 => const { &[to(Output::Coil5)] },
        Part::Coil6 => const { &[to(Output::Coil6)] },
        Part::PurgeValve => const { &[to(Output::PurgeValve), Point::VapourSmoke] },
        Part::VentValve => const { &[to(Output::VentValve), Point::VapourSmoke] },
        Part::EgrValve => const { &[to(Output::EgrValve), on(Circuit::EgrPositionSensor), SUPPLY] },
        Part::CamPhaser => const { &[to(Output::CamValve), Point::Wire(Wire::CamSensor)] },
        Part::CamPhaser2 => const { &[to(Output::CamValve2), Point::Wire(Wire::CamSensor2)] },
        Part::FrontOxygenSensor => const { &[on(Circuit::FrontOxygenSensor), to(Output::FrontHeater)] },
        Part::RearOxygenSensor => const { &[on(Circuit::RearOxygenSensor), to(Output::RearHeater)] },
        Part::FrontOxygenSensor2 => const { &[on(Circuit::FrontOxygenSensor2), to(Output::FrontHeater2)] },
        Part::RearOxygenSensor2 => const { &[on(Circuit::RearOxygenSensor2), to(Output::RearHeater2)] },
        Part::FuelCap | Part::FillerNeck | Part::VapourHose => &[Point::VapourSmoke],
        Part::Battery => &[Point::Battery],
        Part::Intake | Part::CrankcaseHose | Part::Throttle | Part::ManifoldPressureHose => {
            &[Point::ManifoldVacuum]
        }
        Part::Exhaust | Part::Catalyst => &[Point::BackPressure],
        Part::Alternator | Part::DriveBelt | Part::ChargingCable => &[Point::Alternator, Point::Battery],
        _ => &[],
    }
}

/// What a meter shows, and what it should show.
pub(crate) fn measure(car: &Car, point: Point) -> Outcome {
    if let Point::Wire(wire) = point
        && let Some(refused) = missing_wire(car, wire)
    {
        return refused;
    }
    match point {
        Point::Wire(Wire::Output(output)) => outputs::output(car, output),
        Point::Wire(Wire::Signal(circuit)) => signal(car, circuit),
        Point::Wire(wire) => electrics::wire(car, wire),
        Point::Battery => electrics::battery(car),
        Point::Alternator => electrics::alternator(car),
        Point::ManifoldVacuum => gauges::manifold_vacuum(car),
        Point::BackPressure => gauges::back_pressure(car),
        Point::VapourSmoke => smoke::vapour_space(car),
    }
}

/// What it shows while something is done to the wire.
pub(crate) fn measure_while(car: &Car, point: Point, provocation: Provocation) -> Outcome {
    provoked::measure_while(car, point, provocation)
}

/// What of it is one number, in the unit of the point; nothing where it cannot be measured now.
pub(crate) fn reading(car: &Car, point: Point) -> Option<f64> {
    let vehicle = &car.vehicle;
    match point {
        Point::Wire(_) | Point::VapourSmoke => None,
        Point::Battery => Some(vehicle.battery_voltage().volts()),
        Point::Alternator => car
            .ecu
            .control()
            .is_running()
            .then(|| (vehicle.battery_voltage() + electrics::cable_drop(car)).volts()),
        Point::ManifoldVacuum => {
            Some((vehicle.ambient_pressure() - vehicle.manifold_pressure()).kilopascals())
        }
        Point::BackPressure => Some(vehicle.highest_back_pressure().kilopascals()),
    }
}

/// A sensor's circuit.
fn signal(car: &Car, circuit: Circuit) -> Outcome {
    let sensors = &car.sensors();
    let probe = car.harness.probe(circuit, sensors);
    if sensors.key == KeyPosition::Off {
        return ohms(car, circuit, &probe);
    }
    let ground = probe.ground.volts() + car.tolerances.ground_volts(circuit.into());
    let unplugged = circuit.input().idle().volts();
    // What this sensor gives, right or wrong: it tells of the wire. Of the sensor, its sheet and the other instrument do.
    let given = circuit.pin(sensors).volts();
    Outcome::done(format!(
        "signal at the ECU {}, at the sensor's plug {}, at the unplugged plug {}; the sensor's ground {}",
        volts(probe.at_ecu),
        volts(probe.at_sensor),
        volts(probe.unplugged),
        volts(Voltage::from_volts(ground))
    ))
    .with_detail(truth(car, circuit))
    .with_detail(format!(
        "a sound wire: {given:.2} V now at both ends, {unplugged:.2} V at the unplugged plug, ground under \
         {GOOD_GROUND_VOLTS:.2} V"
    ))
    .with_detail(format!("a good sensor: {}", sheet(circuit)))
    .with_details(scope::oxygen_edge(car, circuit))
}

/// The circuit with the key off.
fn ohms(car: &Car, circuit: Circuit, probe: &Probe) -> Outcome {
    let connection = |found: Option<Resistance>| say_connection(car, circuit.into(), found);
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
        Circuit::EgrPositionSensor => {
            let lift = vehicle.recirculation_lift().percent();
            format!("the stem stands at {lift:.0} % of its lift")
        }
        Circuit::RailPressureSensor => {
            let pressure = vehicle.rail_pressure().kilopascals();
            format!("a gauge on the fuel rail shows {pressure:.0} kPa")
        }
        Circuit::FrontOxygenSensor | Circuit::RearOxygenSensor => lambda(car, 0),
        Circuit::FrontOxygenSensor2 | Circuit::RearOxygenSensor2 => lambda(car, 1),
    }
}

/// The mixture of a bank, as an analyser with a quick sensor ahead of the catalyst has it: mean and swing.
fn lambda(car: &Car, bank: usize) -> String {
    if car.vehicle.engine_speed().rpm() < 50.0 {
        return "the engine stands: the sensor cools down".to_owned();
    }
    let (mut sum, mut count) = (0.0, 0.0);
    let (mut least, mut most) = (f64::INFINITY, 0.0_f64);
    car.watched(WATCHED, |vehicle| {
        let lambda = vehicle.lambda(bank).fraction();
        sum += lambda;
        count += 1.0;
        least = least.min(lambda);
        most = most.max(lambda);
    });
    if least > 2.0 {
        return "a gas analyser shows air: no fuel burns".to_owned();
    }
    format!(
        "a gas analyser ahead of the catalyst shows lambda {:.2}, between {least:.2} and {most:.2} over ten seconds",
        sum / count
    )
}

/// The sensor's data sheet in one line.
const fn sheet(circuit: Circuit) -> &'static str {
    match circuit {
        Circuit::EgrPositionSensor => "0.50 V shut, 4.50 V wide open",
        Circuit::RailPressureSensor => "0.50 V without pressure, 2.83 V at 350 kPa, 4.50 V at 600 kPa",
        Circuit::FrontOxygenSensor
        | Circuit::RearOxygenSensor
        | Circuit::FrontOxygenSensor2
        | Circuit::RearOxygenSensor2 => {
            "narrow-band: 0.1 V lean, 0.8 V rich, 0.45 V cold; wide-range: 1.50 V at lambda 1 and while it is cold"
        }
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

/// What a good cylinder shows on a compression gauge, bar, and what a good injector takes from the rail's pressure in a
/// row of pulses, kPa (common practice, no source).
const COMPRESSION_BAR: f64 = 12.0;
const BALANCE_KPA: f64 = 40.0;

/// All cylinders, one beside the other.
pub(crate) fn compare(car: &Car, comparison: Comparison) -> Outcome {
    let vehicle = &car.vehicle;
    let all = |each: &dyn Fn(usize) -> String| {
        let cylinders = 0..usize::from(vehicle.cylinders());
        cylinders.map(each).collect::<Vec<_>>().join(", ")
    };
    match comparison {
        Comparison::Compression => Outcome::done(all(&|cylinder| {
            let own = car.tolerances.compression(cylinder);
            let bar = COMPRESSION_BAR * own * vehicle.compression(cylinder).fraction();
            format!("cylinder {} {bar:.1} bar", cylinder + 1)
        }))
        .with_detail("good: 11 to 13 bar, and none more than a quarter below the best"),
        Comparison::InjectorBalance => Outcome::done(all(&|cylinder| {
            let own = car.tolerances.injector(cylinder);
            let fall = BALANCE_KPA * own * vehicle.injector_flow(cylinder).fraction();
            format!("injector {} takes {fall:.1} kPa", cylinder + 1)
        }))
        .with_detail("good: 36 to 44 kPa, all within 10 % of their mean"),
    }
}

/// What a look at a sensor, its connector and its wires shows.
pub(crate) fn look(car: &Car, part: Part) -> String {
    let what = if part == Part::GearboxController {
        "controller"
    } else {
        "sensor"
    };
    match look_at_wires(car, part) {
        None => format!("{what}, connector and wires look good"),
        Some(found) => format!("the {what} looks good; {found}"),
    }
}

/// What is seen on the wires of a part, if anything is.
pub(crate) fn look_at_wires(car: &Car, part: Part) -> Option<String> {
    let wire = |point: &Point| match point {
        Point::Wire(wire) => Some((*wire, car.harness.fault(*wire)?)),
        _ => None,
    };
    let found: Vec<String> = points(part)
        .iter()
        .filter_map(wire)
        .map(|(wire, fault)| match car.wires.when(wire) {
            // What comes and goes is found by hand.
            Some(Presence::Wet) => format!("when water is sprayed on the loom, {}", seen(wire, fault)),
            Some(Presence::HotterThan(_)) => format!("when the loom is warmed, {}", seen(wire, fault)),
            Some(Presence::ColderThan(_)) => format!("when the loom is cooled, {}", seen(wire, fault)),
            Some(Presence::OnBumps | Presence::LoadOver(_)) => {
                format!("when the loom is moved, {}", seen(wire, fault))
            }
            None => seen(wire, fault),
        })
        .collect();
    (!found.is_empty()).then(|| found.join("; "))
}

fn seen(wire: Wire, fault: WiringFault) -> String {
    let signal = match wire {
        Wire::Signal(Circuit::ThrottleSensorA) => "the signal wire of track A",
        Wire::Signal(Circuit::ThrottleSensorB) => "the signal wire of track B",
        Wire::Signal(Circuit::EgrPositionSensor) => "the signal wire of its position sensor",
        Wire::Signal(_) | Wire::SpeedSensor | Wire::TurbineSensor | Wire::FluidSensor => "its signal wire",
        Wire::CamSensor | Wire::CamSensor2 => "the signal wire of the cam sensor",
        Wire::Output(output) if output.heater().is_some() => "the wire from its heater to the ECU",
        Wire::Output(Output::CamValve | Output::CamValve2) => {
            "the wire from the oil control valve to the ECU"
        }
        Wire::Output(_) => "its wire to the ECU",
        Wire::Solenoid(_) => "its wire to the gearbox controller",
        Wire::SensorSupply => "the supply wire that it shares with other sensors",
        Wire::GearboxController => "its supply wire",
        Wire::DataBus => "the bus pair behind the plug with the terminator",
    };
    match fault {
        WiringFault::Open => format!("{signal} is broken at the connector"),
        WiringFault::ShortToGround => format!("{signal} has chafed through on the body"),
        WiringFault::ShortToSupply => format!("{signal} and the supply wire touch in the connector"),
        WiringFault::Resistance(_) => format!("the terminal of {signal} is green with corrosion"),
        WiringFault::Bias(_) => format!("the ground terminal beside {signal} is loose and discoloured"),
        WiringFault::PulledDown(_) => format!("{signal} is scorched where it touches another"),
        WiringFault::SwappedWith(other) => {
            format!(
                "the plug of the {} fits here as well: colours do not match the diagram",
                other.name()
            )
        }
    }
}

/// What is wrong with a wire, in a sentence.
pub(crate) fn say_wire(wire: Wire, fault: WiringFault) -> String {
    let name = wire.name();
    let output = matches!(wire, Wire::Output(_) | Wire::Solenoid(_));
    let wire = match wire {
        Wire::Signal(_)
        | Wire::SpeedSensor
        | Wire::TurbineSensor
        | Wire::FluidSensor
        | Wire::CamSensor
        | Wire::CamSensor2 => format!("the signal wire of the {name}"),
        Wire::Solenoid(_) => format!("the wire between the {name} and the gearbox-controller"),
        Wire::Output(_) => format!("the wire between the {name} and the ECU"),
        Wire::SensorSupply => "the supply wire of the sensors".to_owned(),
        Wire::GearboxController => "the supply of the gearbox-controller".to_owned(),
        Wire::DataBus => "the end of the data bus with one of its terminators".to_owned(),
    };
    match fault {
        WiringFault::Open => format!("{wire} is broken"),
        WiringFault::ShortToGround => format!("{wire} is shorted to ground"),
        WiringFault::ShortToSupply if output => format!("{wire} is shorted to 12 V"),
        WiringFault::ShortToSupply => format!("{wire} is shorted to the sensor supply"),
        WiringFault::Resistance(added) => format!("{wire} has {} in it", say_ohms(added)),
        WiringFault::Bias(offset) => format!("the ground of the {name} is off by {}", volts(offset)),
        WiringFault::PulledDown(to) => format!("{wire} is dragged down to {}", volts(to)),
        WiringFault::SwappedWith(other) => format!("{wire} and that of the {} are swapped", other.name()),
    }
}

pub(super) fn volts(voltage: Voltage) -> String {
    // No minus before nothing.
    let hundredths = (voltage.volts() * 100.0).round() / 100.0 + 0.0;
    format!("{hundredths:.2} V")
}

/// What an ohmmeter finds between two points of a wire: a bare wire's few tenths are its own in every car.
pub(super) fn say_connection(car: &Car, wire: Wire, found: Option<Resistance>) -> String {
    match found {
        None => "no connection".to_owned(),
        Some(found) if found.ohms() < BARE_WIRE_OHMS => {
            say_ohms(Resistance::from_ohms(car.tolerances.wire_ohms(wire)))
        }
        Some(found) => say_ohms(found),
    }
}

pub(super) fn say_ohms(resistance: Resistance) -> String {
    let ohms = resistance.ohms();
    if ohms > OPEN_OHMS {
        "no connection".to_owned()
    } else if ohms < 10.0 {
        format!("{ohms:.1} ohm")
    } else {
        format!("{ohms:.0} ohm")
    }
}
