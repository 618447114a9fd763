//! Vehicle information, service $09: the InfoTypes and their contents (SAE J1979; item order and lengths as a public
//! encyclopedia and scapy's OBD layer give them).

use core::{fmt, ops::RangeInclusive};

use crate::{InUsePerformance, vin};

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

    /// In-use performance tracking, compression ignition.
    pub const IN_USE_PERFORMANCE_COMPRESSION: Self = Self(0x0B);
    /// Engine serial number (from memory).
    pub const ENGINE_SERIAL_NUMBER: Self = Self(0x0D);
    /// Exhaust regulation or type approval number (from memory).
    pub const TYPE_APPROVAL_NUMBER: Self = Self(0x0F);
    /// Protocol identification (one public code excerpt; from memory).
    pub const PROTOCOL: Self = Self(0x10);
    /// Number of the world-wide harmonised regulation (from memory).
    pub const REGULATION: Self = Self(0x11);
    /// Ignition cycles with the engine fuelled, of hybrids (from memory).
    pub const FUELLED_CYCLES: Self = Self(0x12);
    /// Distance since the evaporative monitor last decided (from memory).
    pub const EVAP_DISTANCE: Self = Self(0x14);

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
    pub fn name(self) -> Option<&'static str> {
        self.layout().map(|layout| layout.name)
    }

    /// Bytes of one of its items, where we know it.
    pub(crate) fn item_length(self) -> Option<usize> {
        self.layout().map(|layout| layout.item)
    }

    /// Whether it has one item, and never more.
    pub(crate) fn is_single(self) -> bool {
        self.layout().is_some_and(|layout| layout.items == (1..=1))
    }

    /// How its items are laid out, where we know it.
    fn layout(self) -> Option<&'static Layout> {
        LAYOUTS.iter().find(|layout| layout.info_type == self)
    }
}

impl fmt::Display for InfoType {
    /// Its name; `InfoType $13` where we know none.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.name() {
            Some(name) => f.write_str(name),
            None => write!(f, "InfoType ${:02X}", self.0),
        }
    }
}

/// What the items of an InfoType are.
struct Layout {
    info_type: InfoType,
    name: &'static str,
    /// Bytes of an item.
    item: usize,
    /// How many there can be.
    items: RangeInclusive<u8>,
}

const fn layout(info_type: InfoType, name: &'static str, item: usize, items: RangeInclusive<u8>) -> Layout {
    Layout {
        info_type,
        name,
        item,
        items,
    }
}

/// Names, lengths and numbers of items. On CAN the odd InfoTypes up to $0E that count messages are not used.
static LAYOUTS: &[Layout] = &[
    layout(InfoType::VIN, "vehicle identification number", vin::LENGTH, 1..=1),
    layout(
        InfoType::CALIBRATION_ID,
        "calibration identification",
        16,
        0..=255,
    ),
    layout(
        InfoType::VERIFICATION_NUMBER,
        "calibration verification number",
        4,
        0..=255,
    ),
    layout(InfoType::IN_USE_PERFORMANCE, "in-use performance", 2, 0..=255),
    layout(InfoType::ECU_NAME, "ECU name", 20, 1..=1),
    layout(
        InfoType::IN_USE_PERFORMANCE_COMPRESSION,
        "in-use performance, compression ignition",
        2,
        0..=255,
    ),
    layout(InfoType::ENGINE_SERIAL_NUMBER, "engine serial number", 17, 1..=1),
    layout(InfoType::TYPE_APPROVAL_NUMBER, "type approval number", 17, 1..=1),
    layout(InfoType::PROTOCOL, "protocol identification", 1, 1..=1),
    layout(
        InfoType::REGULATION,
        "world-wide harmonised regulation",
        11,
        1..=1,
    ),
    layout(InfoType::FUELLED_CYCLES, "fuelled engine cycles", 2, 1..=1),
    layout(InfoType::EVAP_DISTANCE, "distance since evap decision", 2, 1..=1),
];

