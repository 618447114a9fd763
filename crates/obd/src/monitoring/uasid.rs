//! Units and scalings of test results (SAE J1979-DA): what one count of a value and of its limits is worth.
//!
//! Rows without a remark: as scapy's OBD layer has them, some also printed in makers' service information. Bit 7 of
//! the number says that value and limits are in two's complement. $05 and $1E use the printed 0.0000305, not 1/32768.

use core::fmt;

use crate::pid::{Scaling, Unit};

/// The number of a unit and scaling (UASID).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Uasid(u8);

impl Uasid {
    /// The unit and scaling with this number.
    #[must_use]
    pub const fn new(number: u8) -> Self {
        Self(number)
    }

    /// Its number.
    #[must_use]
    pub const fn number(self) -> u8 {
        self.0
    }

    /// Whether values and limits are in two's complement: bit 7 of the number, also where the table has no row.
    #[must_use]
    pub const fn is_signed(self) -> bool {
        self.0 & 0x80 != 0
    }

    /// What the numbers are worth, if the table knows it.
    #[must_use]
    pub fn scaling(self) -> Option<&'static Scaling> {
        let place = SCALINGS
            .binary_search_by_key(&self.0, |(number, _)| *number)
            .ok()?;
        Some(&SCALINGS[place].1)
    }

    /// All that the table knows, rising.
    pub fn all() -> impl Iterator<Item = Self> {
        SCALINGS.iter().map(|&(number, _)| Self(number))
    }
}

impl fmt::Display for Uasid {
    /// `$FE`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "${:02X}", self.0)
    }
}

macro_rules! scalings {
    ($($number:literal $sign:ident $resolution:literal $offset:literal $unit:ident $decimals:literal;)+) => {
        &[$(($number, scalings!(@ $sign $resolution, $offset, Unit::$unit, $decimals))),+]
    };
    (@ unsigned $resolution:literal, $offset:literal, $unit:expr, $decimals:literal) => {
        Scaling::unsigned(16, $resolution, $offset, $unit, $decimals)
    };
    (@ signed $resolution:literal, $offset:literal, $unit:expr, $decimals:literal) => {
        Scaling::signed(16, $resolution, $unit, $decimals)
    };
}

