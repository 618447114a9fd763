//! Who the ECU says it is: VIN, calibration and name (service $09).

use core::fmt::{self, Write};

use twotrip_obd::vin::check_digit;

use crate::{
    Calibration,
    memory::{Catalogue, Profile},
};

/// Vehicle information of one ECU.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Identity {
    vin: [u8; 17],
    calibration_id: [u8; 16],
    verification_number: u32,
    ecu_name: [u8; 20],
}

/// Why a text is no vehicle identification number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum VinError {
    /// Not 17 characters.
    #[error("a vehicle identification number has 17 characters, this one `{0}`")]
    Length(usize),
    /// A character that it cannot have.
    #[error("a vehicle identification number is made of digits and capital letters without I, O and Q")]
    Character,
    /// The ninth character does not check the others (49 CFR 565.15(c)).
    #[error("the ninth character must be the check digit `{0}`")]
    CheckDigit(char),
}

impl Identity {
    /// The VIN of the car: invented. No region and so no maker has numbers that begin with `0` (ISO 3780, from
    /// memory); `A` is model year 2010 (49 CFR 565, table of years).
    pub const VIN: &'static str = "0TW00TRP3A0000042";

    /// The engine ECU with these numbers of the regulation, these monitors and these figures of its engine as its
    /// calibration.
    #[must_use]
    pub fn engine(profile: &Profile, catalogue: &Catalogue, calibration: &Calibration) -> Self {
        // What a real ECU sums up is its memory; here that is these three, written out.
        let number = Sums::whole(profile, catalogue, calibration);
        let mut vin = [0; 17];
        vin.copy_from_slice(Self::VIN.as_bytes());
        let mut calibration_id = *b"TWOTRIP-ENG-    ";
        calibration_id[12..].copy_from_slice(&profile.calibration);
        Self {
            vin,
            calibration_id,
            verification_number: number,
            ecu_name: *b"ECM\0-EngineControl\0\0",
        }
    }

    /// The transmission ECU with these numbers of the regulation, these monitors and these figures of its gearbox.
    #[must_use]
    pub fn transmission(profile: &Profile, catalogue: &Catalogue, figures: &dyn fmt::Debug) -> Self {
        let mut calibration_id = *b"TWOTRIP-TCM-    ";
        calibration_id[12..].copy_from_slice(&profile.calibration);
        Self {
            vin: [0; 17],
            calibration_id,
            verification_number: Sums::whole(profile, catalogue, figures),
            ecu_name: *b"TCM\0-TransmisCtrl\0\0\0",
        }
    }

    /// Sums up the memory again, read with a bit turned over in the program or in the calibration; says of each whether
    /// its sum is what was written. A tester gets the number of what was read.
    pub(crate) fn sum_up(
        &mut self,
        profile: &Profile,
        catalogue: &Catalogue,
        calibration: &Calibration,
        [program, figures]: [bool; 2],
    ) -> [bool; 2] {
        /// The bytes in which a bit turns over.
        const TURNED: [usize; 2] = [1000, 40];
        let turned = [program.then_some(TURNED[0]), figures.then_some(TURNED[1])];
        let written = Sums::of(profile, catalogue, calibration, [None; 2]);
        let read = Sums::of(profile, catalogue, calibration, turned);
        self.verification_number = read.whole;
        [
            read.program == written.program,
            read.calibration == written.calibration,
        ]
    }

    /// The same ECU in a car with another VIN.
    ///
    /// # Errors
    /// If the text is no vehicle identification number.
    pub fn with_vin(mut self, vin: &str) -> Result<Self, VinError> {
        self.vin = Self::read_vin(vin)?;
        Ok(self)
    }

    /// A vehicle identification number of its text.
    ///
    /// # Errors
    /// If the text is none.
    pub fn read_vin(text: &str) -> Result<[u8; 17], VinError> {
        let vin: [u8; 17] = text
            .as_bytes()
            .try_into()
            .map_err(|_| VinError::Length(text.chars().count()))?;
        match check_digit(&vin) {
            None => Err(VinError::Character),
            Some(digit) if digit != vin[8] => Err(VinError::CheckDigit(digit.into())),
            Some(_) => Ok(vin),
        }
    }

    /// The same ECU with another beginning of its calibration's name: of 12 characters at most, the rest is cut off.
    #[must_use]
    pub fn with_calibration_name(mut self, name: &str) -> Self {
        let (maker, _) = self.calibration_id.split_at_mut(12);
        maker.fill(b' ');
        for (place, byte) in maker.iter_mut().zip(name.bytes()) {
            *place = byte;
        }
        self
    }

    /// InfoType $02; of an ECU that reports none, zeros.
    #[must_use]
    pub const fn vin(&self) -> &[u8; 17] {
        &self.vin
    }

    /// InfoType $04.
    #[must_use]
    pub const fn calibration_id(&self) -> &[u8; 16] {
        &self.calibration_id
    }

    /// InfoType $06: a CRC-32 over the calibration. The standard leaves the method to the maker; it asks that the
    /// number changes with the calibration, and with nothing else.
    #[must_use]
    pub const fn verification_number(&self) -> u32 {
        self.verification_number
    }

    /// InfoType $0A: acronym, `-`, text.
    #[must_use]
    pub const fn ecu_name(&self) -> &[u8; 20] {
        &self.ecu_name
    }
}