/// What an answer of service $09 carries after its InfoType, masks apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Information<'a> {
    /// The VIN as sent.
    Vin(&'a [u8; vin::LENGTH]),
    /// Calibration identifications, filled up with zero bytes at the end.
    CalibrationIds(&'a [[u8; 16]]),
    /// Calibration verification numbers, in the order of the identifications.
    VerificationNumbers(&'a [[u8; 4]]),
    /// Name of the ECU: acronym, `-`, text, each filled up with zero bytes.
    EcuName(&'a [u8; 20]),
    /// Counters of 16 bits in the order of the standard, spark ignition.
    InUse(&'a [[u8; 2]]),
    /// The same, compression ignition.
    InUseCompression(&'a [[u8; 2]]),
    /// A single item that is text: serial, approval or regulation number.
    Text(InfoType, &'a [u8]),
    /// A single item that is a number of one or two bytes.
    Number(InfoType, &'a [u8]),
    /// An InfoType that is not taken apart, all its bytes.
    Other(InfoType, &'a [u8]),
}

impl<'a> Information<'a> {
    /// Reads what follows the InfoType: the number of items, then the items. Nothing if the length is wrong.
    pub(crate) fn parse(info_type: InfoType, bytes: &'a [u8]) -> Option<Self> {
        let Some(layout) = info_type.layout() else {
            return Some(Self::Other(info_type, bytes));
        };
        let (&count, items) = bytes.split_first()?;
        if !layout.items.contains(&count) || items.len() != layout.item * usize::from(count) {
            return None;
        }
        Self::from_items(info_type, items)
    }

    /// Reads items without a number of them before. Nothing if they are not whole.
    pub(crate) fn from_items(info_type: InfoType, items: &'a [u8]) -> Option<Self> {
        let Some(layout) = info_type.layout() else {
            return Some(Self::Other(info_type, items));
        };
        if !items.len().is_multiple_of(layout.item) || (info_type.is_single() && items.len() != layout.item) {
            return None;
        }
        Some(match info_type {
            InfoType::VIN => Self::Vin(items.try_into().ok()?),
            InfoType::CALIBRATION_ID => Self::CalibrationIds(items.as_chunks().0),
            InfoType::VERIFICATION_NUMBER => Self::VerificationNumbers(items.as_chunks().0),
            InfoType::ECU_NAME => Self::EcuName(items.try_into().ok()?),
            InfoType::IN_USE_PERFORMANCE => Self::InUse(items.as_chunks().0),
            InfoType::IN_USE_PERFORMANCE_COMPRESSION => Self::InUseCompression(items.as_chunks().0),
            _ if layout.item <= 2 => Self::Number(info_type, items),
            _ => Self::Text(info_type, items),
        })
    }

    /// The InfoType.
    #[must_use]
    pub const fn info_type(&self) -> InfoType {
        match *self {
            Self::Vin(_) => InfoType::VIN,
            Self::CalibrationIds(_) => InfoType::CALIBRATION_ID,
            Self::VerificationNumbers(_) => InfoType::VERIFICATION_NUMBER,
            Self::EcuName(_) => InfoType::ECU_NAME,
            Self::InUse(_) => InfoType::IN_USE_PERFORMANCE,
            Self::InUseCompression(_) => InfoType::IN_USE_PERFORMANCE_COMPRESSION,
            Self::Text(info_type, _) | Self::Number(info_type, _) | Self::Other(info_type, _) => info_type,
        }
    }

    /// The number that a single item is; nothing where it is none.
    #[must_use]
    pub fn number(&self) -> Option<u32> {
        match *self {
            Self::Number(_, bytes) => {
                let number = bytes
                    .iter()
                    .fold(0, |number, &byte| number << 8 | u32::from(byte));
                Some(number)
            }
            _ => None,
        }
    }

    /// Number of items; nothing where the bytes are not taken apart.
    pub(crate) const fn count(&self) -> Option<usize> {
        match *self {
            Self::CalibrationIds(items) => Some(items.len()),
            Self::VerificationNumbers(items) => Some(items.len()),
            Self::InUse(items) | Self::InUseCompression(items) => Some(items.len()),
            Self::Vin(_) | Self::EcuName(_) | Self::Text(..) | Self::Number(..) => Some(1),
            Self::Other(..) => None,
        }
    }

    /// The items one after the other, without a number of them.
    #[must_use]
    pub const fn bytes(&self) -> &'a [u8] {
        match *self {
            Self::Vin(vin) => vin,
            Self::EcuName(name) => name,
            Self::CalibrationIds(items) => items.as_flattened(),
            Self::VerificationNumbers(items) => items.as_flattened(),
            Self::InUse(items) | Self::InUseCompression(items) => items.as_flattened(),
            Self::Text(_, bytes) | Self::Number(_, bytes) | Self::Other(_, bytes) => bytes,
        }
    }
}

/// What each counter of InfoType $0B counts, compression ignition, in the order of the standard.
pub(crate) const COMPRESSION_COUNTERS: [&str; 18] = [
    "monitoring conditions",
    "ignition cycles",
    "NMHC catalyst completions",
    "NMHC catalyst conditions",
    "NOx or SCR catalyst completions",
    "NOx or SCR catalyst conditions",
    "NOx adsorber completions",
    "NOx adsorber conditions",
    "particulate filter completions",
    "particulate filter conditions",
    "exhaust gas sensor completions",
    "exhaust gas sensor conditions",
    "EGR or VVT completions",
    "EGR or VVT conditions",
    "boost pressure completions",
    "boost pressure conditions",
    "fuel system completions",
    "fuel system conditions",
];

/// What counters of InfoType $08 beyond the twentieth count, in newer editions (from memory).
pub(crate) const LATER_COUNTERS: [&str; 8] = [
    "air/fuel imbalance bank 1 completions",
    "air/fuel imbalance bank 1 conditions",
    "air/fuel imbalance bank 2 completions",
    "air/fuel imbalance bank 2 conditions",
    "particulate filter bank 1 completions",
    "particulate filter bank 1 conditions",
    "particulate filter bank 2 completions",
    "particulate filter bank 2 conditions",
];

impl Information<'_> {
    /// Names and values of in-use counters; empty for anything else. A counter beyond those known has no name.
    pub fn counters(&self) -> impl Iterator<Item = (Option<&'static str>, u16)> {
        let (items, spark) = match *self {
            Self::InUse(items) => (items, true),
            Self::InUseCompression(items) => (items, false),
            _ => (&[][..], true),
        };
        let name = move |place: usize| match spark {
            true => InUsePerformance::NAMES
                .iter()
                .chain(&LATER_COUNTERS)
                .nth(place)
                .copied(),
            false => COMPRESSION_COUNTERS.get(place).copied(),
        };
        let count = move |(place, item): (usize, &[u8; 2])| (name(place), u16::from_be_bytes(*item));
        items.iter().enumerate().map(count)
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

#[cfg(test)]
mod tests;
