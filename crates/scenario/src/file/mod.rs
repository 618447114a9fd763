//! Scenario files: one car, what happened to it before the bus goes live, and what must be true at the end.
//!
//! ```toml
//! version = 1                       # of this format
//! title = "Cap left loose"          # one line
//! vehicle = "compact-2.0"           # see `list vehicles`
//! regulation = "us-2010"            # that the fault memory follows, or "eobd"; the vehicle's own if left out
//! readiness-display = false         # whether the lamp shows readiness after its check; false if left out
//! broadcasts = false                # whether `run` puts the periodic messages of its control units on the bus
//! seed = 1                          # of all randomness; 1 if left out
//!
//! [repair-order]                    # may be left out
//! complaint = "Engine lamp is on."  # what the customer says
//! cause = "defect fuel-cap loose"   # phrases that break something, one a line; with `correction` or not at all
//! correction = "tighten fuel-cap"   # phrases that mend it
//! codes = "P0455"                   # what the story leaves stored, and nothing else; may be left out
//! symptom = """                     # what shows that it is broken; may be left out
//! expect live commanded-purge below 90 %
//! """
//! traps = "replace purge-valve"     # wrong repairs, one a line; may be left out
//! proof = """                       # what proves the repair after a clear; may be left out
//! soak 9 h
//! drive udds
//! """
//!
//! [story]                           # may be left out: a car just parked
//! before = """                      # what the car has behind it when the bus comes up
//! defect fuel-cap loose
//! drive udds
//! expect pending P0455              # judged here
//! """
//!
//! [[when]]                          # a cue: may be left out, or be there several times
//! event = "service 03"              # what it waits for, once the car is on the bus
//! after = "30 s"                    # of the car's time; at once if left out
//! times = 2                         # how often at the most; once if left out
//! do = """                          # phrases, one a line; those that take no time act at once, even in a drive
//! hold coolant-temperature 20 C
//! """
//!
//! [verdict]                         # may be left out: nothing is judged at the end
//! expect = """                      # judged at the end of the run, of the car and of the tool on its bus
//! expect no confirmed always
//! expect tool read pending within 60 s
//! """
//! ```
//!
//! Two passes: the TOML becomes keys and values with their places (`document`), then the check (`check`) finds
//! units, ranges, names and order, and everything that is wrong at once. serde is not used for the first pass: it
//! stops at its first error, and a misspelt key would hide a misspelt phrase.

pub(crate) mod check;
pub(crate) mod document;
pub mod format;
#[cfg(test)]
mod tests;

use core::time::Duration;

use twotrip_ecu::memory::Profile;
use twotrip_obd::Dtc;

use crate::{
    Problem,
    phrase::{Event, Phrase, Spanned, parse_phrase},
    vehicle::VehicleModel,
};

/// The version of the format that is read.
pub const VERSION: i64 = 1;

/// A scenario that has been checked; there is no other way to one than [`Scenario::parse`].
#[derive(Clone, Debug, PartialEq)]
pub struct Scenario {
    title: String,
    vehicle: VehicleModel,
    regulation: &'static Profile,
    readiness_display: bool,
    broadcasts: bool,
    seed: u64,
    repair_order: Option<RepairOrder>,
    story: Vec<Spanned<Phrase>>,
    cues: Vec<Cue>,
    expectations: Vec<Spanned<Phrase>>,
}

/// Phrases that are carried out on an event while the car is on the bus.
#[derive(Clone, Debug, PartialEq)]
pub struct Cue {
    /// What it waits for.
    pub event: Event,
    /// How much of the car's time after that it acts.
    pub after: Duration,
    /// How often it acts at the most.
    pub times: u64,
    /// What it does; the places are bytes of the file.
    pub phrases: Vec<Spanned<Phrase>>,
}

impl Scenario {
    /// Reads and checks a scenario file.
    ///
    /// # Errors
    /// Everything that is wrong with it, in the order of the file; the places are bytes of `file`.
    pub fn parse(file: &[u8]) -> Result<Self, Vec<Problem>> {
        check::check(file)
    }

