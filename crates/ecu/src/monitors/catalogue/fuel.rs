//! Codes of the fuel system.

use twotrip_obd::Dtc;

use super::{
    FUEL_TRIM_1, FUEL_TRIM_2, RAIL_PRESSURE, RAIL_PRESSURE_CIRCUIT, RAIL_PRESSURE_RATIONALITY, REAR_TRIM_1,
    REAR_TRIM_2, code,
};
use crate::memory::{CodeDefinition, Logic, MonitorId};

/// Rail pressure too low.
pub const P0087: Dtc = Dtc::p(0x0087);
/// Rail pressure sensor off.
pub const P0191: Dtc = Dtc::p(0x0191);
/// Rail pressure sensor, low.
pub const P0192: Dtc = Dtc::p(0x0192);
/// Rail pressure sensor, high.
pub const P0193: Dtc = Dtc::p(0x0193);
/// Too lean, bank 1.
pub const P0171: Dtc = Dtc::p(0x0171);
/// Too rich, bank 1.
pub const P0172: Dtc = Dtc::p(0x0172);
/// Too lean, bank 2.
pub const P0174: Dtc = Dtc::p(0x0174);
/// Too rich, bank 2.
pub const P0175: Dtc = Dtc::p(0x0175);
/// Too lean behind the catalyst, bank 1.
pub const P2096: Dtc = Dtc::p(0x2096);
/// Too rich behind the catalyst, bank 1.
pub const P2097: Dtc = Dtc::p(0x2097);
/// Too lean behind the catalyst, bank 2.
pub const P2098: Dtc = Dtc::p(0x2098);
/// Too rich behind the catalyst, bank 2.
pub const P2099: Dtc = Dtc::p(0x2099);

/// Confirmed by the next driving cycle or by similar conditions (13 CCR 1968.2(e)(6.4)).
const fn fuel(dtc: Dtc, monitor: MonitorId, text: &'static str) -> CodeDefinition {
    CodeDefinition {
        logic: Logic::FuelSystem,
        ..code(dtc, monitor, text)
    }
}

pub(super) const CODES: &[CodeDefinition] = &[
    code(P0087, RAIL_PRESSURE, "fuel rail: pressure too low"),
    code(
        P0191,
        RAIL_PRESSURE_RATIONALITY,
        "fuel rail pressure sensor: range or performance",
    ),
    code(
        P0192,
        RAIL_PRESSURE_CIRCUIT,
        "fuel rail pressure sensor: circuit low",
    ),
    code(
        P0193,
        RAIL_PRESSURE_CIRCUIT,
        "fuel rail pressure sensor: circuit high",
    ),
    fuel(P0171, FUEL_TRIM_1, "fuel system bank 1: too lean"),
    fuel(P0172, FUEL_TRIM_1, "fuel system bank 1: too rich"),
    fuel(
        P2096,
        REAR_TRIM_1,
        "fuel trim behind the catalyst, bank 1: too lean",
    ),
    fuel(
        P2097,
        REAR_TRIM_1,
        "fuel trim behind the catalyst, bank 1: too rich",
    ),
    fuel(P0174, FUEL_TRIM_2, "fuel system bank 2: too lean"),
    fuel(P0175, FUEL_TRIM_2, "fuel system bank 2: too rich"),
    fuel(
        P2098,
        REAR_TRIM_2,
        "fuel trim behind the catalyst, bank 2: too lean",
    ),
    fuel(
        P2099,
        REAR_TRIM_2,
        "fuel trim behind the catalyst, bank 2: too rich",
    ),
];