/// Sums over the two parts of the memory and over both.
struct Sums {
    program: u32,
    calibration: u32,
    whole: u32,
}

impl Sums {
    /// The sum over both parts as they were written.
    fn whole(profile: &Profile, catalogue: &Catalogue, calibration: &dyn fmt::Debug) -> u32 {
        checksum(format_args!("{profile:?}\n{catalogue:?}\n{calibration:?}"))
    }

    /// With a bit turned over at these places of program and calibration.
    fn of(
        profile: &Profile,
        catalogue: &Catalogue,
        calibration: &dyn fmt::Debug,
        [program, figures]: [Option<usize>; 2],
    ) -> Self {
        let of_program = Crc32::new().over(format_args!("{profile:?}\n{catalogue:?}\n"), program);
        let calibration = format_args!("{calibration:?}");
        Self {
            program: of_program.finish(),
            calibration: Crc32::new().over(calibration, figures).finish(),
            whole: of_program.over(calibration, figures).finish(),
        }
    }
}

/// The CRC-32 of a text.
pub(crate) fn checksum(text: fmt::Arguments<'_>) -> u32 {
    Crc32::new().over(text, None).finish()
}

/// CRC-32 of ISO/IEC 8802-3 (polynomial $04C11DB7, reflected): it runs over some ten thousand bytes when the ECU is made or
/// renewed, and at key-on where a bit has turned over.
#[derive(Clone, Copy)]
struct Crc32(u32);

/// What a byte makes of a sum whose last byte it is.
static OF_A_BYTE: [u32; 256] = {
    let mut table = [0; 256];
    let mut byte: u32 = 0;
    while byte < 256 {
        let (mut sum, mut bit) = (byte, 0);
        while bit < 8 {
            sum = if sum & 1 == 1 {
                sum >> 1 ^ 0xEDB8_8320
            } else {
                sum >> 1
            };
            bit += 1;
        }
        table[byte as usize] = sum;
        byte += 1;
    }
    table
};

impl Crc32 {
    const fn new() -> Self {
        Self(u32::MAX)
    }

    const fn finish(&self) -> u32 {
        !self.0
    }

    /// Goes on over a text, of which the lowest bit of one byte reads as its opposite.
    fn over(self, text: fmt::Arguments<'_>, turned: Option<usize>) -> Self {
        let mut reader = Reader { crc: self, turned };
        // Writing into the sum cannot fail.
        let _ = reader.write_fmt(text);
        reader.crc
    }

    fn take(&mut self, byte: u8) {
        let [last, ..] = self.0.to_le_bytes();
        self.0 = self.0 >> 8 ^ OF_A_BYTE[usize::from(last ^ byte)];
    }
}

/// A sum that is told so many bytes before the one with the turned bit.
struct Reader {
    crc: Crc32,
    turned: Option<usize>,
}

impl Write for Reader {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        for byte in text.bytes() {
            let here = self.turned == Some(0);
            self.crc.take(byte ^ u8::from(here));
            self.turned = self.turned.filter(|_| !here).map(|left| left - 1);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The check value that catalogues of checksums give for this one: `123456789` makes CBF43926.
    #[test]
    fn checksum_meets_its_published_check_value() {
        let crc = Crc32::new().over(format_args!("{}6789", "12345"), None);
        assert_eq!(crc.finish(), 0xCBF4_3926);
        let turned = Crc32::new().over(format_args!("{}6789", "12345"), Some(6));
        let other = Crc32::new().over(format_args!("123456689"), None);
        assert_eq!(turned.finish(), other.finish(), "7 is 0x37, 6 is 0x36");
    }

    #[test]
    fn own_vin_carries_its_check_digit() {
        let vin: [u8; 17] = Identity::VIN.as_bytes().try_into().unwrap();
        assert_eq!(check_digit(&vin).map(char::from), Some(char::from(vin[8])));
    }

    #[test]
    fn verification_number_follows_the_calibration_and_nothing_else() {
        static CATALOGUE: Catalogue = Catalogue {
            monitors: &[],
            codes: &[],
        };
        let identity = Identity::engine(&Profile::US_2010, &CATALOGUE, &Calibration::compact_2_0());
        assert_eq!(
            identity,
            Identity::engine(&Profile::US_2010, &CATALOGUE, &Calibration::compact_2_0())
        );
        let changed = Profile {
            warm_ups_to_erase: 41,
            ..Profile::US_2010
        };
        assert_ne!(
            identity.verification_number,
            Identity::engine(&changed, &CATALOGUE, &Calibration::compact_2_0()).verification_number
        );
        let other_car = identity.clone().with_vin("11111111111111111").unwrap();
        assert_eq!(identity.verification_number, other_car.verification_number);
    }

    #[test]
    fn wrong_vins_are_named() {
        static CATALOGUE: Catalogue = Catalogue {
            monitors: &[],
            codes: &[],
        };
        let wrong = |vin| {
            Identity::engine(&Profile::US_2010, &CATALOGUE, &Calibration::compact_2_0())
                .with_vin(vin)
                .unwrap_err()
        };
        assert_eq!(wrong("0TW00TRP"), VinError::Length(8));
        assert_eq!(wrong("0TW00TRPOA0000042"), VinError::Character);
        assert_eq!(wrong("11111111211111111"), VinError::CheckDigit('1'));
    }
}
