//! What is done to the car by hand: defects set, parts worked on, wires mended, looking. The meter is in `meter`.
//!
//! Work helps against what it would help against in a real car and nothing else: whoever fits a new sensor still
//! has the broken wire. What a technician sees comes from the car's truth, never from the ECU.

use twotrip_harness::{Circuit, WiringFault};
use twotrip_obd::Dtc;
use twotrip_scenario::phrase::{Fill, Preload, Quantity, Signal};
use twotrip_units::Ratio;
use twotrip_vehicle::{CapFault, Defect, Outcome as Cure, Part, SensorFault, ValveFault, Work};

use crate::{
    Car, Outcome, clock,
    meter::{look, say_wire},
};

/// Fuel is added; a tank that holds more than asked keeps it.
pub(crate) fn refuel(car: &mut Car, fill: Fill) -> Outcome {
    let before = car.vehicle.fuel_level();
    let level = match fill {
        Fill::Level(level) => level,
        Fill::Volume(volume) => Ratio::from_fraction(volume / car.vehicle.tank_volume()),
    };
    if before >= level {
        return Outcome::refused(format!(
            "the tank is at {:.0} % already; fuel is not taken out",
            before.percent()
        ));
    }
    car.vehicle.refuel(level);
    Outcome::done(format!(
        "refuelled from {:.0} % to {:.0} %",
        before.percent(),
        car.vehicle.fuel_level().percent()
    ))
}

/// A sensor is pinned.
pub(crate) fn hold(car: &mut Car, signal: Signal, value: f64) -> Outcome {
    car.holds.set(signal, value);
    Outcome::done(format!(
        "the sensor gives {} as {}, whatever is so",
        clock::amount(value, signal.unit()),
        signal.name()
    ))
}

/// Whatever is pinned of a value is let go of.
pub(crate) fn release(car: &mut Car, quantity: Quantity) -> Outcome {
    let name = quantity.name();
    let signal = Signal::ALL.into_iter().find(|signal| signal.name() == name);
    let held = signal.is_some_and(|signal| car.holds.release(signal));
    let overrides = car.ecu.overrides_mut();
    let pinned = overrides.pinned(quantity).is_some();
    overrides.release(quantity);
    Outcome::done(match (held, pinned) {
        (true, true) => format!("{name} is sensed and reported as it is again"),
        (true, false) => format!("{name} is sensed as it is again"),
        (false, true) => format!("{name} is reported as measured again"),
        (false, false) => format!("{name} was neither held nor overridden"),
    })
}

/// Something physical breaks.
pub(crate) fn break_part(car: &mut Car, defect: &Defect) -> Outcome {
    car.vehicle.set_defect(*defect);
    Outcome::done(match defect {
        Defect::FuelCap(CapFault::Loose) => "the fuel cap is on, but not tight".to_owned(),
        Defect::FuelCap(CapFault::Missing) => "the fuel cap has been left off".to_owned(),
        Defect::FillerNeckHole(diameter) => {
            format!(
                "the filler neck has a hole of {}",
                clock::amount(diameter.millimetres(), "mm")
            )
        }
        Defect::Valve(fault) => match fault {
            ValveFault::PurgeStuckShut => "the purge valve stays shut",
            ValveFault::PurgeLeaking => "the purge valve does not shut",
            ValveFault::VentStuckOpen => "the vent valve stays open",
            ValveFault::VentStuckShut => "the vent valve stays shut",
        }
        .to_owned(),
        Defect::Sensor(sensor, SensorFault::Dead) => format!("the {} is dead", sensor.part().name()),
        Defect::Sensor(sensor, SensorFault::Bias(bias)) => {
            let way = if *bias < 0.0 { "low" } else { "high" };
            let off = clock::amount(bias.abs(), sensor.unit());
            format!("the {} reads {off} {way}", sensor.part().name())
        }
    })
}

/// A wire breaks.
pub(crate) fn break_wire(car: &mut Car, circuit: Circuit, fault: WiringFault) -> Outcome {
    car.harness.break_wire(circuit, fault);
    Outcome::done(say_wire(circuit, fault))
}

/// A wire is mended.
pub(crate) fn mend_wire(car: &mut Car, circuit: Circuit) -> Outcome {
    match car.harness.mend_wire(circuit) {
        Some(fault) => Outcome::done(format!("mended: {}", say_wire(circuit, fault))),
        None => Outcome::done(format!(
            "the wires of the {} were good: nothing cured",
            circuit.name()
        )),
    }
}

/// Work on a part.
pub(crate) fn work(car: &mut Car, work: Work, part: Part) -> Outcome {
    match car.vehicle.repair(part, work) {
        Cure::Cured(defect) => Outcome::done(format!("done, and it cured something: {defect}")),
        Cure::NothingToCure => {
            let done = match work {
                Work::Tighten => "tightened",
                Work::Replace => "replaced",
                Work::Clean => "cleaned",
            };
            Outcome::done(format!("{} {done}; that cured nothing", part.name()))
        }
    }
}

/// What a look at a part shows.
pub(crate) fn inspect(car: &Car, part: Part) -> Outcome {
    let found = car.vehicle.defects().find(|defect| defect.part() == part);
    let text = match (part, found) {
        (_, Some(Defect::FuelCap(CapFault::Loose))) => {
            "the fuel cap turns by hand: it was never tightened until it clicks"
        }
        (_, Some(Defect::FuelCap(CapFault::Missing))) => "there is no fuel cap on the filler neck",
        (_, Some(Defect::FillerNeckHole(diameter))) => {
            let size = clock::amount(diameter.millimetres(), "mm");
            return Outcome::done(format!(
                "smoke comes out of the filler neck: a hole of about {size}"
            ));
        }
        (Part::FuelCap, None) => "the fuel cap is tight, its seal is good",
        (_, Some(Defect::Valve(fault))) => match fault {
            ValveFault::PurgeStuckShut => "with current on it the purge valve lets no air through",
            ValveFault::PurgeLeaking => "without current the purge valve lets air through",
            ValveFault::VentStuckOpen => "with current on it the vent valve still lets air through",
            ValveFault::VentStuckShut => "without current the vent valve lets no air through",
        },
        (Part::PurgeValve, None) => "the purge valve opens with current and shuts without: it is good",
        (Part::VentValve, None) => "the vent valve shuts with current and opens without: it is good",
        (Part::FillerNeck, None) => "no rust through, no smoke: the filler neck is tight",
        // Nobody sees what is wrong inside a sensor.
        (sensor, _) => return Outcome::done(look(car, sensor)),
    };
    Outcome::done(text)
}

/// What was put into the memory.
pub(crate) fn say_preload(list: Preload, codes: &[Dtc]) -> Outcome {
    let list = match list {
        Preload::Confirmed => "confirmed, with lamp, permanent entry and freeze frame",
        Preload::Pending => "pending",
    };
    let names: Vec<String> = codes.iter().map(ToString::to_string).collect();
    Outcome::done(format!("{} preloaded as {list} (not physical)", names.join(" ")))
}
