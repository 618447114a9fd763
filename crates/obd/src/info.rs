//! Vehicle information, service $09: the InfoTypes and their contents (SAE J1979; item order and lengths as a public
//! encyclopedia and scapy's OBD layer give them).

use crate::InUsePerformance;

/// The number of an InfoType.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct InfoType(u8);

impl InfoType {
    /// Vehicle identification number.
    pub const VIN: Self = Self(0x02);
    /// Calibration identifications.
    pub const CALIBRATION_ID: Self = Self(0x04);
    /// Calibration verification numbers.
    pub const VERIFICATION_NUMBER: Self = Self(0x06);
    /// In-use performance tracking, spark ignition.
    pub const IN_USE_PERFORMANCE: Self = Self(0x08);
    /// Name of the ECU.
    pub const ECU_NAME: Self = Self(0x0A);

    /// The InfoType with this number.
    #[must_use]
    pub const fn new(number: u8) -> Self {
        Self(number)
    }

    /// Its number.
    #[must_use]
    pub const fn number(self) -> u8 {
        self.0
    }

    /// The name for people, where we know one.
    #[must_use]
    pub const fn name(self) -> Option<&'static str> {
        Some(match self {
            Self::VIN => "vehicle identification number",
            Self::CALIBRATION_ID => "calibration identification",
            Self::VERIFICATION_NUMBER => "calibration verification number",
            Self::IN_USE_PERFORMANCE => "in-use performance",
            Self::ECU_NAME => "ECU name",
            _ => return None,
        })
    }
}

/// What an answer of service $09 carries after its InfoType, masks apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Information<'a> {
    /// The VIN as sent.
    Vin(&'a [u8; 17]),
    /// Calibration identifications, filled up with zero bytes at the end.
    CalibrationIds(&'a [[u8; 16]]),
    /// Calibration verification numbers, in the order of the identifications.
    VerificationNumbers(&'a [[u8; 4]]),
    /// Name of the ECU: acronym, `-`, text, each filled up with zero bytes.
    EcuName(&'a [u8; 20]),
    /// Counters of 16 bits in the order of the standard.
    InUse(&'a [[u8; 2]]),
    /// An InfoType that is not taken apart.
    Other(InfoType, &'a [u8]),
}

impl<'a> Information<'a> {
    /// Reads what follows the InfoType: the number of items, then the items. Nothing if the length is wrong.
    pub(crate) fn parse(info_type: InfoType, bytes: &'a [u8]) -> Option<Self> {
        let items = || {
            bytes
                .split_first()
                .map(|(&count, items)| (usize::from(count), items))
        };
        Some(match info_type {
            InfoType::VIN => match items()? {
                (1, vin) => Self::Vin(vin.try_into().ok()?),
                _ => return None,
            },
            InfoType::CALIBRATION_ID => Self::CalibrationIds(exactly(items()?)?),
            InfoType::VERIFICATION_NUMBER => Self::VerificationNumbers(exactly(items()?)?),
            InfoType::ECU_NAME => match items()? {
                (1, name) => Self::EcuName(name.try_into().ok()?),
                _ => return None,
            },
            InfoType::IN_USE_PERFORMANCE => Self::InUse(exactly(items()?)?),
            other => Self::Other(other, bytes),
        })
    }
}

/// So many items of `N` bytes and nothing beside them.
fn exactly<const N: usize>((count, bytes): (usize, &[u8])) -> Option<&[[u8; N]]> {
    match bytes.as_chunks() {
        (items, []) if items.len() == count => Some(items),
        _ => None,
    }
}

impl InUsePerformance {
    /// What each counter counts, in the order of the standard.
    pub const NAMES: [&'static str; Self::LEN] = [
        "monitoring conditions",
        "ignition cycles",
        "catalyst bank 1 completions",
        "catalyst bank 1 conditions",
        "catalyst bank 2 completions",
        "catalyst bank 2 conditions",
        "oxygen sensor bank 1 completions",
        "oxygen sensor bank 1 conditions",
        "oxygen sensor bank 2 completions",
        "oxygen sensor bank 2 conditions",
        "EGR or VVT completions",
        "EGR or VVT conditions",
        "secondary air completions",
        "secondary air conditions",
        "evap completions",
        "evap conditions",
        "rear oxygen sensor bank 1 completions",
        "rear oxygen sensor bank 1 conditions",
        "rear oxygen sensor bank 2 completions",
        "rear oxygen sensor bank 2 conditions",
    ];

    /// From the items of an answer; counters that it does not carry are 0, further ones are left out.
    #[must_use]
    pub fn from_items(items: &[[u8; 2]]) -> Self {
        let mut counters = [0; Self::LEN];
        for (counter, item) in counters.iter_mut().zip(items) {
            *counter = u16::from_be_bytes(*item);
        }
        Self::from_counters(counters)
    }
}
