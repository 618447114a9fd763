//! Numbers as text, digit by digit: what a long listing writes millions of, several times faster than `core::fmt` does.

use core::fmt::{self, Write};

/// All pairs of digits, one after the other.
const PAIRS: &str = "0001020304050607080910111213141516171819202122232425262728293031323334353637383940414243444546474849\
                     5051525354555657585960616263646566676869707172737475767778798081828384858687888990919293949596979899";

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

fn pair(text: &str, place: usize) -> &str {
    text.get(2 * place..2 * place + 2).unwrap_or_default()
}

/// A byte in hexadecimal: `0A`.
///
/// # Errors
/// Those of `out`.
#[inline]
pub fn write_hex(out: &mut impl Write, byte: u8) -> fmt::Result {
    out.write_str(pair(HEX, usize::from(byte)))
}

/// A whole number: `1726`.
///
/// # Errors
/// Those of `out`.
#[inline]
pub fn write_whole(out: &mut impl Write, number: u64) -> fmt::Result {
    write_digits(out, number, 1)
}

/// A whole number with at least so many digits, zeros before it.
///
/// # Errors
/// Those of `out`.
pub fn write_digits(out: &mut impl Write, number: u64, least: usize) -> fmt::Result {
    let mut digits = [b'0'; DIGITS];
    let mut begin = DIGITS;
    let mut rest = number;
    while rest >= 10 {
        let two = pair(PAIRS, usize::try_from(rest % 100).unwrap_or_default()).as_bytes();
        begin -= 2;
        digits[begin..begin + 2].copy_from_slice(two);
        rest /= 100;
    }
    if rest > 0 {
        begin -= 1;
        digits[begin] = b'0' + u8::try_from(rest).unwrap_or_default();
    }
    let begin = begin.min(DIGITS - least.min(DIGITS));
    out.write_str(core::str::from_utf8(&digits[begin..]).unwrap_or_default())
}

/// `number` in units of the last of so many decimals (at most 19), as `core::fmt` shows them: `-0.50`.
///
/// # Errors
/// Those of `out`.
pub fn write_fixed(out: &mut impl Write, number: i64, decimals: usize) -> fmt::Result {
    if number < 0 {
        out.write_str("-")?;
    }
    let number = number.unsigned_abs();
    let power = POWERS[decimals.min(DIGITS - 1)];
    write_whole(out, number / power)?;
    if power > 1 {
        out.write_str(".")?;
        write_digits(out, number % power, decimals)?;
    }
    Ok(())
}

/// How many digits a whole number has, at least 1.
#[must_use]
pub const fn digits(number: u64) -> usize {
    match number.checked_ilog10() {
        Some(tens) => tens as usize + 1,
        None => 1,
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
                assert_eq!(text(|out| write_whole(out, number)), format!("{number}"));
                assert_eq!(digits(number), format!("{number}").len());
                assert_eq!(text(|out| write_digits(out, number, 6)), format!("{number:06}"));
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
    fn every_byte_in_hexadecimal() {
        for byte in 0..=u8::MAX {
            assert_eq!(text(|out| write_hex(out, byte)), format!("{byte:02X}"));
        }
    }
}
