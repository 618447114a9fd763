//! A loop that stands at its limit by a front sensor that the rear one contradicts: the sensor is stuck, not the mixture
//! wrong (published: never above 0.55 V in 9.6 s at +25 %, 2006 model year).

use super::SECONDS;
use crate::monitors::BankSignals;

/// Short-term trim that counts as the loop's limit.
const TRIM: f64 = 0.24;
/// A lean sensor has not been above, a rich one not below.
const SEEN: [f64; 2] = [0.55, 0.35];
/// The rear sensor disagrees: rich above, lean below.
const REAR: [f64; 2] = [0.70, 0.20];

/// Which limit the loop has gone to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Limited {
    /// To the rich side, by a sensor that says lean.
    Lean,
    /// To the lean side, by a sensor that says rich.
    Rich,
}

/// How long it has stood there.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct AtLimit {
    pub(crate) seconds: f64,
    /// Lowest and highest volts of the front sensor meanwhile.
    pub(crate) front: [f64; 2],
}

impl AtLimit {
    /// One step of 100 ms: where the loop stands for nothing, if it does.
    pub(crate) fn step(&mut self, bank: &BankSignals) -> Option<Limited> {
        let (trim, rear) = (bank.short_term.fraction(), bank.oxygen_rear.volts());
        let side = if bank.closed_loop && trim >= TRIM && rear > REAR[0] {
            Limited::Lean
        } else if bank.closed_loop && trim <= -TRIM && rear < REAR[1] {
            Limited::Rich
        } else {
            *self = Self::default();
            return None;
        };
        let seen = bank.seen.front;
        self.front = if self.seconds > 0.0 {
            [self.front[0].min(seen[0]), self.front[1].max(seen[1])]
        } else {
            seen
        };
        let crossed = match side {
            Limited::Lean => self.front[1] > SEEN[0],
            Limited::Rich => self.front[0] < SEEN[1],
        };
        if crossed {
            *self = Self::default();
            return None;
        }
        self.seconds += SECONDS;
        Some(side)
    }
}
