//! Slow functions (`exp`, `tanh`, powers) on a [`Grid`], worked out at compile time, that the 10 ms step would
//! otherwise call.

pub(crate) use twotrip_units::Grid;

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
pub(crate) const fn cos(radians: f64) -> f64 {
    let q = radians * radians;
    1.0 + q
        * (-1.0 / 2.0
            + q * (1.0 / 24.0
                + q * (-1.0 / 720.0
                    + q * (1.0 / 40_320.0 + q * (-1.0 / 3_628_800.0 + q * (1.0 / 479_001_600.0))))))
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
}
