//! Straight-line interpolation in a table of points.

/// A curve through points with rising abscissae, held flat beyond both ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Table<const N: usize> {
    x: [f64; N],
    y: [f64; N],
}

impl<const N: usize> Table<N> {
    /// A curve through `points`, given as (abscissa, value).
    ///
    /// # Panics
    /// If there are no points, or if the abscissae do not rise strictly.
    #[must_use]
    pub const fn new(points: [(f64, f64); N]) -> Self {
        assert!(N > 0, "a table needs a point");
        let mut x = [0.0; N];
        let mut y = [0.0; N];
        let mut i = 0;
        while i < N {
            x[i] = points[i].0;
            y[i] = points[i].1;
            assert!(i == 0 || x[i] > x[i - 1], "the abscissae of a table rise");
            i += 1;
        }
        Self { x, y }
    }

    /// The value at `x`.
    #[must_use]
    #[inline]
    pub fn at(&self, x: f64) -> f64 {
        if x <= self.x[0] {
            return self.y[0];
        }
        let Some(i) = self.x.iter().position(|&point| x < point) else {
            return self.y[N - 1];
        };
        let share = (x - self.x[i - 1]) / (self.x[i] - self.x[i - 1]);
        self.y[i - 1] + share * (self.y[i] - self.y[i - 1])
    }
}

#[cfg(test)]
mod tests {
    use super::Table;

    #[test]
    fn meets_its_points_and_stays_flat_beyond_them() {
        let table = Table::new([(0.0, 10.0), (1.0, 20.0), (3.0, 0.0)]);
        for (x, y) in [
            (-5.0, 10.0),
            (0.0, 10.0),
            (0.5, 15.0),
            (1.0, 20.0),
            (2.0, 10.0),
            (3.0, 0.0),
            (9.0, 0.0),
        ] {
            assert!(
                (table.at(x) - y).abs() < 1e-12,
                "at {x}: {} instead of {y}",
                table.at(x)
            );
        }
    }
}
