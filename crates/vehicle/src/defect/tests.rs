extern crate std;
use std::{string::ToString, vec::Vec};

use super::*;

fn defect(part: Part, kind: &str, amount: Option<f64>) -> Defect {
    Defect::named(part, kind, amount).expect("in the catalogue")
}

/// An amount that an entry allows.
fn amount(entry: &Entry) -> Option<f64> {
    match entry.size {
        Size::None | Size::Fixed { .. } => None,
        Size::Amount { range, .. } => Some(range[0] + 0.75 * (range[1] - range[0])),
    }
}

#[test]
fn each_kind_of_work_cures_only_what_it_would() {
    use Part::*;
    use Work::*;
    let loose = defect(FuelCap, "loose", None);
    let missing = defect(FuelCap, "missing", None);
    let hole = defect(FillerNeck, "hole", Some(1.0));
    let purge = defect(PurgeValve, "leaking", None);
    let dead = defect(CoolantSensor, "dead", None);
    let dirty = defect(AirMeter, "bias", Some(-20.0));
    let biased = defect(ManifoldPressureSensor, "bias", Some(10.0));
    for (defect, part, work, cures) in [
        (loose, FuelCap, Tighten, true),
        (loose, FuelCap, Replace, true),
        (loose, FuelCap, Clean, false),
        (loose, FillerNeck, Replace, false),
        (missing, FuelCap, Tighten, false),
        (missing, FuelCap, Replace, true),
        (hole, FuelCap, Tighten, false),
        (hole, FuelCap, Replace, false),
        (hole, FillerNeck, Tighten, false),
        (hole, FillerNeck, Replace, true),
        (hole, TankPressureSensor, Replace, false),
        (purge, PurgeValve, Replace, true),
        (purge, PurgeValve, Clean, false),
        (purge, VentValve, Replace, false),
        (dead, CoolantSensor, Replace, true),
        (dead, CoolantSensor, Clean, false),
        (dead, IntakeAirSensor, Replace, false),
        (dirty, AirMeter, Clean, true),
        (dirty, AirMeter, Replace, true),
        (dirty, AirMeter, Tighten, false),
        (biased, ManifoldPressureSensor, Clean, false),
        (biased, ManifoldPressureSensor, Replace, true),
    ] {
        let mut defects = Defects::default();
        defects.set(defect, 0.0);
        let expected = if cures {
            Outcome::Cured(defect)
        } else {
            Outcome::NothingToCure
        };
        let what = std::format!("{} {} on {defect}", work.name(), part.name());
        assert_eq!(defects.repair(part, work), expected, "{what}");
        assert_eq!(defects.iter().next().is_none(), cures, "{what}");
        assert_eq!(
            defects.repair(part, work),
            Outcome::NothingToCure,
            "cured only once"
        );
    }
}

/// Every row: it can be set and said, it moves a knob, and each of its cures brings back a healthy car.
#[test]
fn every_entry_moves_something_and_is_cured() {
    for entry in catalogue() {
        let defect = entry.defect(amount(entry)).expect("within the range");
        assert!(!entry.cures.is_empty(), "{defect}");
        assert!(!entry.set.is_empty() && !entry.description.is_empty(), "{defect}");
        assert_eq!(Part::named(entry.part.name()), Some(entry.part));
        let same = catalogue().filter(|other| *other == entry).count();
        assert_eq!(same, 1, "{defect} stands twice");
        for &(work, part) in entry.cures {
            let mut defects = Defects::default();
            defects.set(defect, 0.0);
            assert_ne!(defects.knobs(), Knobs::default(), "{defect}");
            assert_eq!(defects.repair(part, work), Outcome::Cured(defect));
            assert_eq!(defects.knobs(), Knobs::default(), "{defect}");
        }
    }
}

