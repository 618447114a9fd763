//! What can be wrong with the car, and what kind of work cures it.
//!
//! A defect changes something physical (here: holes in the tank's vapour space); nothing here knows codes.
//! Sizes: our own choice, within what published service information describes.

use core::fmt;

use twotrip_units::Length;

/// What is wrong with the fuel cap.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CapFault {
    /// Not tightened until it clicks, or a worn seal: a hole of 8 mm.
    Loose,
    /// Not there: a hole of 30 mm.
    Missing,
}

impl CapFault {
    /// The round hole that lets the same air through.
    #[must_use]
    pub const fn hole(self) -> Length {
        match self {
            Self::Loose => Length::from_millimetres(8.0),
            Self::Missing => Length::from_millimetres(30.0),
        }
    }
}

/// Something wrong with the car.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Defect {
    /// The fuel cap does not seal.
    FuelCap(CapFault),
    /// The filler neck is rusted through, or its hose is cracked: a hole of this diameter.
    FillerNeckHole(Length),
}

impl Defect {
    /// The part that carries it.
    #[must_use]
    pub const fn part(&self) -> Part {
        match self {
            Self::FuelCap(_) => Part::FuelCap,
            Self::FillerNeckHole(_) => Part::FillerNeck,
        }
    }

    /// The catalogue's entry.
    #[must_use]
    pub fn entry(&self) -> &'static Entry {
        match self {
            Self::FuelCap(CapFault::Loose) => &CATALOGUE[0],
            Self::FuelCap(CapFault::Missing) => &CATALOGUE[1],
            Self::FillerNeckHole(_) => &CATALOGUE[2],
        }
    }
}

impl fmt::Display for Defect {
    /// As in phrases: `fuel-cap loose`, `filler-neck hole 1 mm`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let entry = self.entry();
        write!(f, "{} {}", entry.part.name(), entry.kind)?;
        match self {
            Self::FuelCap(_) => Ok(()),
            Self::FillerNeckHole(diameter) => write!(f, " {} mm", diameter.millimetres()),
        }
    }
}

/// A part that can be worked on or looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// The cap of the filler neck, with its seal.
    FuelCap,
    /// The filler neck and its hose.
    FillerNeck,
    /// The coolant temperature sensor.
    CoolantSensor,
    /// The intake-air temperature sensor.
    IntakeAirSensor,
    /// The air-mass meter.
    AirMeter,
    /// The manifold pressure sensor.
    ManifoldPressureSensor,
    /// The throttle position sensor with both of its tracks.
    ThrottleSensor,
    /// The tank pressure sensor.
    TankPressureSensor,
    /// The fuel level sender.
    FuelLevelSensor,
}

impl Part {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::FuelCap,
        Self::FillerNeck,
        Self::CoolantSensor,
        Self::IntakeAirSensor,
        Self::AirMeter,
        Self::ManifoldPressureSensor,
        Self::ThrottleSensor,
        Self::TankPressureSensor,
        Self::FuelLevelSensor,
    ];

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::FuelCap => "fuel-cap",
            Self::FillerNeck => "filler-neck",
            Self::CoolantSensor => "coolant-sensor",
            Self::IntakeAirSensor => "intake-air-sensor",
            Self::AirMeter => "air-meter",
            Self::ManifoldPressureSensor => "manifold-pressure-sensor",
            Self::ThrottleSensor => "throttle-sensor",
            Self::TankPressureSensor => "tank-pressure-sensor",
            Self::FuelLevelSensor => "fuel-level-sensor",
        }
    }

    /// The part of that name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|part| part.name() == name)
    }
}

/// A kind of work on a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Work {
    /// Made tight, if it is there.
    Tighten,
    /// A new one.
    Replace,
    /// Cleaned.
    Clean,
}

