//! A field of a parameter: where its bits are and what they mean.

use core::fmt::{self, Write};

use twotrip_units::decimal::write_fixed;

use super::Scaling;
use crate::{Dtc, Readiness};

/// What the bits of a field mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// A scaled number.
    Number(Scaling),
    /// A scaled number, or all bits set for "not there" (a sensor that the trim does not use).
    NumberOrAbsent(Scaling),
    /// One of these named values.
    Choice(&'static [(u8, &'static str)]),
    /// One bit.
    Flag,
    /// A trouble code, 0 = none.
    Code,
    /// Bytes B, C, D of PIDs $01 and $41.
    Readiness,
    /// Bits whose meaning depends on more than this parameter, or is not known.
    Bits,
    /// Places of oxygen sensors, so many a bank: four in PID $13, two in PID $1D.
    SensorPlaces(u8),
    /// A mask of supported parameters.
    Mask,
}

/// A run of bits and its meaning.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Field {
    /// The name for people; empty when the parameter's own name says it.
    pub name: &'static str,
    /// Place of the most significant bit, counted from bit 7 of byte A.
    pub first_bit: usize,
    /// How many bits, 1 to 32, big-endian.
    pub bits: usize,
    /// What they mean.
    pub kind: Kind,
    /// The bit, counted from bit 7 of byte A, that says whether the field is there; nothing if it always is.
    pub announced_by: Option<usize>,
}

impl Field {
    /// The raw number of the field in a parameter's data bytes; nothing if they are too few.
    #[must_use]
    pub fn extract(&self, data: &[u8]) -> Option<u32> {
        let end = self.first_bit + self.bits;
        // The bytes that the bits are in: five at the most.
        let bytes = data.get(self.first_bit / 8..end.div_ceil(8))?;
        let word = bytes
            .iter()
            .fold(0, |word: u64, &byte| word << 8 | u64::from(byte));
        let raw = word >> (end.next_multiple_of(8) - end) & (u64::MAX >> (64 - self.bits));
        u32::try_from(raw).ok()
    }

    /// Writes the raw number of the field into a parameter's data bytes; higher bits are dropped.
    ///
    /// # Panics
    /// If the data bytes are too few.
    pub fn insert(&self, raw: u32, data: &mut [u8]) {
        for place in 0..self.bits {
            let bit = self.first_bit + place;
            let mask = 0x80 >> (bit % 8);
            if raw >> (self.bits - 1 - place) & 1 == 1 {
                data[bit / 8] |= mask;
            } else {
                data[bit / 8] &= !mask;
            }
        }
    }

    /// The bit that announces the field, as a field of its own.
    fn announcement(&self) -> Option<Self> {
        self.announced_by.map(|first_bit| Self {
            name: "",
            first_bit,
            bits: 1,
            kind: Kind::Flag,
            announced_by: None,
        })
    }

    /// What the field says in a parameter's data bytes: [`Value::Absent`] if the parameter says that it is not there,
    /// nothing if they are too few.
    #[must_use]
    pub fn decode(&self, data: &[u8]) -> Option<Value> {
        let raw = self.extract(data)?;
        if let Some(announcement) = self.announcement()
            && announcement.extract(data)? == 0
        {
            return Some(Value::Absent);
        }
        let [_, b, c, d] = raw.to_be_bytes();
        Some(match &self.kind {
            Kind::Number(scaling) => Value::Number(scaling.decode(raw), *scaling),
            Kind::NumberOrAbsent(scaling) if raw == scaling.absent() => Value::Absent,
            Kind::NumberOrAbsent(scaling) => Value::Number(scaling.decode(raw), *scaling),
            Kind::Choice(names) => Value::Choice {
                raw: d,
                name: names.iter().find(|(value, _)| *value == d).map(|(_, name)| *name),
            },
            Kind::Flag => Value::Flag(raw == 1),
            Kind::Code => Value::Code((raw != 0).then_some(Dtc::from_bytes([c, d]))),
            Kind::Readiness => Value::Readiness(Readiness::from_bytes([b, c, d])),
            Kind::Bits => Value::Bits(raw),
            Kind::SensorPlaces(a_bank) => Value::SensorPlaces {
                places: d,
                a_bank: *a_bank,
            },
            Kind::Mask => Value::Mask(raw),
        })
    }

    /// Writes a value into a parameter's data bytes, and that the field is there where a bit says so: the way back of
    /// [`Field::decode`]. Numbers are coded as [`Scaling::encode`] does; [`Value::Absent`] is all bits set where the
    /// field can say so itself, else 0 and not announced. A value of another kind counts as absent.
    ///
    /// # Panics
    /// If the data bytes are too few.
    pub fn encode(&self, value: Value, data: &mut [u8]) {
        let raw = match (&self.kind, value) {
            (Kind::Number(scaling), Value::Number(value, _)) => Some(scaling.encode(value)),
            (Kind::NumberOrAbsent(scaling), Value::Number(value, _)) => {
                Some(scaling.encode_or_absent(Some(value)))
            }
            (Kind::NumberOrAbsent(scaling), _) => Some(scaling.absent()),
            (Kind::Choice(_), Value::Choice { raw, .. }) => Some(raw.into()),
            (Kind::Flag, Value::Flag(on)) => Some(on.into()),
            (Kind::Code, Value::Code(code)) => Some(code.map_or(0, |code| {
                let [high, low] = code.to_bytes();
                u32::from_be_bytes([0, 0, high, low])
            })),
            (Kind::Readiness, Value::Readiness(readiness)) => {
                let [b, c, d] = readiness.to_bytes();
                Some(u32::from_be_bytes([0, b, c, d]))
            }
            (Kind::SensorPlaces(_), Value::SensorPlaces { places, .. }) => Some(places.into()),
            (Kind::Bits, Value::Bits(raw)) | (Kind::Mask, Value::Mask(raw)) => Some(raw),
            _ => None,
        };
        self.insert(raw.unwrap_or(0), data);
        // Several fields may hang on one bit, so that an absent one takes nothing back.
        if let (Some(announcement), Some(_)) = (self.announcement(), raw) {
            announcement.insert(1, data);
        }
    }

