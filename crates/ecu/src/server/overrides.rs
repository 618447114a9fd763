//! Reported values pinned by hand: not physical, for authors of tools who need a given number on the wire.
//!
//! Only what service $01 reports is pinned; the ECU goes on with what it measures, and a freeze frame holds that.

use super::Quantity;
use crate::data::LiveData;

/// Which values are pinned, and to what.
#[derive(Clone, Debug, PartialEq)]
pub struct Overrides {
    pinned: [Option<f64>; Quantity::COUNT],
    /// How many are pinned: none, as a rule, and then nothing has to be looked through.
    count: usize,
}

impl Overrides {
    /// Nothing is pinned.
    pub const NONE: Self = Self {
        pinned: [None; Quantity::COUNT],
        count: 0,
    };

    /// Pins a value, given in the unit of the quantity and held to its range. What is not a number changes nothing.
    pub const fn set(&mut self, quantity: Quantity, value: f64) {
        if !value.is_nan() {
            let [lowest, highest] = quantity.range();
            if self.pinned[quantity as usize].is_none() {
                self.count += 1;
            }
            self.pinned[quantity as usize] = Some(value.clamp(lowest, highest));
        }
    }

    /// Reports the value as measured again.
    pub const fn release(&mut self, quantity: Quantity) {
        if self.pinned[quantity as usize].take().is_some() {
            self.count -= 1;
        }
    }

    /// What a quantity is pinned to, in its unit.
    #[must_use]
    pub const fn pinned(&self, quantity: Quantity) -> Option<f64> {
        self.pinned[quantity as usize]
    }

    /// Whether nothing is pinned.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// The data with the pinned values in place of the measured ones.
    #[must_use]
    pub fn apply(&self, live: &LiveData) -> LiveData {
        let mut reported = *live;
        for (quantity, pinned) in Quantity::ALL.into_iter().zip(self.pinned) {
            if let Some(value) = pinned {
                quantity.put(value, &mut reported);
            }
        }
        reported
    }
}

impl Default for Overrides {
    fn default() -> Self {
        Self::NONE
    }
}
