//! On-board diagnostic monitors by number (OBDMID, SAE J1979-DA; numbers as scapy's OBD layer and public lists have
//! them, EGR bank 1 by the lists alone).

use core::fmt;

/// The number of a monitor, service $06.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mid(u8);

/// How the members of a family are told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Numbering {
    /// There is one.
    Alone,
    /// Four sensors a bank.
    BankAndSensor,
    /// Banks.
    Bank,
    /// Plain numbers.
    Number,
    /// Cylinders.
    Cylinder,
}

use Numbering::{Alone, Bank, BankAndSensor, Cylinder, Number};

/// First number, how many, name, what tells them apart; rising.
const FAMILIES: &[(u8, u8, &str, Numbering)] = &[
    (0x01, 16, "oxygen sensor", BankAndSensor),
    (0x21, 4, "catalyst", Bank),
    (0x31, 4, "EGR", Bank),
    (0x35, 4, "VVT", Bank),
    (0x39, 1, "evap leak, cap off or 0.150 in", Alone),
    (0x3A, 1, "evap leak, 0.090 in", Alone),
    (0x3B, 1, "evap leak, 0.040 in", Alone),
    (0x3C, 1, "evap leak, 0.020 in", Alone),
    (0x3D, 1, "evap purge flow", Alone),
    (0x41, 16, "oxygen sensor heater", BankAndSensor),
    (0x61, 4, "heated catalyst", Bank),
    (0x71, 4, "secondary air", Number),
    (0x81, 4, "fuel system", Bank),
    (0x85, 2, "boost pressure control", Bank),
    (0x90, 2, "NOx adsorber", Bank),
    (0x98, 2, "NOx or SCR catalyst", Bank),
    (0xA1, 1, "misfire, general", Alone),
    // Cylinders 13 to 16 after one public list and from memory; scapy has the particulate filters at $B0 and $B1.
    (0xA2, 16, "misfire", Cylinder),
    (0xB2, 2, "particulate filter", Bank), // from memory
];

impl Mid {
    /// The monitor with this number.
    #[must_use]
    pub const fn new(number: u8) -> Self {
        Self(number)
    }

    /// Its number.
    #[must_use]
    pub const fn number(self) -> u8 {
        self.0
    }

    /// Whether the standard's numbers, as far as we know them, have a monitor here.
    #[must_use]
    pub fn is_known(self) -> bool {
        self.family().is_some()
    }

    /// What the monitor is, for people: `evap leak, 0.040 in`, `catalyst, bank 1`, or its number if unknown.
    #[must_use]
    pub const fn name(self) -> impl fmt::Display {
        Name(self)
    }

    fn family(self) -> Option<(&'static str, Numbering, u8)> {
        FAMILIES.iter().find_map(|&(first, count, name, numbering)| {
            let place = self.0.checked_sub(first)?;
            (place < count).then_some((name, numbering, place))
        })
    }
}

impl fmt::Display for Mid {
    /// `$3B`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "${:02X}", self.0)
    }
}

struct Name(Mid);

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some((name, numbering, place)) = self.0.family() else {
            return write!(f, "monitor {}", self.0);
        };
        f.write_str(name)?;
        match numbering {
            Alone => Ok(()),
            Bank => write!(f, ", bank {}", place + 1),
            BankAndSensor => write!(f, ", bank {} sensor {}", place / 4 + 1, place % 4 + 1),
            Number => write!(f, " {}", place + 1),
            Cylinder => write!(f, ", cylinder {}", place + 1),
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::string::ToString;

    use super::*;

    /// One of each family at both ends, and the numbers beside them.
    #[test]
    fn numbers_have_the_names_of_the_standard() {
        for (number, name) in [
            (0x01, "oxygen sensor, bank 1 sensor 1"),
            (0x02, "oxygen sensor, bank 1 sensor 2"),
            (0x05, "oxygen sensor, bank 2 sensor 1"),
            (0x10, "oxygen sensor, bank 4 sensor 4"),
            (0x11, "monitor $11"),
            (0x21, "catalyst, bank 1"),
            (0x24, "catalyst, bank 4"),
            (0x25, "monitor $25"),
            (0x31, "EGR, bank 1"),
            (0x34, "EGR, bank 4"),
            (0x35, "VVT, bank 1"),
            (0x38, "VVT, bank 4"),
            (0x39, "evap leak, cap off or 0.150 in"),
            (0x3A, "evap leak, 0.090 in"),
            (0x3B, "evap leak, 0.040 in"),
            (0x3C, "evap leak, 0.020 in"),
            (0x3D, "evap purge flow"),
            (0x3E, "monitor $3E"),
            (0x41, "oxygen sensor heater, bank 1 sensor 1"),
            (0x50, "oxygen sensor heater, bank 4 sensor 4"),
            (0x61, "heated catalyst, bank 1"),
            (0x64, "heated catalyst, bank 4"),
            (0x71, "secondary air 1"),
            (0x74, "secondary air 4"),
            (0x81, "fuel system, bank 1"),
            (0x84, "fuel system, bank 4"),
            (0x85, "boost pressure control, bank 1"),
            (0x86, "boost pressure control, bank 2"),
            (0x90, "NOx adsorber, bank 1"),
            (0x91, "NOx adsorber, bank 2"),
            (0x98, "NOx or SCR catalyst, bank 1"),
            (0x99, "NOx or SCR catalyst, bank 2"),
            (0xA1, "misfire, general"),
            (0xA2, "misfire, cylinder 1"),
            (0xAD, "misfire, cylinder 12"),
            (0xB1, "misfire, cylinder 16"),
            (0xB2, "particulate filter, bank 1"),
            (0xB3, "particulate filter, bank 2"),
            (0xB4, "monitor $B4"),
            (0xE1, "monitor $E1"),
        ] {
            let mid = Mid::new(number);
            assert_eq!(mid.name().to_string(), name);
            assert_eq!(mid.is_known(), !name.starts_with("monitor"), "{name}");
        }
    }

    #[test]
    fn families_rise_and_leave_the_masks_alone() {
        let mut free = 0;
        for &(first, count, name, _) in FAMILIES {
            assert!(first >= free, "{name}");
            free = first + count;
            assert!(
                (first..free).all(|number| !crate::mask::is_mask(number)),
                "{name}"
            );
        }
    }
}
