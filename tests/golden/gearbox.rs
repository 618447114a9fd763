//! The transmission ECU: a healthy gearbox is accused of nothing, each fault comes to its code in that ECU and to no other,
//! in its trip; lamp, clear and healing beside the engine ECU's.

use std::time::Duration;

use twotrip_can::{CanId, Frame};
use twotrip_ecu::{memory::FaultMemory, transmission::Transmission};
use twotrip_obd::Dtc;
use twotrip_sim::Timing;

use crate::{desk::Desk, vehicles};

fn desk(seed: u64) -> Desk {
    vehicles::desk("compact-2.0-transmission", seed)
}

fn transmission(desk: &Desk) -> &Transmission {
    desk.car.car().transmission().expect("it has one")
}

fn names(codes: impl Iterator<Item = Dtc>) -> Vec<String> {
    let mut names: Vec<String> = codes.map(|code| code.to_string()).collect();
    names.sort();
    names
}

/// Pending and confirmed codes.
fn stored(memory: &FaultMemory) -> [Vec<String>; 2] {
    [names(memory.pending()), names(memory.confirmed())]
}

/// What both ECUs hold: the transmission ECU's pending and confirmed codes, then the engine ECU's.
fn held(desk: &Desk) -> [Vec<String>; 4] {
    let [pending, confirmed] = stored(transmission(desk).memory());
    let [engine_pending, engine_confirmed] = stored(desk.car.car().ecu().memory());
    [pending, confirmed, engine_pending, engine_confirmed]
}

const NONE: [&str; 0] = [];
/// City from cold, then the road: every gear, lock-up open and closed.
const TRIP: &[&str] = &["soak 9 h", "drive udds", "drive 80 km/h for 2 min, stop"];

#[test]
fn a_healthy_gearbox_is_accused_of_nothing() {
    for (seed, weather) in [(1, "ambient 20 C"), (2, "ambient -10 C"), (3, "ambient 35 C")] {
        let mut desk = desk(seed);
        desk.tell(&[weather]);
        for drive in ["drive udds", "drive hwfet", "drive us06"] {
            desk.tell(&["soak 9 h", drive, "stop"]);
            assert_eq!(held(&desk), [NONE; 4], "{weather}, {drive}");
        }
        desk.tell(&[
            "drive full throttle to 120 km/h, coast to 40 km/h, 90 km/h for 20 s, stop, full throttle to 60 km/h, stop",
            "key off",
        ]);
        assert_eq!(held(&desk), [NONE; 4], "{weather}, pressed");
    }
}

/// A drive by the transmission ECU's program is the drive of the box that shifts by itself: same gears at steady speeds.
#[test]
fn the_program_shifts_as_the_box_by_itself_does() {
    for (kmh, gear) in [(12, 1), (24, 2), (38, 3), (50, 4), (70, 5), (100, 6)] {
        let mut watched = desk(4);
        let mut plain = Desk::new(4, Timing::FAST);
        for desk in [&mut watched, &mut plain] {
            desk.tell(&["drive udds", &format!("drive {kmh} km/h for 40 s")]);
        }
        let [one, other] = [&watched, &plain].map(|desk| desk.car.car().vehicle().gear());
        assert_eq!((one, other), (gear, gear), "{kmh} km/h");
    }
}

/// A fault and its code: in the transmission ECU, and in the engine ECU where that misses the road speed.
struct Row {
    fault: &'static str,
    cure: &'static str,
    code: &'static str,
    engine: &'static [&'static str],
    /// Confirmed in the first trip.
    at_once: bool,
}

const fn row(fault: &'static str, cure: &'static str, code: &'static str) -> Row {
    Row {
        fault,
        cure,
        code,
        engine: &[],
        at_once: false,
    }
}

