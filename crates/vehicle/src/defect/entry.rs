//! A row of the catalogue of defects.

use core::fmt;

use super::{Defect, Part, Work, course::Course};
use crate::knobs::Knobs;

/// How the size of a defect is given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Size {
    /// The word says it all.
    None,
    /// The word stands for this amount.
    Fixed {
        /// The unit.
        unit: &'static str,
        /// The amount.
        amount: f64,
    },
    /// An amount follows the word, within these limits.
    Amount {
        /// The unit.
        unit: &'static str,
        /// The smallest and the greatest allowed.
        range: [f64; 2],
    },
}

/// One defect that can be set, for parsers and lists.
pub struct Entry {
    /// The part that carries it.
    pub part: Part,
    /// The word behind the part's name.
    pub kind: &'static str,
    /// The number behind the word, or the range of the number that follows it.
    pub size: Size,
    /// What it is, one line.
    pub description: &'static str,
    /// What is said when it is set; `{}` stands for the amount with its unit, `{off}` for a deviation with its way.
    pub set: &'static str,
    /// What a look at the part finds, with the same marks. Empty where nobody sees it.
    pub seen: &'static str,
    /// What cures it: kinds of work, each on its part.
    pub cures: &'static [(Work, Part)],
    /// What an amount of it makes of the car.
    pub(crate) apply: fn(&mut Knobs, f64),
}

impl Entry {
    /// The defect of this entry, steady. The amount is asked for where the word stands for none, and has to be within
    /// its limits.
    #[must_use]
    pub fn defect(&'static self, amount: Option<f64>) -> Option<Defect> {
        let amount = match (self.size, amount) {
            (Size::None, None) => 0.0,
            (Size::Fixed { amount, .. }, None) => amount,
            (Size::Amount { range, .. }, Some(amount)) if amount >= range[0] && amount <= range[1] => amount,
            _ => return None,
        };
        Some(Defect {
            entry: self,
            amount,
            course: Course::Steady,
        })
    }

    /// The unit of its amount; empty where it has none.
    #[must_use]
    pub const fn unit(&self) -> &'static str {
        match self.size {
            Size::None => "",
            Size::Fixed { unit, .. } | Size::Amount { unit, .. } => unit,
        }
    }

    /// The most of it there can be.
    pub(crate) const fn most(&self) -> f64 {
        match self.size {
            Size::None => 0.0,
            Size::Fixed { amount, .. } => amount,
            Size::Amount { range, .. } => range[1],
        }
    }
}

impl PartialEq for Entry {
    /// Part and word tell entries apart.
    fn eq(&self, other: &Self) -> bool {
        self.part == other.part && self.kind == other.kind
    }
}

impl fmt::Debug for Entry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.part.name(), self.kind)
    }
}
