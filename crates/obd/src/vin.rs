//! The vehicle identification number: its length (49 CFR 565.13), its characters and its check digit (565.15(c),
//! tables III to V).

/// Characters of a vehicle identification number (49 CFR 565.13).
pub const LENGTH: usize = 17;

/// What a letter or digit counts (table III); `I`, `O`, `Q` and everything else are not allowed in a VIN.
const fn transliterate(character: u8) -> Option<u32> {
    Some(match character {
        b'0'..=b'9' => (character - b'0') as u32,
        b'A' | b'J' => 1,
        b'B' | b'K' | b'S' => 2,
        b'C' | b'L' | b'T' => 3,
        b'D' | b'M' | b'U' => 4,
        b'E' | b'N' | b'V' => 5,
        b'F' | b'W' => 6,
        b'G' | b'P' | b'X' => 7,
        b'H' | b'Y' => 8,
        b'R' | b'Z' => 9,
        _ => return None,
    })
}

/// Whether a number may have this character.
#[must_use]
pub const fn is_character(character: u8) -> bool {
    transliterate(character).is_some()
}

/// What each place counts (table IV); the ninth is the check digit itself.
const WEIGHTS: [u32; LENGTH] = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];

/// The character that belongs in the ninth place: the weighted sum modulo 11, ten written `X` (table V). Nothing if
/// a character is not allowed.
#[must_use]
pub const fn check_digit(vin: &[u8; LENGTH]) -> Option<u8> {
    let mut sum = 0;
    let mut place = 0;
    while place < vin.len() {
        match transliterate(vin[place]) {
            Some(value) => sum += value * WEIGHTS[place],
            None => return None,
        }
        place += 1;
    }
    Some(b"0123456789X"[(sum % 11) as usize])
}

/// Codes of model years from 1980, and again from 2010, on (49 CFR 565.15, table VII, from memory).
const YEARS: &[u8; 30] = b"ABCDEFGHJKLMNPRSTVWXY123456789";

/// The model year, from the tenth character; the seventh tells which thirty years: a digit 1980 to 2009, a letter 2010 to
/// 2039 (49 CFR 565.15, from memory; for cars and light trucks). Nothing if the tenth character stands for none.
#[must_use]
pub fn model_year(vin: &[u8; LENGTH]) -> Option<u16> {
    let place = YEARS.iter().position(|&code| code == vin[9])?;
    let first = if vin[6].is_ascii_digit() { 1980 } else { 2010 };
    u16::try_from(place).ok().map(|years| first + years)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Table VII: the car of this project is of 2010; `Y` and `1` are 2000 and 2001, or 2030 and 2031.
    #[test]
    fn the_tenth_character_is_the_model_year() {
        let year = |seventh: u8, tenth: u8| {
            let mut vin = *b"0TW00TRP3A0000042";
            vin[6] = seventh;
            vin[9] = tenth;
            model_year(&vin)
        };
        assert_eq!(model_year(b"0TW00TRP3A0000042"), Some(2010));
        assert_eq!((year(b'0', b'A'), year(b'0', b'T')), (Some(1980), Some(1996)));
        assert_eq!((year(b'0', b'Y'), year(b'0', b'1')), (Some(2000), Some(2001)));
        assert_eq!((year(b'X', b'Y'), year(b'X', b'9')), (Some(2030), Some(2039)));
        assert_eq!((year(b'X', b'0'), year(b'X', b'Z')), (None, None));
    }

    /// The textbook case of seventeen ones: by the weights of 49 CFR 565.15(c) they add up to 89 = 8 * 11 + 1. The
    /// other number is invented; its sum by hand is 3*7 + 6*6 + 3*3 + 9*2 + 7*10 + 1*9 + 4*3 + 2*2 = 179, which is 3 modulo 11.
    #[test]
    fn published_numbers_carry_their_check_digit() {
        for vin in [b"0TW00TRP3A0000042", b"11111111111111111"] {
            assert_eq!(check_digit(vin), Some(vin[8]));
        }
        assert_eq!(check_digit(b"0TW00TRP3A000004I"), None);
        assert_ne!(check_digit(b"0TW00TRP3A0000043"), Some(b'3'));
    }
}
