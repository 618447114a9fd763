//! Vehicle files: which car, and what its engine ECU is told of it.
//!
//! ```toml
//! version = 1
//! title = "Compact sedan"
//! protocol = "j1979-2"                # SAE J1979 if left out
//!
//! [engine]
//! displacement = "1.998 l"
//! firing-order = [1, 3, 4, 2]         # cylinders
//! throttle-bore = "55 mm"
//! injector-flow = "3.3 g/s"           # of one injector at 421 kPa
//!
//! [exhaust]
//! oxygen-capacity = "0.6 g"           # of the catalyst of each bank
//!
//! [body]
//! mass = "1417 kg"
//! road-load = [115.7, 1.99, 0.3895]   # N, N s/m, N s²/m²
//! gear-ratios = [4.15, 2.37, 1.56, 1.16, 0.86, 0.69]
//! final-drive = 3.40
//! tyre-radius = "307 mm"
//! tank = "50 l"
//!
//! [identity]
//! vin = "0TW00TRP3A0000042"
//! calibration = "TWOTRIP-ENG-"
//!
//! [averaging]                         # may be left out, as may each of its keys
//! catalyst = true                     # it judges the mean of its results over driving cycles
//!
//! [[maker-code]]                      # may be left out, or be there several times
//! code = "P1455"
//! meaning = "large vapour leak"       # none: no public definition
//! with = "P0455"                      # set beside this one; none: by `preload` only
//!
//! [bus]                               # may be left out, as may each of its keys
//! identifiers = "29-bit"              # or "11-bit"
//! bit-rate = 250                      # kbit/s, or 500
//!
//! [[ecu]]                             # may be left out: the engine's alone
//! role = "engine"
//!
//! [[ecu]]
//! role = "transmission"               # commands the gearbox, and finds what is wrong with it
//!
//! [[ecu]]
//! role = "listed"                     # says what stands here
//! acronym = "HPCM"
//! name = "HybridPtCtrl"
//! calibration = "TWOTRIP-HYB-0001"
//! request = "7E2"                     # on 11 bits; 29 bits: address = "1C"
//! data = "5B 54.1 %"                  # one parameter a line
//! confirmed = "P0A80"                 # not physical
//! ```
//! All keys with their limits: [`format::TABLES`]. The same two passes as for scenarios ([`crate::file`]).

mod check;
pub mod ecus;
pub mod format;
#[cfg(test)]
mod tests;

use twotrip_ecu::{
    Calibration, EcuConfig,
    memory::{Companion, Profile},
    server::{Identity, VinError},
    transmission::{Gearing, TransmissionConfig},
};
use twotrip_obd::{Dialect, Dtc};
use twotrip_vehicle::Specification;

use crate::{Problem, problem};

/// A car that has been checked.
#[derive(Clone, Debug, PartialEq)]
pub struct VehicleModel {
    title: String,
    dialect: Dialect,
    regulation: &'static Profile,
    specification: Specification,
    calibration: Calibration,
    vin: String,
    calibration_name: String,
    maker_codes: Vec<MakerCode>,
    bus: ecus::BusEntry,
    ecus: Vec<ecus::EcuEntry>,
}

/// A trouble code of the maker's own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MakerCode {
    /// The code.
    pub code: Dtc,
    /// What it means, if that is public.
    pub meaning: Option<String>,
    /// The code of the standard that it is set beside; without one only `preload` sets it.
    pub with: Option<Dtc>,
}

impl VehicleModel {
    /// Reads and checks a vehicle file.
    ///
    /// # Errors
    /// Everything that is wrong with it, in the order of the file; the places are bytes of `file`.
    pub fn parse(file: &[u8]) -> Result<Self, Vec<Problem>> {
        check::check(file)
    }

    /// Whether a file is meant as a vehicle: it has an `[engine]`, which no scenario has.
    #[must_use]
    pub fn is_meant(file: &[u8]) -> bool {
        core::str::from_utf8(file).is_ok_and(check::has_engine)
    }

    /// What it is, one line without control characters.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The dialect in which its ECUs are asked.
    #[must_use]
    pub const fn dialect(&self) -> Dialect {
        self.dialect
    }

