//! What in a message tells one vehicle from another: where it stands, and of what kind it is.
//!
//! Service $09 by the table of InfoTypes (SAE J1979); data identifiers of services $22 and $2E by ISO 14229-1, annex C
//! (F180 to F19E, identification; from memory) and SAE J1979-2 ($F800 and an InfoType). The name of an ECU is left out:
//! it says what an ECU is for, not whose it is.

use alloc::vec::Vec;
use core::ops::Range;

use crate::{InfoType, vin};

/// A kind of identification.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Identity {
    /// The vehicle identification number, 17 characters.
    Vin,
    /// What calibrates an ECU, and the check sum that belongs to it.
    Calibration,
    /// Number of an engine, an ECU, a part or a type approval; text of which no more is known.
    Number,
}

impl Identity {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Vin, Self::Calibration, Self::Number];

    /// What it is called.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Vin => "VIN",
            Self::Calibration => "calibration ids and verification numbers",
            Self::Number => "serial, part and approval numbers, other text",
        }
    }
}

/// Service byte, InfoType; the number of items follows.
const INFORMATION: usize = 2;
/// Positive answers of service $22, and requests of service $2E.
const READ_DATA: u8 = 0x62;
const WRITE_DATA: u8 = 0x2E;
/// The session that is active: no identification, though it stands among them.
const ACTIVE_SESSION: u8 = 0x86;

/// Every identification in a message of `whole` bytes, in order, each item for itself. Of a message that broke off, hand
/// in what has come: the last item may be cut.
#[must_use]
pub fn identities(message: &[u8], whole: usize) -> Vec<(Range<usize>, Identity)> {
    let mut found = Vec::new();
    match *message {
        [0x49, info_type, _, ..] => information(message, whole, INFORMATION, info_type, &mut found),
        [READ_DATA | WRITE_DATA, ..] => data(message, whole, &mut found),
        _ => {}
    }
    found
}

/// Items of an InfoType from `at` on; behind a count, where the lengths say that there is one.
fn information(
    message: &[u8],
    whole: usize,
    at: usize,
    info_type: u8,
    found: &mut Vec<(Range<usize>, Identity)>,
) {
    let info_type = InfoType::new(info_type);
    let kind = match info_type {
        InfoType::VIN => Identity::Vin,
        InfoType::CALIBRATION_ID | InfoType::VERIFICATION_NUMBER => Identity::Calibration,
        InfoType::ENGINE_SERIAL_NUMBER | InfoType::TYPE_APPROVAL_NUMBER => Identity::Number,
        _ => return,
    };
    let Some(length) = info_type.item_length() else {
        return;
    };
    let counted = !whole.max(message.len()).saturating_sub(at).is_multiple_of(length);
    let mut at = at + usize::from(counted);
    while at < message.len() {
        let end = message.len().min(at + length);
        found.push((at..end, kind));
        at = end;
    }
}

/// Data identifiers and their data; only a VIN has a known length, what follows other identifications is taken with them.
fn data(message: &[u8], whole: usize, found: &mut Vec<(Range<usize>, Identity)>) {
    let mut at = 1;
    loop {
        let [high, low, _, ..] = message[at..] else {
            return;
        };
        at += 2;
        match (high, low) {
            (0xF1, 0x90) => {
                let end = message.len().min(at + vin::LENGTH);
                found.push((at..end, Identity::Vin));
                at = end;
            }
            (0xF1, ACTIVE_SESSION) => at += 1,
            (0xF1, 0x80..=0x9E) => {
                found.push((at..message.len(), Identity::Number));
                return;
            }
            (0xF8, info_type) => return information(message, whole, at, info_type, found),
            _ => return,
        }
    }
}

#[cfg(test)]
mod tests {
    use alloc::vec::Vec;

    use super::*;

    type Found = (Range<usize>, Identity);

    const VIN: &[u8] = b"0TW00TRP3A0000042";

    #[test]
    fn identifications_stand_where_the_tables_say() {
        use Identity::{Calibration, Number, Vin};
        let rows: [(&[&[u8]], &[Found]); 13] = [
            (&[&[0x49, 0x02, 1], VIN], &[(3..20, Vin)]),
            (&[&[0x49, 0x02], VIN], &[(2..19, Vin)]),
            (
                &[&[0x49, 0x04, 2], &[b'A'; 32]],
                &[(3..19, Calibration), (19..35, Calibration)],
            ),
            (
                &[&[0x49, 0x06, 2], &[9; 8]],
                &[(3..7, Calibration), (7..11, Calibration)],
            ),
            (&[&[0x49, 0x0D, 1], &[b'7'; 17]], &[(3..20, Number)]),
            (&[&[0x49, 0x0A, 1], b"ECM\0-EngineControl\0\0"], &[]),
            (&[&[0x49, 0x00, 0x55, 0x40, 0, 0]], &[]),
            (
                &[&[0x62, 0xF1, 0x90], VIN, &[0xF1, 0x8C, 1, 2]],
                &[(3..20, Vin), (22..24, Number)],
            ),
            (&[&[0x2E, 0xF1, 0x90], VIN], &[(3..20, Vin)]),
            (&[&[0x62, 0xF8, 0x02, 1], VIN], &[(4..21, Vin)]),
            (&[&[0x62, 0xF8, 0x04], &[b'C'; 16]], &[(3..19, Calibration)]),
            (&[&[0x62, 0xF1, 0x86, 1]], &[]),
            (&[&[0x41, 0x0C, 0x1A, 0xF8]], &[]),
        ];
        for (parts, wanted) in rows {
            let message: Vec<u8> = parts.concat();
            let whole = message.len();
            assert_eq!(identities(&message, whole), wanted, "{message:02X?}");
            // What breaks off has the same items, the last of them cut.
            for end in 0..whole {
                for (part, (all, kind)) in identities(&message[..end], whole).iter().zip(wanted) {
                    let cut = all.start..all.end.min(end);
                    assert_eq!(part, &(cut, *kind), "{:02X?}", &message[..end]);
                }
            }
        }
    }
}
