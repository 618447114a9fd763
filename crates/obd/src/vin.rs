//! The check digit of a vehicle identification number: 49 CFR 565.15(c), tables III to V.

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

/// What each place counts (table IV); the ninth is the check digit itself.
const WEIGHTS: [u32; 17] = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];

/// The character that belongs in the ninth place: the weighted sum modulo 11, ten written `X` (table V). Nothing if
/// a character is not allowed.
#[must_use]
pub const fn check_digit(vin: &[u8; 17]) -> Option<u8> {
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

#[cfg(test)]
mod tests {
    use super::*;

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
