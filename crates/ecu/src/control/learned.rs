//! What engine management has learned and keeps without power, as a maker may choose: long-term trims, idle air, the
//! shift of the loop by the rear sensor.
//!
//! The vapour that the canister is believed to hold is worked out anew: a car may have been driven meanwhile.

use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use twotrip_units::Limit;

use super::{Control, trims};

/// Learned values.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Learned {
    /// Cells of the long-term trim, shares of the fuel; those of bank 2 behind those of bank 1.
    fuel_trims: Vec<f64>,
    /// Air at idle beyond what a new engine needs, g/s.
    #[serde(with = "twotrip_units::stored")]
    idle_air: f64,
    /// Bank 1: -1 (leaner) to +1 (richer).
    #[serde(with = "twotrip_units::stored")]
    rear_shift: f64,
    /// Bank 2.
    #[serde(with = "twotrip_units::stored")]
    rear_shift_2: f64,
}

impl Control {
    /// What it keeps without power.
    pub(crate) fn learned(&self) -> Learned {
        Learned {
            fuel_trims: self.trims[..self.banks]
                .iter()
                .flat_map(trims::Trims::learned)
                .map(|cell| held(cell, 1.0))
                .collect(),
            idle_air: self.idle.learned(),
            rear_shift: self.lambda[0].rear_shift(),
            rear_shift_2: self.lambda[1].rear_shift(),
        }
    }

    /// What was learned is gone.
    pub(crate) fn forget_learned(&mut self) {
        for trims in &mut self.trims {
            trims.put_back(&[0.0; trims::CELLS]);
        }
        self.idle.put_back(0.0);
        for lambda in &mut self.lambda {
            lambda.put_back(0.0);
        }
    }

    /// Puts back what was kept.
    pub(crate) fn learn(&mut self, learned: &Learned) {
        for (trims, cells) in self.trims.iter_mut().zip(learned.fuel_trims.chunks(trims::CELLS)) {
            trims.put_back(cells);
        }
        self.idle.put_back(learned.idle_air);
        self.lambda[0].put_back(learned.rear_shift);
        self.lambda[1].put_back(learned.rear_shift_2);
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
