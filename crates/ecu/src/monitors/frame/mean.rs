//! A result averaged with those of the driving cycles before: one odd drive says nothing then, and a fault is found some
//! drives later. Which monitors judge so is a setting of the vehicle ([`crate::Averaging`]).
//!
//! Exponential, with a weight of the kind that published monitors use (0.2 to 0.3); after service $04 and in a new ECU
//! the first result counts whole, so that a repair, or none, shows in one drive (common practice, no source).

use serde::{Deserialize, Serialize};

/// Weight of a new result.
const WEIGHT: f64 = 0.3;

/// The mean, kept without power.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct LongMean(Option<f64>);

impl LongMean {
    /// What is judged when this is the result: the mean with it, or itself where nothing is averaged.
    #[must_use]
    pub fn with(self, averages: bool, result: f64) -> f64 {
        match self.0.filter(|_| averages) {
            Some(before) => before + WEIGHT * (result - before),
            None => result,
        }
    }

    /// Takes a result in; gives what is judged. What is no number is judged and forgotten.
    pub fn take(&mut self, averages: bool, result: f64) -> f64 {
        let judged = self.with(averages, result);
        self.0 = judged.is_finite().then_some(judged);
        judged
    }

    /// Service $04: the next result is the first.
    pub fn clear(&mut self) {
        *self = Self::default();
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use super::*;

    fn judged(mean: &mut LongMean, averages: bool, results: &[f64]) -> Vec<f64> {
        let judged = results.iter().map(|&result| mean.take(averages, result));
        judged.map(|value| libm::round(value * 1000.0) / 1000.0).collect()
    }

    #[test]
    fn a_mean_follows_and_a_single_result_is_itself() {
        let mut mean = LongMean::default();
        assert_eq!(
            judged(&mut mean, true, &[0.0, 1.0, 1.0, 1.0]),
            [0.0, 0.3, 0.51, 0.657]
        );
        assert_eq!(judged(&mut mean, false, &[0.2, 1.0]), [0.2, 1.0]);
        assert_eq!(
            judged(&mut mean, true, &[0.0]),
            [0.7],
            "what was judged last is what goes on"
        );
    }

    #[test]
    fn the_first_result_after_a_clear_counts_whole() {
        let mut mean = LongMean::default();
        assert_eq!(judged(&mut mean, true, &[1.0, 0.0]), [1.0, 0.7]);
        mean.clear();
        assert_eq!(judged(&mut mean, true, &[0.0]), [0.0]);
    }

    /// A car that went without a single transition has an endless period: it fails, and the next drive begins anew.
    #[test]
    fn what_is_no_number_does_not_stay() {
        let mut mean = LongMean::default();
        mean.take(true, 5.0);
        assert!(mean.take(true, f64::INFINITY).is_infinite());
        assert_eq!(judged(&mut mean, true, &[3.0]), [3.0]);
    }
}
