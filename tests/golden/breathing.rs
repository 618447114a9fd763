//! Exhaust recirculation and the intake cam: a healthy car and its faults, from the defect to the code and to the proof.

use std::time::Duration;

use twotrip_ecu::memory::Effect;
use twotrip_obd::{Group, InUseItem, Mid};
use twotrip_units::{Length, Temperature};
use twotrip_vehicle::{Defect, Outcome, Part, Plan, Work, schedule};

use crate::{bench::Bench, desk::Desk, vehicles};

const NIGHT: Duration = Duration::from_secs(9 * 3600);

/// One trip: a night, then a cold UDDS, key off.
fn trip(bench: &mut Bench) {
    bench.park(NIGHT);
    bench.drive(Plan::schedule(&schedule::UDDS), |_| {});
    bench.park(Duration::from_secs(60));
}

fn codes(bench: &Bench) -> (Vec<String>, Vec<String>) {
    (bench.pending(), bench.confirmed())
}

/// Values of service $06: the rise with the EGR valve open, kPa, and the cam's movement, degrees.
fn results(bench: &Bench) -> [Option<(f64, bool)>; 2] {
    [0x31, 0x35].map(|mid| {
        let result = bench.ecu.monitors().test_results(Mid::new(mid)).next()?;
        let bytes = result.to_bytes();
        Some((
            0.01 * f64::from(u16::from_be_bytes([bytes[3], bytes[4]])),
            result.verdict()?,
        ))
    })
}

/// Means of what the healthy car shows by service $06 lie this far on the good side: kPa and degrees.
const RISE: (f64, f64) = (4.0, 6.5);
const MOVED: (f64, f64) = (9.5, 12.5);

/// Warm or cold, at the sea or at 1500 m: both tests come to their end in one UDDS, far from their limits, and no code.
#[test]
fn a_healthy_car_passes_far_from_the_limits() {
    for (seed, celsius, metres) in [(1, 20.0, 0.0), (2, 35.0, 0.0), (3, -7.0, 0.0), (4, 20.0, 1500.0)] {
        let mut bench = Bench::new(seed);
        bench.vehicle.set_ambient(Temperature::from_celsius(celsius));
        bench.vehicle.set_altitude(Length::from_metres(metres));
        trip(&mut bench);
        let what = format!("{celsius} °C, {metres} m");
        for (found, (least, most)) in results(&bench).into_iter().zip([RISE, MOVED]) {
            let (value, passed) = found.unwrap_or_else(|| panic!("{what}: not run"));
            assert!((least..most).contains(&value) && passed, "{what}: {value}");
        }
        assert_eq!(codes(&bench), (vec![], vec![]), "{what}");
        assert!(
            bench
                .effects
                .iter()
                .any(|&(_, effect)| effect == Effect::GroupCompleted(Group::Egr)),
            "{what}"
        );
        bench.drive(Plan::schedule(&schedule::HWFET), |_| {});
        assert_eq!(codes(&bench), (vec![], vec![]), "{what}, HWFET");
    }
}

/// In use: both EGR monitors and the cam's count their numerator in a UDDS, and their denominators with it.
#[test]
fn the_in_use_pair_of_the_group_counts() {
    let mut bench = Bench::new(5);
    for _ in 0..3 {
        trip(&mut bench);
    }
    let pair = bench.ecu.memory().in_use().item(InUseItem::Egr);
    assert_eq!(pair, (3, 3));
}

/// A fault of this slice: the defect, its code, work that changes nothing, work that cures.
type Fault = (
    &'static str,
    Part,
    &'static str,
    Option<f64>,
    &'static str,
    &'static [(Part, Work)],
    (Part, Work),
);

