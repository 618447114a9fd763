//! Parameters $01 to $1F (SAE J1979-DA).

use super::super::choice::{FUEL_SYSTEM, FUEL_SYSTEM_2, REQUIREMENT, SECONDARY_AIR};
use super::build::*;

pub(super) static ROWS: &[Definition] = definitions![
    0x01 "monitors since clear" 4 [
        flag("lamp command", 0),
        field("confirmed codes", 1, 7, Kind::Number(Scaling::unsigned(7, 1.0, 0.0, Unit::Count, 0))),
        field("not complete", 8, 24, Kind::Readiness)
    ];
    0x02 "causing code" 2 [field("", 0, 16, Kind::Code)];
    0x03 "fuel system" 2 [
        choice("system 1", 0, 8, FUEL_SYSTEM),
        choice("system 2", 8, 8, FUEL_SYSTEM_2)
    ];
    0x04 "calculated load" 1 [number("", 0, PERCENT)];
    0x05 "coolant temperature" 1 [number("", 0, TEMPERATURE)];
    0x06 "short-term fuel trim, bank 1" 1 [number("", 0, TRIM)];
    0x07 "long-term fuel trim, bank 1" 1 [number("", 0, TRIM)];
    0x08 "short-term fuel trim, bank 2" 1 [number("", 0, TRIM)];
    0x09 "long-term fuel trim, bank 2" 1 [number("", 0, TRIM)];
    0x0A "fuel pressure" 1 [number("", 0, Scaling::unsigned(8, 3.0, 0.0, Unit::Kilopascals, 0))];
    0x0B "manifold pressure" 1 [number("", 0, KILOPASCALS)];
    0x0C "engine speed" 2 [number("", 0, Scaling::unsigned(16, 0.25, 0.0, Unit::RevolutionsPerMinute, 2))];
    0x0D "vehicle speed" 1 [number("", 0, Scaling::unsigned(8, 1.0, 0.0, Unit::KilometresPerHour, 0))];
    0x0E "timing advance" 1 [number("", 0, Scaling::unsigned(8, 0.5, -64.0, Unit::DegreesOfAngle, 1))];
    0x0F "intake air temperature" 1 [number("", 0, TEMPERATURE)];
    0x10 "air flow" 2 [number("", 0, Scaling::unsigned(16, 0.01, 0.0, Unit::GramsPerSecond, 2))];
    0x11 "throttle position" 1 [number("", 0, PERCENT)];
    0x12 "secondary air" 1 [choice("", 0, 8, SECONDARY_AIR)];
    0x13 "oxygen sensors" 1 [field("", 0, 8, Kind::SensorPlaces(4))];
    0x14 "oxygen sensor, bank 1 sensor 1" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x15 "oxygen sensor, bank 1 sensor 2" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x16 "oxygen sensor, bank 1 sensor 3" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x17 "oxygen sensor, bank 1 sensor 4" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x18 "oxygen sensor, bank 2 sensor 1" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x19 "oxygen sensor, bank 2 sensor 2" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x1A "oxygen sensor, bank 2 sensor 3" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x1B "oxygen sensor, bank 2 sensor 4" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x1C "OBD requirement" 1 [choice("", 0, 8, REQUIREMENT)];
    0x1D "oxygen sensors" 1 [field("", 0, 8, Kind::SensorPlaces(2))];
    0x1E "power take-off" 1 [flag("", 7)];
    0x1F "run time since start" 2 [number("", 0, Scaling::unsigned(16, 1.0, 0.0, Unit::Seconds, 0))];
];