impl Work {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Tighten, Self::Replace, Self::Clean];

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Tighten => "tighten",
            Self::Replace => "replace",
            Self::Clean => "clean",
        }
    }

    /// The work of that name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|work| work.name() == name)
    }
}

/// What came of work on a part.
#[derive(Clone, Copy, Debug, PartialEq)]
#[must_use]
pub enum Outcome {
    /// This defect is gone.
    Cured(Defect),
    /// Nothing was wrong that such work would cure.
    NothingToCure,
}

/// How the size of a defect is given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Size {
    /// The word stands for a hole of this diameter.
    Fixed(Length),
    /// A diameter follows the word, within these limits.
    Diameter {
        /// The smallest allowed.
        least: Length,
        /// The largest allowed.
        greatest: Length,
    },
}

/// One defect that can be set, for parsers and lists.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Entry {
    /// The part that carries it.
    pub part: Part,
    /// The word behind the part's name.
    pub kind: &'static str,
    /// The number behind the word, or the range of the number that follows it.
    pub size: Size,
    /// What it is, one line.
    pub description: &'static str,
}

impl Entry {
    /// The defect of this entry; `diameter` is taken where the entry wants one and kept within its limits.
    #[must_use]
    pub fn defect(&self, diameter: Option<Length>) -> Option<Defect> {
        match (self.part, self.size, diameter) {
            (Part::FuelCap, _, None) if self.kind == CATALOGUE[0].kind => {
                Some(Defect::FuelCap(CapFault::Loose))
            }
            (Part::FuelCap, _, None) => Some(Defect::FuelCap(CapFault::Missing)),
            (Part::FillerNeck, Size::Diameter { least, greatest }, Some(diameter))
                if diameter >= least && diameter <= greatest =>
            {
                Some(Defect::FillerNeckHole(diameter))
            }
            _ => None,
        }
    }
}

/// Every defect that can be set.
pub static CATALOGUE: [Entry; 3] = [
    Entry {
        part: Part::FuelCap,
        kind: "loose",
        size: Size::Fixed(CapFault::Loose.hole()),
        description: "fuel cap not tightened after refuelling, or its seal worn",
    },
    Entry {
        part: Part::FuelCap,
        kind: "missing",
        size: Size::Fixed(CapFault::Missing.hole()),
        description: "fuel cap left off",
    },
    Entry {
        part: Part::FillerNeck,
        kind: "hole",
        size: Size::Diameter {
            least: Length::from_millimetres(0.1),
            greatest: Length::from_millimetres(12.0),
        },
        description: "filler neck rusted through or its hose cracked",
    },
];

/// The defects the car has, at most one for each part.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Defects {
    pub(crate) fuel_cap: Option<CapFault>,
    pub(crate) filler_neck_hole: Option<Length>,
}

impl Defects {
    /// Adds one; a part has one defect at a time, the latest. A hole is held within what a filler neck can have.
    pub(crate) const fn set(&mut self, defect: Defect) {
        match defect {
            Defect::FuelCap(fault) => self.fuel_cap = Some(fault),
            Defect::FillerNeckHole(diameter) => {
                let widest = CapFault::Missing.hole();
                self.filler_neck_hole = Some(diameter.max(Length::ZERO).min(widest));
            }
        }
    }

    /// All present ones.
    pub(crate) fn iter(&self) -> impl Iterator<Item = Defect> + use<> {
        let cap = self.fuel_cap.map(Defect::FuelCap);
        cap.into_iter()
            .chain(self.filler_neck_hole.map(Defect::FillerNeckHole))
    }

