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

pub(super) const CODES: &[CodeDefinition] = &[
    misfire(P0300, "misfire: several cylinders, or random"),
    misfire(P0301, "misfire: cylinder 1"),
    misfire(P0302, "misfire: cylinder 2"),
    misfire(P0303, "misfire: cylinder 3"),
    misfire(P0304, "misfire: cylinder 4"),
    misfire(P0305, "misfire: cylinder 5"),
    misfire(P0306, "misfire: cylinder 6"),
    code(
        P0351,
        COIL_CIRCUIT,
        "ignition coil A: primary or secondary circuit",
    ),
    code(
        P0352,
        COIL_CIRCUIT,
        "ignition coil B: primary or secondary circuit",
    ),
    code(
        P0353,
        COIL_CIRCUIT,
        "ignition coil C: primary or secondary circuit",
    ),
    code(
        P0354,
        COIL_CIRCUIT,
        "ignition coil D: primary or secondary circuit",
    ),
    code(
        P0355,
        COIL_CIRCUIT,
        "ignition coil E: primary or secondary circuit",
    ),
    code(
        P0356,
        COIL_CIRCUIT,
        "ignition coil F: primary or secondary circuit",
    ),
];
