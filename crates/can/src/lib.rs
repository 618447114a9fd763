//! CAN frames: identifiers, addressing of legislated diagnostics, the bits on the wire, and an in-memory bus.
//!
//! - [`CanId`], [`Frame`]: what travels.
//! - [`address`]: the identifiers of ISO 15765-4.
//! - [`timing`]: exact length of a classic frame in bits, bit rates, frame times, bus load.
//! - [`error_frame`]: what a controller reports of its bus, in types and in words.
//! - [`record`]: a frame as the 72 bytes of the kernel's `canfd_frame`.
//! - [`memory_bus`]: a bus without a wire, for tests and runs in one process.
//! - [`link`]: disturbances between a node and its bus, as data.
#![no_std]
extern crate alloc;

pub mod address;
pub mod error_frame;
mod frame;
mod id;
pub mod link;
pub mod memory_bus;
pub mod record;
pub mod timing;

pub use frame::{Frame, FrameKind};
pub use id::CanId;
