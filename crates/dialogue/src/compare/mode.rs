//! How strictly replies are compared.

use core::{fmt, str::FromStr};

use thiserror::Error;
use twotrip_obd::pid::Scaling;

/// How strictly replies are compared. Trouble codes, VIN and identifications, masks of what is supported, lamp and readiness, limits
/// and verdicts of tests and negative answers have to be the same in each of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Comparison {
    /// Byte for byte.
    Exact,
    /// The same services, parameters, ECUs and lengths; values that live (speeds, temperatures, times, counters, states such as the
    /// fuel system's) may be anything.
    Shape,
    /// As exact, but numbers that live may be off by a share of the larger one; by two steps of their scale at least, so that
    /// a small number may wander as its rounding does. The order of parameters in a reply does not count.
    Tolerance(Share),
}

/// A share, 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share(f64);

/// Why a text is no comparison.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum ComparisonError {
    /// None of the words.
    #[error("one of `exact`, `shape` and `tolerance=5%`")]
    Word,
    /// Not a number of percent.
    #[error("a tolerance is a number of percent from 0 to 100, such as `tolerance=5%`")]
    Share,
}

impl Share {
    /// A share in percent; nothing below 0 or above 100.
    #[must_use]
    pub fn percent(percent: f64) -> Option<Self> {
        (0.0..=100.0).contains(&percent).then_some(Self(percent / 100.0))
    }
}

/// Steps of the scale that a number may always be off: each of the two may have been rounded by up to one.
const FLOOR_STEPS: f64 = 2.0;
/// Arithmetic of the scale is not exact.
const ARITHMETIC: f64 = 1e-9;

impl Comparison {
    /// Whether a number that lives may pass for another one.
    pub(super) fn lets_pass(self, recorded: f64, found: f64, step: f64) -> bool {
        match self {
            Self::Exact => false,
            Self::Shape => true,
            Self::Tolerance(Share(share)) => {
                let apart = magnitude(recorded - found);
                let larger = magnitude(recorded).max(magnitude(found));
                apart <= (share * larger).max(FLOOR_STEPS * step) + ARITHMETIC
            }
        }
    }

    /// The same for a number of a scale.
    pub(super) fn lets_pass_scaled(self, recorded: f64, found: f64, scaling: &Scaling) -> bool {
        self.lets_pass(recorded, found, magnitude(scaling.resolution))
    }

    /// Whether states and bytes that live, or may live, may be anything.
    pub(super) const fn lets_states_pass(self) -> bool {
        matches!(self, Self::Shape)
    }

    /// Whether bytes count where everything that they are known to say is the same.
    pub(super) const fn counts_every_byte(self) -> bool {
        matches!(self, Self::Exact)
    }
}

const fn magnitude(x: f64) -> f64 {
    if x < 0.0 { -x } else { x }
}

impl FromStr for Comparison {
    type Err = ComparisonError;

    /// Reads `exact`, `shape`, `tolerance=5%`.
    fn from_str(text: &str) -> Result<Self, ComparisonError> {
        match text.trim() {
            "exact" => Ok(Self::Exact),
            "shape" => Ok(Self::Shape),
            text => {
                let share = text.strip_prefix("tolerance=").ok_or(ComparisonError::Word)?;
                let percent = share.strip_suffix('%').ok_or(ComparisonError::Share)?;
                let percent = percent.trim().parse().map_err(|_| ComparisonError::Share)?;
                Share::percent(percent)
                    .map(Self::Tolerance)
                    .ok_or(ComparisonError::Share)
            }
        }
    }
}

impl fmt::Display for Comparison {
    /// As it is read.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Exact => f.write_str("exact"),
            Self::Shape => f.write_str("shape"),
            Self::Tolerance(Share(share)) => write!(f, "tolerance={}%", share * 100.0),
        }
    }
}
