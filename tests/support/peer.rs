//! A small ECU above a channel, for what the program is not: half-duplex, with a short buffer, several at once, with
//! answers of any length.

use twotrip_can::address::{Addressing, EcuAddress};
use twotrip_isotp::{Channel, Config};

use crate::cases::{Identifiers, Setup};

/// 4x 00: supported PIDs as a small petrol car has them.
const SUPPORTED: [u8; 6] = [0x41, 0x00, 0xBE, 0x3F, 0xA8, 0x13];
/// 49 02: the invented vehicle identification number.
const VIN: [u8; 20] = *b"\x49\x02\x010TW00TRP3A0000042";
/// The request for it.
const ASK_VIN: [u8; 2] = [0x09, 0x02];

/// An answer of counted bytes, so that a lost or doubled frame shows.
#[must_use]
pub fn counting(len: usize) -> Vec<u8> {
    (0..=250).cycle().take(len).collect()
}

/// What to ask the small ECU of a setup for, and its answer.
#[must_use]
pub fn question(setup: &Setup) -> ([u8; 2], Vec<u8>) {
    (ASK_VIN, setup.answer.map_or_else(|| VIN.to_vec(), counting))
}

/// The channels of a setup's ECUs.
///
/// # Panics
/// If the setup has more than eight ECUs.
#[must_use]
pub fn channels(setup: &Setup) -> Vec<Channel> {
    let address = |n| match setup.identifiers {
        Identifiers::Standard => EcuAddress::standard(n).expect("up to eight ECUs"),
        Identifiers::Extended => EcuAddress::extended(0x10 + n),
    };
    let channel = |n| {
        Channel::new(Config {
            profile: setup.profile,
            receive_limit: setup.receive_limit,
            block_size: setup.block_size,
            duplex: setup.duplex,
            flow_parameters: setup.flow_parameters,
            ..Config::ecu(address(n))
        })
    };
    (0..setup.ecus).map(channel).collect()
}

/// The answer to a request; `None` is silence. As SAE J1979 wants it of any ECU, a service that it does not have is
/// refused (7F xx 11) where it was asked alone, and passed over where all were asked.
#[must_use]
pub fn answer(setup: &Setup, addressing: Addressing, request: &[u8]) -> Option<Vec<u8>> {
    match (request, addressing) {
        ([0x01, 0x00], _) => Some(SUPPORTED.to_vec()),
        ([0x09, 0x02], _) => Some(question(setup).1),
        (_, Addressing::Functional) | ([], _) => None,
        ([service, ..], Addressing::Physical) => Some(vec![0x7F, *service, 0x11]),
    }
}
