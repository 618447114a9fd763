//! A curve on an even grid: one multiplication finds the place, where [`twotrip_units::Table`] has to search.

/// `N` values at even distances, straight lines between them, held flat beyond both ends.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Grid<const N: usize> {
    first: f64,
    per: f64,
    values: [f64; N],
}

impl<const N: usize> Grid<N> {
    /// The grid from the first to the last of these points (rising), through all of them that fall on it.
    pub(crate) const fn through<const M: usize>(points: [(f64, f64); M]) -> Self {
        assert!(N > 1 && M > 1, "a curve needs two points");
        let first = points[0].0;
        let step = (points[M - 1].0 - first) / (N - 1) as f64;
        let mut values = [0.0; N];
        let mut place = 0;
        let mut next = 1;
        while place < N {
            let x = first + step * place as f64;
            while next < M - 1 && x > points[next].0 {
                next += 1;
            }
            let (low, high) = (points[next - 1], points[next]);
            values[place] = low.1 + (x - low.0) / (high.0 - low.0) * (high.1 - low.1);
            place += 1;
        }
        Self {
            first,
            per: 1.0 / step,
            values,
        }
    }

    /// The value at `x`.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "held between 0 and the last place before; not a number becomes 0"
    )]
    pub(crate) fn at(&self, x: f64) -> f64 {
        let place = ((x - self.first) * self.per).clamp(0.0, (N - 1) as f64);
        let low = (place as usize).min(N - 2);
        let share = place - low as f64;
        self.values[low] + share * (self.values[low + 1] - self.values[low])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn meets_its_points_and_stays_flat_beyond_them() {
        let grid: Grid<7> = Grid::through([(0.0, 10.0), (1.0, 20.0), (3.0, 0.0)]);
        for (x, y) in [
            (-5.0, 10.0),
            (0.0, 10.0),
            (0.5, 15.0),
            (1.0, 20.0),
            (2.25, 7.5),
            (3.0, 0.0),
            (9.0, 0.0),
        ] {
            assert!(
                (grid.at(x) - y).abs() < 1e-12,
                "at {x}: {} instead of {y}",
                grid.at(x)
            );
        }
    }
}
