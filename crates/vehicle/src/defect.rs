//! What can be wrong with the car, and what kind of work cures it.
//!
//! A defect changes something physical (holes in the tank's vapour space, stuck valves, broken sensors); nothing here knows codes.
//! Sizes: our own choice, within what published service information describes.

use core::fmt;

use twotrip_units::Length;

use crate::{
    knobs::Knobs,
    sensor_fault::{Sensor, SensorFault, SensorFaults},
    valve::{ValveFault, Valves},
};

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
    /// A valve of the evaporative system does not do what it is told.
    Valve(ValveFault),
    /// A sensor is broken inside.
    Sensor(Sensor, SensorFault),
}

impl Defect {
    /// The part that carries it.
    #[must_use]
    pub const fn part(&self) -> Part {
        match self {
            Self::FuelCap(_) => Part::FuelCap,
            Self::FillerNeckHole(_) => Part::FillerNeck,
            Self::Valve(ValveFault::PurgeStuckShut | ValveFault::PurgeLeaking) => Part::PurgeValve,
            Self::Valve(ValveFault::VentStuckOpen | ValveFault::VentStuckShut) => Part::VentValve,
            Self::Sensor(sensor, _) => sensor.part(),
        }
    }

    /// The catalogue's entry.
    #[must_use]
    pub fn entry(&self) -> &'static Entry {
        match self {
            Self::FuelCap(CapFault::Loose) => &CATALOGUE[0],
            Self::FuelCap(CapFault::Missing) => &CATALOGUE[1],
            Self::FillerNeckHole(_) => &CATALOGUE[2],
            Self::Valve(fault) => &CATALOGUE[VALVES + *fault as usize],
            Self::Sensor(sensor, SensorFault::Dead) => &CATALOGUE[SENSORS + 2 * *sensor as usize],
            Self::Sensor(sensor, SensorFault::Bias(_)) => &CATALOGUE[SENSORS + 2 * *sensor as usize + 1],
        }
    }
}

