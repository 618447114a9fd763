//! What the ECU keeps without power: whose it is, its fault memory, what engine management has learned, results of
//! tests.
//!
//! Not kept: what depends on the day (signals, run time, soak), what a monitor has gathered so far, values pinned by
//! hand. The VIN is part of the car and never changes; here it tells whose content this is.

use alloc::{borrow::ToOwned as _, string::String, vec::Vec};

use serde::{Deserialize, Serialize};
use thiserror::Error;
use twotrip_units::CarInstant;

use crate::{
    Ecu,
    control::Learned,
    memory::{StoredError, StoredMemory},
    monitors::{Means, frame::StoredTest, natural_vacuum::Average},
    server::Identity,
};

/// The content of an ECU's memory that needs no power.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Nonvolatile {
    /// Whose it is.
    pub owner: Owner,
    /// Codes, readiness, counters, freeze frame.
    pub memory: StoredMemory,
    /// Learned values.
    #[serde(default)]
    pub learned: Learned,
    /// Results of tests: service $06 gives them until the next run or a clear (SAE J1979, from memory).
    #[serde(default)]
    tests: Vec<StoredTest>,
    /// What the nights said to the leak test of the parked car.
    #[serde(default)]
    pub nights: Average,
    /// What is averaged over driving cycles.
    #[serde(default)]
    pub(crate) means: Means,
    /// As the first programs kept those of the leak test.
    #[serde(default, skip_serializing)]
    results: LeakResults,
}

impl Nonvolatile {
    /// Results of tests, those that an older program kept among them.
    #[must_use]
    pub fn tests(&self) -> Vec<StoredTest> {
        let leak = &self.results;
        let older = [
            leak.gross.map(|(pascals, passed)| {
                StoredTest::new((0x39, 0x80), pascals, (None, Some(-2000.0)), passed)
            }),
            leak.flow
                .map(|(pascals, passed)| StoredTest::new((0x3D, 0x83), pascals, (Some(60.0), None), passed)),
        ];
        older
            .into_iter()
            .flatten()
            .chain(self.tests.iter().copied())
            .collect()
    }
}

/// What the first programs kept of the leak test, Pa and whether that was good. The size of the hole is measured again.
#[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize)]
#[serde(default)]
struct LeakResults {
    gross: Option<(f64, bool)>,
    flow: Option<(f64, bool)>,
}

/// The ECU that a content belongs to: its car, its program, and the regulation that it follows.
///
/// Not the calibration verification number: a program that knows one code more still finds its memory.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Owner {
    /// Vehicle identification number.
    pub vin: String,
    /// Calibration identification.
    pub calibration: String,
    /// Name of the regulation.
    pub regulation: String,
}

/// Why a content was not taken over.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum RestoreError {
    /// It is another ECU's.
    #[error("it belongs to another car: {what} `{found}`, this car has `{own}`")]
    Foreign {
        /// What differs.
        what: &'static str,
        /// In the content.
        found: String,
        /// Of this ECU.
        own: String,
    },
    /// No ECU can have it.
    #[error("no ECU can hold that: {0}")]
    Impossible(#[from] StoredError),
}

impl Owner {
    fn of(identity: &Identity, regulation: &str) -> Self {
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).trim_end_matches('\0').to_owned();
        Self {
            vin: text(identity.vin()),
            calibration: text(identity.calibration_id()),
            regulation: regulation.to_owned(),
        }
    }

    /// Fails on the first thing in which `found` is not this one.
    fn expect(self, found: &Self) -> Result<(), RestoreError> {
        let Self {
            vin,
            calibration,
            regulation,
        } = self;
        let differing = [
            ("VIN", &found.vin, vin),
            ("calibration", &found.calibration, calibration),
            ("regulation", &found.regulation, regulation),
        ]
        .into_iter()
        .find(|(_, found, own)| **found != *own);
        match differing {
            None => Ok(()),
            Some((what, found, own)) => Err(RestoreError::Foreign {
                what,
                found: found.clone(),
                own,
            }),
        }
    }
}

impl Ecu {
    /// Whose content this ECU's is.
    #[must_use]
    pub fn owner(&self) -> Owner {
        Owner::of(self.identity(), self.memory().profile().name)
    }

    /// What it keeps without power.
    #[must_use]
    pub fn nonvolatile(&self) -> Nonvolatile {
        Nonvolatile {
            owner: self.owner(),
            memory: self.memory().store(),
            learned: self.control().learned(),
            tests: self.monitors().results().store(),
            nights: *self.monitors().natural_vacuum().average(),
            means: self.monitors().means(),
            results: LeakResults::default(),
        }
    }

    /// Power was off and is back, with this content: what was here is forgotten, what monitors had gathered, and the
    /// records of how that came. The key stands as it stood; an engine that runs begins a driving cycle.
    ///
    /// # Errors
    /// [`RestoreError`] if it is another ECU's, or none that an ECU can have; then nothing changes.
    pub fn restore(&mut self, now: CarInstant, content: &Nonvolatile) -> Result<(), RestoreError> {
        self.owner().expect(&content.owner)?;
        self.take_over(now, content)?;
        Ok(())
    }
}
