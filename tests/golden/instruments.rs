//! What a technician does beyond holding a meter still: hands, heat, cold and water on the loom, a lamp on a wire, smoke in the
//! vapour space, a needle that is watched; and that no two good cars read alike.

use twotrip_sim::Timing;

use crate::desk::Desk;

/// What is said to the last of these phrases, details behind it.
fn said(desk: &mut Desk, phrases: &[&str]) -> String {
    let told = desk.outcomes(phrases).pop().expect("it was asked");
    assert!(told.ok, "{phrases:?}: {}", told.text);
    std::iter::once(told.text)
        .chain(told.details)
        .collect::<Vec<_>>()
        .join("; ")
}

/// Each break that comes and goes answers to what brings it, and to nothing else.
#[test]
fn what_comes_and_goes_is_found_by_hand() {
    const HANDS: [&str; 4] = ["wiggled", "heated", "chilled", "sprayed"];
    for (when, finds) in [
        ("on bumps", "wiggled"),
        ("when load over 90 %", "wiggled"),
        ("when hotter than 80 C", "heated"),
        ("when colder than 0 C", "chilled"),
        ("when wet", "sprayed"),
    ] {
        let mut desk = Desk::new(91, Timing::FAST);
        for (wire, open) in [
            ("coolant-sensor", "signal at the ECU 5.00 V"),
            ("purge-valve", "at the ECU 0.00 V"),
            ("gearbox-controller", "supply at the controller's plug 0.00 V"),
        ] {
            desk.tell(&[&format!("defect wiring {wire} open {when}"), "key on"]);
            for hand in HANDS {
                let told = said(&mut desk, &[&format!("measure {wire} while {hand}")]);
                let jumps = told.contains("it jumps to") && told.contains(open);
                assert_eq!(jumps, hand == finds, "{wire} {when}, {hand}: {told}");
                assert_eq!(told.contains("nothing changes:"), hand != finds, "{told}");
            }
        }
    }
    let mut desk = Desk::new(91, Timing::FAST);
    let told = desk
        .outcomes(&["key on", "measure battery while wiggled"])
        .remove(1);
    assert!(!told.ok && told.text.contains("no wire"), "{}", told.text);
}

/// Three ohms are within what a meter calls good; under a lamp they are not.
#[test]
fn a_lamp_shows_what_a_meter_misses() {
    let mut desk = Desk::new(92, Timing::FAST);
    for (fault, finds) in [
        (None, "the lamp is bright"),
        (Some("resistance 3 ohm"), "the lamp is dim"),
        (Some("resistance 300 ohm"), "the lamp is dark"),
        (Some("open"), "the lamp stays dark"),
        (Some("short-to-ground"), "the fuse of the test lead blows"),
    ] {
        if let Some(fault) = fault {
            desk.tell(&[&format!("defect wiring coil-1 {fault}")]);
        }
        let told = said(&mut desk, &["key off", "measure coil-1 while loaded"]);
        assert!(told.contains(finds), "{fault:?}: {told}");
    }
    let told = desk
        .outcomes(&["key on", "measure coil-1 while loaded"])
        .remove(1);
    assert!(!told.ok && told.details.contains(&"first: key off".to_owned()));
}

#[test]
fn smoke_shows_how_large_a_leak_is_and_where() {
    for (defect, flow, place) in [
        (None, "pushes 0.00 l/min", "no smoke anywhere"),
        (
            Some("filler-neck hole 0.5 mm"),
            "pushes 0.54 l/min",
            "at a seam of the filler neck",
        ),
        (
            Some("vapour-hose loose 1 mm"),
            "pushes 2.1",
            "at a quick connector of the vapour hose",
        ),
        (
            Some("fuel-cap missing"),
            "does not reach its pressure",
            "open filler neck",
        ),
        (
            Some("vent-valve leaking 1 mm"),
            "pushes 2.1",
            "at the vent filter",
        ),
        (Some("purge-valve leaking"), "pushes", "through the purge valve"),
        (
            Some("purge-line blocked 10 %"),
            "pushes 0.00",
            "no smoke anywhere",
        ),
    ] {
        let mut desk = Desk::new(93, Timing::FAST);
        if let Some(defect) = defect {
            desk.tell(&[&format!("defect {defect}")]);
        }
        let told = said(&mut desk, &["measure vapour-smoke"]);
        assert!(told.contains(flow) && told.contains(place), "{defect:?}: {told}");
    }
}