impl fmt::Display for Defect {
    /// As in phrases: `fuel-cap loose`, `filler-neck hole 1 mm`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let entry = self.entry();
        write!(f, "{} {}", entry.part.name(), entry.kind)?;
        match self {
            Self::FuelCap(_) | Self::Valve(_) | Self::Sensor(_, SensorFault::Dead) => Ok(()),
            Self::FillerNeckHole(diameter) => write!(f, " {} mm", diameter.millimetres()),
            Self::Sensor(sensor, SensorFault::Bias(bias)) => write!(f, " {bias} {}", sensor.unit()),
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
    /// The valve that lets vapour into the engine.
    PurgeValve,
    /// The valve that lets air into the canister.
    VentValve,
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
    pub const ALL: [Self; 11] = [
        Self::FuelCap,
        Self::FillerNeck,
        Self::PurgeValve,
        Self::VentValve,
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
            Self::PurgeValve => "purge-valve",
            Self::VentValve => "vent-valve",
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
    /// The word says it all.
    None,
    /// The word stands for a hole of this diameter.
    Fixed(Length),
    /// A diameter follows the word, within these limits.
    Diameter {
        /// The smallest allowed.
        least: Length,
        /// The largest allowed.
        greatest: Length,
    },
    /// A bias in this unit follows the word, within these limits.
    Bias {
        /// The unit.
        unit: &'static str,
        /// The smallest and the greatest allowed.
        range: [f64; 2],
    },
}

/// A size as given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Extent {
    /// None.
    None,
    /// A diameter.
    Diameter(Length),
    /// A bias in the unit of the entry.
    Bias(f64),
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
    /// The defect of this entry, if the size is of the kind that it wants, and within its limits.
    #[must_use]
    pub fn defect(&self, extent: Extent) -> Option<Defect> {
        match (self.part, self.size, extent) {
            (Part::FuelCap, _, Extent::None) if self.kind == CATALOGUE[0].kind => {
                Some(Defect::FuelCap(CapFault::Loose))
            }
            (Part::FuelCap, _, Extent::None) => Some(Defect::FuelCap(CapFault::Missing)),
            (Part::FillerNeck, Size::Diameter { least, greatest }, Extent::Diameter(diameter))
                if diameter >= least && diameter <= greatest =>
            {
                Some(Defect::FillerNeckHole(diameter))
            }
            (Part::PurgeValve | Part::VentValve, Size::None, Extent::None) => ValveFault::ALL
                .into_iter()
                .map(Defect::Valve)
                .find(|defect| defect.entry() == self),
            (part, Size::None, Extent::None) => Some(Defect::Sensor(Sensor::of(part)?, SensorFault::Dead)),
            (
                part,
                Size::Bias {
                    range: [least, most], ..
                },
                Extent::Bias(bias),
            ) if bias >= least && bias <= most => {
                Some(Defect::Sensor(Sensor::of(part)?, SensorFault::Bias(bias)))
            }
            _ => None,
        }
    }
}

/// Every defect that can be set.
pub static CATALOGUE: [Entry; SENSORS + 2 * Sensor::ALL.len()] = with_sensors([
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
    Entry {
        part: Part::PurgeValve,
        kind: "stuck-shut",
        size: Size::None,
        description: "purge valve does not open: no vapour reaches the engine",
    },
    Entry {
        part: Part::PurgeValve,
        kind: "leaking",
        size: Size::None,
        description: "purge valve does not shut: the engine draws on the tank all the time",
    },
    Entry {
        part: Part::VentValve,
        kind: "stuck-open",
        size: Size::None,
        description: "vent valve does not shut: the tank cannot be sealed",
    },
    Entry {
        part: Part::VentValve,
        kind: "stuck-shut",
        size: Size::None,
        description: "vent valve does not open: no air follows what is drawn from the tank",
    },
]);

/// Where the valves begin in the catalogue, in the order of [`ValveFault::ALL`].
const VALVES: usize = 3;
/// Where the sensors begin in the catalogue: two entries each.
const SENSORS: usize = VALVES + ValveFault::ALL.len();

/// The catalogue with what can be wrong with each sensor.
const fn with_sensors(others: [Entry; SENSORS]) -> [Entry; SENSORS + 2 * Sensor::ALL.len()] {
    let mut entries = [others[0]; SENSORS + 2 * Sensor::ALL.len()];
    let mut i = 0;
    while i < SENSORS {
        entries[i] = others[i];
        i += 1;
    }
    let mut i = 0;
    while i < Sensor::ALL.len() {
        let sensor = Sensor::ALL[i];
        entries[SENSORS + 2 * i] = Entry {
            part: sensor.part(),
            kind: "dead",
            size: Size::None,
            description: "the sensor is open inside, or gives no signal",
        };
        entries[SENSORS + 2 * i + 1] = Entry {
            part: sensor.part(),
            kind: "bias",
            size: Size::Bias {
                unit: sensor.unit(),
                range: sensor.range(),
            },
            description: "the sensor reads too high by this, or too low if negative",
        };
        i += 1;
    }
    entries
}

/// The defects the car has, at most one for each part.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Defects {
    pub(crate) fuel_cap: Option<CapFault>,
    pub(crate) filler_neck_hole: Option<Length>,
    pub(crate) valves: Valves,
    pub(crate) sensors: SensorFaults,
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
            Defect::Valve(fault) => self.valves.set(fault),
            Defect::Sensor(sensor, fault) => self.sensors.set(sensor, fault),
        }
    }

    /// All present ones.
    pub(crate) fn iter(&self) -> impl Iterator<Item = Defect> + use<> {
        let cap = self.fuel_cap.map(Defect::FuelCap);
        let valves = [self.valves.purge, self.valves.vent];
        let sensors = self.sensors.iter();
        cap.into_iter()
            .chain(self.filler_neck_hole.map(Defect::FillerNeckHole))
            .chain(valves.into_iter().flatten().map(Defect::Valve))
            .chain(sensors.map(|(sensor, fault)| Defect::Sensor(sensor, fault)))
    }

    /// Works on a part: a loose cap is cured by tightening, a missing one by a new one, rust by a new neck, a valve and a sensor by
    /// a new one, and a dirty air meter by cleaning too.
    pub(crate) fn repair(&mut self, part: Part, work: Work) -> Outcome {
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
            (Part::PurgeValve | Part::VentValve, Work::Replace) => {
                let valve = if part == Part::PurgeValve {
                    &mut self.valves.purge
                } else {
                    &mut self.valves.vent
                };
                match valve.take() {
                    Some(fault) => Outcome::Cured(Defect::Valve(fault)),
                    None => Outcome::NothingToCure,
                }
            }
            (sensor, Work::Replace | Work::Clean) => {
                let Some(sensor) = Sensor::of(sensor) else {
                    return Outcome::NothingToCure;
                };
                let dirty = sensor == Sensor::AirMeter
                    && matches!(self.sensors.get(sensor), Some(SensorFault::Bias(_)));
                if work == Work::Clean && !dirty {
                    return Outcome::NothingToCure;
                }
                match self.sensors.take(sensor) {
                    Some(fault) => Outcome::Cured(Defect::Sensor(sensor, fault)),
                    None => Outcome::NothingToCure,
                }
            }
            (_, Work::Tighten) => Outcome::NothingToCure,
        }
    }

    /// What they make of the car.
    pub(crate) fn knobs(&self) -> Knobs {
        let mut knobs = Knobs {
            vapour_holes_m2: self.hole_area_m2(),
            sensors: self.sensors,
            ..Knobs::default()
        };
        self.valves.apply(&mut knobs);
        knobs
    }

    /// The area of all holes in the vapour space, m².
    fn hole_area_m2(&self) -> f64 {
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
        let purge = Defect::Valve(ValveFault::PurgeLeaking);
        let dead = Defect::Sensor(Sensor::Coolant, SensorFault::Dead);
        let dirty = Defect::Sensor(Sensor::AirMeter, SensorFault::Bias(-20.0));
        let biased = Defect::Sensor(Sensor::ManifoldPressure, SensorFault::Bias(10.0));
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
            (purge, Part::PurgeValve, Work::Replace, true),
            (purge, Part::PurgeValve, Work::Clean, false),
            (purge, Part::VentValve, Work::Replace, false),
            (dead, Part::CoolantSensor, Work::Replace, true),
            (dead, Part::CoolantSensor, Work::Clean, false),
            (dead, Part::IntakeAirSensor, Work::Replace, false),
            (dirty, Part::AirMeter, Work::Clean, true),
            (dirty, Part::AirMeter, Work::Replace, true),
            (dirty, Part::AirMeter, Work::Tighten, false),
            (biased, Part::ManifoldPressureSensor, Work::Clean, false),
            (biased, Part::ManifoldPressureSensor, Work::Replace, true),
        ] {
            let mut defects = Defects::default();
            defects.set(defect);
            assert_eq!(
                defects.hole_area_m2() > 0.0,
                !matches!(defect, Defect::Sensor(..) | Defect::Valve(_)),
                "{defect}"
            );
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
        for (place, entry) in CATALOGUE.iter().enumerate() {
            let given = match entry.size {
                Size::None | Size::Fixed(_) => Extent::None,
                Size::Diameter { .. } => Extent::Diameter(millimetre),
                Size::Bias { .. } => Extent::Bias(1.0),
            };
            let defect = entry.defect(given).expect("within the range");
            assert_eq!(defect.part(), entry.part);
            assert_eq!(defect.entry(), entry, "{defect}");
            assert_eq!(Part::named(entry.part.name()), Some(entry.part));
            let name = match place {
                0 => "fuel-cap loose",
                1 => "fuel-cap missing",
                2 => "filler-neck hole 1 mm",
                3 => "purge-valve stuck-shut",
                6 => "vent-valve stuck-shut",
                7 => "coolant-sensor dead",
                8 => "coolant-sensor bias 1 K",
                12 => "air-meter bias 1 %",
                _ => continue,
            };
            assert_eq!(defect.to_string(), name);
        }
        assert_eq!(CATALOGUE[2].defect(Extent::None), None);
        let thirteen = Extent::Diameter(Length::from_millimetres(13.0));
        assert_eq!(CATALOGUE[2].defect(thirteen), None);
        assert_eq!(CATALOGUE[0].defect(Extent::Diameter(millimetre)), None);
        assert_eq!(CATALOGUE[8].defect(Extent::Bias(41.0)), None);
        assert_eq!(CATALOGUE[8].defect(Extent::Bias(f64::NAN)), None);
    }
}
