//! The two clocks of a run, never mixed: protocol time and the car's time.
//!
//! Both count integer nanoseconds from the start of the run and are passed in; nothing here reads a clock.

use core::{
    fmt,
    ops::{Add, AddAssign, Sub},
    time::Duration,
};

macro_rules! instant {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(u64);

        impl $name {
            /// The start of the run.
            pub const ZERO: Self = Self(0);
            /// Later than anything.
            pub const MAX: Self = Self(u64::MAX);

            /// Nanoseconds since the start of the run.
            #[must_use]
            pub const fn from_nanos(nanos: u64) -> Self {
                Self(nanos)
            }

            /// Microseconds since the start of the run.
            #[must_use]
            pub const fn from_micros(micros: u64) -> Self {
                Self(micros * 1_000)
            }

            /// Milliseconds since the start of the run.
            #[must_use]
            pub const fn from_millis(millis: u64) -> Self {
                Self(millis * 1_000_000)
            }

            /// Whole seconds since the start of the run.
            #[must_use]
            pub const fn from_secs(secs: u64) -> Self {
                Self(secs * 1_000_000_000)
            }

            /// Nanoseconds since the start of the run.
            #[must_use]
            pub const fn as_nanos(self) -> u64 {
                self.0
            }

            /// Seconds since the start of the run, for people and for plots.
            #[must_use]
            pub fn as_secs_f64(self) -> f64 {
                Duration::from_nanos(self.0).as_secs_f64()
            }

            /// The span since `earlier`; zero if `earlier` is later.
            #[must_use]
            pub const fn saturating_since(self, earlier: Self) -> Duration {
                Duration::from_nanos(self.0.saturating_sub(earlier.0))
            }
        }

        impl Add<Duration> for $name {
            type Output = Self;
            /// Saturates at [`Self::MAX`].
            fn add(self, span: Duration) -> Self {
                Self(self.0.saturating_add(u64::try_from(span.as_nanos()).unwrap_or(u64::MAX)))
            }
        }

        impl AddAssign<Duration> for $name {
            fn add_assign(&mut self, span: Duration) {
                *self = *self + span;
            }
        }

        impl Sub<Duration> for $name {
            type Output = Self;
            /// Saturates at the start of the run.
            fn sub(self, span: Duration) -> Self {
                Self(self.0.saturating_sub(u64::try_from(span.as_nanos()).unwrap_or(u64::MAX)))
            }
        }

        impl fmt::Display for $name {
            /// Seconds with microseconds, `12.345678 s`.
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{}.{:06} s", self.0 / 1_000_000_000, self.0 / 1_000 % 1_000_000)
            }
        }
    };
}

instant! {
    /// An instant of protocol time: frame times, P2, N_Bs, N_Cr, STmin. Never scaled by the pace of a run.
    BusInstant
}
instant! {
    /// An instant of the car's time: all that happens in vehicle and ECU. It runs at the pace asked for,
    /// and may leap over a soak.
    CarInstant
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::format;

    #[test]
    fn spans_saturate_instead_of_wrapping() {
        let early = BusInstant::from_millis(10);
        let late = early + Duration::from_millis(5);
        assert_eq!(late.saturating_since(early), Duration::from_millis(5));
        assert_eq!(early.saturating_since(late), Duration::ZERO);
        assert_eq!(BusInstant::MAX + Duration::from_secs(1), BusInstant::MAX);
    }

    #[test]
    fn shows_seconds() {
        assert_eq!(format!("{}", CarInstant::from_micros(12_345_678)), "12.345678 s");
    }
}
