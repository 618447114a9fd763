//! Would the car pass an emission inspection? What a tester reads, judged by the rules of three programmes, with each
//! reason.
//!
//! | programme | rules |
//! |---|---|
//! | EPA | 40 CFR 85.2207 and 85.2222: MIL commanded on, or lamp dark, fails; not-ready limits as a state's brochure cites the EPA guideline, and 66 FR 18155 |
//! | CA | 16 CCR 3340.42.2(c); not-ready and permanent-code limits as trade summaries of the state's test reference give them |
//! | NY | as EPA; a car that lacks nothing but readiness gets one extension |
//!
//! Spark and compression ignition, as PID $01 says. Pending codes do not fail by themselves where the MIL command
//! decides (40 CFR 85.2207(c)). What the rules ask beside the data (a connector that can be reached, a VIN that fits
//! the car) is for people to see. **Local law decides**: these are the rules as published once, not advice.

use alloc::vec::Vec;
use core::fmt;

use thiserror::Error;

use crate::{Dtc, Readiness};

/// Whose rules.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Program {
    /// The federal rule and guideline.
    Epa,
    /// California.
    California,
    /// New York.
    NewYork,
}

impl Program {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Epa, Self::California, Self::NewYork];

    /// Short name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Epa => "EPA",
            Self::California => "CA",
            Self::NewYork => "NY",
        }
    }
}

/// The lamp as an inspector sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LampSeen {
    /// Dark.
    Dark,
    /// Lit.
    Lit,
    /// Blinking.
    Blinking,
}

/// What was read and seen.
#[derive(Clone, Copy, Debug)]
pub struct Evidence<'a> {
    /// Model year of the vehicle.
    pub model_year: u16,
    /// PID $01 bytes B, C, D, of all ECUs together.
    pub readiness: Readiness,
    /// PID $01 A7 of any ECU.
    pub mil_commanded: bool,
    /// Service $03.
    pub confirmed: &'a [Dtc],
    /// Service $0A.
    pub permanent: &'a [Dtc],
    /// PID $30, if it was read.
    pub warm_ups_since_clear: Option<u8>,
    /// PID $31, kilometres, if it was read.
    pub distance_since_clear: Option<u16>,
    /// The lamp with the key on and the engine off, if somebody looked.
    pub lamp_key_on: Option<LampSeen>,
    /// The lamp with the engine running, if somebody looked.
    pub lamp_running: Option<LampSeen>,
}

/// Why there is no verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum NoRule {
    /// Before OBD II.
    #[error("model year {0} is before 1996: there is no OBD II inspection for it")]
    BeforeObd(u16),
    /// Compression ignition before California had it.
    #[error("model year {0} is before 1998: California has no OBD II inspection of diesels for it")]
    DieselBeforeObd(u16),
}

/// How it ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Nothing against it.
    Pass,
    /// No fault, but monitors that must have run have not.
    NotReady,
    /// A fault, or in California a permanent code: what was cleared is not yet proven.
    Fail,
}

impl Outcome {
    /// For people and machines.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::NotReady => "not ready",
            Self::Fail => "fail",
        }
    }
}

/// One reason against the car.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reason {
    /// The lamp is dark with the key on and the engine off.
    LampDark,
    /// The lamp is lit, or blinks, with the engine running.
    LampLit,
    /// The MIL is commanded on.
    MilCommanded,
    /// Confirmed codes are stored.
    Confirmed(Vec<Dtc>),
    /// Permanent codes are stored.
    Permanent(Vec<Dtc>),
    /// More monitors have not run than may be.
    NotReady {
        /// Those that count.
        groups: Vec<&'static str>,
        /// How many of them may be incomplete.
        allowed: usize,
    },
}

impl Reason {
    /// What it makes of the verdict.
    #[must_use]
    pub const fn outcome(&self) -> Outcome {
        match self {
            Self::NotReady { .. } => Outcome::NotReady,
            _ => Outcome::Fail,
        }
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::LampDark => f.write_str("the lamp is dark with the key on and the engine off"),
            Self::LampLit => f.write_str("the lamp is lit with the engine running"),
            Self::MilCommanded => f.write_str("the lamp is commanded on"),
            Self::Confirmed(codes) => list(f, "confirmed codes:", codes),
            Self::Permanent(codes) => list(f, "permanent codes:", codes),
            Self::NotReady { groups, allowed } => {
                list(f, "monitors not complete:", groups)?;
                write!(f, " (at most {allowed} such)")
            }
        }
    }
}

fn list(f: &mut fmt::Formatter<'_>, what: &str, things: &[impl fmt::Display]) -> fmt::Result {
    f.write_str(what)?;
    things.iter().try_for_each(|thing| write!(f, " {thing}"))
}

/// Something to know beside the verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Remark {
    /// Nobody told what the lamp does.
    LampNotSeen,
    /// Permanent codes do not count any more.
    PermanentIgnored,
    /// One extension is given.
    Extension,
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::LampNotSeen => {
                "the lamp itself is for somebody to look at: it must be lit with the key on and the engine off, and \
                 dark with the engine running"
            }
            Self::PermanentIgnored => {
                "permanent codes do not count after 15 warm-up cycles and 322 km (200 miles) since the clear"
            }
            Self::Extension => "with an expired sticker, one extension of 10 days to drive until the monitors have run",
        })
    }
}

