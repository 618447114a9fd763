//! Parameters of services $01 and $02 as data: number, name, length, fields and their scaling.
//!
//! Figures: SAE J1979-DA as restated in the project's reference table and cross-checked there between independent
//! public decoders. A PID without a row is not understood; it is still carried as its number.
//!
//! One rule for all: a value is held to the range of its field and rounded to the nearest count, half a count away from
//! raw zero ([`Scaling::encode`]); units and scalings of service $06 follow the same rule.

mod choice;
mod field;
mod scaling;
mod table;
#[cfg(test)]
mod tests;
mod unit;

use core::fmt;

pub use field::{Field, Kind, Value};
pub use scaling::Scaling;
pub use unit::Unit;

/// The number of a parameter of service $01 or $02.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Pid(u8);

impl Pid {
    /// The parameter with this number.
    #[must_use]
    pub const fn new(number: u8) -> Self {
        Self(number)
    }

    /// Its number.
    #[must_use]
    pub const fn number(self) -> u8 {
        self.0
    }

    /// Whether it is a mask of supported parameters: $00, $20 ... $E0.
    #[must_use]
    pub const fn is_mask(self) -> bool {
        crate::mask::is_mask(self.0)
    }

    /// What the parameter is, if the table knows it.
    #[must_use]
    pub fn definition(self) -> Option<&'static Definition> {
        if self.is_mask() {
            return Some(&table::MASKS[usize::from(self.0 / 0x20)]);
        }
        let range = table::RANGES.get(usize::from(self.0 / 0x20))?;
        range.get(usize::from(table::PLACES[usize::from(self.0)]))
    }

    /// All parameters that are understood but for the masks, rising.
    pub fn definitions() -> impl Iterator<Item = &'static Definition> {
        table::RANGES.iter().copied().flatten()
    }
}

impl fmt::Display for Pid {
    /// `$0C`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "${:02X}", self.0)
    }
}

/// One parameter: what it is called, how many bytes it has, what stands in them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Definition {
    /// The parameter.
    pub pid: Pid,
    /// The name for people, such as `engine speed`.
    pub name: &'static str,
    /// Data bytes after the PID.
    pub length: usize,
    /// The fields, first bit first. Bits in no field are reserved and sent as 0.
    pub fields: &'static [Field],
}
