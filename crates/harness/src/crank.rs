//! What the crank sensor times: how long the crank took from the firing of one cylinder to that of the next.

use twotrip_units::Interval;

/// The segments that ended within one step of the car, oldest first. Which cylinder they belong to, the camshaft
/// sensor tells.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CrankSegments {
    times: [Interval; Self::MOST],
    count: u8,
    first: u8,
}

impl CrankSegments {
    /// Most that end in 10 ms: a six-cylinder at 10,000 rpm has five.
    pub const MOST: usize = 6;

    /// One more; what does not fit is lost. `place`: where the segment's cylinder stands in the firing order, from 0.
    #[inline]
    pub const fn push(&mut self, place: u8, time: Interval) {
        let count = self.count as usize;
        if count < Self::MOST {
            if count == 0 {
                self.first = place;
            }
            self.times[count] = time;
            self.count += 1;
        }
    }

    /// How many there are.
    #[must_use]
    #[inline]
    pub const fn len(&self) -> usize {
        self.count as usize
    }

    /// Whether there is none, as with an engine that stands or turns slowly.
    #[must_use]
    #[inline]
    pub const fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// Place in the firing order of the first of them.
    #[must_use]
    #[inline]
    pub const fn first(&self) -> u8 {
        self.first
    }

    /// How long each took, oldest first; the places in the firing order follow on from [`Self::first`].
    #[must_use]
    #[inline]
    pub fn times(&self) -> &[Interval] {
        &self.times[..usize::from(self.count)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn segments_keep_their_order_and_are_bounded() {
        let mut segments = CrankSegments::default();
        assert!(segments.is_empty());
        for place in [3, 0, 1, 2, 3, 0, 1, 2_u8] {
            segments.push(place, Interval::from_seconds(0.001 * f64::from(place)));
        }
        assert_eq!((segments.len(), segments.first()), (CrankSegments::MOST, 3));
        assert!((segments.times()[2].milliseconds() - 1.0).abs() < 1e-12);
    }
}
