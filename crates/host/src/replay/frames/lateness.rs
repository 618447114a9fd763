//! How late frames were: a histogram whose steps grow with the value, in memory that does not.

use std::time::Duration;

/// Steps in each doubling: a quantile is at most 1/64 too large.
const STEPS: u64 = 1 << STEP_BITS;
const STEP_BITS: u32 = 6;
/// One for each nanosecond below [`STEPS`], then [`STEPS`] for each doubling up to the end of the type.
const BUCKETS: usize = (64 - STEP_BITS as usize + 1) << STEP_BITS;

/// How late frames were.
#[derive(Clone, Debug)]
pub struct Lateness {
    buckets: Box<[u64]>,
    count: u64,
    max: Duration,
}

impl Default for Lateness {
    fn default() -> Self {
        Self {
            buckets: vec![0; BUCKETS].into_boxed_slice(),
            count: 0,
            max: Duration::ZERO,
        }
    }
}

impl Lateness {
    /// Counts a frame.
    pub fn record(&mut self, late: Duration) {
        let nanos = u64::try_from(late.as_nanos()).unwrap_or(u64::MAX);
        self.buckets[bucket(nanos)] += 1;
        self.count += 1;
        self.max = self.max.max(late);
    }

    /// Frames counted.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.count
    }

    /// The latest.
    #[must_use]
    pub const fn max(&self) -> Duration {
        self.max
    }

    /// What so many of a thousand frames did not exceed; `None` without frames. At most 1/64 more than it was.
    #[must_use]
    pub fn quantile(&self, per_mille: u64) -> Option<Duration> {
        let wanted = u128::from(self.count) * u128::from(per_mille.min(1000));
        let wanted = wanted.div_ceil(1000).max(1);
        let mut counted = 0;
        self.buckets.iter().enumerate().find_map(|(place, &count)| {
            counted += u128::from(count);
            (counted >= wanted).then(|| Duration::from_nanos(last_of(place)).min(self.max))
        })
    }
}

/// The place of a value.
fn bucket(nanos: u64) -> usize {
    let doublings = (u64::BITS - nanos.leading_zeros()).saturating_sub(STEP_BITS + 1);
    let place = u64::from(doublings) * STEPS + (nanos >> doublings);
    usize::try_from(place).unwrap_or(BUCKETS - 1)
}

/// The largest value in a place.
fn last_of(place: usize) -> u64 {
    let place = place as u64;
    let doublings = (place / STEPS).saturating_sub(1);
    let steps = u128::from(place - doublings * STEPS) + 1;
    u64::try_from((steps << doublings) - 1).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_has_a_place_and_the_places_are_in_order() {
        let mut values: Vec<u64> = (0..=10_000).collect();
        values.extend((0..64).flat_map(|bit| [(1_u64 << bit) - 1, 1 << bit, (1 << bit) + 1]));
        values.push(u64::MAX);
        values.sort_unstable();
        let mut last = 0;
        for value in values {
            let place = bucket(value);
            assert!(place >= last && place < BUCKETS, "{value} in {place}");
            assert!(last_of(place) >= value, "{value}");
            assert!(last_of(place) - value <= value / STEPS, "{value}");
            last = place;
        }
        assert_eq!(bucket(u64::MAX), BUCKETS - 1);
    }

    #[test]
    fn quantiles_are_those_of_the_values() {
        let mut lateness = Lateness::default();
        assert_eq!(lateness.quantile(500), None);
        for micros in 1..=1000 {
            lateness.record(Duration::from_micros(micros));
        }
        for (per_mille, wanted) in [(0, 1), (1, 1), (500, 500), (990, 990), (1000, 1000)] {
            let wanted = Duration::from_micros(wanted);
            let found = lateness.quantile(per_mille).expect("frames");
            assert!(
                found >= wanted && found <= wanted + wanted / 64,
                "{per_mille}: {found:?}"
            );
        }
        assert_eq!(
            (lateness.count(), lateness.max()),
            (1000, Duration::from_millis(1))
        );
    }
}
