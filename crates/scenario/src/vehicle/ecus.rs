//! What a vehicle file says of the car's diagnostics: the bus, and which ECUs are on it.

use core::time::Duration;

use twotrip_ecu::listed::ListedEcu;

/// Size of the identifiers of a car's diagnostics: ISO 15765-4 knows both, and a car has one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Identifiers {
    /// 7DF to all, 7E0 to 7E7 to one, 7E8 to 7EF back.
    #[default]
    Bits11,
    /// 18DB33F1 to all, 18DAxxF1 to one, 18DAF1xx back.
    Bits29,
}

impl Identifiers {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Bits11, Self::Bits29];

    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Bits11 => "11-bit",
            Self::Bits29 => "29-bit",
        }
    }

    /// The size that has this word.
    #[must_use]
    pub fn find(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|size| size.word() == word)
    }
}

/// The bus of a car's diagnostics.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BusEntry {
    /// Size of its identifiers.
    pub identifiers: Identifiers,
    /// Bit rate, kbit/s: 250 or 500 (ISO 15765-4, from public excerpts).
    pub kbit_per_second: u32,
}

impl Default for BusEntry {
    fn default() -> Self {
        Self {
            identifiers: Identifiers::Bits11,
            kbit_per_second: 500,
        }
    }
}

/// Which ECU a table is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Role {
    /// The engine ECU.
    Engine,
    /// The transmission ECU.
    Transmission,
    /// One that says what is listed of it.
    Listed(Box<ListedEcu>),
}

/// One of the car's ECUs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EcuEntry {
    /// Which.
    pub role: Role,
    /// Its number on 11 bits, 0 to 7: 7E0 and 7E8 are those of number 0.
    pub number: u8,
    /// Its address on 29 bits.
    pub address: u8,
    /// Least and greatest delay of its answers; as usual if the file does not say.
    pub reply: Option<(Duration, Duration)>,
}

impl EcuEntry {
    /// What its name begins with: ECM, BCM ...
    #[must_use]
    pub fn acronym(&self) -> &str {
        match &self.role {
            Role::Engine => "ECM",
            Role::Transmission => "TCM",
            Role::Listed(ecu) => ecu.listing().acronym(),
        }
    }

    /// The engine ECU as it is where a file says nothing: 7E0, and 10 (by recommendation, from memory).
    #[must_use]
    pub const fn engine() -> Self {
        Self {
            role: Role::Engine,
            number: 0,
            address: 0x10,
            reply: None,
        }
    }
}
