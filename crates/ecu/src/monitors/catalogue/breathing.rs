//! Codes of exhaust-gas recirculation and of the intake cam.

use twotrip_obd::Dtc;

use super::{
    CAM_PHASER, CAM_PHASER_2, CAM_SENSOR_CIRCUIT, CAM_SENSOR_CIRCUIT_2, CAM_VALVE_CIRCUIT,
    CAM_VALVE_CIRCUIT_2, EGR_FLOW, EGR_LEAK, EGR_POSITION_CIRCUIT, EGR_VALVE, EGR_VALVE_CIRCUIT, code,
};
use crate::memory::CodeDefinition;

/// Intake cam, slow response.
pub const P000A: Dtc = Dtc::p(0x000A);
/// Oil control valve of the intake cam, circuit.
pub const P0010: Dtc = Dtc::p(0x0010);
/// Intake cam, ahead of its target.
pub const P0011: Dtc = Dtc::p(0x0011);
/// Intake cam, behind its target.
pub const P0012: Dtc = Dtc::p(0x0012);
/// Intake cam of bank 2, slow response.
pub const P000C: Dtc = Dtc::p(0x000C);
/// Oil control valve of bank 2's intake cam, circuit.
pub const P0020: Dtc = Dtc::p(0x0020);
/// Intake cam of bank 2, ahead of its target.
pub const P0021: Dtc = Dtc::p(0x0021);
/// Intake cam of bank 2, behind its target.
pub const P0022: Dtc = Dtc::p(0x0022);
/// Cam sensor of bank 2, circuit.
pub const P0345: Dtc = Dtc::p(0x0345);
/// Cam sensor, circuit.
pub const P0340: Dtc = Dtc::p(0x0340);
/// Recirculation, too little flow.
pub const P0401: Dtc = Dtc::p(0x0401);
/// Recirculation, too much flow.
pub const P0402: Dtc = Dtc::p(0x0402);
/// Recirculation valve, circuit.
pub const P0403: Dtc = Dtc::p(0x0403);
/// Recirculation valve, range or performance.
pub const P0404: Dtc = Dtc::p(0x0404);
/// Sensor on the recirculation valve's stem, low.
pub const P0405: Dtc = Dtc::p(0x0405);
/// Sensor on the recirculation valve's stem, high.
pub const P0406: Dtc = Dtc::p(0x0406);

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
    code(
        P0010,
        CAM_VALVE_CIRCUIT,
        "intake camshaft position: actuator circuit, bank 1",
    ),
    code(P0340, CAM_SENSOR_CIRCUIT, "camshaft position sensor: circuit"),
    code(
        P000C,
        CAM_PHASER_2,
        "intake camshaft position: slow response, bank 2",
    ),
    code(
        P0021,
        CAM_PHASER_2,
        "intake camshaft position: too far advanced, bank 2",
    ),
    code(
        P0022,
        CAM_PHASER_2,
        "intake camshaft position: too far retarded, bank 2",
    ),
    code(
        P0020,
        CAM_VALVE_CIRCUIT_2,
        "intake camshaft position: actuator circuit, bank 2",
    ),
    code(
        P0345,
        CAM_SENSOR_CIRCUIT_2,
        "camshaft position sensor: circuit, bank 2",
    ),
    code(P0401, EGR_FLOW, "exhaust gas recirculation: flow insufficient"),
    code(P0402, EGR_LEAK, "exhaust gas recirculation: flow excessive"),
    code(
        P0404,
        EGR_VALVE,
        "exhaust gas recirculation: valve range or performance",
    ),
    code(
        P0403,
        EGR_VALVE_CIRCUIT,
        "exhaust gas recirculation: control circuit",
    ),
    code(
        P0405,
        EGR_POSITION_CIRCUIT,
        "exhaust gas recirculation position sensor: circuit low",
    ),
    code(
        P0406,
        EGR_POSITION_CIRCUIT,
        "exhaust gas recirculation position sensor: circuit high",
    ),
];
