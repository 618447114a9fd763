//! Numbers as text, digit by digit: what a long listing writes millions of, several times faster than `core::fmt` does.

use core::fmt::{self, Write};

/// All pairs of digits, one after the other.
const PAIRS: &str = "0001020304050607080910111213141516171819202122232425262728293031323334353637383940414243444546474849\
                            5051525354555657585960616263646566676869707172737475767778798081828384858687888990919293949596979899";

const DIGIT: &str = "0123456789";

/// All bytes in hexadecimal, one after the other.
const HEX: &str = "000102030405060708090A0B0C0D0E0F101112131415161718191A1B1C1D1E1F\
                   202122232425262728292A2B2C2D2E2F303132333435363738393A3B3C3D3E3F\
                   404142434445464748494A4B4C4D4E4F505152535455565758595A5B5C5D5E5F\
                   606162636465666768696A6B6C6D6E6F707172737475767778797A7B7C7D7E7F\
                   808182838485868788898A8B8C8D8E8F909192939495969798999A9B9C9D9E9F\
                   A0A1A2A3A4A5A6A7A8A9AAABACADAEAFB0B1B2B3B4B5B6B7B8B9BABBBCBDBEBF\
                   C0C1C2C3C4C5C6C7C8C9CACBCCCDCECFD0D1D2D3D4D5D6D7D8D9DADBDCDDDEDF\
                   E0E1E2E3E4E5E6E7E8E9EAEBECEDEEEFF0F1F2F3F4F5F6F7F8F9FAFBFCFDFEFF";

/// Most digits of a number of 64 bits.
const DIGITS: usize = 20;
/// Powers of ten that divide a number of 64 bits.
const POWERS: [u64; DIGITS] = {
    let mut powers = [1; DIGITS];
    let mut place = 1;
    while place < DIGITS {
        powers[place] = powers[place - 1] * 10;
        place += 1;
    }
    powers
};

/// A byte in hexadecimal: `0A`.
///
/// # Errors
/// Those of `out`.
#[inline]
pub fn write_hex(out: &mut impl Write, byte: u8) -> fmt::Result {
    write_part(out, HEX, byte.into(), 2)
}

/// Bytes in hexadecimal, blanks between them: `41 0C 1A F8`.
///
/// # Errors
/// Those of `out`.
#[inline]
pub fn write_bytes(out: &mut impl Write, bytes: &[u8]) -> fmt::Result {
    for (place, &byte) in bytes.iter().enumerate() {
        if place > 0 {
            out.write_str(" ")?;
        }
        write_hex(out, byte)?;
    }
    Ok(())
}

/// A whole number: `1726`.
///
/// # Errors
/// Those of `out`.
#[inline]
pub fn write_whole(out: &mut impl Write, number: u64) -> fmt::Result {
    match number {
        0..10 => write_digit(out, number),
        10..100 => write_pair(out, number),
        100..1000 => {
            write_digit(out, number / 100)?;
            write_pair(out, number % 100)
        }
        1000..10_000 => {
            write_pair(out, number / 100)?;
            write_pair(out, number % 100)
        }
        _ => {
            let mut text = Text::default();
            text.put(number, 1);
            text.write(out)
        }
    }
}

/// `number` in units of the last of so many decimals (at most 19), as `core::fmt` shows them: `-0.50`.
///
/// # Errors
/// Those of `out`.
pub fn write_fixed(out: &mut impl Write, number: i64, decimals: usize) -> fmt::Result {
    write_column(out, number, decimals, 0)
}

/// The same at the right of a column of so many characters (at most 32).
///
/// # Errors
/// Those of `out`.
#[inline]
pub fn write_column(out: &mut impl Write, number: i64, decimals: usize, width: usize) -> fmt::Result {
    match u64::try_from(number) {
        // The two that lines begin with: the divisors are known beforehand.
        Ok(number) if decimals == 6 => {
            let (whole, part) = (number / 1_000_000, number % 1_000_000);
            write_blanks(out, width, digits(whole) + 7)?;
            write_whole(out, whole)?;
            out.write_str(".")?;
            write_pair(out, part / 10_000)?;
            write_pair(out, part / 100 % 100)?;
            write_pair(out, part % 100)
        }
        Ok(number) if decimals == 1 => {
            let (whole, part) = (number / 10, number % 10);
            write_blanks(out, width, digits(whole) + 2)?;
            write_whole(out, whole)?;
            out.write_str(".")?;
            write_digit(out, part)
        }
        _ => write_any(out, number, decimals, width),
    }
}

fn write_any(out: &mut impl Write, number: i64, decimals: usize, width: usize) -> fmt::Result {
    let mut text = Text::default();
    let size = number.unsigned_abs();
    if decimals == 0 {
        text.put(size, 1);
    } else {
        let decimals = decimals.min(DIGITS - 1);
        text.put(size % POWERS[decimals], decimals);
        text.put_one(b'.');
        text.put(size / POWERS[decimals], 1);
    }
    if number < 0 {
        text.put_one(b'-');
    }
    text.begin = text.begin.min(ROOM - width.min(ROOM));
    text.write(out)
}

