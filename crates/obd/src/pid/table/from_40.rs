//! Parameters $40 to $5F (SAE J1979-DA).

use super::super::choice::{EMISSION_REQUIREMENT, FUEL_TYPE};
use super::build::*;

pub(super) static ROWS: &[Definition] = definitions![
    0x41 "monitors this driving cycle" 4 [field("not complete", 8, 24, Kind::Readiness)];
    0x42 "module voltage" 2 [number("", 0, Scaling::unsigned(16, 0.001, 0.0, Unit::Volts, 3))];
    0x43 "absolute load" 2 [number("", 0, Scaling::unsigned(16, 100.0 / 255.0, 0.0, Unit::Percent, 1))];
    0x44 "commanded lambda" 2 [number("", 0, LAMBDA)];
    0x45 "relative throttle position" 1 [number("", 0, PERCENT)];
    0x46 "ambient temperature" 1 [number("", 0, TEMPERATURE)];
    0x47 "throttle position B" 1 [number("", 0, PERCENT)];
    0x48 "throttle position C" 1 [number("", 0, PERCENT)];
    0x49 "pedal position D" 1 [number("", 0, PERCENT)];
    0x4A "pedal position E" 1 [number("", 0, PERCENT)];
    0x4B "pedal position F" 1 [number("", 0, PERCENT)];
    0x4C "commanded throttle" 1 [number("", 0, PERCENT)];
    0x4D "run time with the lamp on" 2 [number("", 0, MINUTES)];
    0x4E "run time since clear" 2 [number("", 0, MINUTES)];
    0x4F "upper ends of scales" 4 [
        number("lambda", 0, BYTE_RATIO),
        number("voltage of wide-range sensors", 1, Scaling::unsigned(8, 1.0, 0.0, Unit::Volts, 0)),
        number("current of wide-range sensors", 2, Scaling::unsigned(8, 1.0, 0.0, Unit::Milliamperes, 0)),
        number("manifold pressure", 3, Scaling::unsigned(8, 10.0, 0.0, Unit::Kilopascals, 0))
    ];
    0x50 "upper end of the air flow scale" 4 [number("", 0, Scaling::unsigned(8, 10.0, 0.0, Unit::GramsPerSecond, 0))];
    0x51 "fuel type" 1 [choice("", 0, 8, FUEL_TYPE)];
    0x52 "ethanol share" 1 [number("", 0, PERCENT)];
    0x53 "tank pressure, absolute" 2 [number("", 0, Scaling::unsigned(16, 0.005, 0.0, Unit::Kilopascals, 3))];
    0x54 "tank pressure, wide range" 2 [number("", 0, Scaling::signed(16, 1.0, Unit::Pascals, 0))];
    0x55 "short-term secondary trim" 2 [number("bank 1", 0, TRIM), number("bank 3", 1, TRIM)];
    0x56 "long-term secondary trim" 2 [number("bank 1", 0, TRIM), number("bank 3", 1, TRIM)];
    0x57 "short-term secondary trim" 2 [number("bank 2", 0, TRIM), number("bank 4", 1, TRIM)];
    0x58 "long-term secondary trim" 2 [number("bank 2", 0, TRIM), number("bank 4", 1, TRIM)];
    0x59 "fuel rail pressure, absolute" 2 [number("", 0, RAIL_PRESSURE)];
    0x5A "relative pedal position" 1 [number("", 0, PERCENT)];
    0x5B "hybrid battery charge" 1 [number("", 0, PERCENT)];
    0x5C "oil temperature" 1 [number("", 0, TEMPERATURE)];
    0x5D "injection timing" 2 [number("", 0, Scaling::unsigned(16, 1.0 / 128.0, -210.0, Unit::DegreesOfAngle, 2))];
    0x5E "fuel rate" 2 [number("", 0, Scaling::unsigned(16, 0.05, 0.0, Unit::LitresPerHour, 2))];
    0x5F "emission requirement" 1 [choice("", 0, 8, EMISSION_REQUIREMENT)];
];
