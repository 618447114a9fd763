//! The identifiers of legislated diagnostics, ISO 15765-4 (from memory).

use crate::CanId;

/// The address of the external test equipment in 29-bit identifiers.
pub const TESTER: u8 = 0xF1;

/// How a request found its ECU: services answer differently to the two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Addressing {
    /// To all ECUs at once; one that cannot answer stays silent.
    Functional,
    /// To one ECU.
    Physical,
}

/// The three identifiers by which one ECU and the tester speak.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EcuAddress {
    /// Requests of the tester to all.
    pub functional: CanId,
    /// Requests and flow control of the tester to this ECU.
    pub request: CanId,
    /// Answers and flow control of this ECU.
    pub response: CanId,
}

impl EcuAddress {
    /// The engine ECU with 11-bit identifiers: 7DF, 7E0, 7E8 (7E0 for the engine is by recommendation, from memory).
    pub const ENGINE: Self = Self {
        functional: CanId::Standard(0x7DF),
        request: CanId::Standard(0x7E0),
        response: CanId::Standard(0x7E8),
    };

    /// ECU `n` of up to eight with 11-bit identifiers, or `None` above 7.
    #[must_use]
    pub const fn standard(n: u8) -> Option<Self> {
        if n > 7 {
            return None;
        }
        Some(Self {
            functional: CanId::Standard(0x7DF),
            request: CanId::Standard(0x7E0 + n as u16),
            response: CanId::Standard(0x7E8 + n as u16),
        })
    }

    /// The ECU with `address` with 29-bit identifiers (normal fixed addressing).
    #[must_use]
    pub const fn extended(address: u8) -> Self {
        Self {
            functional: CanId::Extended(0x18DB_33F1),
            request: CanId::Extended(0x18DA_00F1 | (address as u32) << 8),
            response: CanId::Extended(0x18DA_F100 | address as u32),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Identifiers as in a general packet analyser's dissectors of ISO 15765 and of OBD.
    #[test]
    fn identifiers_are_those_of_the_standard() {
        assert_eq!(EcuAddress::standard(0), Some(EcuAddress::ENGINE));
        assert_eq!(
            EcuAddress::standard(7).map(|ecu| ecu.response),
            Some(CanId::Standard(0x7EF))
        );
        assert_eq!(EcuAddress::standard(8), None);
        assert_eq!(EcuAddress::extended(0x10).request, CanId::Extended(0x18DA_10F1));
        assert_eq!(EcuAddress::extended(0x10).response, CanId::Extended(0x18DA_F110));
    }
}
