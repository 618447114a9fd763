//! Codes of the oxygen sensors, their heaters and the catalysts.

use twotrip_obd::Dtc;

use super::{
    CATALYST_1, CATALYST_2, FRONT_CIRCUIT_1, FRONT_CIRCUIT_2, FRONT_HEATER_1, FRONT_HEATER_2,
    FRONT_RESPONSE_1, FRONT_RESPONSE_2, REAR_HEATER_1, REAR_HEATER_2, REAR_SENSOR_1, REAR_SENSOR_2, code,
};
use crate::memory::CodeDefinition;

/// Front sensor, bank 1, low.
pub const P0131: Dtc = Dtc::p(0x0131);
/// Front sensor, bank 1, high.
pub const P0132: Dtc = Dtc::p(0x0132);
/// Front sensor, bank 1, slow.
pub const P0133: Dtc = Dtc::p(0x0133);
/// Front sensor, bank 1, no activity.
pub const P0134: Dtc = Dtc::p(0x0134);
/// Heater of the front sensor, bank 1.
pub const P0135: Dtc = Dtc::p(0x0135);
/// Rear sensor, bank 1, low.
pub const P0137: Dtc = Dtc::p(0x0137);
/// Rear sensor, bank 1, high.
pub const P0138: Dtc = Dtc::p(0x0138);
/// Rear sensor, bank 1, slow.
pub const P0139: Dtc = Dtc::p(0x0139);
/// Rear sensor, bank 1, no activity.
pub const P0140: Dtc = Dtc::p(0x0140);
/// Heater of the rear sensor, bank 1.
pub const P0141: Dtc = Dtc::p(0x0141);
/// Front sensor, bank 2, low.
pub const P0151: Dtc = Dtc::p(0x0151);
/// Front sensor, bank 2, high.
pub const P0152: Dtc = Dtc::p(0x0152);
/// Front sensor, bank 2, slow.
pub const P0153: Dtc = Dtc::p(0x0153);
/// Front sensor, bank 2, no activity.
pub const P0154: Dtc = Dtc::p(0x0154);
/// Heater of the front sensor, bank 2.
pub const P0155: Dtc = Dtc::p(0x0155);
/// Rear sensor, bank 2, low.
pub const P0157: Dtc = Dtc::p(0x0157);
/// Rear sensor, bank 2, high.
pub const P0158: Dtc = Dtc::p(0x0158);
/// Rear sensor, bank 2, slow.
pub const P0159: Dtc = Dtc::p(0x0159);
/// Rear sensor, bank 2, no activity.
pub const P0160: Dtc = Dtc::p(0x0160);
/// Heater of the rear sensor, bank 2.
pub const P0161: Dtc = Dtc::p(0x0161);
/// Catalyst, bank 1.
pub const P0420: Dtc = Dtc::p(0x0420);
/// Catalyst, bank 2.
pub const P0430: Dtc = Dtc::p(0x0430);
/// Front sensor, bank 1, stuck lean.
pub const P2195: Dtc = Dtc::p(0x2195);
/// Front sensor, bank 1, stuck rich.
pub const P2196: Dtc = Dtc::p(0x2196);
/// Front sensor, bank 2, stuck lean.
pub const P2197: Dtc = Dtc::p(0x2197);
/// Front sensor, bank 2, stuck rich.
pub const P2198: Dtc = Dtc::p(0x2198);
/// Rear sensor, bank 1, stuck lean.
pub const P2270: Dtc = Dtc::p(0x2270);
/// Rear sensor, bank 1, stuck rich.
pub const P2271: Dtc = Dtc::p(0x2271);
/// Rear sensor, bank 2, stuck lean.
pub const P2272: Dtc = Dtc::p(0x2272);
/// Rear sensor, bank 2, stuck rich.
pub const P2273: Dtc = Dtc::p(0x2273);

