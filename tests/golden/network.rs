//! Wires, supplies and messages: what fails shows at the ECU, on the bus and at the meter, and nowhere else.

use std::time::Duration;

use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_units::BusInstant;

use crate::desk::Desk;

fn text(desk: &mut Desk, phrase: &str) -> String {
    desk.outcomes(&[phrase])[0].text.clone()
}

/// A controller without supply sends nothing; the others go on.
#[test]
fn a_gearbox_without_supply_is_silent_on_the_bus() {
    let mut desk = Desk {
        car: Simulator::new(Settings {
            broadcasts: true,
            ..Settings::compact(1, Timing::FAST)
        }),
        now: BusInstant::ZERO,
    };
    desk.tell(&["start"]);
    let senders = |desk: &mut Desk| {
        let frames = desk.sends(Duration::from_secs(1));
        let gearbox = [0x0C9, 0x3B2].map(twotrip_can::CanId::Standard);
        let of_it = frames.iter().filter(|(_, frame)| gearbox.contains(&frame.id()));
        (of_it.count(), frames.len())
    };
    let (before, all) = senders(&mut desk);
    assert!(before > 90 && all > 350, "{before} of {all}");
    desk.tell(&["defect wiring gearbox-controller open", "wait 1 s"]);
    let (silent, others) = senders(&mut desk);
    assert_eq!(silent, 0);
    assert!(others > 250, "{others}");
    desk.tell(&["mend wiring gearbox-controller", "wait 1 s"]);
    assert!(senders(&mut desk).0 > 90);
}

#[test]
fn the_meter_goes_to_supplies_and_bus() {
    let mut desk = Desk::new(1, Timing::FAST);
    assert_eq!(
        text(&mut desk, "measure data-bus"),
        "key off, 60 ohm across CAN high and low"
    );
    desk.tell(&["defect wiring data-bus open"]);
    assert_eq!(
        text(&mut desk, "measure data-bus"),
        "key off, 120 ohm across CAN high and low"
    );
    desk.tell(&["mend wiring data-bus", "key on"]);
    desk.tell(&["defect wiring sensor-supply pulled-down 3.5 V"]);
    assert_eq!(
        text(&mut desk, "measure sensor-supply"),
        "supply at the plugs of the sensors that share it 3.50 V"
    );
    let pressure = text(&mut desk, "measure tank-pressure-sensor");
    assert!(pressure.starts_with("signal at the ECU 1.75 V"), "{pressure}");
    desk.tell(&[
        "mend wiring sensor-supply",
        "defect wiring gearbox-controller open",
    ]);
    assert_eq!(
        text(&mut desk, "measure gearbox-controller"),
        "supply at the controller's plug 0.00 V"
    );
    desk.tell(&["mend wiring gearbox-controller", "start", "wait 60 s"]);
    let charging = text(&mut desk, "measure battery");
    assert!(charging.contains("into it"), "{charging}");
    desk.tell(&["defect alternator dead", "wait 10 s"]);
    let flat = text(&mut desk, "measure battery");
    assert!(flat.contains("out of it"), "{flat}");
    let alternator = text(&mut desk, "measure alternator");
    assert!(alternator.contains(" 0 A;"), "{alternator}");
}

/// Published: 13.8 to 14.6 V with the loads on; a car with everything switched on at idle is not accused.
#[test]
fn loads_at_idle_set_no_code() {
    let mut desk = Desk::new(3, Timing::FAST);
    desk.tell(&[
        "switch lights on",
        "switch blower on",
        "switch rear-screen on",
        "drive idle 20 min",
    ]);
    let memory = desk.car.car().ecu().memory();
    assert_eq!(memory.pending().count() + memory.confirmed().count(), 0);
}

/// A fault on bumps shows while the car rolls, and never while it stands.
#[test]
fn a_loose_wire_shows_on_the_road_only() {
    let mut desk = Desk::new(5, Timing::FAST);
    desk.tell(&[
        "defect wiring gearbox-controller open on bumps",
        "drive idle 5 min",
    ]);
    let pending = |desk: &Desk| desk.car.car().ecu().memory().pending().count();
    assert_eq!(pending(&desk), 0);
    desk.tell(&["drive 50 km/h for 10 min, stop"]);
    assert_eq!(pending(&desk), 1);
}
