//! Codes of the evaporative system.

use twotrip_obd::Dtc;

use super::{
    EVAP_LEAK, FUEL_LEVEL, NATURAL_VACUUM, PURGE_VALVE_CIRCUIT, TANK_PRESSURE, VENT_VALVE_CIRCUIT, code,
};
use crate::memory::CodeDefinition;

/// Purge flow.
pub const P0441: Dtc = Dtc::p(0x0441);
/// Small leak (0.040 in).
pub const P0442: Dtc = Dtc::p(0x0442);
/// Purge valve, circuit open.
pub const P0444: Dtc = Dtc::p(0x0444);
/// Purge valve, circuit shorted.
pub const P0445: Dtc = Dtc::p(0x0445);
/// Vent control.
pub const P0446: Dtc = Dtc::p(0x0446);
/// Vent valve, circuit open.
pub const P0447: Dtc = Dtc::p(0x0447);
/// Vent valve, circuit shorted.
pub const P0448: Dtc = Dtc::p(0x0448);
/// Tank pressure sensor, range or performance.
pub const P0451: Dtc = Dtc::p(0x0451);
/// Gross leak.
pub const P0455: Dtc = Dtc::p(0x0455);
/// Gross leak after refuelling: cap loose or off.
pub const P0457: Dtc = Dtc::p(0x0457);
/// Very small leak (0.020 in).
pub const P0456: Dtc = Dtc::p(0x0456);
/// Fuel level, range or performance.
pub const P0461: Dtc = Dtc::p(0x0461);
/// Flow with the purge valve shut.
pub const P0496: Dtc = Dtc::p(0x0496);

pub(super) const CODES: &[CodeDefinition] = &[
    code(P0441, EVAP_LEAK, "evaporative system: purge flow incorrect"),
    code(P0442, EVAP_LEAK, "evaporative system: small leak"),
    code(
        P0444,
        PURGE_VALVE_CIRCUIT,
        "evaporative system: purge valve circuit open",
    ),
    code(
        P0445,
        PURGE_VALVE_CIRCUIT,
        "evaporative system: purge valve circuit shorted",
    ),
    code(
        P0447,
        VENT_VALVE_CIRCUIT,
        "evaporative system: vent valve circuit open",
    ),
    code(
        P0448,
        VENT_VALVE_CIRCUIT,
        "evaporative system: vent valve circuit shorted",
    ),
    code(P0446, EVAP_LEAK, "evaporative system: vent control"),
    code(
        P0451,
        TANK_PRESSURE,
        "evaporative system pressure sensor: range or performance",
    ),
    code(P0455, EVAP_LEAK, "evaporative system: gross leak"),
    code(
        P0457,
        EVAP_LEAK,
        "evaporative system: leak, fuel cap loose or off",
    ),
    code(P0456, NATURAL_VACUUM, "evaporative system: very small leak"),
    code(P0461, FUEL_LEVEL, "fuel level sensor: range or performance"),
    code(P0496, EVAP_LEAK, "evaporative system: flow while not purging"),
];