    /// The title, one line without control characters.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The car.
    #[must_use]
    pub const fn vehicle(&self) -> &VehicleModel {
        &self.vehicle
    }

    /// The same scenario with another car; its regulation stays.
    #[must_use]
    pub fn with_vehicle(self, vehicle: VehicleModel) -> Self {
        Self { vehicle, ..self }
    }

    /// The regulation that the car's fault memory follows.
    #[must_use]
    pub const fn regulation(&self) -> &'static Profile {
        self.regulation
    }

    /// Whether the lamp shows readiness after its check at key-on.
    #[must_use]
    pub const fn readiness_display(&self) -> bool {
        self.readiness_display
    }

    /// Whether the periodic messages of the car's control units are on its bus.
    #[must_use]
    pub const fn broadcasts(&self) -> bool {
        self.broadcasts
    }

    /// The seed of all randomness.
    #[must_use]
    pub const fn seed(&self) -> u64 {
        self.seed
    }

    /// The repair order.
    #[must_use]
    pub const fn repair_order(&self) -> Option<&RepairOrder> {
        self.repair_order.as_ref()
    }

    /// What happens before the bus goes live; the places are bytes of the file. Expectations among them are judged
    /// where they stand, and none is about the tool.
    #[must_use]
    pub fn story(&self) -> &[Spanned<Phrase>] {
        &self.story
    }

    /// What is done on events once the car is on the bus.
    #[must_use]
    pub fn cues(&self) -> &[Cue] {
        &self.cues
    }

    /// What is judged at the end, nothing but [`Phrase::Expect`]; the places are bytes of the file.
    #[must_use]
    pub fn expectations(&self) -> &[Spanned<Phrase>] {
        &self.expectations
    }
}

/// What proves a repair where a file does not say: a cold start, the city and the highway schedule.
pub const USUAL_PROOF: [&str; 3] = ["soak 9 h", "drive udds", "drive hwfet"];

/// The trade's three Cs; a trainee sees the first.
#[derive(Clone, Debug, PartialEq)]
pub struct RepairOrder {
    complaint: String,
    cause: Vec<Phrase>,
    correction: Vec<Phrase>,
    codes: Vec<Dtc>,
    symptom: Vec<Phrase>,
    traps: Vec<Phrase>,
    proof: Vec<Phrase>,
}

impl RepairOrder {
    /// What the customer says; it may have several lines.
    #[must_use]
    pub fn complaint(&self) -> &str {
        &self.complaint
    }

    /// What is wrong: phrases that break something. Empty if nothing physical is.
    #[must_use]
    pub fn cause(&self) -> &[Phrase] {
        &self.cause
    }

    /// What mends it: work on parts and wires. Empty if there is no cause.
    #[must_use]
    pub fn correction(&self) -> &[Phrase] {
        &self.correction
    }

    /// The codes that the story leaves stored, and no others. Empty if the file does not say.
    #[must_use]
    pub fn codes(&self) -> &[Dtc] {
        &self.codes
    }

    /// What the broken car shows after its story, also after every trap, and not after the correction and its proof:
    /// expectations of values. Empty if the file names none.
    #[must_use]
    pub fn symptom(&self) -> &[Phrase] {
        &self.symptom
    }

    /// Wrong repairs that are often made, each by itself. Empty if the file names none.
    #[must_use]
    pub fn traps(&self) -> &[Phrase] {
        &self.traps
    }

    /// What proves the repair after a clear: it ends with the key on and the engine off.
    pub fn proof(&self) -> impl Iterator<Item = Phrase> + '_ {
        const END: &[&str] = &["soak 1 h", "key on"];
        let usual: &[&str] = if self.proof.is_empty() { &USUAL_PROOF } else { &[] };
        let read = |texts: &'static [&'static str]| texts.iter().filter_map(|text| parse_phrase(text).ok());
        read(usual).chain(self.proof.iter().cloned()).chain(read(END))
    }
}