const FAULTS: &[Fault] = &[
    (
        "choked passage",
        Part::EgrPassage,
        "blocked",
        Some(90.0),
        "P0401",
        &[(Part::EgrValve, Work::Replace), (Part::EgrValve, Work::Clean)],
        (Part::EgrPassage, Work::Clean),
    ),
    (
        "seized stem",
        Part::EgrValve,
        "stuck-shut",
        None,
        "P0404",
        &[(Part::EgrPassage, Work::Clean)],
        (Part::EgrValve, Work::Replace),
    ),
    (
        "carbon on the seat",
        Part::EgrValve,
        "leaking",
        Some(3.5),
        "P0402",
        &[(Part::Intake, Work::Replace), (Part::EgrPassage, Work::Clean)],
        (Part::EgrValve, Work::Clean),
    ),
    (
        "slow phaser",
        Part::CamPhaser,
        "slow",
        Some(3.0),
        "P000A",
        &[(Part::OilStrainer, Work::Clean)],
        (Part::CamPhaser, Work::Replace),
    ),
    (
        "phaser stuck home",
        Part::CamPhaser,
        "stuck",
        Some(0.0),
        "P0012",
        &[(Part::OilStrainer, Work::Clean)],
        (Part::CamPhaser, Work::Replace),
    ),
    (
        "phaser stuck ahead",
        Part::CamPhaser,
        "stuck",
        Some(18.0),
        "P0011",
        &[(Part::OilStrainer, Work::Clean)],
        (Part::CamPhaser, Work::Replace),
    ),
    (
        "strainer",
        Part::OilStrainer,
        "blocked",
        Some(80.0),
        "P000A",
        &[(Part::CamPhaser, Work::Replace)],
        (Part::OilStrainer, Work::Clean),
    ),
];

/// Two trips to a confirmed code, the named one and no other; traps change nothing; the right work is proved by one trip.
#[test]
fn each_fault_is_named_and_only_the_right_work_cures_it() {
    for &(what, part, kind, amount, code, traps, (cured, work)) in FAULTS {
        let mut bench = Bench::new(61);
        trip(&mut bench);
        assert_eq!(codes(&bench), (vec![], vec![]), "{what}: before");
        bench
            .vehicle
            .set_defect(Defect::named(part, kind, amount).expect("in the catalogue"));
        trip(&mut bench);
        assert_eq!(codes(&bench), (vec![code.into()], vec![]), "{what}: trip one");
        trip(&mut bench);
        assert_eq!(
            codes(&bench),
            (vec![code.into()], vec![code.into()]),
            "{what}: trip two"
        );
        assert!(bench.ecu.memory().mil_commanded(), "{what}");
        for &(part, work) in traps {
            assert_eq!(bench.vehicle.repair(part, work), Outcome::NothingToCure, "{what}");
        }
        bench.clear();
        trip(&mut bench);
        assert_eq!(
            codes(&bench),
            (vec![code.into()], vec![]),
            "{what}: after the traps"
        );
        assert!(
            matches!(bench.vehicle.repair(cured, work), Outcome::Cured(_)),
            "{what}"
        );
        bench.clear();
        trip(&mut bench);
        assert_eq!(codes(&bench), (vec![], vec![]), "{what}: after the repair");
        for (found, (least, most)) in results(&bench).into_iter().zip([RISE, MOVED]) {
            let (value, passed) = found.unwrap_or_else(|| panic!("{what}: not run after the repair"));
            assert!(
                (least..most).contains(&value) && passed,
                "{what}: {value} after the repair"
            );
        }
        assert!(
            bench.ecu.memory().readiness_since_clear().is_complete(Group::Egr),
            "{what}"
        );
    }
}

/// Each shipped vehicle completes the group in a UDDS and a warm idle; the one without recirculation serves and counts nothing of
/// it, and its cam alone makes the group.
#[test]
fn what_an_engine_does_not_have_is_not_served_and_waited_for() {
    for (vehicle, has_egr) in [("compact-2.0", true), ("sedan-v6", true), ("hatch-1.8", false)] {
        let mut desk = vehicles::desk(vehicle, 1);
        desk.tell(&["soak 12 h", "drive udds"]);
        let readiness = desk.car.car().ecu().memory().readiness_since_clear();
        assert!(readiness.is_complete(Group::Egr), "{vehicle}");
        let item = desk.car.car().ecu().memory().in_use().item(InUseItem::Egr);
        assert_eq!(item, (1, 1), "{vehicle}");
        let served = |desk: &mut Desk, request: &[u8]| desk.ask(request).is_some();
        assert_eq!(served(&mut desk, &[0x06, 0x31]), has_egr, "{vehicle}");
        assert_eq!(served(&mut desk, &[0x01, 0x2C]), has_egr, "{vehicle}");
        assert!(served(&mut desk, &[0x06, 0x35]), "{vehicle}");
    }
}
