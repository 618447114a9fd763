//! Tests by number: those of service $06, within a monitor, and those of service $08 (SAE J1979-DA, as scapy's OBD
//! layer and makers' service information have them).

use core::fmt;

/// The number of a test (TID).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Tid(u8);

/// Tests of service $06 that are the same for all makers.
const NAMES: [&str; 12] = [
    "rich to lean sensor threshold voltage",
    "lean to rich sensor threshold voltage",
    "low sensor voltage for switch time calculation",
    "high sensor voltage for switch time calculation",
    "rich to lean sensor switch time",
    "lean to rich sensor switch time",
    "minimum sensor voltage for test cycle",
    "maximum sensor voltage for test cycle",
    "time between sensor transitions",
    "sensor period",
    "misfire counts, mean of the last ten driving cycles",
    "misfire counts, last or current driving cycle",
];

impl Tid {
    /// Service $08: test of the evaporative system for leaks.
    pub const EVAP_LEAK_TEST: Self = Self(0x01);

    /// The test with this number.
    #[must_use]
    pub const fn new(number: u8) -> Self {
        Self(number)
    }

    /// Its number.
    #[must_use]
    pub const fn number(self) -> u8 {
        self.0
    }

    /// What a test of service $06 measures, where all makers agree: $01 to $0C.
    #[must_use]
    pub fn test_name(self) -> Option<&'static str> {
        NAMES.get(usize::from(self.0).checked_sub(1)?).copied()
    }

    /// Whether a test of service $06 is the maker's own: $80 to $FE (from memory).
    #[must_use]
    pub const fn is_makers(self) -> bool {
        matches!(self.0, 0x80..=0xFE)
    }

    /// Whether a test of service $06 is a constant, and no measurement: $01 to $04.
    #[must_use]
    pub const fn is_constant(self) -> bool {
        matches!(self.0, 0x01..=0x04)
    }

    /// What service $08 does by this number, where we know it.
    #[must_use]
    pub const fn control_name(self) -> Option<&'static str> {
        match self {
            Self::EVAP_LEAK_TEST => Some("evaporative system leak test"),
            _ => None,
        }
    }
}

impl fmt::Display for Tid {
    /// `$80`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "${:02X}", self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_standard_names_twelve_tests() {
        let named = (0..=u8::MAX).filter(|&number| Tid::new(number).test_name().is_some());
        assert!(named.eq(0x01..=0x0C));
        assert_eq!(
            Tid::new(0x05).test_name(),
            Some("rich to lean sensor switch time")
        );
        assert!(Tid::new(0x80).is_makers() && !Tid::new(0x7F).is_makers() && !Tid::new(0xFF).is_makers());
        assert!(Tid::new(0x04).is_constant() && !Tid::new(0x05).is_constant());
    }
}
