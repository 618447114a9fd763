//! Who speaks to whom: the identifiers of legislated diagnostics (ISO 15765-4, from memory).

use core::fmt;

use twotrip_can::{
    CanId,
    address::{EcuAddress, TESTER},
};

/// An ECU, known by the identifier of its answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Ecu(CanId);

impl Ecu {
    /// The identifier of its answers.
    #[must_use]
    pub const fn response(self) -> CanId {
        self.0
    }

    /// The identifier of requests and flow control to it alone.
    #[must_use]
    pub const fn request(self) -> CanId {
        match self.0 {
            CanId::Standard(id) => CanId::Standard(id - 8),
            CanId::Extended(id) => {
                let [_, _, _, ecu] = id.to_be_bytes();
                EcuAddress::extended(ecu).request
            }
        }
    }
}

impl fmt::Display for Ecu {
    /// `7E8`, `18DAF110`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

/// What a frame of diagnostics is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// The tester asks all ECUs with identifiers of this size.
    AskAll {
        /// 29 bits.
        extended: bool,
    },
    /// The tester asks one ECU, or steers its answer.
    Ask(Ecu),
    /// An ECU answers, or steers the request.
    Answer(Ecu),
}

/// 29-bit identifiers of one asked ECU and of an answering one: what is left when the addresses are taken off.
const PAIR: u32 = 0x18DA_0000;

impl Role {
    /// The role that an identifier has; `None` if it has none in diagnostics.
    #[must_use]
    pub fn of(id: CanId) -> Option<Self> {
        match id {
            CanId::Standard(0x7DF) => Some(Self::AskAll { extended: false }),
            CanId::Standard(id @ 0x7E0..=0x7E7) => Some(Self::Ask(Ecu(CanId::Standard(id + 8)))),
            CanId::Standard(0x7E8..=0x7EF) => Some(Self::Answer(Ecu(id))),
            CanId::Standard(_) => None,
            id if id == EcuAddress::extended(0).functional => Some(Self::AskAll { extended: true }),
            CanId::Extended(raw) if raw & 0x1FFF_0000 == PAIR => match raw.to_be_bytes() {
                [_, _, TESTER, ecu] if ecu != TESTER => {
                    Some(Self::Answer(Ecu(EcuAddress::extended(ecu).response)))
                }
                [_, _, ecu, TESTER] if ecu != TESTER => {
                    Some(Self::Ask(Ecu(EcuAddress::extended(ecu).response)))
                }
                _ => None,
            },
            CanId::Extended(_) => None,
        }
    }

    /// Whether the tester sends it.
    #[must_use]
    pub const fn is_testers(self) -> bool {
        !matches!(self, Self::Answer(_))
    }

    /// Whether its identifier has 29 bits.
    #[must_use]
    pub const fn is_extended(self) -> bool {
        match self {
            Self::AskAll { extended } => extended,
            Self::Ask(ecu) | Self::Answer(ecu) => ecu.0.is_extended(),
        }
    }

    /// Whether a question in this role is put to that ECU.
    #[must_use]
    pub fn reaches(self, ecu: Ecu) -> bool {
        match self {
            Self::AskAll { extended } => ecu.0.is_extended() == extended,
            Self::Ask(asked) => asked == ecu,
            Self::Answer(_) => false,
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::AskAll { .. } => f.write_str("tester to all"),
            Self::Ask(ecu) => write!(f, "tester to {ecu}"),
            Self::Answer(ecu) => write!(f, "{ecu} to tester"),
        }
    }
}
