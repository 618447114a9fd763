//! Codes of the control module itself.

use twotrip_obd::Dtc;

use super::{MODULE, at_once, code};
use crate::memory::CodeDefinition;

/// Sum over the calibration.
pub const P0601: Dtc = Dtc::p(0x0601);
/// Keep-alive memory.
pub const P0603: Dtc = Dtc::p(0x0603);
/// RAM.
pub const P0604: Dtc = Dtc::p(0x0604);
/// Sum over the program.
pub const P0605: Dtc = Dtc::p(0x0605);
/// Processor.
pub const P0606: Dtc = Dtc::p(0x0606);

pub(super) const CODES: &[CodeDefinition] = &[
    at_once(P0601, MODULE, "control module: checksum of the memory"),
    code(P0603, MODULE, "control module: keep-alive memory"),
    at_once(P0604, MODULE, "control module: RAM"),
    at_once(P0605, MODULE, "control module: ROM"),
    at_once(P0606, MODULE, "control module: processor"),
];
