//! From a quantity to the raw number on the wire and back.

use super::Unit;

/// `value = raw * resolution + offset`, with a raw number of so many bits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scaling {
    /// Width of the raw number, 1 to 32.
    pub bits: u32,
    /// Whether the raw number is in two's complement.
    pub signed: bool,
    /// Value of one step.
    pub resolution: f64,
    /// Value of raw 0.
    pub offset: f64,
    /// What the value counts.
    pub unit: Unit,
    /// Decimals that are worth showing.
    pub decimals: usize,
}

/// A value this close to half a step counts as half a step: a quantity that went through another unit on its way
/// (rpm to rad/s and back) then rounds as the figure it stands for.
const HALF_STEP_TOLERANCE: f64 = 1e-9;

impl Scaling {
    /// An unsigned number.
    #[must_use]
    pub const fn unsigned(bits: u32, resolution: f64, offset: f64, unit: Unit, decimals: usize) -> Self {
        Self {
            bits,
            signed: false,
            resolution,
            offset,
            unit,
            decimals,
        }
    }

    /// A number in two's complement, without offset.
    #[must_use]
    pub const fn signed(bits: u32, resolution: f64, unit: Unit, decimals: usize) -> Self {
        Self {
            bits,
            signed: true,
            resolution,
            offset: 0.0,
            unit,
            decimals,
        }
    }

    /// The lowest and the highest count.
    const fn counts(&self) -> (i64, i64) {
        if self.signed {
            (-(1 << (self.bits - 1)), (1 << (self.bits - 1)) - 1)
        } else {
            (0, (1 << self.bits) - 1)
        }
    }

    /// The lowest value that can be sent.
    #[must_use]
    pub fn lowest(&self) -> f64 {
        self.value_of(self.counts().0)
    }

    /// The highest value that can be sent.
    #[must_use]
    pub fn highest(&self) -> f64 {
        self.value_of(self.counts().1)
    }

    /// The raw number for a value: held to the range, rounded to the nearest count, half a count away from raw
    /// zero. What is not a number is sent as the lowest value.
    #[must_use]
    pub fn encode(&self, value: f64) -> u32 {
        let (lowest, highest) = self.counts();
        let count = round_half_away_from_zero((value - self.offset) / self.resolution);
        let count = count.clamp(lowest, highest);
        let raw = if value.is_nan() { lowest } else { count };
        // A mask keeps the low `bits` bits, which is two's complement for a negative count.
        u32::try_from(raw & ((1 << self.bits) - 1)).unwrap_or(u32::MAX)
    }

    /// The value of a raw number; bits above the width are ignored.
    #[must_use]
    pub fn decode(&self, raw: u32) -> f64 {
        let unsigned = i64::from(raw) & ((1 << self.bits) - 1);
        let (_, highest) = self.counts();
        self.value_of(if unsigned > highest {
            unsigned - (1 << self.bits)
        } else {
            unsigned
        })
    }

    /// The value of a count.
    fn value_of(&self, count: i64) -> f64 {
        count as f64 * self.resolution + self.offset
    }
}

/// Rounds to the nearest integer, a half away from zero; saturates, and gives 0 for what is not a number.
#[expect(
    clippy::cast_possible_truncation,
    reason = "`as` saturates, and the caller clamps"
)]
fn round_half_away_from_zero(x: f64) -> i64 {
    libm::copysign(libm::floor(libm::fabs(x) + 0.5 + HALF_STEP_TOLERANCE), x) as i64
}
