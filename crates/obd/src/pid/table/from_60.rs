//! Parameters $60 to $7F (SAE J1979-DA): several sensors in one parameter, with byte A saying which are there.

use super::super::choice::{CONTROL_STATUS, GEAR_SELECTED, NEUTRAL_OR_GEAR};
use super::build::*;

const MASS_FLOW: Scaling = Scaling::unsigned(16, 1.0 / 32.0, 0.0, Unit::GramsPerSecond, 2);
/// 10 rpm a count, since turbines pass 65535 rpm; another source has 1 rpm.
const TURBO_SPEED: Scaling = Scaling::unsigned(16, 10.0, 0.0, Unit::RevolutionsPerMinute, 0);
/// In two's complement (from memory); one source has it with an offset, over the same range.
const FILTER_DIFFERENCE: Scaling = Scaling::signed(16, 0.01, Unit::Kilopascals, 2);

pub(super) static ROWS: &[Definition] = definitions![
    0x61 "demanded torque" 1 [number("", 0, TORQUE_SHARE)];
    0x62 "actual torque" 1 [number("", 0, TORQUE_SHARE)];
    0x63 "reference torque" 2 [number("", 0, Scaling::unsigned(16, 1.0, 0.0, Unit::NewtonMetres, 0))];
    0x64 "torque curve" 5 [
        number("idle", 0, TORQUE_SHARE),
        number("point 2", 1, TORQUE_SHARE),
        number("point 3", 2, TORQUE_SHARE),
        number("point 4", 3, TORQUE_SHARE),
        number("point 5", 4, TORQUE_SHARE)
    ];
    // Meaning of 0 and 1, and the recommended gear: from memory.
    0x65 "auxiliary status" 2 [
        when(4, field("recommended gear", 8, 4, Kind::Number(Scaling::unsigned(4, 1.0, 0.0, Unit::Gear, 0)))),
        when(3, flag("glow plug lamp", 12)),
        when(2, choice("manual transmission", 13, 1, NEUTRAL_OR_GEAR)),
        when(1, choice("automatic transmission", 14, 1, GEAR_SELECTED)),
        when(0, flag("power take-off", 15))
    ];
    0x66 "air flow sensors" 5 [on(0, "A", 1, MASS_FLOW), on(1, "B", 3, MASS_FLOW)];
    0x67 "coolant temperature sensors" 3 [on(0, "1", 1, TEMPERATURE), on(1, "2", 2, TEMPERATURE)];
    // Seven bytes; one source has three.
    0x68 "intake air temperature sensors" 7 [
        on(0, "bank 1 sensor 1", 1, TEMPERATURE),
        on(1, "bank 1 sensor 2", 2, TEMPERATURE),
        on(2, "bank 1 sensor 3", 3, TEMPERATURE),
        on(3, "bank 2 sensor 1", 4, TEMPERATURE),
        on(4, "bank 2 sensor 2", 5, TEMPERATURE),
        on(5, "bank 2 sensor 3", 6, TEMPERATURE)
    ];
    0x69 "EGR" 7 [
        on(0, "A commanded", 1, PERCENT),
        on(1, "A actual", 2, PERCENT),
        on(2, "A error", 3, TRIM),
        on(3, "B commanded", 4, PERCENT),
        on(4, "B actual", 5, PERCENT),
        on(5, "B error", 6, TRIM)
    ];
    0x6A "intake air flow control" 5 [
        on(0, "A commanded", 1, PERCENT),
        on(1, "A relative", 2, PERCENT),
        on(2, "B commanded", 3, PERCENT),
        on(3, "B relative", 4, PERCENT)
    ];
    0x6B "EGR temperature sensors" 5 [
        on(0, "bank 1 sensor 1", 1, TEMPERATURE),
        on(1, "bank 1 sensor 2", 2, TEMPERATURE),
        on(2, "bank 2 sensor 1", 3, TEMPERATURE),
        on(3, "bank 2 sensor 2", 4, TEMPERATURE)
    ];
    0x6C "throttle control" 5 [
        on(0, "A commanded", 1, PERCENT),
        on(1, "A relative", 2, PERCENT),
        on(2, "B commanded", 3, PERCENT),
        on(3, "B relative", 4, PERCENT)
    ];
    // Eleven bytes; one source ends after A, with six. The bits that announce B: from memory.
    0x6D "fuel rail" 11 [
        on(0, "A commanded pressure", 1, RAIL_PRESSURE),
        on(1, "A pressure", 3, RAIL_PRESSURE),
        on(2, "A temperature", 5, TEMPERATURE),
        on(3, "B commanded pressure", 6, RAIL_PRESSURE),
        on(4, "B pressure", 8, RAIL_PRESSURE),
        on(5, "B temperature", 10, TEMPERATURE)
    ];
    // Nine bytes; one source ends after A, with five. The bits that announce B: from memory.
    0x6E "injection control pressure" 9 [
        on(0, "A commanded", 1, RAIL_PRESSURE),
        on(1, "A", 3, RAIL_PRESSURE),
        on(2, "B commanded", 5, RAIL_PRESSURE),
        on(3, "B", 7, RAIL_PRESSURE)
    ];
    0x6F "compressor inlet pressure" 3 [on(0, "A", 1, KILOPASCALS), on(1, "B", 2, KILOPASCALS)];
    // Ten bytes; one source has nine. The bits of byte A and the meaning of the status: from memory.
    0x70 "boost pressure control" 10 [
        on(0, "A commanded", 1, FINE_PRESSURE),
        on(1, "A", 3, FINE_PRESSURE),
        on(3, "B commanded", 5, FINE_PRESSURE),
        on(4, "B", 7, FINE_PRESSURE),
        when(5, choice("B control", 76, 2, CONTROL_STATUS)),
        when(2, choice("A control", 78, 2, CONTROL_STATUS))
    ];
    // Six bytes; one source has five. The bits of byte A and the meaning of the status: from memory.
    0x71 "variable geometry turbocharger" 6 [
        on(0, "A commanded", 1, PERCENT),
        on(1, "A", 2, PERCENT),
        on(3, "B commanded", 3, PERCENT),
        on(4, "B", 4, PERCENT),
        when(5, choice("B control", 44, 2, CONTROL_STATUS)),
        when(2, choice("A control", 46, 2, CONTROL_STATUS))
    ];
    0x72 "wastegate control" 5 [
        on(0, "A commanded", 1, PERCENT),
        on(1, "A", 2, PERCENT),
        on(2, "B commanded", 3, PERCENT),
        on(3, "B", 4, PERCENT)
    ];
    0x73 "exhaust pressure" 5 [on(0, "bank 1", 1, EXHAUST_PRESSURE), on(1, "bank 2", 3, EXHAUST_PRESSURE)];
    0x74 "turbocharger speed" 5 [on(0, "A", 1, TURBO_SPEED), on(1, "B", 3, TURBO_SPEED)];
    0x75 "turbocharger A temperature" 7 [
        on(0, "compressor inlet", 1, TEMPERATURE),
        on(1, "compressor outlet", 2, TEMPERATURE),
        on(2, "turbine inlet", 3, HOT),
        on(3, "turbine outlet", 5, HOT)
    ];
    0x76 "turbocharger B temperature" 7 [
        on(0, "compressor inlet", 1, TEMPERATURE),
        on(1, "compressor outlet", 2, TEMPERATURE),
        on(2, "turbine inlet", 3, HOT),
        on(3, "turbine outlet", 5, HOT)
    ];
    0x77 "charge air cooler temperature" 5 [
        on(0, "bank 1 sensor 1", 1, TEMPERATURE),
        on(1, "bank 1 sensor 2", 2, TEMPERATURE),
        on(2, "bank 2 sensor 1", 3, TEMPERATURE),
        on(3, "bank 2 sensor 2", 4, TEMPERATURE)
    ];
    0x78 "exhaust gas temperature, bank 1" 9 [
        on(0, "sensor 1", 1, HOT),
        on(1, "sensor 2", 3, HOT),
        on(2, "sensor 3", 5, HOT),
        on(3, "sensor 4", 7, HOT)
    ];
    0x79 "exhaust gas temperature, bank 2" 9 [
        on(0, "sensor 1", 1, HOT),
        on(1, "sensor 2", 3, HOT),
        on(2, "sensor 3", 5, HOT),
        on(3, "sensor 4", 7, HOT)
    ];
    0x7A "particulate filter, bank 1" 7 [
        on(0, "pressure difference", 1, FILTER_DIFFERENCE),
        on(1, "inlet pressure", 3, EXHAUST_PRESSURE),
        on(2, "outlet pressure", 5, EXHAUST_PRESSURE)
    ];
    0x7B "particulate filter, bank 2" 7 [
        on(0, "pressure difference", 1, FILTER_DIFFERENCE),
        on(1, "inlet pressure", 3, EXHAUST_PRESSURE),
        on(2, "outlet pressure", 5, EXHAUST_PRESSURE)
    ];
    0x7C "particulate filter temperature" 9 [
        on(0, "bank 1 inlet", 1, HOT),
        on(1, "bank 1 outlet", 3, HOT),
        on(2, "bank 2 inlet", 5, HOT),
        on(3, "bank 2 outlet", 7, HOT)
    ];
    0x7D "NOx control area" 1 [
        flag("deficiency active", 4),
        flag("in the maker's carve-out", 5),
        flag("outside", 6),
        flag("inside", 7)
    ];
    0x7E "particle control area" 1 [
        flag("deficiency active", 4),
        flag("in the maker's carve-out", 5),
        flag("outside", 6),
        flag("inside", 7)
    ];
    // Thirteen bytes; one source has 25.
    0x7F "engine run time" 13 [
        on(0, "total", 1, SECONDS_32),
        on(1, "idle", 5, SECONDS_32),
        on(2, "power take-off active", 9, SECONDS_32)
    ];
];