/// The verdict.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verdict {
    /// All that speaks against the car.
    pub reasons: Vec<Reason>,
    /// What else is to be known.
    pub remarks: Vec<Remark>,
}

impl Verdict {
    /// How it ends: a fault weighs more than a monitor that has not run.
    #[must_use]
    pub fn outcome(&self) -> Outcome {
        let outcomes = || self.reasons.iter().map(Reason::outcome);
        if outcomes().any(|outcome| outcome == Outcome::Fail) {
            Outcome::Fail
        } else if self.reasons.is_empty() {
            Outcome::Pass
        } else {
            Outcome::NotReady
        }
    }
}

/// First model year with OBD II: 40 CFR 86.1806 and its predecessors (from memory).
const FIRST_YEAR: u16 = 1996;
/// First model year of diesels in California's programme: trade summaries of the state's test reference.
const FIRST_DIESEL_YEAR: u16 = 1998;
/// First model year with permanent codes: public source of the J1699-3 conformance test.
const FIRST_PERMANENT_YEAR: u16 = 2010;
/// After so many warm-ups and kilometres since the clear California disregards permanent codes: trade summaries of the
/// state's rule (200 miles).
const IGNORE_PERMANENT: (u8, u16) = (15, 322);

/// Judges a car.
///
/// # Errors
/// [`NoRule`] for a vehicle that these rules are not for.
pub fn inspect(program: Program, evidence: &Evidence<'_>) -> Result<Verdict, NoRule> {
    if evidence.model_year < FIRST_YEAR {
        return Err(NoRule::BeforeObd(evidence.model_year));
    }
    let diesel = evidence.readiness.is_compression_ignition();
    if program == Program::California && diesel && evidence.model_year < FIRST_DIESEL_YEAR {
        return Err(NoRule::DieselBeforeObd(evidence.model_year));
    }
    let mut reasons = Vec::new();
    let mut remarks = Vec::new();
    match (evidence.lamp_key_on, evidence.lamp_running) {
        (None, _) | (_, None) => remarks.push(Remark::LampNotSeen),
        _ => {}
    }
    if evidence.lamp_key_on == Some(LampSeen::Dark) {
        reasons.push(Reason::LampDark);
    }
    if evidence.lamp_running.is_some_and(|lamp| lamp != LampSeen::Dark) {
        reasons.push(Reason::LampLit);
    }
    if evidence.mil_commanded {
        reasons.push(Reason::MilCommanded);
    }
    // 16 CCR 3340.42.2(c)(4) names "a DTC reported", the federal rule codes for which the MIL is commanded on.
    if program == Program::California && !evidence.confirmed.is_empty() {
        reasons.push(Reason::Confirmed(evidence.confirmed.to_vec()));
    }
    if program == Program::California
        && evidence.model_year >= FIRST_PERMANENT_YEAR
        && !evidence.permanent.is_empty()
    {
        if is_long_since_clear(evidence) && !evidence.mil_commanded {
            remarks.push(Remark::PermanentIgnored);
        } else {
            reasons.push(Reason::Permanent(evidence.permanent.to_vec()));
        }
    }
    reasons.extend(not_ready(program, evidence));
    let verdict = Verdict { reasons, remarks };
    let extension = program == Program::NewYork && verdict.outcome() == Outcome::NotReady;
    Ok(Verdict {
        remarks: verdict
            .remarks
            .into_iter()
            .chain(extension.then_some(Remark::Extension))
            .collect(),
        ..verdict
    })
}

fn is_long_since_clear(evidence: &Evidence<'_>) -> bool {
    let (warm_ups, kilometres) = IGNORE_PERMANENT;
    evidence
        .warm_ups_since_clear
        .is_some_and(|count| count >= warm_ups)
        && evidence
            .distance_since_clear
            .is_some_and(|distance| distance >= kilometres)
}

/// Incomplete monitors beyond what is allowed.
fn not_ready(program: Program, evidence: &Evidence<'_>) -> Option<Reason> {
    let year = evidence.model_year;
    let diesel = evidence.readiness.is_compression_ignition();
    // How many may be incomplete, and which are not counted at all.
    let (allowed, free): (usize, &[&str]) = match (program == Program::California, diesel, year) {
        (true, false, ..=1999) => (1, &CONTINUOUS),
        (true, false, _) => (0, &["misfire", "fuel-system", "components", "evap"]),
        (true, true, ..=2006) => (0, &CONTINUOUS),
        (true, true, _) => (
            0,
            &[
                "misfire",
                "fuel-system",
                "components",
                "particulate-filter",
                "nmhc-catalyst",
            ],
        ),
        (false, _, ..=2000) => (2, &[]),
        (false, ..) => (1, &[]),
    };
    let groups: Vec<&str> = evidence
        .readiness
        .groups()
        .filter(|group| group.supported && !group.complete && !free.contains(&group.name))
        .map(|group| group.name)
        .collect();
    (groups.len() > allowed).then_some(Reason::NotReady { groups, allowed })
}

/// Names of the groups that watch all the time: California does not count them.
const CONTINUOUS: [&str; 3] = ["misfire", "fuel-system", "components"];

#[cfg(test)]
mod tests;