    /// As [`Field::encode`], for a number in the unit of the field's scaling.
    ///
    /// # Panics
    /// If the data bytes are too few.
    pub fn encode_number(&self, value: f64, data: &mut [u8]) {
        if let Kind::Number(scaling) | Kind::NumberOrAbsent(scaling) = self.kind {
            self.encode(Value::Number(value, scaling), data);
        }
    }
}

impl Scaling {
    /// The raw number that says "not there" where a field can say so: all bits set.
    #[must_use]
    pub const fn absent(&self) -> u32 {
        u32::MAX >> (32 - self.bits)
    }

    /// As [`Scaling::encode`], for a field that can be absent: a value at the top is held one step below the
    /// number that says so.
    #[must_use]
    pub fn encode_or_absent(&self, value: Option<f64>) -> u32 {
        match value {
            Some(value) => self.encode(value).min(self.absent() - 1),
            None => self.absent(),
        }
    }
}

/// What a field says. `Display` gives it with its unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    /// A number, in the unit of its scaling.
    Number(f64, Scaling),
    /// A number that is not used, or a field that the parameter says it has not.
    Absent,
    /// A named value; no name if the table has none for it.
    Choice {
        /// As sent.
        raw: u8,
        /// What it means.
        name: Option<&'static str>,
    },
    /// Yes or no.
    Flag(bool),
    /// A trouble code or none.
    Code(Option<Dtc>),
    /// Which monitor groups there are and which are not complete.
    Readiness(Readiness),
    /// Bits as sent.
    Bits(u32),
    /// Oxygen sensors, bit 0 is bank 1 sensor 1.
    SensorPlaces {
        /// A bit for each.
        places: u8,
        /// How many a bank.
        a_bank: u8,
    },
    /// Supported parameters, the first one in the highest bit.
    Mask(u32),
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.write(f)
    }
}

impl Value {
    /// What `Display` gives, without the detour through a formatter.
    pub(crate) fn write(&self, f: &mut impl Write) -> fmt::Result {
        match *self {
            Self::Number(value, scaling) => write_number(f, value, &scaling),
            Self::Absent => f.write_str("not used"),
            Self::Choice { name: Some(name), .. } => f.write_str(name),
            Self::Choice { raw, name: None } => write!(f, "unknown value ${raw:02X}"),
            Self::Flag(true) => f.write_str("on"),
            Self::Flag(false) => f.write_str("off"),
            Self::Code(Some(code)) => write!(f, "{code}"),
            Self::Code(None) => f.write_str("none"),
            Self::Readiness(readiness) => write_list(
                f,
                "nothing left to complete",
                readiness
                    .groups()
                    .filter(|group| !group.complete)
                    .map(|group| group.name),
            ),
            Self::Bits(raw) => write!(f, "${raw:02X}"),
            Self::SensorPlaces { places, a_bank } => {
                let present = (0..8).filter(|place| places >> place & 1 == 1);
                let a_bank = a_bank.max(1);
                let mut separator = "";
                for place in present {
                    let (bank, sensor) = (place / a_bank + 1, place % a_bank + 1);
                    write!(f, "{separator}bank {bank} sensor {sensor}")?;
                    separator = ", ";
                }
                if separator.is_empty() {
                    f.write_str("none")
                } else {
                    Ok(())
                }
            }
            Self::Mask(mask) => write!(f, "{mask:08X}"),
        }
    }
}

/// Numbers from here on have no exact neighbours.
const EXACT: f64 = 9_007_199_254_740_992.0;

/// Powers of ten for the decimals that scalings have.
const POWERS: [f64; 10] = [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9];

/// Writes a number with as many decimals as it needs, at most those of the scaling, and its unit.
fn write_number(f: &mut impl Write, value: f64, scaling: &Scaling) -> fmt::Result {
    let mut decimals = scaling.decimals.min(POWERS.len() - 1);
    let steps = libm::round(value * POWERS[decimals]);
    if libm::fabs(steps) < EXACT {
        #[expect(clippy::cast_possible_truncation, reason = "it is whole and in range")]
        let mut steps = steps as i64;
        while decimals > 0 && steps % 10 == 0 {
            steps /= 10;
            decimals -= 1;
        }
        write_fixed(f, steps, decimals)?;
    } else {
        write!(f, "{value:.decimals$}")?;
    }
    match scaling.unit.symbol() {
        "" => Ok(()),
        symbol @ "°" => f.write_str(symbol),
        symbol => {
            f.write_str(" ")?;
            f.write_str(symbol)
        }
    }
}

/// Writes names with commas, or `nothing` if there are none.
fn write_list(f: &mut impl Write, nothing: &str, names: impl Iterator<Item = &'static str>) -> fmt::Result {
    let mut separator = "";
    for name in names {
        f.write_str(separator)?;
        f.write_str(name)?;
        separator = ", ";
    }
    if separator.is_empty() {
        f.write_str(nothing)
    } else {
        Ok(())
    }
}
