//! Recordings of CAN buses: the bytes of pcapng files, in and out.
//!
//! - [`Decoder`], [`items`]: reads pcapng and its forerunner pcap, either byte order, any time resolution, as a pure
//!   function of bytes. Damage is reported with its offset; everything before it has been read by then.
//! - [`write`]: writes sections, interfaces, packets and statistics, block by block, each whole.
//! - [`edit`]: a block of another file again, with other options.
//! - [`frame`]: a frame as the bytes of link type 227.
//!
//! Formats: draft-ietf-opsawg-pcapng, draft-ietf-opsawg-pcap, LINKTYPE_CAN_SOCKETCAN of the registry of link types.
//! Memory is bounded by [`BLOCK_MAX`] and [`INTERFACES_MAX`] whatever a file says.
#![no_std]
extern crate alloc;

mod block;
mod damage;
pub mod edit;
pub mod frame;
mod item;
mod options;
mod pcap;
mod read;
mod time;
pub mod write;

pub use block::{BLOCK_MAX, ByteOrder};
pub use damage::{Damage, Problem};
pub use item::{Direction, Interface, Item, Packet, Section, Statistics};
pub use options::{Options, Text};
pub use read::{Decoder, INTERFACES_MAX, Step, items};

/// Link type of a classic or FD frame behind the kernel's header (LINKTYPE_CAN_SOCKETCAN).
pub const LINK_TYPE_CAN: u16 = 227;

#[cfg(test)]
mod tests;
