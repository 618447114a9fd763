//! Numbers held within limits, for the formulas that run every step.

/// Limits for `f64` that never panic and cost one instruction each, where `f64::max`, `min` and `clamp` cost
/// several for their care about what is not a number. Here that becomes the limit it is held to.
///
/// ```
/// use twotrip_units::Limit;
///
/// assert_eq!((-0.2).within(0.0, 1.0), 0.0);
/// assert_eq!(f64::NAN.within(0.0, 1.0), 0.0);
/// ```
pub trait Limit {
    /// The value, or `low` where it is below or not a number.
    #[must_use]
    fn at_least(self, low: Self) -> Self;

    /// The value, or `high` where it is above or not a number.
    #[must_use]
    fn at_most(self, high: Self) -> Self;

    /// The value held between two limits, `low` where it is not a number; `high` where the limits cross.
    #[must_use]
    fn within(self, low: Self, high: Self) -> Self;
}

impl Limit for f64 {
    #[inline]
    fn at_least(self, low: Self) -> Self {
        if self > low { self } else { low }
    }

    #[inline]
    fn at_most(self, high: Self) -> Self {
        if self < high { self } else { high }
    }

    #[inline]
    fn within(self, low: Self, high: Self) -> Self {
        self.at_least(low).at_most(high)
    }
}

#[cfg(test)]
mod tests {
    use super::Limit;

    #[test]
    fn limits_hold_and_what_is_no_number_becomes_one() {
        for (value, low, high, held) in [
            (0.5, 0.0, 1.0, 0.5),
            (-1.0, 0.0, 1.0, 0.0),
            (2.0, 0.0, 1.0, 1.0),
            (f64::NAN, 0.0, 1.0, 0.0),
            (f64::INFINITY, 0.0, 1.0, 1.0),
            (0.5, 1.0, 0.0, 0.0),
        ] {
            assert!((value.within(low, high) - held).abs() < 1e-12, "{value}");
        }
        assert!(f64::NAN.at_most(3.0) >= 3.0 && f64::NAN.at_least(3.0) <= 3.0);
    }
}