static ROWS: &[Row] = &[
    row(
        "turbine-speed-sensor dead",
        "replace turbine-speed-sensor",
        "P0717",
    ),
    row(
        "wiring turbine-speed-sensor open",
        "mend wiring turbine-speed-sensor",
        "P0715",
    ),
    Row {
        engine: &["P0500"],
        ..row(
            "vehicle-speed-sensor dead",
            "replace vehicle-speed-sensor",
            "P0722",
        )
    },
    Row {
        engine: &["P0500"],
        at_once: true,
        ..row(
            "wiring vehicle-speed-sensor short-to-ground",
            "mend wiring vehicle-speed-sensor",
            "P0720",
        )
    },
    row("forward-clutch slipping 20 %", "replace forward-clutch", "P0733"),
    row("gearbox-fluid low 20 %", "fill gearbox-fluid", "P0733"),
    row(
        "overdrive-clutch slipping 15 %",
        "replace overdrive-clutch",
        "P0734",
    ),
    row("converter-clutch stuck-open", "replace converter-clutch", "P0741"),
    row(
        "converter-clutch slipping 10 %",
        "replace converter-clutch",
        "P0741",
    ),
    row(
        "converter-clutch stuck-closed",
        "replace converter-clutch",
        "P0742",
    ),
    row("shift-solenoid-a stuck-off", "replace shift-solenoid-a", "P0751"),
    row("shift-solenoid-a stuck-on", "replace shift-solenoid-a", "P0752"),
    row("shift-solenoid-b stuck-off", "replace shift-solenoid-b", "P0756"),
    row("shift-solenoid-b stuck-on", "replace shift-solenoid-b", "P0757"),
    row("shift-solenoid-c stuck-off", "replace shift-solenoid-c", "P0761"),
    row("shift-solenoid-c stuck-on", "replace shift-solenoid-c", "P0762"),
    Row {
        at_once: true,
        ..row(
            "wiring shift-solenoid-a open",
            "mend wiring shift-solenoid-a",
            "P0753",
        )
    },
    Row {
        at_once: true,
        ..row(
            "wiring shift-solenoid-b short-to-ground",
            "mend wiring shift-solenoid-b",
            "P0758",
        )
    },
    Row {
        at_once: true,
        ..row(
            "wiring shift-solenoid-c short-to-supply",
            "mend wiring shift-solenoid-c",
            "P0763",
        )
    },
    row(
        "wiring converter-clutch-solenoid open",
        "mend wiring converter-clutch-solenoid",
        "P0743",
    ),
    row(
        "gearbox-fluid-sensor dead",
        "replace gearbox-fluid-sensor",
        "P0713",
    ),
    row(
        "gearbox-fluid-sensor bias 30 K",
        "replace gearbox-fluid-sensor",
        "P0711",
    ),
    row(
        "wiring gearbox-fluid-sensor short-to-ground",
        "mend wiring gearbox-fluid-sensor",
        "P0712",
    ),
    row(
        "wiring shift-solenoid-a swapped-with shift-solenoid-b",
        "mend wiring shift-solenoid-a",
        "P0730",
    ),
];

/// What is not as it should be in the life of one fault.
fn life(row: &Row) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut desk = desk(91);
    let mut is = |desk: &Desk, when: &str, wanted: [&[&str]; 4]| {
        let found = held(desk);
        if found.iter().zip(wanted).any(|(found, wanted)| found != wanted) {
            wrong.push(format!("{}, {when}: {found:?}", row.fault));
        }
    };
    let code: &[&str] = &[row.code];
    desk.tell(&["ambient 20 C", &format!("defect {}", row.fault)]);
    // It may not keep up with the schedule.
    let _ = desk.outcomes(TRIP);
    let first: &[&str] = if row.at_once { code } else { &[] };
    is(&desk, "trip one", [code, first, row.engine, &[]]);
    let lamp = transmission(&desk).lamp_requested();
    assert_eq!(lamp, row.at_once, "{}: lamp after trip one", row.fault);
    let _ = desk.outcomes(TRIP);
    is(&desk, "trip two", [code, code, row.engine, row.engine]);
    assert!(transmission(&desk).lamp_requested(), "{}", row.fault);
    assert!(desk.car.car().ecu().memory().mil_commanded(), "{}", row.fault);
    desk.tell(&["key off", row.cure]);
    for _ in 0..3 {
        desk.tell(TRIP);
    }
    desk.tell(&["soak 1 h", "start"]);
    is(&desk, "mended", [&[], code, &[], row.engine]);
    if transmission(&desk).lamp_requested() || desk.car.car().ecu().memory().mil_commanded() {
        wrong.push(format!("{}: the lamp stays on", row.fault));
    }
    wrong
}

