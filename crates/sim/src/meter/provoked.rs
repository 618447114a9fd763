//! A wire that is measured while something is done to it: what comes and goes is found by hand, with a heat gun, freezing
//! spray or a water mister; what has some ohms only shows under load. Common practice, no source.

use twotrip_harness::{KeyPosition, Wire, WiringFault};
use twotrip_scenario::phrase::{Point, Presence, Provocation};
use twotrip_units::Voltage;

use super::{measure, volts};
use crate::{Car, Outcome, workshop::missing_wire};

/// The test lamp: 21 W at 12 V, hot.
const LAMP_OHMS: f64 = 6.9;
/// Least current at which its filament glows, A.
const GLOWS_AMPERES: f64 = 0.5;

/// Whether a fault that comes and goes in this way shows or hides under such hands; `None` where they change nothing.
const fn answers(when: Presence, provocation: Provocation) -> Option<bool> {
    match (provocation, when) {
        // A loaded engine rocks on its mounts and moves the loom.
        (Provocation::Wiggled, Presence::OnBumps | Presence::LoadOver(_))
        | (Provocation::Heated, Presence::HotterThan(_))
        | (Provocation::Chilled, Presence::ColderThan(_))
        | (Provocation::Sprayed, Presence::Wet) => Some(true),
        (Provocation::Heated, Presence::ColderThan(_)) | (Provocation::Chilled, Presence::HotterThan(_)) => {
            Some(false)
        }
        _ => None,
    }
}

/// What a meter shows on a wire meanwhile.
pub(super) fn measure_while(car: &Car, point: Point, provocation: Provocation) -> Outcome {
    let Point::Wire(wire) = point else {
        return Outcome::refused(format!("the {} is no wire: nothing to do that to", point.name()));
    };
    if let Some(refused) = missing_wire(car, wire) {
        return refused;
    }
    if provocation == Provocation::Loaded {
        return lamp(car, wire);
    }
    let before = measure(car, point);
    if !before.ok {
        return before;
    }
    let mut provoked = car.clone();
    let told = car.wires.when(wire).and_then(|when| answers(when, provocation));
    if let Some(shows) = told {
        provoked.wires.show(&mut provoked.harness, wire, shows);
    }
    let after = measure(&provoked, point);
    let what = provocation.name();
    let outcome = if after.text == before.text {
        Outcome::done(format!("{what}, nothing changes: {}", before.text))
    } else {
        Outcome::done(format!("{what}, it jumps to: {}", after.text))
            .with_detail(format!("before: {}", before.text))
    };
    outcome.with_detail("good: nothing changes, whatever is done to loom and plugs")
}

/// The wire, unplugged at both ends, between a 12 V supply and a test lamp to ground.
fn lamp(car: &Car, wire: Wire) -> Outcome {
    if wire == Wire::DataBus {
        return Outcome::refused("no lamp on a data bus: its drivers would not like it")
            .with_detail("ohms across the pair: measure data-bus with the key off");
    }
    if car.sensors().key != KeyPosition::Off {
        return Outcome::refused("a lamp is put on a wire with the key off and both ends unplugged")
            .with_detail("first: key off");
    }
    let battery = car.vehicle.battery_voltage().volts();
    let good = car.tolerances.wire_ohms(wire);
    let ohms = match car.harness.shows(wire) {
        // The supply that it touches is off with the key.
        None | Some(WiringFault::Bias(_) | WiringFault::PulledDown(_) | WiringFault::ShortToSupply) => {
            Some(good)
        }
        Some(WiringFault::Resistance(added)) => Some(added.ohms() + good),
        Some(WiringFault::Open | WiringFault::SwappedWith(_)) => None,
        Some(WiringFault::ShortToGround) => {
            return Outcome::done("under load: the fuse of the test lead blows, the lamp stays dark")
                .with_detail("good: the lamp is bright, less than 0.50 V lost in the wire");
        }
    };
    let outcome = match ohms {
        Some(ohms) => {
            let amperes = battery / (LAMP_OHMS + ohms);
            let lost = volts(Voltage::from_volts(amperes * ohms));
            let lamp = if amperes < GLOWS_AMPERES {
                "dark"
            } else if ohms < 1.0 {
                "bright"
            } else {
                "dim"
            };
            Outcome::done(format!(
                "under load: the lamp is {lamp}, {lost} lost in the wire at {amperes:.2} A"
            ))
        }
        None => Outcome::done(format!(
            "under load: the lamp stays dark, all {} lost in the wire",
            volts(Voltage::from_volts(battery))
        )),
    };
    outcome.with_detail("good: the lamp is bright, less than 0.50 V lost in the wire")
}
