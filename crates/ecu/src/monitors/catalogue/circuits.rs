//! Codes of the sensor circuits and the supply.

use twotrip_obd::Dtc;

use super::{
    AIR_METER_CIRCUIT, COOLANT_CIRCUIT, FUEL_LEVEL_CIRCUIT, INTAKE_AIR_CIRCUIT, MANIFOLD_PRESSURE_CIRCUIT,
    SYSTEM_VOLTAGE, TANK_PRESSURE_CIRCUIT, THROTTLE_A_CIRCUIT, THROTTLE_B_CIRCUIT, THROTTLE_CORRELATION,
    at_once, code, freezing,
};
use crate::memory::CodeDefinition;

/// Air meter, low.
pub const P0102: Dtc = Dtc::p(0x0102);
/// Air meter, high.
pub const P0103: Dtc = Dtc::p(0x0103);
/// Manifold pressure sensor, low.
pub const P0107: Dtc = Dtc::p(0x0107);
/// Manifold pressure sensor, high.
pub const P0108: Dtc = Dtc::p(0x0108);
/// Intake-air temperature sensor, low.
pub const P0112: Dtc = Dtc::p(0x0112);
/// Intake-air temperature sensor, high.
pub const P0113: Dtc = Dtc::p(0x0113);
/// Coolant temperature sensor, low.
pub const P0117: Dtc = Dtc::p(0x0117);
/// Coolant temperature sensor, high.
pub const P0118: Dtc = Dtc::p(0x0118);
/// Throttle position, track A low.
pub const P0122: Dtc = Dtc::p(0x0122);
/// Throttle position, track A high.
pub const P0123: Dtc = Dtc::p(0x0123);
/// Throttle position, track B low.
pub const P0222: Dtc = Dtc::p(0x0222);
/// Throttle position, track B high.
pub const P0223: Dtc = Dtc::p(0x0223);
/// Tank pressure sensor, low.
pub const P0452: Dtc = Dtc::p(0x0452);
/// Tank pressure sensor, high.
pub const P0453: Dtc = Dtc::p(0x0453);
/// Fuel level sensor, low.
pub const P0462: Dtc = Dtc::p(0x0462);
/// Fuel level sensor, high.
pub const P0463: Dtc = Dtc::p(0x0463);
/// Supply of the control module, low.
pub const P0562: Dtc = Dtc::p(0x0562);
/// Supply of the control module, high.
pub const P0563: Dtc = Dtc::p(0x0563);
/// Throttle position, tracks A and B do not agree.
pub const P2135: Dtc = Dtc::p(0x2135);

pub(super) const CODES: &[CodeDefinition] = &[
    code(P0102, AIR_METER_CIRCUIT, "air flow sensor: circuit low"),
    code(P0103, AIR_METER_CIRCUIT, "air flow sensor: circuit high"),
    code(
        P0107,
        MANIFOLD_PRESSURE_CIRCUIT,
        "manifold pressure sensor: circuit low",
    ),
    code(
        P0108,
        MANIFOLD_PRESSURE_CIRCUIT,
        "manifold pressure sensor: circuit high",
    ),
    code(
        P0112,
        INTAKE_AIR_CIRCUIT,
        "intake air temperature sensor: circuit low",
    ),
    code(
        P0113,
        INTAKE_AIR_CIRCUIT,
        "intake air temperature sensor: circuit high",
    ),
    freezing(code(
        P0117,
        COOLANT_CIRCUIT,
        "coolant temperature sensor: circuit low",
    )),
    freezing(code(
        P0118,
        COOLANT_CIRCUIT,
        "coolant temperature sensor: circuit high",
    )),
    at_once(
        P0122,
        THROTTLE_A_CIRCUIT,
        "throttle position sensor A: circuit low",
    ),
    at_once(
        P0123,
        THROTTLE_A_CIRCUIT,
        "throttle position sensor A: circuit high",
    ),
    at_once(
        P0222,
        THROTTLE_B_CIRCUIT,
        "throttle position sensor B: circuit low",
    ),
    at_once(
        P0223,
        THROTTLE_B_CIRCUIT,
        "throttle position sensor B: circuit high",
    ),
    code(
        P0452,
        TANK_PRESSURE_CIRCUIT,
        "evaporative system pressure sensor: circuit low",
    ),
    code(
        P0453,
        TANK_PRESSURE_CIRCUIT,
        "evaporative system pressure sensor: circuit high",
    ),
    code(P0462, FUEL_LEVEL_CIRCUIT, "fuel level sensor: circuit low"),
    code(P0463, FUEL_LEVEL_CIRCUIT, "fuel level sensor: circuit high"),
    code(P0562, SYSTEM_VOLTAGE, "system voltage: low"),
    code(P0563, SYSTEM_VOLTAGE, "system voltage: high"),
    at_once(
        P2135,
        THROTTLE_CORRELATION,
        "throttle position sensors A and B do not agree",
    ),
];
