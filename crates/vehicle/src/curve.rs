//! Curves on an even grid, worked out at compile time: the slow functions (`exp`, `tanh`, powers) that the
//! 10 ms step would otherwise call, and uneven tables of points resampled so that a look-up needs no search.

/// A curve through `N` evenly spaced values, held flat beyond both ends.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Grid<const N: usize> {
    from: f64,
    per_step: f64,
    y: [f64; N],
}

impl<const N: usize> Grid<N> {
    /// Values at `from`, .., `to`.
    pub(crate) const fn new(from: f64, to: f64, y: [f64; N]) -> Self {
        assert!(N > 1 && to > from, "a grid runs from low to high");
        Self {
            from,
            per_step: steps::<N>() / (to - from),
            y,
        }
    }

    /// Straight lines through `points` with rising abscissae, resampled from the first to the last abscissa.
    pub(crate) const fn through<const M: usize>(points: [(f64, f64); M]) -> Self {
        let from = points[0].0;
        let to = points[M - 1].0;
        let mut y = [0.0; N];
        let mut i = 0;
        let mut segment = 1;
        let mut x = from;
        let width = (to - from) / steps::<N>();
        while i < N {
            while segment < M - 1 && x > points[segment].0 {
                segment += 1;
            }
            let (low, high) = (points[segment - 1], points[segment]);
            assert!(high.0 > low.0, "the abscissae of a table rise");
            y[i] = low.1 + (x - low.0) / (high.0 - low.0) * (high.1 - low.1);
            i += 1;
            x += width;
        }
        y[N - 1] = points[M - 1].1;
        Self::new(from, to, y)
    }

    /// The value at `x`.
    #[inline]
    pub(crate) fn at(&self, x: f64) -> f64 {
        self.at_with_slope(x).0
    }

    /// The value at `x` and the slope of the line it lies on.
    #[inline]
    pub(crate) fn at_with_slope(&self, x: f64) -> (f64, f64) {
        let position = ((x - self.from) * self.per_step).clamp(0.0, steps::<N>());
        // The whole part by way of the mantissa: adding 2^52 leaves no room for a fraction. A position on a point
        // may fall to the segment below, at whose end it then lies; the value is the same.
        let shifted = (position - 0.5).clamp(0.0, steps::<N>() - 1.0) + TWO_TO_52;
        let share = position - (shifted - TWO_TO_52);
        let i = usize::try_from(shifted.to_bits() & 0xffff)
            .unwrap_or(0)
            .min(N - 2);
        let rise = self.y[i + 1] - self.y[i];
        (self.y[i] + share * rise, rise * self.per_step)
    }
}

/// Above it a double has no fraction.
const TWO_TO_52: f64 = 4_503_599_627_370_496.0;

/// Steps between `N` points.
const fn steps<const N: usize>() -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a grid has far fewer than 2^52 points")]
    let steps = (N - 1) as f64;
    steps
}

/// `e^x` at compile time, to about 1e-15: the series on a reduced argument, squared back.
pub(crate) const fn exp(x: f64) -> f64 {
    let mut reduced = x;
    let mut halvings = 0;
    while reduced > 0.25 || reduced < -0.25 {
        reduced /= 2.0;
        halvings += 1;
    }
    let mut term = 1.0;
    let mut sum = 1.0;
    let mut n = 1.0;
    while n < 14.0 {
        term *= reduced / n;
        sum += term;
        n += 1.0;
    }
    while halvings > 0 {
        sum *= sum;
        halvings -= 1;
    }
    sum
}

/// Natural logarithm at compile time: the series of the area tangent on a number near one; `x > 0`.
pub(crate) const fn ln(x: f64) -> f64 {
    assert!(x > 0.0, "a logarithm wants a positive number");
    let mut reduced = x;
    let mut doublings = 0.0;
    while reduced > 1.5 {
        reduced /= 2.0;
        doublings += 1.0;
    }
    while reduced < 0.75 {
        reduced *= 2.0;
        doublings -= 1.0;
    }
    let z = (reduced - 1.0) / (reduced + 1.0);
    let mut power = z;
    let mut sum = 0.0;
    let mut n = 1.0;
    while n < 24.0 {
        sum += power / n;
        power *= z * z;
        n += 2.0;
    }
    2.0 * sum + doublings * core::f64::consts::LN_2
}

/// `x^power` at compile time; `x >= 0`.
pub(crate) const fn pow(x: f64, power: f64) -> f64 {
    if x == 0.0 { 0.0 } else { exp(power * ln(x)) }
}

/// A grid filled from an expression in `x` at compile time: `grid!(points, from, to, x => expression)`.
macro_rules! grid {
    ($points:expr, $from:expr, $to:expr, $x:ident => $y:expr) => {{
        let mut y = [0.0; $points];
        let mut i = 0;
        let mut n = 0.0;
        while i < $points {
            let $x = $from + ($to - $from) * n / ($points as f64 - 1.0);
            y[i] = $y;
            i += 1;
            n += 1.0;
        }
        Grid::new($from, $to, y)
    }};
}
pub(crate) use grid;

/// Hyperbolic tangent between -6 and 6 (flat beyond, error there below 2e-5).
pub(crate) static TANH: Grid<385> = grid!(385, -6.0, 6.0, x => {
    let e = exp(2.0 * x);
    (e - 1.0) / (e + 1.0)
});

/// `e^-x` between 0 and 8.
pub(crate) static EXP_FALLING: Grid<257> = grid!(257, 0.0, 8.0, x => exp(-x));

/// Cosine of a small angle (radians, up to a right angle) by its series, error below 3e-8.
#[inline]
pub(crate) fn cos(radians: f64) -> f64 {
    let q = radians * radians;
    1.0 - q / 2.0
        * (1.0 - q / 12.0 * (1.0 - q / 30.0 * (1.0 - q / 56.0 * (1.0 - q / 90.0 * (1.0 - q / 132.0)))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn compile_time_functions_agree_with_libm() {
        for x in [-7.5, -1.0, 0.0, 0.3, 4.2] {
            assert!((exp(x) / libm::exp(x) - 1.0).abs() < 1e-12);
        }
        for x in [0.02, 0.5, 1.0, 3.7] {
            assert!((ln(x) - libm::log(x)).abs() < 1e-12);
            assert!((pow(x, 0.769) - libm::pow(x, 0.769)).abs() < 1e-12);
        }
        for x in [-9.0, -2.1, -0.04, 0.0, 0.7, 5.0] {
            assert!((TANH.at(x) - libm::tanh(x)).abs() < 1.5e-4, "tanh({x})");
        }
        for degrees in [0.0, 7.0_f64, 30.0, 90.0] {
            let radians = degrees.to_radians();
            assert!((cos(radians) - libm::cos(radians)).abs() < 1e-7);
        }
    }

    #[test]
    fn a_resampled_table_meets_its_points_and_stays_flat_beyond() {
        let grid: Grid<31> = Grid::through([(0.0, 10.0), (1.0, 20.0), (3.0, 0.0)]);
        for (x, y) in [
            (-1.0, 10.0),
            (0.0, 10.0),
            (0.5, 15.0),
            (1.0, 20.0),
            (2.0, 10.0),
            (3.0, 0.0),
            (9.0, 0.0),
        ] {
            assert!(
                (grid.at(x) - y).abs() < 1e-9,
                "at {x}: {} instead of {y}",
                grid.at(x)
            );
        }
    }
}
