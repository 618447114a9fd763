//! Curves on an even grid, worked out at compile time: a look-up needs no search and no division.

use crate::Limit;

/// A curve through `N` evenly spaced values, held flat beyond both ends.
///
/// Where [`crate::Table`] has to search, this multiplies. Uneven points are resampled ([`Self::through`]); those that
/// fall on the grid are met exactly.
#[derive(Clone, Copy, Debug)]
pub struct Grid<const N: usize> {
    per_step: f64,
    /// Takes a product with `per_step` to the count of steps from the middle of the first one.
    offset: f64,
    /// Each step's line: the value in its middle, and the rise over it. The last one goes on beyond the end.
    lines: [(f64, f64); N],
}

impl<const N: usize> Grid<N> {
    /// Values at `from`, .., `to`.
    ///
    /// # Panics
    /// If there are fewer than two values or more than 65,536, or `to` is not above `from`.
    #[must_use]
    pub const fn new(from: f64, to: f64, y: [f64; N]) -> Self {
        assert!(
            N > 1 && N <= 0x1_0000 && to > from,
            "a grid runs from low to high"
        );
        let mut lines = [(0.0, 0.0); N];
        let mut i = 0;
        while i < N {
            let rise = if i + 1 < N {
                y[i + 1] - y[i]
            } else {
                lines[N - 2].1
            };
            lines[i] = (y[i] + 0.5 * rise, rise);
            i += 1;
        }
        let per_step = steps::<N>() / (to - from);
        Self {
            per_step,
            offset: -from * per_step - 0.5,
            lines,
        }
    }

    /// Straight lines through `points` with rising abscissae, resampled from the first to the last abscissa.
    ///
    /// # Panics
    /// If there are fewer than two points, or their abscissae do not rise.
    #[must_use]
    pub const fn through<const M: usize>(points: [(f64, f64); M]) -> Self {
        assert!(M > 1, "a curve needs two points");
        let from = points[0].0;
        let to = points[M - 1].0;
        let width = (to - from) / steps::<N>();
        let mut y = [0.0; N];
        let mut i = 0;
        let mut count = 0.0;
        let mut segment = 1;
        while i < N {
            let x = from + width * count;
            while segment < M - 1 && x > points[segment].0 {
                segment += 1;
            }
            let (low, high) = (points[segment - 1], points[segment]);
            assert!(high.0 > low.0, "the abscissae of a curve rise");
            y[i] = low.1 + (x - low.0) / (high.0 - low.0) * (high.1 - low.1);
            i += 1;
            count += 1.0;
        }
        y[N - 1] = points[M - 1].1;
        Self::new(from, to, y)
    }

    /// The value at `x`; at the first abscissa where `x` is not a number.
    #[must_use]
    #[inline]
    pub fn at(&self, x: f64) -> f64 {
        let (middle, rise, share) = self.line(x);
        middle + rise * share
    }

    /// The value at `x` and the slope of the line it lies on.
    #[must_use]
    #[inline]
    pub fn at_with_slope(&self, x: f64) -> (f64, f64) {
        let (middle, rise, share) = self.line(x);
        (middle + rise * share, rise * self.per_step)
    }

    /// The line that `x` lies on, and how far from its middle, -0.5..0.5.
    #[inline]
    fn line(&self, x: f64) -> (f64, f64, f64) {
        let place = (x * self.per_step + self.offset).within(-0.5, steps::<N>() - 0.5);
        // The nearest middle by way of the mantissa: this addition leaves no room for a fraction.
        let shifted = place + NO_FRACTION;
        let i = usize::try_from(shifted.to_bits() & 0xffff).unwrap_or(0);
        let (middle, rise) = self.lines[i.min(N - 1)];
        (middle, rise, place - (shifted - NO_FRACTION))
    }
}

/// 1.5 x 2^52: a double of this size counts in whole numbers, with those added to it in its lowest bits.
const NO_FRACTION: f64 = 6_755_399_441_055_744.0;

/// Steps between `N` points.
const fn steps<const N: usize>() -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a grid has far fewer than 2^52 points")]
    let steps = (N - 1) as f64;
    steps
}

#[cfg(test)]
mod tests {
    use super::Grid;

    const POINTS: [(f64, f64); 3] = [(0.0, 10.0), (1.0, 20.0), (3.0, 0.0)];
    const EXPECTED: [(f64, f64); 9] = [
        (-5.0, 10.0),
        (0.0, 10.0),
        (0.5, 15.0),
        (1.0, 20.0),
        (2.25, 7.5),
        (3.0, 0.0),
        (9.0, 0.0),
        (f64::INFINITY, 0.0),
        (f64::NAN, 10.0),
    ];

    /// Grids with even and odd counts of points: the last step is reached from either side.
    #[test]
    fn meets_its_points_and_stays_flat_beyond_them() {
        let (coarse, fine): (Grid<4>, Grid<7>) = (Grid::through(POINTS), Grid::through(POINTS));
        for (x, y) in EXPECTED {
            assert!((fine.at(x) - y).abs() < 1e-12, "{} at {x}, not {y}", fine.at(x));
            if (x - 0.5).abs() > 0.1 {
                assert!(
                    (coarse.at(x) - y).abs() < 1e-12,
                    "{} at {x}, not {y}",
                    coarse.at(x)
                );
            }
        }
    }

    #[test]
    fn the_slope_is_that_of_the_line() {
        let grid: Grid<7> = Grid::through(POINTS);
        for (x, slope) in [(0.2, 10.0), (0.9, 10.0), (1.1, -10.0), (2.9, -10.0)] {
            assert!((grid.at_with_slope(x).1 - slope).abs() < 1e-12, "at {x}");
        }
    }
}
