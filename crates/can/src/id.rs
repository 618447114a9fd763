//! CAN identifiers, 11-bit and 29-bit.

use core::fmt;

/// An identifier; the two sizes are different names even where the numbers agree.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum CanId {
    /// 11-bit base format.
    Standard(u16),
    /// 29-bit extended format.
    Extended(u32),
}

impl CanId {
    /// Largest 11-bit identifier.
    pub const STANDARD_MAX: u16 = 0x7FF;
    /// Largest 29-bit identifier.
    pub const EXTENDED_MAX: u32 = 0x1FFF_FFFF;

    /// An 11-bit identifier, or `None` above [`Self::STANDARD_MAX`].
    #[must_use]
    pub const fn standard(id: u16) -> Option<Self> {
        if id <= Self::STANDARD_MAX {
            Some(Self::Standard(id))
        } else {
            None
        }
    }

    /// A 29-bit identifier, or `None` above [`Self::EXTENDED_MAX`].
    #[must_use]
    pub const fn extended(id: u32) -> Option<Self> {
        if id <= Self::EXTENDED_MAX {
            Some(Self::Extended(id))
        } else {
            None
        }
    }

    /// The bare number.
    #[must_use]
    pub const fn raw(self) -> u32 {
        match self {
            Self::Standard(id) => id as u32,
            Self::Extended(id) => id,
        }
    }

    /// Whether this is a 29-bit identifier.
    #[must_use]
    pub const fn is_extended(self) -> bool {
        matches!(self, Self::Extended(_))
    }

    /// The order in which frames win arbitration, lowest first: the arbitration field as a bit string
    /// (ISO 11898-1: dominant is 0, so the lower number wins; SRR and IDE are recessive in the long form,
    /// so an 11-bit data frame beats a 29-bit frame with the same leading bits; a data frame beats a remote one).
    #[must_use]
    pub const fn arbitration_key(self, remote: bool) -> u64 {
        match self {
            Self::Standard(id) => ((id as u64) << 21) | ((remote as u64) << 20),
            Self::Extended(id) => {
                let base = (id >> 18) as u64;
                let rest = (id & 0x3_FFFF) as u64;
                (base << 21) | (0b11 << 19) | (rest << 1) | remote as u64
            }
        }
    }
}

impl fmt::Display for CanId {
    /// `7E8`, `18DAF110`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Standard(id) => write!(f, "{id:03X}"),
            Self::Extended(id) => write!(f, "{id:08X}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::CanId;

    /// ISO 11898-1, arbitration (from memory).
    #[test]
    fn lower_and_shorter_identifiers_win() {
        let key = |id: CanId| id.arbitration_key(false);
        assert!(key(CanId::Standard(0x7E0)) < key(CanId::Standard(0x7E8)));
        assert!(key(CanId::Standard(0x7E8)) < key(CanId::Extended(0x7E8 << 18)));
        assert!(key(CanId::Extended(0x18DA_F110)) < key(CanId::Standard(0x7DF)));
        assert!(key(CanId::Standard(0x7DF)) < CanId::Standard(0x7DF).arbitration_key(true));
    }
}
