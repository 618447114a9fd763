//! How the tester asks and how long it waits.

use core::time::Duration;

use twotrip_can::{
    CanId,
    address::{EcuAddress, TESTER},
};
use twotrip_isotp::Profile;

use crate::EcuNumber;

/// Settings of a [`Tester`](crate::Tester).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TesterConfig {
    /// P2: from the end of a request to the start of an answer. 50 ms (ISO 15765-4, from public summaries).
    pub p2: Duration,
    /// What is added to P2 (and to P2*) for the bus, its adapters and this machine. 50 ms, our choice.
    pub allowance: Duration,
    /// P2*: the same after an ECU has said that its answer will follow (7F xx 78). 5 s, as P2.
    pub p2_star: Duration,
    /// How long to wait before a request is repeated for a busy ECU (7F xx 21). 200 ms (ISO 15765-4, from memory).
    pub busy_pause: Duration,
    /// How often it is repeated. 6, as above.
    pub busy_repeats: u8,
    /// The longest exchange: an ECU that puts off its answer for longer is given up. Two minutes, our choice; the
    /// longest message at the slowest legal pace takes about 88 s.
    pub longest_exchange: Duration,
    /// Timeouts of the transport, padding, frame lengths.
    pub transport: Profile,
    /// The identifiers of each ECU; requests to all go by those of the first. 7E0 and 7E8 to 7E7 and 7EF unless others
    /// are given.
    pub ecus: [EcuAddress; EcuNumber::COUNT],
}

impl TesterConfig {
    /// The same on 29-bit identifiers, for the ECUs at these addresses; beyond eight (ISO 15765-4, from memory) none counts.
    /// Numbers that are not needed stand for ECUs at the addresses that are left, rising from 10.
    #[must_use]
    pub fn extended(self, addresses: &[u8]) -> Self {
        let others = (0x10..=u8::MAX).filter(|address| *address != TESTER && !addresses.contains(address));
        let mut addresses = addresses.iter().copied().chain(others);
        // There are far more addresses than numbers.
        let next = |_| EcuAddress::extended(addresses.next().unwrap_or_default());
        Self {
            ecus: core::array::from_fn(next),
            ..self
        }
    }

    /// The identifiers of an ECU.
    #[must_use]
    pub fn address(&self, ecu: EcuNumber) -> EcuAddress {
        self.ecus[ecu.index()]
    }

    /// The ECU that answers by this identifier.
    #[must_use]
    pub fn ecu_of(&self, response: CanId) -> Option<EcuNumber> {
        EcuNumber::all().find(|&ecu| self.address(ecu).response == response)
    }
}

impl Default for TesterConfig {
    fn default() -> Self {
        Self {
            p2: Duration::from_millis(50),
            allowance: Duration::from_millis(50),
            p2_star: Duration::from_secs(5),
            busy_pause: Duration::from_millis(200),
            busy_repeats: 6,
            longest_exchange: Duration::from_secs(120),
            transport: Profile::OBD,
            ecus: EcuNumber::STANDARD,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Identifiers of 29 bits as ISO 15765-4 has them (from memory).
    #[test]
    fn ecus_of_29_bits_have_the_addresses_given_and_others_after_them() {
        let config = TesterConfig::default().extended(&[0x18, 0x10]);
        let responses = config.ecus.map(|ecu| ecu.response);
        let expected = [0x18, 0x10, 0x11, 0x12, 0x13, 0x14, 0x15, 0x16];
        assert_eq!(
            responses,
            expected.map(|address| CanId::Extended(0x18DA_F100 | address))
        );
        assert_eq!(config.ecu_of(CanId::Extended(0x18DA_F110)), EcuNumber::new(1));
        assert_eq!(config.ecu_of(CanId::Standard(0x7E8)), None);
        let standard = TesterConfig::default();
        for ecu in EcuNumber::all() {
            assert_eq!(standard.address(ecu), ecu.address());
        }
    }
}