#[inline]
fn write_blanks(out: &mut impl Write, width: usize, taken: usize) -> fmt::Result {
    const BLANKS: &str = "                                ";
    out.write_str(&BLANKS[..width.saturating_sub(taken).min(ROOM)])
}

#[inline]
fn write_digit(out: &mut impl Write, digit: u64) -> fmt::Result {
    write_part(out, DIGIT, digit, 1)
}

/// Two digits.
#[inline]
fn write_pair(out: &mut impl Write, number: u64) -> fmt::Result {
    write_part(out, PAIRS, number, 2)
}

#[inline]
fn write_part(out: &mut impl Write, parts: &str, place: u64, length: usize) -> fmt::Result {
    let begin = usize::try_from(place).unwrap_or_default() * length;
    out.write_str(parts.get(begin..begin + length).unwrap_or_default())
}

/// How many digits a whole number has.
#[inline]
const fn digits(number: u64) -> usize {
    match number {
        0..10 => 1,
        10..100 => 2,
        100..1000 => 3,
        1000..10_000 => 4,
        _ => number.ilog10() as usize + 1,
    }
}

/// Room for a number, its sign and its point.
const ROOM: usize = 32;

/// A text that grows to the left.
struct Text {
    bytes: [u8; ROOM],
    begin: usize,
}

impl Default for Text {
    fn default() -> Self {
        Self {
            bytes: [b' '; ROOM],
            begin: ROOM,
        }
    }
}

impl Text {
    #[inline]
    fn put_one(&mut self, byte: u8) {
        self.begin -= 1;
        self.bytes[self.begin] = byte;
    }

    /// Digits, at least so many.
    #[inline]
    fn put(&mut self, mut number: u64, least: usize) {
        let until = self.begin - least;
        while number >= 10 {
            let pair = 2 * usize::try_from(number % 100).unwrap_or_default();
            number /= 100;
            self.begin -= 2;
            self.bytes[self.begin..self.begin + 2].copy_from_slice(&PAIRS.as_bytes()[pair..pair + 2]);
        }
        if number > 0 {
            self.put_one(b'0' + u8::try_from(number).unwrap_or_default());
        }
        while self.begin > until {
            self.put_one(b'0');
        }
    }

    #[inline]
    fn write(&self, out: &mut impl Write) -> fmt::Result {
        out.write_str(core::str::from_utf8(&self.bytes[self.begin..]).unwrap_or_default())
    }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::{format, string::String};

    use super::*;

    fn text(write: impl FnOnce(&mut String) -> fmt::Result) -> String {
        let mut text = String::new();
        write(&mut text).unwrap();
        text
    }

    /// As the standard library writes them.
    #[test]
    fn whole_numbers_are_those_of_the_library() {
        let mut number: u64 = 0;
        for _ in 0..20 {
            for number in [number.saturating_sub(1), number, number + 1] {
                assert_eq!(digits(number), format!("{number}").len());
                let fixed = text(|out| write_fixed(out, (number / 10).cast_signed(), 6));
                assert_eq!(
                    fixed,
                    format!("{}.{:06}", number / 10_000_000, number / 10 % 1_000_000)
                );
                assert_eq!(text(|out| write_whole(out, number)), format!("{number}"));
            }
            number = if number == 0 { 1 } else { number.saturating_mul(10) };
        }
        assert_eq!(text(|out| write_whole(out, u64::MAX)), format!("{}", u64::MAX));
    }

    #[test]
    fn decimals_keep_their_zeros() {
        for (number, decimals, shown) in [
            (0, 0, "0"),
            (7, 0, "7"),
            (-7, 1, "-0.7"),
            (-1250, 2, "-12.50"),
            (5, 3, "0.005"),
            (1_000_000, 6, "1.000000"),
            (i64::MIN, 0, "-9223372036854775808"),
        ] {
            assert_eq!(text(|out| write_fixed(out, number, decimals)), shown);
        }
    }

    #[test]
    fn columns_are_filled_with_blanks() {
        for (number, width, shown) in [
            (0, 13, "     0.000000"),
            (-1_500_000, 13, "    -1.500000"),
            (12_345_678_901_234, 13, "12345678.901234"),
        ] {
            assert_eq!(text(|out| write_column(out, number, 6, width)), shown);
        }
    }

    #[test]
    fn every_byte_in_hexadecimal() {
        for byte in 0..=u8::MAX {
            assert_eq!(text(|out| write_hex(out, byte)), format!("{byte:02X}"));
        }
        for (bytes, shown) in [(&[][..], ""), (&[0x41], "41"), (&[0x41, 0x0C, 0], "41 0C 00")] {
            assert_eq!(text(|out| write_bytes(out, bytes)), shown);
        }
    }
}
