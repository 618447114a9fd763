//! Codes of road speed and messages.

use twotrip_obd::Dtc;

use super::{GEARBOX_MESSAGES, VEHICLE_SPEED, code, freezing};
use crate::memory::CodeDefinition;

/// Vehicle speed sensor.
pub const P0500: Dtc = Dtc::p(0x0500);
/// Lost communication with the gearbox controller.
pub const U0101: Dtc = Dtc::from_bytes([0xC1, 0x01]);

pub(super) const CODES: &[CodeDefinition] = &[
    freezing(code(P0500, VEHICLE_SPEED, "vehicle speed sensor: no signal")),
    freezing(code(
        U0101,
        GEARBOX_MESSAGES,
        "lost communication with the gearbox controller",
    )),
];
