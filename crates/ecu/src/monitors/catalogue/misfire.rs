//! Codes of misfire and of the ignition coils.

use twotrip_obd::Dtc;

use super::{COIL_CIRCUIT, MISFIRE, code};
use crate::memory::{CodeDefinition, Logic};

/// Misfire of several cylinders.
pub const P0300: Dtc = Dtc::p(0x0300);
/// Misfire of cylinder 1.
pub const P0301: Dtc = Dtc::p(0x0301);
/// Misfire of cylinder 2.
pub const P0302: Dtc = Dtc::p(0x0302);
/// Misfire of cylinder 3.
pub const P0303: Dtc = Dtc::p(0x0303);
/// Misfire of cylinder 4.
pub const P0304: Dtc = Dtc::p(0x0304);
/// Misfire of cylinder 5.
pub const P0305: Dtc = Dtc::p(0x0305);
/// Misfire of cylinder 6.
pub const P0306: Dtc = Dtc::p(0x0306);
/// Ignition coil of cylinder 1.
pub const P0351: Dtc = Dtc::p(0x0351);
/// Ignition coil of cylinder 2.
pub const P0352: Dtc = Dtc::p(0x0352);
/// Ignition coil of cylinder 3.
pub const P0353: Dtc = Dtc::p(0x0353);
/// Ignition coil of cylinder 4.
pub const P0354: Dtc = Dtc::p(0x0354);
/// Ignition coil of cylinder 5.
pub const P0355: Dtc = Dtc::p(0x0355);
/// Ignition coil of cylinder 6.
pub const P0356: Dtc = Dtc::p(0x0356);

const fn misfire(dtc: Dtc, text: &'static str) -> CodeDefinition {
    CodeDefinition {
        logic: Logic::Misfire,
        ..CodeDefinition::standard(dtc, MISFIRE, text)
    }
}

/// It names one cylinder, counted from 1.
const fn of_cylinder(cylinder: u8, code: CodeDefinition) -> CodeDefinition {
    CodeDefinition {
        cylinder: Some(cylinder - 1),
        ..code
    }
}

const fn coil(cylinder: u8, dtc: Dtc, text: &'static str) -> CodeDefinition {
    of_cylinder(cylinder, code(dtc, COIL_CIRCUIT, text))
}

pub(super) const CODES: &[CodeDefinition] = &[
    misfire(P0300, "misfire: several cylinders, or random"),
    of_cylinder(1, misfire(P0301, "misfire: cylinder 1")),
    of_cylinder(2, misfire(P0302, "misfire: cylinder 2")),
    of_cylinder(3, misfire(P0303, "misfire: cylinder 3")),
    of_cylinder(4, misfire(P0304, "misfire: cylinder 4")),
    of_cylinder(5, misfire(P0305, "misfire: cylinder 5")),
    of_cylinder(6, misfire(P0306, "misfire: cylinder 6")),
    coil(1, P0351, "ignition coil A: primary or secondary circuit"),
    coil(2, P0352, "ignition coil B: primary or secondary circuit"),
    coil(3, P0353, "ignition coil C: primary or secondary circuit"),
    coil(4, P0354, "ignition coil D: primary or secondary circuit"),
    coil(5, P0355, "ignition coil E: primary or secondary circuit"),
    coil(6, P0356, "ignition coil F: primary or secondary circuit"),
];
