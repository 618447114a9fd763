//! What is done to the car by hand: defects set, parts worked on, wires mended, looking. The meter is in `meter`.
//!
//! Work helps against what it would help against in a real car and nothing else: whoever fits a new sensor still
//! has the broken wire. What a technician sees comes from the car's truth, never from the ECU.

use twotrip_ecu::Equipment;
use twotrip_harness::{Circuit, Output, Wire, WiringFault};
use twotrip_obd::Dtc;
use twotrip_scenario::phrase::{EcuRef, Fill, Load, Preload, Presence, Quantity, Signal};
use twotrip_units::Ratio;
use twotrip_vehicle::{Course, Defect, Outcome as Cure, Part, Work};

use crate::{
    Car, Outcome, clock, gauge,
    meter::{look, look_at_wires, say_wire},
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
            "the tank is at {:.0} % already; to take fuel out: drain to",
            before.percent()
        ));
    }
    car.vehicle.refuel(level);
    let after = car.vehicle.fuel_level();
    if (level - after).percent() > 0.1 {
        let litres = (after - before).fraction() * car.vehicle.tank_volume().litres();
        return Outcome::done(format!(
            "the pump clicks off after {litres:.0} l and again at each try: the tank is at {:.0} %",
            after.percent()
        ));
    }
    Outcome::done(format!(
        "refuelled from {:.0} % to {:.0} %",
        before.percent(),
        after.percent()
    ))
}

/// Fuel is taken out; a tank that holds less than asked keeps it.
pub(crate) fn drain(car: &mut Car, level: Ratio) -> Outcome {
    let before = car.vehicle.fuel_level();
    if before <= level {
        return Outcome::refused(format!(
            "the tank is at {:.0} % only; to fill it: refuel to",
            before.percent()
        ));
    }
    car.vehicle.refuel(level);
    Outcome::done(format!(
        "drained from {:.0} % to {:.0} %",
        before.percent(),
        car.vehicle.fuel_level().percent()
    ))
}

/// How wet the wiring is, in words.
fn wet(car: &Car) -> &'static str {
    let wetness = car.vehicle.wetness().percent();
    if wetness < 5.0 {
        "dry"
    } else if wetness < 40.0 {
        "damp"
    } else if wetness < 75.0 {
        "wet"
    } else {
        "soaked"
    }
}

/// The weather changes.
pub(crate) fn weather(car: &mut Car, rains: bool) -> Outcome {
    car.vehicle.rain(rains);
    let what = if rains { "it rains" } else { "it does not rain" };
    Outcome::done(format!("{what}; the wiring is {}", wet(car)))
        .with_detail("rain wets a car in half an hour of standing and in minutes of driving; a hot engine dries it in an hour, a night does too")
}

