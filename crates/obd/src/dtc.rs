//! Diagnostic trouble codes: two bytes on the wire, five characters for people (SAE J2012, ISO 15031-6).

use core::{fmt, str::FromStr};

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};
use thiserror::Error;

/// A trouble code as its two bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Dtc(u16);

/// Why a text is not a trouble code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum DtcError {
    /// Not five characters.
    #[error("a trouble code has five characters, like P0455")]
    Length,
    /// The first character is none of P, C, B, U.
    #[error("a trouble code begins with P, C, B or U")]
    Letter,
    /// The second character is none of 0 to 3.
    #[error("the first digit of a trouble code is 0 to 3")]
    FirstDigit,
    /// One of the last three characters is not hexadecimal.
    #[error("the last three digits of a trouble code are hexadecimal")]
    Digit,
}

impl Dtc {
    /// The code in these two bytes, high byte first.
    #[must_use]
    pub const fn from_bytes(bytes: [u8; 2]) -> Self {
        Self(u16::from_be_bytes(bytes))
    }

    /// The two bytes, high byte first.
    #[must_use]
    pub const fn to_bytes(self) -> [u8; 2] {
        self.0.to_be_bytes()
    }

    /// Whether its number is one that makers define for themselves: P1xxx and P30xx to P33xx, and of C, B and U those with
    /// 1 or 2 (SAE J2012, from memory).
    #[must_use]
    pub const fn is_makers_own(self) -> bool {
        let (letter, first) = (self.0 >> 14, self.0 >> 12 & 3);
        match (letter, first) {
            (_, 1) => true,
            (0, 3) => self.0 >> 8 & 0xF < 4,
            (_, 2) => letter != 0,
            _ => false,
        }
    }

    /// The powertrain code `P` + four hexadecimal digits: `Dtc::p(0x0455)` is P0455.
    ///
    /// # Panics
    /// If the first digit is above 3.
    #[must_use]
    pub const fn p(digits: u16) -> Self {
        assert!(digits < 0x4000, "the first digit of a trouble code is 0 to 3");
        Self(digits)
    }
}

impl fmt::Display for Dtc {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letter = ['P', 'C', 'B', 'U'][usize::from(self.0 >> 14)];
        write!(f, "{letter}{:04X}", self.0 & 0x3FFF)
    }
}

impl FromStr for Dtc {
    type Err = DtcError;

    /// Reads `P0455`, in either case.
    fn from_str(text: &str) -> Result<Self, DtcError> {
        let mut characters = text.chars();
        if characters.clone().count() != 5 {
            return Err(DtcError::Length);
        }
        let letter = match characters.next().map(|letter| letter.to_ascii_uppercase()) {
            Some('P') => 0,
            Some('C') => 1,
            Some('B') => 2,
            Some('U') => 3,
            _ => return Err(DtcError::Letter),
        };
        let mut code = letter << 14;
        for (character, shift) in characters.zip([12, 8, 4, 0]) {
            let digit = character.to_digit(16).ok_or(DtcError::Digit)?;
            if shift == 12 && digit > 3 {
                return Err(DtcError::FirstDigit);
            }
            code |= u16::try_from(digit).map_err(|_| DtcError::Digit)? << shift;
        }
        Ok(Self(code))
    }
}

/// Written where it is kept as people write it: `P0455`.
impl Serialize for Dtc {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Dtc {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Text;
        impl de::Visitor<'_> for Text {
            type Value = Dtc;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a trouble code like P0455")
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Dtc, E> {
                text.parse().map_err(E::custom)
            }
        }
        deserializer.deserialize_str(Text)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    #[test]
    fn makers_have_numbers_of_their_own() {
        let own = |code: &str| code.parse::<Dtc>().is_ok_and(Dtc::is_makers_own);
        for code in [
            "P1000", "P1FFF", "P3000", "P33FF", "C1234", "C2345", "B1000", "U2FFF",
        ] {
            assert!(own(code), "{code}");
        }
        for code in [
            "P0455", "P2135", "P3400", "P3FFF", "C0035", "B0001", "U0100", "U3000",
        ] {
            assert!(!own(code), "{code}");
        }
    }
    use std::string::ToString;

    /// P0143 from an article citing the ISO 15031-5 figure, U0158 from a public
    /// encyclopedia, C0035 and B0100 from public excerpts.
    #[test]
    fn codes_and_bytes_agree_with_published_pairs() {
        for (text, bytes) in [
            ("P0143", [0x01, 0x43]),
            ("U0158", [0xC1, 0x58]),
            ("P2135", [0x21, 0x35]),
            ("C0035", [0x40, 0x35]),
            ("B0100", [0x81, 0x00]),
            ("P0A24", [0x0A, 0x24]),
        ] {
            assert_eq!(text.parse(), Ok(Dtc::from_bytes(bytes)));
            assert_eq!(Dtc::from_bytes(bytes).to_string(), text);
        }
    }

    #[test]
    fn a_wrong_text_says_what_is_wrong() {
        assert_eq!("P045".parse::<Dtc>(), Err(DtcError::Length));
        assert_eq!("X0455".parse::<Dtc>(), Err(DtcError::Letter));
        assert_eq!("P4455".parse::<Dtc>(), Err(DtcError::FirstDigit));
        assert_eq!("P04G5".parse::<Dtc>(), Err(DtcError::Digit));
    }
}