#[test]
fn every_fault_has_its_code_and_no_other_until_it_is_mended() {
    let wrong: Vec<String> = ROWS.iter().flat_map(life).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The other shorts of the same wires, and the messages of the engine: the codes of the first trip.
#[test]
fn every_wire_tells_of_itself() {
    let mut wrong = Vec::new();
    for (fault, code) in [
        ("turbine-speed-sensor short-to-ground", "P0715"),
        ("turbine-speed-sensor short-to-supply", "P0715"),
        ("vehicle-speed-sensor open", "P0720"),
        ("vehicle-speed-sensor short-to-supply", "P0720"),
        ("gearbox-fluid-sensor open", "P0713"),
        ("gearbox-fluid-sensor short-to-supply", "P0713"),
        ("shift-solenoid-a short-to-ground", "P0753"),
        ("shift-solenoid-a short-to-supply", "P0753"),
        ("shift-solenoid-b open", "P0758"),
        ("shift-solenoid-c short-to-ground", "P0763"),
        ("converter-clutch-solenoid short-to-ground", "P0743"),
        ("converter-clutch-solenoid resistance 20000 ohm", "P0743"),
        ("data-bus open", "U0100"),
    ] {
        let mut desk = desk(92);
        desk.tell(&[&format!("defect wiring {fault}"), "soak 9 h"]);
        let _ = desk.outcomes(&["drive 50 km/h for 3 min, stop"]);
        let [pending, ..] = held(&desk);
        if pending != [code] {
            wrong.push(format!("{fault}: {pending:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The answers of all ECUs, each in one frame.
fn answers(desk: &mut Desk, id: CanId, request: &[u8]) -> Vec<(CanId, Vec<u8>)> {
    let mut bytes = vec![u8::try_from(request.len()).expect("short")];
    bytes.extend(request);
    desk.hears(&Frame::padded(id, &bytes, 0));
    let sent = desk.sends(Duration::from_millis(60));
    let payload = |frame: &Frame| frame.data()[1..=usize::from(frame.data()[0])].to_vec();
    let mut answers: Vec<_> = sent
        .iter()
        .map(|(_, frame)| (frame.id(), payload(frame)))
        .collect();
    answers.sort();
    answers
}

/// To all, to the engine ECU, to the transmission ECU, and their answers.
const TO_ALL: CanId = CanId::Standard(0x7DF);
const TO_ENGINE: CanId = CanId::Standard(0x7E0);
const TO_TRANSMISSION: CanId = CanId::Standard(0x7E1);
const OF_ENGINE: CanId = CanId::Standard(0x7E8);
const OF_TRANSMISSION: CanId = CanId::Standard(0x7E9);

/// A code of the gearbox and one of the engine: each ECU answers for its own, a clear is for one or for all, and the lamp is
/// out when neither asks for it.
#[test]
fn two_ecus_keep_their_codes_apart() {
    let mut desk = desk(93);
    desk.tell(&["defect converter-clutch stuck-open", "defect coolant-sensor dead"]);
    for _ in 0..2 {
        desk.tell(TRIP);
    }
    let both = |engine: &[u8], transmission: &[u8]| {
        vec![
            (OF_ENGINE, engine.to_vec()),
            (OF_TRANSMISSION, transmission.to_vec()),
        ]
    };
    let refused = [0x7F, 0x04, 0x22];
    assert_eq!(
        answers(&mut desk, TO_ALL, &[0x04]),
        both(&refused, &refused),
        "the engine runs"
    );
    desk.tell(&["key off", "wait 10 s", "key on", "wait 30 s"]);
    let codes = both(&[0x43, 1, 0x01, 0x18], &[0x43, 1, 0x07, 0x41]);
    assert_eq!(answers(&mut desk, TO_ALL, &[0x03]), codes);
    assert!(desk.car.car().lamp_lit());
    desk.tell(&["replace coolant-sensor", "replace converter-clutch"]);
    let kept = desk.car.store();
    let mut other = self::desk(93);
    other.car.restore(&kept).expect("the same car's");
    other.tell(&["key on", "wait 1 s"]);
    assert_eq!(answers(&mut other, TO_ALL, &[0x03]), codes, "kept without power");
    assert_eq!(
        answers(&mut other, TO_ALL, &[0x04]),
        both(&[0x44], &[0x44]),
        "for all"
    );
    assert_eq!(answers(&mut other, TO_ALL, &[0x03]), both(&[0x43, 0], &[0x43, 0]));
    other.tell(&["wait 30 s"]);
    assert!(!other.car.car().lamp_lit());

    assert_eq!(
        answers(&mut desk, TO_ENGINE, &[0x04]),
        [(OF_ENGINE, vec![0x44])],
        "for one"
    );
    desk.tell(&["wait 1 s"]);
    assert_eq!(
        answers(&mut desk, TO_ALL, &[0x03]),
        both(&[0x43, 0], &[0x43, 1, 0x07, 0x41])
    );
    assert!(
        desk.car.car().lamp_lit() && desk.pid(0x01)[0] == 0x80,
        "the lamp is commanded for the other ECU, and no code of its own counted"
    );
    for _ in 0..3 {
        desk.tell(TRIP);
    }
    desk.tell(&["key off", "wait 10 s", "start"]);
    let [_, confirmed, ..] = held(&desk);
    assert_eq!(
        confirmed,
        ["P0741"],
        "healed, and confirmed until it has grown old"
    );
    assert!(!desk.car.car().lamp_lit() && desk.pid(0x01)[0] == 0);
    desk.tell(&["key off", "wait 1 s", "key on"]);
    assert_eq!(
        answers(&mut desk, TO_TRANSMISSION, &[0x04]),
        [(OF_TRANSMISSION, vec![0x44])]
    );
    assert_eq!(
        answers(&mut desk, TO_TRANSMISSION, &[0x03]),
        [(OF_TRANSMISSION, vec![0x43, 0])]
    );
    // Without its supply, or with the bus cut off, it is silent, and the engine ECU answers alone.
    desk.tell(&["defect wiring gearbox-controller open", "wait 1 s"]);
    assert_eq!(answers(&mut desk, TO_ALL, &[0x03]), [(OF_ENGINE, vec![0x43, 0])]);
}

/// `why` tells of a code by the ECU that has it, with what was measured.
#[test]
fn why_knows_the_gearbox() {
    let mut desk = desk(94);
    desk.tell(&["defect converter-clutch stuck-open"]);
    desk.tell(TRIP);
    let told = desk.outcomes(&["why P0741"]).remove(0);
    let all = format!("{} {}", told.text, told.details.join(" "));
    assert!(told.ok && all.contains("slip of the converter"), "{all}");
    assert!(all.contains("defect converter-clutch stuck-open"), "{all}");
    let told = desk.outcomes(&["why not P0731"]).remove(0);
    assert!(
        told.ok && told.details.join(" ").contains("found no fault"),
        "{told:?}"
    );
    assert!(!desk.outcomes(&["why P0999"]).remove(0).ok);
}

/// What a meter finds on each wire with each fault is never what it finds on a good one; a car without the ECU has none of it.
#[test]
fn the_meter_knows_the_gearbox() {
    let wires = [
        "shift-solenoid-a",
        "shift-solenoid-b",
        "shift-solenoid-c",
        "converter-clutch-solenoid",
        "turbine-speed-sensor",
        "gearbox-fluid-sensor",
    ];
    for wire in wires {
        let mut desk = desk(95);
        let measure = format!("measure {wire}");
        let read = |desk: &mut Desk| {
            let said = ["key off", "start"].map(|key| {
                desk.tell(&[key]);
                let told = desk.outcomes(&[&measure]).remove(0);
                assert!(told.ok && !told.details.is_empty(), "{measure}: {}", told.text);
                told.text
            });
            desk.tell(&["stop"]);
            said
        };
        let good = read(&mut desk);
        for fault in ["open", "short-to-ground", "short-to-supply"] {
            desk.tell(&[&format!("defect wiring {wire} {fault}")]);
            assert_ne!(read(&mut desk)[0], good[0], "{wire} {fault}");
        }
        let mut plain = Desk::new(95, Timing::FAST);
        for phrase in [format!("defect wiring {wire} open"), measure.clone()] {
            assert!(!plain.outcomes(&[&phrase]).remove(0).ok, "{phrase}");
        }
    }
    let mut plain = Desk::new(95, Timing::FAST);
    assert!(
        !plain
            .outcomes(&["defect converter-clutch stuck-open"])
            .remove(0)
            .ok
    );
    assert!(!plain.outcomes(&["inspect forward-clutch"]).remove(0).ok);
}

/// A new controller knows nothing of what was before.
#[test]
fn a_new_controller_begins_anew() {
    let mut desk = desk(96);
    desk.tell(&["defect wiring shift-solenoid-a open", "soak 9 h"]);
    let _ = desk.outcomes(&["drive 50 km/h for 2 min, stop"]);
    desk.tell(&[
        "key off",
        "mend wiring shift-solenoid-a",
        "replace gearbox-controller",
    ]);
    assert_eq!(held(&desk)[..2], [NONE; 2]);
    desk.tell(&["key on", "wait 30 s"]);
    assert!(!desk.car.car().lamp_lit(), "nobody asks for the lamp any more");
}
