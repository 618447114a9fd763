//! Codes of cooling and of the sensors that tell temperatures, and of the idle speed.

use twotrip_obd::Dtc;

use super::{
    CLOSED_LOOP_TEMPERATURE, COOLANT_RATIONALITY, IDLE_SPEED, INTAKE_AIR_RATIONALITY, THERMOSTAT, code,
    freezing,
};
use crate::memory::CodeDefinition;

/// Intake-air temperature sensor, range or performance.
pub const P0111: Dtc = Dtc::p(0x0111);
/// Coolant temperature sensor, range or performance.
pub const P0116: Dtc = Dtc::p(0x0116);
/// Too cold too long for closed loop.
pub const P0125: Dtc = Dtc::p(0x0125);
/// Thermostat does not close.
pub const P0128: Dtc = Dtc::p(0x0128);
/// Idle speed, low.
pub const P0506: Dtc = Dtc::p(0x0506);
/// Idle speed, high.
pub const P0507: Dtc = Dtc::p(0x0507);

pub(super) const CODES: &[CodeDefinition] = &[
    code(
        P0111,
        INTAKE_AIR_RATIONALITY,
        "intake air temperature sensor: range or performance",
    ),
    freezing(code(
        P0116,
        COOLANT_RATIONALITY,
        "coolant temperature sensor: range or performance",
    )),
    code(
        P0125,
        CLOSED_LOOP_TEMPERATURE,
        "coolant temperature insufficient for closed-loop fuel control",
    ),
    code(
        P0128,
        THERMOSTAT,
        "coolant temperature below the thermostat's regulating temperature",
    ),
    code(P0506, IDLE_SPEED, "idle control: speed lower than wanted"),
    code(P0507, IDLE_SPEED, "idle control: speed higher than wanted"),
];
