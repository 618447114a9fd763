//! SAE J1979 messages and data: bytes to types and back, for both sides of the wire.
#![no_std]
extern crate alloc;

mod dtc;
mod in_use;
mod readiness;

pub use dtc::{Dtc, DtcError};
pub use in_use::InUsePerformance;
pub use readiness::{Group, Readiness};