pub(super) const CODES: &[CodeDefinition] = &[
    code(
        P0131,
        FRONT_CIRCUIT_1,
        "oxygen sensor bank 1 sensor 1: circuit low",
    ),
    code(
        P0132,
        FRONT_CIRCUIT_1,
        "oxygen sensor bank 1 sensor 1: circuit high",
    ),
    code(
        P0133,
        FRONT_RESPONSE_1,
        "oxygen sensor bank 1 sensor 1: slow response",
    ),
    code(
        P0134,
        FRONT_CIRCUIT_1,
        "oxygen sensor bank 1 sensor 1: no activity",
    ),
    code(
        P0135,
        FRONT_HEATER_1,
        "oxygen sensor bank 1 sensor 1: heater circuit",
    ),
    code(P0137, REAR_SENSOR_1, "oxygen sensor bank 1 sensor 2: circuit low"),
    code(
        P0138,
        REAR_SENSOR_1,
        "oxygen sensor bank 1 sensor 2: circuit high",
    ),
    code(
        P0139,
        REAR_SENSOR_1,
        "oxygen sensor bank 1 sensor 2: slow response",
    ),
    code(P0140, REAR_SENSOR_1, "oxygen sensor bank 1 sensor 2: no activity"),
    code(
        P0141,
        REAR_HEATER_1,
        "oxygen sensor bank 1 sensor 2: heater circuit",
    ),
    code(P0420, CATALYST_1, "catalyst bank 1: efficiency below its limit"),
    code(
        P2195,
        FRONT_CIRCUIT_1,
        "oxygen sensor bank 1 sensor 1: signal stuck lean",
    ),
    code(
        P2196,
        FRONT_CIRCUIT_1,
        "oxygen sensor bank 1 sensor 1: signal stuck rich",
    ),
    code(
        P2270,
        REAR_SENSOR_1,
        "oxygen sensor bank 1 sensor 2: signal stuck lean",
    ),
    code(
        P2271,
        REAR_SENSOR_1,
        "oxygen sensor bank 1 sensor 2: signal stuck rich",
    ),
    code(
        P0151,
        FRONT_CIRCUIT_2,
        "oxygen sensor bank 2 sensor 1: circuit low",
    ),
    code(
        P0152,
        FRONT_CIRCUIT_2,
        "oxygen sensor bank 2 sensor 1: circuit high",
    ),
    code(
        P0153,
        FRONT_RESPONSE_2,
        "oxygen sensor bank 2 sensor 1: slow response",
    ),
    code(
        P0154,
        FRONT_CIRCUIT_2,
        "oxygen sensor bank 2 sensor 1: no activity",
    ),
    code(
        P0155,
        FRONT_HEATER_2,
        "oxygen sensor bank 2 sensor 1: heater circuit",
    ),
    code(P0157, REAR_SENSOR_2, "oxygen sensor bank 2 sensor 2: circuit low"),
    code(
        P0158,
        REAR_SENSOR_2,
        "oxygen sensor bank 2 sensor 2: circuit high",
    ),
    code(
        P0159,
        REAR_SENSOR_2,
        "oxygen sensor bank 2 sensor 2: slow response",
    ),
    code(P0160, REAR_SENSOR_2, "oxygen sensor bank 2 sensor 2: no activity"),
    code(
        P0161,
        REAR_HEATER_2,
        "oxygen sensor bank 2 sensor 2: heater circuit",
    ),
    code(P0430, CATALYST_2, "catalyst bank 2: efficiency below its limit"),
    code(
        P2197,
        FRONT_CIRCUIT_2,
        "oxygen sensor bank 2 sensor 1: signal stuck lean",
    ),
    code(
        P2198,
        FRONT_CIRCUIT_2,
        "oxygen sensor bank 2 sensor 1: signal stuck rich",
    ),
    code(
        P2272,
        REAR_SENSOR_2,
        "oxygen sensor bank 2 sensor 2: signal stuck lean",
    ),
    code(
        P2273,
        REAR_SENSOR_2,
        "oxygen sensor bank 2 sensor 2: signal stuck rich",
    ),
];
