//! Parts, work and defects (moves to `vehicle`).

use twotrip_units::Length;

/// A part of the car that phrases can name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// Fuel cap.
    FuelCap,
    /// Filler neck.
    FillerNeck,
    /// Tank pressure sensor.
    TankPressureSensor,
}

impl Part {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::FuelCap, Self::FillerNeck, Self::TankPressureSensor];
    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::FuelCap => "fuel-cap",
            Self::FillerNeck => "filler-neck",
            Self::TankPressureSensor => "tank-pressure-sensor",
        }
    }
}

/// Work on a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Work {
    /// Tighten.
    Tighten,
    /// Replace.
    Replace,
    /// Clean.
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
}

/// A physical defect.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Defect {
    /// Cap loose.
    FuelCapLoose,
    /// Cap missing.
    FuelCapMissing,
    /// Round hole in the filler neck.
    FillerNeckHole(Length),
}

/// A reported value that can be pinned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// PID $0C.
    EngineSpeed,
    /// PID $05.
    CoolantTemperature,
}

impl Quantity {
    /// All of them.
    pub const ALL: [Self; 2] = [Self::EngineSpeed, Self::CoolantTemperature];
    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::EngineSpeed => "engine-speed",
            Self::CoolantTemperature => "coolant-temperature",
        }
    }
    /// The unit of the value.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::EngineSpeed => "rpm",
            Self::CoolantTemperature => "C",
        }
    }
    /// The range that can be reported, in the unit.
    #[must_use]
    pub const fn range(self) -> [f64; 2] {
        match self {
            Self::EngineSpeed => [0.0, 16_383.75],
            Self::CoolantTemperature => [-40.0, 215.0],
        }
    }
}
