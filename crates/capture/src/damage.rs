//! What is wrong with a file, and where.

use thiserror::Error;

/// A place in a file from which on it cannot be read. Everything before it has been read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
#[error("byte {offset}: {problem}")]
pub struct Damage {
    /// Bytes before it.
    pub offset: u64,
    /// What is wrong there.
    pub problem: Problem,
}

/// What can be wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum Problem {
    /// The first bytes are neither pcapng's nor pcap's.
    #[error("this begins like no recording: neither pcapng nor pcap")]
    NoRecording,
    /// The file ends inside a block or a packet.
    #[error("cut short: {missing} or more bytes are missing")]
    CutShort {
        /// At least so many bytes.
        missing: usize,
    },
    /// A length that no block can have.
    #[error("a block cannot be {0} bytes long")]
    Length(u32),
    /// The two lengths of a block differ.
    #[error("a block that says {front} bytes at its front and {back} at its end")]
    Lengths {
        /// At the front.
        front: u32,
        /// At the end.
        back: u32,
    },
    /// A section without the magic number that tells its byte order.
    #[error("a section whose byte order cannot be told")]
    ByteOrder,
    /// A version of the format that is not known.
    #[error("version {0} of the format, which is not known")]
    Version(u16),
    /// A block whose fields do not fit into it.
    #[error("a block of type {0:08X} that is too short for its fields")]
    Fields(u32),
    /// A packet of an interface that was not described.
    #[error("a packet of interface {0}, which was not described")]
    Interface(u32),
    /// More interfaces than anybody needs.
    #[error("more than {0} interfaces")]
    Interfaces(usize),
    /// A packet longer than any link's.
    #[error("a packet of {0} bytes")]
    PacketLength(u32),
}
