//! Wiring that water disturbs: dry weather shows nothing, rain and a wash do, and the day after it is gone again.

use twotrip_sim::Timing;

use crate::desk::Desk;

const TRIP: [&str; 2] = ["soak 9 h", "drive idle 60 s, 50 km/h for 15 min, stop"];

fn wetness(desk: &Desk) -> f64 {
    desk.car.car().vehicle().wetness().fraction()
}

#[test]
fn a_wet_wire_fails_in_the_rain_and_is_well_when_it_has_dried() {
    for (defect, wet) in [
        ("defect wiring coil-3 open when wet", vec!["P0303", "P0353"]),
        (
            "defect wiring tank-pressure-sensor short-to-ground when wet",
            vec!["P0452"],
        ),
        ("defect wiring front-oxygen-heater open when wet", vec!["P0135"]),
        ("defect coil-2 open when wet", vec!["P0302", "P0352"]),
    ] {
        let mut desk = Desk::new(91, Timing::FAST);
        desk.tell(&[defect]);
        desk.tell(&TRIP);
        assert_eq!(desk.pending(), Vec::<String>::new(), "{defect}, dry");
        desk.tell(&["key off", "weather rain"]);
        desk.tell(&TRIP);
        assert_eq!(desk.pending(), wet, "{defect}, in the rain");
        assert!(wetness(&desk) > 0.7, "{}", wetness(&desk));
        desk.tell(&["key off", "weather dry", "soak 24 h"]);
        assert!(wetness(&desk) < 0.05, "{}", wetness(&desk));
        // A trip that has seen nothing takes back what is pending.
        desk.tell(&TRIP);
        desk.tell(&["soak 9 h", "start"]);
        assert_eq!(desk.pending(), Vec::<String>::new(), "{defect}, dry again");
        desk.tell(&["key off", "wash"]);
        desk.tell(&["drive idle 60 s, 50 km/h for 15 min, stop"]);
        assert_eq!(desk.pending(), wet, "{defect}, washed");
    }
}

/// Whether the fault of the wire shows, second by second of a drive with wet wiring.
fn shows(seed: u64) -> Vec<bool> {
    let mut desk = Desk::new(seed, Timing::FAST);
    desk.tell(&["defect wiring air-meter open when wet", "wash", "start"]);
    (0..600)
        .map(|_| {
            desk.tell(&["wait 1 s"]);
            let circuits = desk.car.car().ecu().signals().circuits;
            !circuits.is_sound()
        })
        .collect()
}

#[test]
fn the_leaks_repeat_with_the_seed() {
    let one = shows(5);
    assert_eq!(one, shows(5));
    assert_ne!(one, shows(6));
    let share = one.iter().filter(|&&shows| shows).count();
    assert!((150..550).contains(&share), "{share} of 600 s");
    let changes = one.windows(2).filter(|pair| pair[0] != pair[1]).count();
    assert!(changes > 10, "{changes} changes");
}

/// Rain does nothing to sound wires, and mending ends it.
#[test]
fn rain_accuses_no_healthy_car() {
    let mut desk = Desk::new(92, Timing::FAST);
    desk.tell(&[
        "weather rain",
        "defect wiring purge-valve open when wet",
        "mend wiring purge-valve",
    ]);
    desk.tell(&["soak 9 h", "drive udds", "drive hwfet"]);
    desk.tell(&TRIP);
    assert_eq!(desk.pending(), Vec::<String>::new());
}