/// Number, sign, worth of a count, value of count 0, unit, decimals that are worth showing.
const SCALINGS: &[(u8, Scaling)] = scalings![
    0x01 unsigned 1.0 0.0 Count 0;
    0x02 unsigned 0.1 0.0 Count 1;
    0x03 unsigned 0.01 0.0 Count 2;
    0x04 unsigned 0.001 0.0 Count 3;
    0x05 unsigned 0.000_030_5 0.0 Count 5;
    0x06 unsigned 0.000_305 0.0 Count 4;
    0x07 unsigned 0.25 0.0 RevolutionsPerMinute 2;
    0x08 unsigned 0.01 0.0 KilometresPerHour 2;
    0x09 unsigned 1.0 0.0 KilometresPerHour 0;
    0x0A unsigned 0.122 0.0 Millivolts 1;
    0x0B unsigned 0.001 0.0 Volts 3;
    0x0C unsigned 0.01 0.0 Volts 2;
    0x0D unsigned 0.003_906_25 0.0 Milliamperes 3;
    0x0E unsigned 0.001 0.0 Amperes 3;
    0x0F unsigned 0.01 0.0 Amperes 2;
    0x10 unsigned 1.0 0.0 Milliseconds 0;
    0x11 unsigned 100.0 0.0 Milliseconds 0;
    0x12 unsigned 1.0 0.0 Seconds 0;
    0x13 unsigned 1.0 0.0 Milliohms 0;
    0x14 unsigned 1.0 0.0 Ohms 0;
    0x15 unsigned 1.0 0.0 Kiloohms 0;
    0x16 unsigned 0.1 -40.0 DegreesCelsius 1;
    0x17 unsigned 0.01 0.0 Kilopascals 2;
    0x18 unsigned 0.0117 0.0 Kilopascals 2;
    0x19 unsigned 0.079 0.0 Kilopascals 2;
    0x1A unsigned 1.0 0.0 Kilopascals 0;
    0x1B unsigned 10.0 0.0 Kilopascals 0;
    0x1C unsigned 0.01 0.0 DegreesOfAngle 2;
    0x1D unsigned 0.5 0.0 DegreesOfAngle 1;
    0x1E unsigned 0.000_030_5 0.0 Ratio 5;
    0x1F unsigned 0.05 0.0 Ratio 2;
    0x20 unsigned 0.003_906_2 0.0 Ratio 3;
    0x21 unsigned 1.0 0.0 Millihertz 0;
    0x22 unsigned 1.0 0.0 Hertz 0;
    0x23 unsigned 1.0 0.0 Kilohertz 0;
    0x24 unsigned 1.0 0.0 Count 0;
    0x25 unsigned 1.0 0.0 Kilometres 0;
    0x26 unsigned 0.1 0.0 MillivoltsPerMillisecond 1;
    0x27 unsigned 0.01 0.0 GramsPerSecond 2;
    0x28 unsigned 1.0 0.0 GramsPerSecond 0;
    0x29 unsigned 0.25 0.0 PascalsPerSecond 2;
    0x2A unsigned 0.001 0.0 KilogramsPerHour 3;
    0x2B unsigned 1.0 0.0 Switches 0;
    0x2C unsigned 0.01 0.0 GramsPerCylinder 2;
    0x2D unsigned 0.01 0.0 MilligramsPerStroke 2;
    0x2E unsigned 1.0 0.0 TrueOrFalse 0;
    0x2F unsigned 0.01 0.0 Percent 2;
    0x30 unsigned 0.001_526 0.0 Percent 3;
    0x31 unsigned 0.001 0.0 Litres 3;
    0x32 unsigned 0.000_030_5 0.0 Inches 5;
    0x33 unsigned 0.000_244_14 0.0 Ratio 4;
    0x34 unsigned 1.0 0.0 Minutes 0;
    0x35 unsigned 10.0 0.0 Milliseconds 0;
    0x36 unsigned 0.01 0.0 Grams 2;
    0x37 unsigned 0.1 0.0 Grams 1;
    0x38 unsigned 1.0 0.0 Grams 0;
    0x39 unsigned 0.01 -327.68 Percent 2;
    0x3A unsigned 0.001 0.0 Grams 3; // from memory
    0x3B unsigned 0.0001 0.0 Grams 4; // from memory
    0x3C unsigned 0.1 0.0 Microseconds 1; // from memory
    0x3D unsigned 0.01 0.0 Milliamperes 2; // from memory
    0x3E unsigned 0.000_061_035_16 0.0 SquareMillimetres 5; // from memory
    0x3F unsigned 0.01 0.0 Litres 2; // from memory
    0x40 unsigned 1.0 0.0 PartsPerMillion 0; // from memory
    0x41 unsigned 0.01 0.0 Microamperes 2; // from memory
    0x81 signed 1.0 0.0 Count 0;
    0x82 signed 0.1 0.0 Count 1;
    0x83 signed 0.01 0.0 Count 2;
    0x84 signed 0.001 0.0 Count 3;
    0x85 signed 0.000_030_5 0.0 Count 5;
    0x86 signed 0.000_305 0.0 Count 4;
    0x87 signed 1.0 0.0 PartsPerMillion 0; // from memory
    0x8A signed 0.122 0.0 Millivolts 1;
    0x8B signed 0.001 0.0 Volts 3;
    0x8C signed 0.01 0.0 Volts 2;
    0x8D signed 0.003_906_25 0.0 Milliamperes 3;
    0x8E signed 0.001 0.0 Amperes 3;
    0x90 signed 1.0 0.0 Milliseconds 0;
    0x96 signed 0.1 0.0 DegreesCelsius 1;
    0x99 signed 0.1 0.0 Kilopascals 1; // from memory
    0x9C signed 0.01 0.0 DegreesOfAngle 2;
    0x9D signed 0.5 0.0 DegreesOfAngle 1;
    0xA8 signed 1.0 0.0 GramsPerSecond 0;
    0xA9 signed 0.25 0.0 PascalsPerSecond 2;
    0xAD signed 0.01 0.0 MilligramsPerStroke 2; // from memory
    0xAE signed 0.1 0.0 MilligramsPerStroke 1; // from memory
    0xAF signed 0.01 0.0 Percent 2;
    0xB0 signed 0.003_052 0.0 Percent 3;
    0xB1 signed 2.0 0.0 MillivoltsPerSecond 0;
    0xFB signed 10.0 0.0 Kilopascals 0; // from memory
    0xFC signed 0.01 0.0 Kilopascals 2; // from memory
    0xFD signed 0.001 0.0 Kilopascals 3;
    0xFE signed 0.25 0.0 Pascals 2;
];

#[cfg(test)]
mod tests;