/// The needle of a vacuum gauge, and the kilovolts of an ignition.
#[test]
fn a_needle_and_a_spark_tell_of_a_cylinder() {
    for (defect, needle, spark) in [
        (
            None,
            "its needle stands within",
            "fires at 11 kV, and a spark tester gets 34 kV",
        ),
        (
            Some("exhaust-valve-2 burnt 50 %"),
            "its needle falls by 10 kPa at each turn of one cylinder",
            "34 kV",
        ),
        (
            Some("spark-plug-1 worn 30 %"),
            "its needle flicks down",
            "fires at 18 kV",
        ),
        (Some("coil-1 weak 100 %"), "in a steady beat", "gets 8 kV"),
        (
            Some("coil-1 open"),
            "in a steady beat",
            "neither plug nor spark tester fires",
        ),
    ] {
        let mut desk = Desk::new(94, Timing::FAST);
        desk.tell(&["ambient 20 C", "drive 70 km/h for 10 min, stop"]);
        if let Some(defect) = defect {
            desk.tell(&[&format!("defect {defect}")]);
        }
        let before = desk.car.car().vehicle().missed_firings();
        let told = said(&mut desk, &["drive idle 30 s", "measure manifold-vacuum"]);
        assert!(told.contains(needle), "{defect:?}: {told}");
        let told = said(&mut desk, &["measure coil-1"]);
        assert!(told.contains(spark), "{defect:?}: {told}");
        let told = said(&mut desk, &["measure front-oxygen-sensor"]);
        assert!(told.contains("over ten seconds"), "{told}");
        assert!(defect.is_some() || before == desk.car.car().vehicle().missed_firings());
    }
}

/// What is watched for ten seconds is what would come: the car itself stays where it is.
#[test]
fn watching_moves_nothing() {
    let run = |watch: bool| {
        let mut desk = Desk::new(95, Timing::FAST);
        desk.tell(&["drive 50 km/h for 3 min, stop"]);
        if watch {
            desk.tell(&["measure manifold-vacuum", "measure front-oxygen-sensor"]);
        }
        desk.tell(&["drive idle 20 s"]);
        format!("{:?}", desk.car.car().ecu().live())
    };
    assert_eq!(run(false), run(true));
}

/// Good cars differ, and each is always the same.
#[test]
fn no_two_good_cars_read_alike() {
    for phrase in [
        "measure compression",
        "measure injector-balance",
        "measure coil-1",
        "measure coolant-sensor",
    ] {
        let read = |seed| said(&mut Desk::new(seed, Timing::FAST), &[phrase]);
        assert_eq!(read(1), read(1));
        assert_ne!(read(1), read(2), "{phrase}");
    }
}

/// A cam that is slow, one that is stuck and a strainer that is blocked, by hand and by gauge.
#[test]
fn a_cam_is_turned_by_hand() {
    for (defect, finds) in [
        (None, "the cam turns by 20 deg in 0.2"),
        (Some("cam-phaser slow 5 deg/s"), "the cam turns by 20 deg in 4.0"),
        (Some("cam-phaser stuck 14 deg"), "the cam does not turn"),
        (Some("oil-strainer blocked 80 %"), "a gauge at its port shows 0."),
    ] {
        let mut desk = Desk::new(96, Timing::FAST);
        desk.tell(&["ambient 20 C", "drive 80 km/h for 20 min, stop"]);
        if let Some(defect) = defect {
            desk.tell(&[&format!("defect {defect}")]);
        }
        let told = said(&mut desk, &["measure cam-valve"]);
        assert!(told.contains(finds), "{defect:?}: {told}");
    }
}
