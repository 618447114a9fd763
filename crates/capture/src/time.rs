//! Time stamps of any resolution as nanoseconds since 1970.

/// The unit of an interface's time stamps (`if_tsresol`, `if_tsoffset`).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Clock {
    unit: Unit,
    offset_seconds: i64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Unit {
    /// So many nanoseconds.
    Nanos(u64),
    /// So many of them in a nanosecond.
    PerNano(u64),
    /// Seconds shifted right by so many bits.
    Shift(u32),
}

/// Finer than this, a time stamp of 64 bits spans seconds only.
const DIGITS_MAX: u8 = 18;
const BITS_MAX: u8 = 63;

impl Clock {
    /// Microseconds, which hold where nothing is said.
    pub(crate) const MICROS: Self = Self {
        unit: Unit::Nanos(1_000),
        offset_seconds: 0,
    };
    /// Nanoseconds.
    pub(crate) const NANOS: Self = Self {
        unit: Unit::Nanos(1),
        offset_seconds: 0,
    };

    /// The resolution that `if_tsresol` says: a negative power of ten, or of two with the top bit set.
    pub(crate) fn with_resolution(self, code: u8) -> Self {
        let exponent = code & 0x7F;
        let unit = if code & 0x80 != 0 {
            Unit::Shift(u32::from(exponent.min(BITS_MAX)))
        } else if exponent <= 9 {
            Unit::Nanos(10_u64.pow(u32::from(9 - exponent)))
        } else {
            Unit::PerNano(10_u64.pow(u32::from(exponent.min(DIGITS_MAX) - 9)))
        };
        Self { unit, ..self }
    }

    /// With seconds to be added (`if_tsoffset`).
    pub(crate) const fn with_offset(self, offset_seconds: i64) -> Self {
        Self {
            offset_seconds,
            ..self
        }
    }

    /// Nanoseconds since 1970; what lies outside 64 bits of them is held at the ends.
    #[inline]
    pub(crate) fn nanos(self, stamp: u64) -> u64 {
        match self {
            // By far the most.
            Self {
                unit: Unit::Nanos(1),
                offset_seconds: 0,
            } => stamp,
            Self { unit, offset_seconds } => {
                let nanos = match unit {
                    Unit::Nanos(each) => i128::from(stamp) * i128::from(each),
                    Unit::PerNano(each) => i128::from(stamp / each),
                    Unit::Shift(bits) => (i128::from(stamp) * 1_000_000_000) >> bits,
                };
                let nanos = nanos + i128::from(offset_seconds) * 1_000_000_000;
                u64::try_from(nanos.max(0)).unwrap_or(u64::MAX)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// draft-ietf-opsawg-pcapng, `if_tsresol`: 6 is microseconds, 9 nanoseconds, the top bit means powers of two.
    #[test]
    fn every_resolution_comes_out_in_nanoseconds() {
        for (code, stamp, nanos) in [
            (0, 7, 7_000_000_000),
            (3, 7, 7_000_000),
            (6, 1_500_000, 1_500_000_000),
            (9, 1_500_000_000, 1_500_000_000),
            (12, 1_500_000_000_999, 1_500_000_000),
            (0x80, 3, 3_000_000_000),
            (0x80 | 10, 1536, 1_500_000_000),
            (0x80 | 32, 3 << 31, 1_500_000_000),
        ] {
            assert_eq!(
                Clock::MICROS.with_resolution(code).nanos(stamp),
                nanos,
                "{code:#x}"
            );
        }
        assert_eq!(Clock::NANOS.with_offset(-2).nanos(3_000_000_001), 1_000_000_001);
        assert_eq!(Clock::NANOS.with_offset(-9).nanos(1), 0, "before 1970");
        assert_eq!(Clock::MICROS.with_resolution(0).nanos(u64::MAX), u64::MAX);
    }
}
