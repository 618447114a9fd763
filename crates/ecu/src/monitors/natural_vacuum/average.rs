//! The index averaged over nights: rain, a garage or a short drive make one night odd, not four. A vehicle may be set to
//! let each night decide.
//!
//! Weight and limits: published service information, 2010 model year, and our choice.

use serde::{Deserialize, Serialize};

/// Weight of a new result.
const WEIGHT: f64 = 0.3;
/// An average above this is a leak.
pub(crate) const LEAK: f64 = 0.65;
/// One below this is none; between them nothing is said.
const TIGHT: f64 = 0.35;
/// Results that it takes to call a leak; after a clear one is enough, so that a repair, or none, shows in one night.
const RESULTS: u8 = 4;

/// The average, kept without power.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Average {
    #[serde(with = "twotrip_units::stored")]
    index: f64,
    results: u8,
    /// Begun by service $04, not by a new ECU.
    cleared: bool,
}

impl Average {
    /// Service $04: it begins anew.
    pub(crate) const fn clear(&mut self) {
        *self = Self {
            index: 0.0,
            results: 0,
            cleared: true,
        };
    }

    /// Takes a night's index in; the first result counts whole, and each where nothing is averaged. Says whether the tank
    /// is tight, where that is decided.
    pub(crate) fn take(&mut self, averages: bool, index: f64) -> Option<bool> {
        let weight = if self.results == 0 || !averages {
            1.0
        } else {
            WEIGHT
        };
        self.index += weight * (index - self.index);
        self.results = self.results.saturating_add(1);
        let enough = !averages || self.cleared || self.results >= RESULTS;
        if self.index < TIGHT {
            Some(true)
        } else if self.index > LEAK && enough {
            Some(false)
        } else {
            None
        }
    }

    /// The average.
    #[must_use]
    pub const fn index(&self) -> f64 {
        self.index
    }

    /// How many nights are in it.
    #[must_use]
    pub const fn results(&self) -> u8 {
        self.results
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use super::*;

    fn decisions(mut average: Average, nights: &[f64]) -> Vec<Option<bool>> {
        nights.iter().map(|&index| average.take(true, index)).collect()
    }

    #[test]
    fn a_leak_is_called_about_the_fourth_night() {
        assert_eq!(
            decisions(Average::default(), &[1.0; 5]),
            [None, None, None, Some(false), Some(false)]
        );
        // A car that was tight for months.
        let mut old = Average::default();
        (0..100).for_each(|_| assert_eq!(old.take(true, 0.0), Some(true)));
        assert_eq!(decisions(old, &[0.96; 4]), [Some(true), None, None, Some(false)]);
        // One odd night says nothing.
        assert_eq!(decisions(old, &[1.0, 0.0, 0.0]), [Some(true); 3]);
    }

    #[test]
    fn each_night_decides_where_nothing_is_averaged() {
        let mut average = Average::default();
        let said = [0.0, 1.0, 0.5, 0.66, 0.1].map(|index| average.take(false, index));
        assert_eq!(said, [Some(true), Some(false), None, Some(false), Some(true)]);
    }

    #[test]
    fn after_a_clear_one_night_decides() {
        let mut average = Average::default();
        (0..10).for_each(|_| _ = average.take(true, 1.0));
        average.clear();
        assert_eq!(decisions(average, &[0.0]), [Some(true)]);
        assert_eq!(decisions(average, &[1.0]), [Some(false)]);
    }

    /// Repaired, not cleared: the average walks back over nights.
    #[test]
    fn without_a_clear_a_repair_shows_after_some_nights() {
        let mut average = Average::default();
        (0..10).for_each(|_| _ = average.take(true, 1.0));
        assert_eq!(decisions(average, &[0.0; 3]), [Some(false), None, Some(true)]);
    }
}