#[test]
fn amounts_are_asked_for_and_held_within_their_limits() {
    let named = |amount| Defect::named(Part::FillerNeck, "hole", amount);
    assert_eq!(named(None), None);
    assert_eq!(named(Some(13.0)), None);
    assert_eq!(named(Some(f64::NAN)), None);
    assert!(named(Some(0.1)).is_some());
    assert_eq!(Defect::named(Part::FuelCap, "loose", Some(1.0)), None);
    let said: Vec<_> = [
        defect(Part::FuelCap, "loose", None),
        defect(Part::FillerNeck, "hole", Some(1.0)).with_course(Course::Growing(0.2)),
        defect(Part::CoolantSensor, "bias", Some(-20.0)).with_course(Course::When(When::HotterThan(90.0))),
        defect(Part::AirMeter, "dead", None).with_course(Course::When(When::OnBumps)),
    ]
    .iter()
    .map(ToString::to_string)
    .collect();
    assert_eq!(
        said,
        [
            "fuel-cap loose",
            "filler-neck hole 1 mm growing 0.2 mm every 100 km",
            "coolant-sensor bias -20 K when hotter than 90 C",
            "air-meter dead on bumps",
        ]
    );
}

#[test]
fn defects_grow_with_distance_and_come_and_go() {
    let mut now = Circumstances {
        wet: false,
        coolant_celsius: 20.0,
        load_percent: 10.0,
        shaken: false,
        metres: 5000.0,
    };
    let mut defects = Defects::default();
    let hole = defect(Part::FillerNeck, "hole", Some(1.0));
    defects.set(hole, now.metres);
    assert!(!defects.is_moving());
    defects.set(hole.with_course(Course::Growing(2.0)), now.metres);
    assert!(defects.is_moving());
    let area = |defects: &Defects| defects.knobs().vapour_holes_m2;
    let small = area(&defects);
    assert!(!defects.follow(&now));
    now.metres += 50_000.0;
    assert!(defects.follow(&now));
    assert!((area(&defects) / small - 4.0).abs() < 1e-9, "1 mm became 2 mm");
    now.metres += 1e9;
    assert!(defects.follow(&now));
    assert!(
        (area(&defects) / small - 144.0).abs() < 1e-6,
        "no more than there can be"
    );

    let meter = defect(Part::AirMeter, "dead", None);
    for (when, change) in [
        (
            When::HotterThan(90.0),
            Circumstances {
                coolant_celsius: 95.0,
                ..now
            },
        ),
        (
            When::ColderThan(0.0),
            Circumstances {
                coolant_celsius: -5.0,
                ..now
            },
        ),
        (
            When::LoadOver(60.0),
            Circumstances {
                load_percent: 80.0,
                ..now
            },
        ),
        (When::OnBumps, Circumstances { shaken: true, ..now }),
    ] {
        let mut defects = Defects::default();
        defects.set(meter.with_course(Course::When(when)), 0.0);
        for _ in 0..2 {
            assert_eq!(defects.knobs(), Knobs::default(), "{when}: not yet");
            assert!(defects.follow(&change));
            assert_ne!(defects.knobs(), Knobs::default(), "{when}");
            assert!(defects.follow(&now));
        }
        assert_eq!(
            defects.repair(Part::AirMeter, Work::Replace),
            Outcome::Cured(meter.with_course(Course::When(when)))
        );
    }
}

#[test]
fn bumps_come_about_four_times_a_minute_of_driving_and_by_the_seed() {
    use crate::road::Surface::{self, Rough, Smooth};
    let shaken = |seed, speed, surface: Surface| -> Vec<bool> {
        let mut bumps = Bumps::new(seed);
        (0..36_000).map(|_| bumps.step(speed, surface, 0.1)).collect()
    };
    let begun = |hour: &[bool]| hour.windows(2).filter(|pair| pair[1] && !pair[0]).count();
    let hour = shaken(1, 15.0, Smooth);
    assert!((150..290).contains(&begun(&hour)), "{}", begun(&hour));
    let rough = shaken(1, 15.0, Rough);
    assert!((950..1450).contains(&begun(&rough)), "{}", begun(&rough));
    assert_eq!(hour, shaken(1, 15.0, Smooth));
    assert_ne!(hour, shaken(2, 15.0, Smooth));
    assert!(!shaken(1, 0.0, Smooth).contains(&true));
    assert!(!shaken(1, 0.0, Rough).contains(&true));
}