    /// The regulation that its fault memory follows where a scenario names none.
    #[must_use]
    pub const fn regulation(&self) -> &'static Profile {
        self.regulation
    }

    /// The car as its maker describes it.
    #[must_use]
    pub const fn specification(&self) -> &Specification {
        &self.specification
    }

    /// What its engine ECU is told of it.
    #[must_use]
    pub const fn calibration(&self) -> &Calibration {
        &self.calibration
    }

    /// Its maker's own trouble codes.
    #[must_use]
    pub fn maker_codes(&self) -> &[MakerCode] {
        &self.maker_codes
    }

    /// The bus of its diagnostics.
    #[must_use]
    pub const fn bus(&self) -> ecus::BusEntry {
        self.bus
    }

    /// The ECUs on it, up to eight, the engine ECU first; no two with one number or one address.
    #[must_use]
    pub fn ecus(&self) -> &[ecus::EcuEntry] {
        &self.ecus
    }

    /// What one of these codes means: the inner `None` for one without a public definition.
    #[must_use]
    pub fn meaning(&self, code: Dtc) -> Option<Option<&str>> {
        let mut codes = self.maker_codes.iter();
        codes
            .find(|own| own.code == code)
            .map(|own| own.meaning.as_deref())
    }

    /// Its engine ECU under a regulation.
    ///
    /// # Errors
    /// None for a model that was read from a file: its VIN was checked.
    pub fn ecu(&self, regulation: &'static Profile) -> Result<EcuConfig, VinError> {
        let identity = Identity::engine(regulation, &twotrip_ecu::monitors::CATALOGUE, &self.calibration)
            .with_calibration_name(&self.calibration_name)
            .with_vin(&self.vin)?;
        Ok(EcuConfig {
            profile: regulation,
            readiness_display: false,
            identity,
            companions: self
                .maker_codes
                .iter()
                .filter_map(|own| {
                    Some(Companion {
                        dtc: own.code,
                        with: own.with?,
                    })
                })
                .collect(),
            calibration: self.calibration.clone(),
            dialect: self.dialect,
        })
    }

    /// Its transmission ECU under a regulation, where it has one.
    #[must_use]
    pub fn transmission(&self, regulation: &'static Profile) -> Option<TransmissionConfig> {
        let specification = &self.specification;
        specification.transmission_ecu.then(|| {
            let gearing = Gearing::new(
                specification.ratios,
                specification.final_drive,
                specification.tyre_radius,
                specification.mass,
            );
            TransmissionConfig {
                dialect: self.dialect,
                ..TransmissionConfig::under(regulation, gearing)
            }
        })
    }
}

/// A car that comes with the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shipped {
    /// The name that scenarios use: that of the file, without `.toml`.
    pub name: &'static str,
    /// The file.
    pub text: &'static str,
}

/// All of them.
pub const SHIPPED: [Shipped; 7] = [
    Shipped {
        name: "compact-2.0",
        text: include_str!("../../../../scenarios/vehicles/compact-2.0.toml"),
    },
    Shipped {
        name: "sedan-v6",
        text: include_str!("../../../../scenarios/vehicles/sedan-v6.toml"),
    },
    Shipped {
        name: "hatch-1.8",
        text: include_str!("../../../../scenarios/vehicles/hatch-1.8.toml"),
    },
    Shipped {
        name: "compact-2.0-transmission",
        text: include_str!("../../../../scenarios/vehicles/compact-2.0-transmission.toml"),
    },
    Shipped {
        name: "sedan-v6-29bit",
        text: include_str!("../../../../scenarios/vehicles/sedan-v6-29bit.toml"),
    },
    Shipped {
        name: "compact-on-uds",
        text: include_str!("../../../../scenarios/vehicles/compact-on-uds.toml"),
    },
    Shipped {
        name: "compact-on-uds-transmission",
        text: include_str!("../../../../scenarios/vehicles/compact-on-uds-transmission.toml"),
    },
];

/// The shipped car of that name.
#[must_use]
pub fn find(name: &str) -> Option<VehicleModel> {
    let shipped = SHIPPED.into_iter().find(|shipped| shipped.name == name)?;
    // A test reads them all.
    VehicleModel::parse(shipped.text.as_bytes()).ok()
}

/// The name of a shipped car that is nearest to this one, if one is near.
#[must_use]
pub fn nearest(name: &str) -> Option<&'static str> {
    problem::nearest(name, SHIPPED.map(|shipped| shipped.name))
}