/// The car is hosed down.
pub(crate) fn wash(car: &mut Car) -> Outcome {
    car.vehicle.wash();
    Outcome::done(format!(
        "washed, engine bay and underbody too; the wiring is {}",
        wet(car)
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
    if let Some(refused) = missing_part(car, defect.part()) {
        return refused;
    }
    car.vehicle.set_defect(*defect);
    let set = with_amount(defect.entry().set, defect);
    Outcome::done(match defect.course() {
        Course::Steady => set,
        Course::Growing(rate) => format!(
            "{set}, growing by {} with each 100 km",
            clock::amount(rate, defect.entry().unit())
        ),
        Course::When(when) => format!("{set}, but only {when}"),
    })
}

/// A text of the catalogue with the amount where its marks are: `{}` the amount, `{off}` a deviation with its way.
fn with_amount(text: &str, defect: &Defect) -> String {
    let (amount, unit) = (defect.amount(), defect.entry().unit());
    let way = if amount < 0.0 { "low" } else { "high" };
    text.replace("{off}", &format!("{} {way}", clock::amount(amount.abs(), unit)))
        .replace("{}", &clock::amount(amount, unit))
}

/// A wire breaks.
pub(crate) fn break_wire(car: &mut Car, wire: Wire, fault: WiringFault, when: Option<Presence>) -> Outcome {
    let other = match fault {
        WiringFault::SwappedWith(other) => Some(other),
        _ => None,
    };
    if let Some(refused) = missing_wire(car, wire).or_else(|| missing_wire(car, other?)) {
        return refused;
    }
    car.break_wire(wire, fault, when);
    Outcome::done(say_fault(car, wire, fault))
}

/// The refusal, where this car has no such wire.
pub(crate) fn missing_wire(car: &Car, wire: Wire) -> Option<Outcome> {
    let calibration = car.ecu.control().calibration();
    let lacks = match wire {
        Wire::Output(Output::EgrValve) | Wire::Signal(Circuit::EgrPositionSensor) => {
            !calibration.has(Equipment::Recirculation)
        }
        Wire::Output(Output::CamValve) => !calibration.has(Equipment::Phaser),
        Wire::Output(Output::CamValve2) => !calibration.has(Equipment::SecondPhaser),
        wire if wire.is_of_watched_gearbox() => car.transmission.is_none(),
        _ => wire.bank() == Some(1) && !calibration.has(Equipment::SecondBank),
    };
    if lacks {
        return Some(has_no(wire.name()));
    }
    let coil = match wire {
        Wire::Output(output) => output.coil()?,
        _ => return None,
    };
    missing_cylinder(car, u8::try_from(coil + 1).ok()?)
}

/// What is wrong with a wire, and when.
fn say_fault(car: &Car, wire: Wire, fault: WiringFault) -> String {
    let what = say_wire(wire, fault);
    match car.wires.when(wire) {
        Some(when) => format!("{what}, but only {when}"),
        None => what,
    }
}

/// The driver switches something.
pub(crate) fn switch(car: &mut Car, load: Load, on: bool) -> Outcome {
    let mut loads = car.vehicle.loads();
    *match load {
        Load::Lights => &mut loads.lights,
        Load::Blower => &mut loads.blower,
        Load::RearScreen => &mut loads.screen,
        Load::AirConditioning => &mut loads.air_conditioning,
        Load::CabinHeater => &mut loads.cabin_heater,
        Load::BlockHeater => &mut loads.block_heater,
    } = on;
    car.vehicle.switch(loads);
    let name = match load {
        Load::Lights => "the headlamps are",
        Load::Blower => "the blower is",
        Load::RearScreen => "the heater of the rear screen is",
        Load::AirConditioning => "the air conditioning is",
        Load::CabinHeater => "the heater of the cabin is",
        Load::BlockHeater if on => {
            return Outcome::done("the block heater is plugged in: it warms the engine while it stands");
        }
        Load::BlockHeater => return Outcome::done("the block heater is unplugged"),
    };
    Outcome::done(format!("{name} {}", if on { "on" } else { "off" }))
}

/// A wire is mended.
pub(crate) fn mend_wire(car: &mut Car, wire: Wire) -> Outcome {
    match car.mend_wire(wire) {
        Some(fault) => Outcome::done(format!("mended: {}", say_wire(wire, fault))),
        None => Outcome::done(format!(
            "the wires of the {} were good: nothing cured",
            wire.name()
        )),
    }
}

/// Work on a part. Wrong work costs what right work costs, and changes nothing.
pub(crate) fn work(car: &mut Car, work: Work, part: Part) -> Outcome {
    let renews = part == Part::EngineController && matches!(work, Work::Replace | Work::Reprogram);
    let renews_transmission = part == Part::GearboxController && work == Work::Replace;
    if renews && car.ecu.memory().is_driving_cycle() {
        return Outcome::refused("the engine runs: its controller is worked on with the engine off");
    }
    let cost = format!(
        "{}{} min",
        if work.takes_a_part() { "one part, " } else { "" },
        work.minutes(part)
    );
    let outcome = match car.vehicle.repair(part, work) {
        Cure::Cured(defect) => Outcome::done(format!("done ({cost}), and it cured something: {defect}")),
        Cure::NothingToCure => Outcome::done(format!(
            "{} {} ({cost}); that cured nothing",
            part.name(),
            work.done()
        )),
    };
    let now = car.now();
    match &mut car.transmission {
        Some(transmission) if renews_transmission => {
            transmission.renew(now);
            return outcome.with_detail("it knows nothing of what was before: codes and counters begin anew");
        }
        _ if !renews => return outcome,
        _ => {}
    }
    car.ecu.renew(now);
    outcome.with_detail(
        "it knows nothing of what was before: codes, readiness, learned values and counters begin anew",
    )
}

/// Two like parts change places.
pub(crate) fn swap(car: &mut Car, one: Part, other: Part) -> Outcome {
    if one == other || !one.is_like(other) {
        return Outcome::refused(format!(
            "{} and {} do not fit into each other's places",
            one.name(),
            other.name()
        ));
    }
    if let Some(refused) = missing_part(car, one).or_else(|| missing_part(car, other)) {
        return refused;
    }
    car.vehicle.swap(one, other);
    Outcome::done(format!(
        "{} and {} have changed places: a fault that goes with the part is in the part",
        one.name(),
        other.name()
    ))
}

/// The refusal, where the car does not have a part.
fn missing_part(car: &Car, part: Part) -> Option<Outcome> {
    part.cylinder()
        .and_then(|cylinder| missing_cylinder(car, cylinder))
        .or_else(|| (!car.vehicle.has(part)).then(|| has_no(part.name())))
}

fn has_no(name: &str) -> Outcome {
    Outcome::refused(format!("this car has no {name}"))
        .with_detail("`twotrip list vehicles` says what sets the cars apart")
}

/// The refusal, where this engine does not have a cylinder of this number.
fn missing_cylinder(car: &Car, cylinder: u8) -> Option<Outcome> {
    let cylinders = car.vehicle.cylinders();
    (cylinder > cylinders).then(|| {
        Outcome::refused(format!(
            "this engine has {cylinders} cylinders, and no cylinder {cylinder}"
        ))
    })
}

/// What a look at a part shows.
pub(crate) fn inspect(car: &Car, part: Part) -> Outcome {
    if let Some(refused) = missing_part(car, part) {
        return refused;
    }
    let found = car.vehicle.defects().find(|defect| defect.part() == part);
    if let Some(defect) = found.filter(|defect| !defect.entry().seen.is_empty()) {
        return Outcome::done(with_amount(defect.entry().seen, &defect));
    }
    if let Some(found) = gauge::find(car, part) {
        return match look_at_wires(car, part) {
            None => found,
            Some(seen) => found.with_detail(seen),
        };
    }
    match part.looks_good() {
        // Nobody sees what is wrong inside a sensor.
        "" => Outcome::done(look(car, part)),
        good => match look_at_wires(car, part) {
            None => Outcome::done(good),
            Some(seen) => Outcome::done(format!("{good}; {seen}")),
        },
    }
}

/// What was put into the memory.
pub(crate) fn say_preload(list: Preload, codes: &[Dtc], ecu: EcuRef) -> Outcome {
    let list = match list {
        Preload::Confirmed => "confirmed, with lamp, permanent entry and freeze frame",
        Preload::Pending => "pending",
    };
    let names: Vec<String> = codes.iter().map(ToString::to_string).collect();
    let place = match ecu {
        EcuRef::Engine => String::new(),
        ecu => format!(" in {ecu}"),
    };
    Outcome::done(format!(
        "{} preloaded as {list}{place} (not physical)",
        names.join(" ")
    ))
}
