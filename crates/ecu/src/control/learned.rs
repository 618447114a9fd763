//! What engine management has learned and keeps without power, as a maker may choose: long-term trims, idle air, the
//! shift of the loop by the rear sensor.
//!
//! The vapour that the canister is believed to hold is worked out anew: a car may have been driven meanwhile.

use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use twotrip_units::Limit;

use super::Control;

/// Learned values.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Learned {
    /// Cells of the long-term trim, shares of the fuel.
    fuel_trims: Vec<f64>,
    /// Air at idle beyond what a new engine needs, g/s.
    #[serde(with = "twotrip_units::stored")]
    idle_air: f64,
    /// -1 (leaner) to +1 (richer).
    #[serde(with = "twotrip_units::stored")]
    rear_shift: f64,
}

impl Control {
    /// What it keeps without power.
    pub(crate) fn learned(&self) -> Learned {
        Learned {
            fuel_trims: self.trims.learned().map(|cell| held(cell, 1.0)).to_vec(),
            idle_air: self.idle.learned(),
            rear_shift: self.lambda.rear_shift(),
        }
    }

    /// Puts back what was kept.
    pub(crate) fn learn(&mut self, learned: &Learned) {
        self.trims.put_back(&learned.fuel_trims);
        self.idle.put_back(learned.idle_air);
        self.lambda.put_back(learned.rear_shift);
    }
}

/// A learned value that comes from outside, held to its limit; zero where it is no number.
pub(super) fn held(value: f64, limit: f64) -> f64 {
    if value.is_nan() {
        0.0
    } else {
        value.within(-limit, limit)
    }
}
