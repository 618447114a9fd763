//! The frame around every block of pcapng: type, length, body, length again.

use crate::Problem;

/// Longest block that is taken apart, bytes. Longer ones are skipped unread: no frame, name or comment needs as much.
pub const BLOCK_MAX: usize = 1 << 20;

/// Type of a section header; the same in either byte order.
pub(crate) const SECTION: u32 = 0x0A0D_0D0A;
pub(crate) const INTERFACE: u32 = 1;
pub(crate) const SIMPLE_PACKET: u32 = 3;
pub(crate) const STATISTICS: u32 = 5;
pub(crate) const PACKET: u32 = 6;
pub(crate) const MAGIC: u32 = 0x1A2B_3C4D;

/// Type, length and length again.
const AROUND: u32 = 12;

/// The byte order of a section's numbers: its writer's.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ByteOrder {
    /// Least significant byte first.
    #[default]
    Little,
    /// Most significant byte first.
    Big,
}

impl ByteOrder {
    pub(crate) const fn u16(self, bytes: [u8; 2]) -> u16 {
        match self {
            Self::Little => u16::from_le_bytes(bytes),
            Self::Big => u16::from_be_bytes(bytes),
        }
    }

    pub(crate) const fn u32(self, bytes: [u8; 4]) -> u32 {
        match self {
            Self::Little => u32::from_le_bytes(bytes),
            Self::Big => u32::from_be_bytes(bytes),
        }
    }

    pub(crate) const fn u64(self, bytes: [u8; 8]) -> u64 {
        match self {
            Self::Little => u64::from_le_bytes(bytes),
            Self::Big => u64::from_be_bytes(bytes),
        }
    }

    pub(crate) const fn u16_bytes(self, number: u16) -> [u8; 2] {
        match self {
            Self::Little => number.to_le_bytes(),
            Self::Big => number.to_be_bytes(),
        }
    }

    pub(crate) const fn u32_bytes(self, number: u32) -> [u8; 4] {
        match self {
            Self::Little => number.to_le_bytes(),
            Self::Big => number.to_be_bytes(),
        }
    }

    /// The number at a place; `None` beyond the end.
    pub(crate) fn u32_at(self, bytes: &[u8], place: usize) -> Option<u32> {
        bytes
            .get(place..)?
            .first_chunk::<4>()
            .map(|bytes| self.u32(*bytes))
    }

    pub(crate) fn u16_at(self, bytes: &[u8], place: usize) -> Option<u16> {
        bytes
            .get(place..)?
            .first_chunk::<2>()
            .map(|bytes| self.u16(*bytes))
    }
}

/// What stands at the front of some bytes.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Front<'a> {
    /// At least so many bytes more are needed.
    More(usize),
    /// A block longer than [`BLOCK_MAX`].
    TooLong { kind: u32, length: u32 },
    /// A whole block.
    Block(Block<'a>),
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct Block<'a> {
    pub(crate) kind: u32,
    pub(crate) order: ByteOrder,
    pub(crate) length: usize,
    pub(crate) body: &'a [u8],
}

/// Looks at the front of `bytes` with the byte order of the section they are in; a new section brings its own.
pub(crate) fn front(bytes: &[u8], order: ByteOrder) -> Result<Front<'_>, Problem> {
    let (Some(kind), Some(length_bytes)) = (order.u32_at(bytes, 0), bytes.get(4..8)) else {
        return Ok(Front::More(8 - bytes.len()));
    };
    let order = if kind == SECTION {
        match bytes.get(8..12) {
            None => return Ok(Front::More(12 - bytes.len())),
            Some(magic) if magic == MAGIC.to_le_bytes() => ByteOrder::Little,
            Some(magic) if magic == MAGIC.to_be_bytes() => ByteOrder::Big,
            Some(_) => return Err(Problem::ByteOrder),
        }
    } else {
        order
    };
    let length = order.u32_at(length_bytes, 0).unwrap_or_default();
    if length < AROUND || !length.is_multiple_of(4) {
        return Err(Problem::Length(length));
    }
    let whole = usize::try_from(length).unwrap_or(usize::MAX);
    if whole > BLOCK_MAX {
        return Ok(Front::TooLong { kind, length });
    }
    let Some(block) = bytes.get(..whole) else {
        return Ok(Front::More(whole - bytes.len()));
    };
    let back = order.u32_at(block, whole - 4).unwrap_or_default();
    if back != length {
        return Err(Problem::Lengths { front: length, back });
    }
    Ok(Front::Block(Block {
        kind,
        order,
        length: whole,
        body: &block[8..whole - 4],
    }))
}
