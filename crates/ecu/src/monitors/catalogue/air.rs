//! Codes of the air path's rationality.

use twotrip_obd::Dtc;

use super::{
    AIR_METER_RATIONALITY, MANIFOLD_PRESSURE_RATIONALITY, THROTTLE_PLAUSIBILITY, THROTTLE_RATIONALITY,
    at_once, code,
};
use crate::memory::CodeDefinition;

/// Throttle position and air flow do not fit each other.
pub const P0068: Dtc = Dtc::p(0x0068);
/// Air meter, range or performance.
pub const P0101: Dtc = Dtc::p(0x0101);
/// Manifold pressure sensor, range or performance.
pub const P0106: Dtc = Dtc::p(0x0106);
/// Throttle position, range or performance.
pub const P0121: Dtc = Dtc::p(0x0121);

pub(super) const CODES: &[CodeDefinition] = &[
    at_once(
        P0068,
        THROTTLE_PLAUSIBILITY,
        "air flow and throttle position do not fit each other",
    ),
    code(
        P0101,
        AIR_METER_RATIONALITY,
        "air flow sensor: range or performance",
    ),
    code(
        P0106,
        MANIFOLD_PRESSURE_RATIONALITY,
        "manifold pressure sensor: range or performance",
    ),
    code(
        P0121,
        THROTTLE_RATIONALITY,
        "throttle position sensor A: range or performance",
    ),
];