    /// Works on a part: a loose cap is cured by tightening, a missing one by a new one, rust by a new neck.
    pub(crate) const fn repair(&mut self, part: Part, work: Work) -> Outcome {
        match (part, work) {
            (Part::FuelCap, Work::Tighten) => {
                if matches!(self.fuel_cap, Some(CapFault::Loose)) {
                    self.fuel_cap = None;
                    return Outcome::Cured(Defect::FuelCap(CapFault::Loose));
                }
                Outcome::NothingToCure
            }
            (Part::FuelCap, Work::Replace) => match self.fuel_cap.take() {
                Some(fault) => Outcome::Cured(Defect::FuelCap(fault)),
                None => Outcome::NothingToCure,
            },
            (Part::FillerNeck, Work::Replace) => match self.filler_neck_hole.take() {
                Some(diameter) => Outcome::Cured(Defect::FillerNeckHole(diameter)),
                None => Outcome::NothingToCure,
            },
            (Part::FuelCap, Work::Clean)
            | (Part::FillerNeck, Work::Tighten | Work::Clean)
            | (
                Part::CoolantSensor
                | Part::IntakeAirSensor
                | Part::AirMeter
                | Part::ManifoldPressureSensor
                | Part::ThrottleSensor
                | Part::TankPressureSensor
                | Part::FuelLevelSensor,
                _,
            ) => Outcome::NothingToCure,
        }
    }

    /// The area of all holes in the vapour space, m².
    pub(crate) fn hole_area_m2(&self) -> f64 {
        let round = |diameter: Length| core::f64::consts::FRAC_PI_4 * diameter.metres() * diameter.metres();
        self.fuel_cap.map_or(0.0, |fault| round(fault.hole())) + self.filler_neck_hole.map_or(0.0, round)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::string::ToString;

    use super::*;

    #[test]
    fn each_kind_of_work_cures_only_what_it_would() {
        let loose = Defect::FuelCap(CapFault::Loose);
        let missing = Defect::FuelCap(CapFault::Missing);
        let hole = Defect::FillerNeckHole(Length::from_millimetres(1.0));
        for (defect, part, work, cures) in [
            (loose, Part::FuelCap, Work::Tighten, true),
            (loose, Part::FuelCap, Work::Replace, true),
            (loose, Part::FuelCap, Work::Clean, false),
            (loose, Part::FillerNeck, Work::Replace, false),
            (missing, Part::FuelCap, Work::Tighten, false),
            (missing, Part::FuelCap, Work::Replace, true),
            (hole, Part::FuelCap, Work::Tighten, false),
            (hole, Part::FuelCap, Work::Replace, false),
            (hole, Part::FillerNeck, Work::Tighten, false),
            (hole, Part::FillerNeck, Work::Replace, true),
            (hole, Part::TankPressureSensor, Work::Replace, false),
        ] {
            let mut defects = Defects::default();
            defects.set(defect);
            let area = defects.hole_area_m2();
            assert!(area > 0.0);
            let expected = if cures {
                Outcome::Cured(defect)
            } else {
                Outcome::NothingToCure
            };
            assert_eq!(
                defects.repair(part, work),
                expected,
                "{} {} on {defect}",
                work.name(),
                part.name()
            );
            assert_eq!(defects.iter().next().is_none(), cures);
            assert_eq!(
                defects.repair(part, work),
                Outcome::NothingToCure,
                "cured only once"
            );
        }
    }

    #[test]
    fn the_catalogue_makes_and_names_every_defect() {
        let millimetre = Length::from_millimetres(1.0);
        let names = ["fuel-cap loose", "fuel-cap missing", "filler-neck hole 1 mm"];
        for (entry, name) in CATALOGUE.iter().zip(names) {
            let given = matches!(entry.size, Size::Diameter { .. }).then_some(millimetre);
            let defect = entry.defect(given).expect("within the range");
            assert_eq!(defect.to_string(), name);
            assert_eq!(defect.entry(), entry);
            assert_eq!(Part::named(entry.part.name()), Some(entry.part));
        }
        assert_eq!(CATALOGUE[2].defect(None), None);
        assert_eq!(CATALOGUE[2].defect(Some(Length::from_millimetres(13.0))), None);
        assert_eq!(CATALOGUE[0].defect(Some(millimetre)), None);
    }
}
