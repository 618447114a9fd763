//! Codes of exhaust-gas recirculation and of the intake cam.

use twotrip_obd::Dtc;

use super::{CAM_PHASER, EGR_FLOW, EGR_LEAK, EGR_VALVE, code};
use crate::memory::CodeDefinition;

/// Intake cam, slow response.
pub const P000A: Dtc = Dtc::p(0x000A);
/// Intake cam, ahead of its target.
pub const P0011: Dtc = Dtc::p(0x0011);
/// Intake cam, behind its target.
pub const P0012: Dtc = Dtc::p(0x0012);
/// Recirculation, too little flow.
pub const P0401: Dtc = Dtc::p(0x0401);
/// Recirculation, too much flow.
pub const P0402: Dtc = Dtc::p(0x0402);
/// Recirculation valve, range or performance.
pub const P0404: Dtc = Dtc::p(0x0404);

pub(super) const CODES: &[CodeDefinition] = &[
    code(
        P000A,
        CAM_PHASER,
        "intake camshaft position: slow response, bank 1",
    ),
    code(
        P0011,
        CAM_PHASER,
        "intake camshaft position: too far advanced, bank 1",
    ),
    code(
        P0012,
        CAM_PHASER,
        "intake camshaft position: too far retarded, bank 1",
    ),
    code(P0401, EGR_FLOW, "exhaust gas recirculation: flow insufficient"),
    code(P0402, EGR_LEAK, "exhaust gas recirculation: flow excessive"),
    code(
        P0404,
        EGR_VALVE,
        "exhaust gas recirculation: valve range or performance",
    ),
];
