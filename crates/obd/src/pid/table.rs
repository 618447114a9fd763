//! The table of parameters, SAE J1979-DA. To add one: a row here, in order, and a row of ends in `tests.rs`.

use super::{
    Definition, Field, Kind, Pid, Scaling, Unit,
    choice::{FUEL_SYSTEM, FUEL_TYPE, REQUIREMENT, SECONDARY_AIR},
};

const PERCENT: Scaling = Scaling::unsigned(8, 100.0 / 255.0, 0.0, Unit::Percent, 1);
const TRIM: Scaling = Scaling::unsigned(8, 100.0 / 128.0, -100.0, Unit::Percent, 1);
const TEMPERATURE: Scaling = Scaling::unsigned(8, 1.0, -40.0, Unit::DegreesCelsius, 0);
const CATALYST_TEMPERATURE: Scaling = Scaling::unsigned(16, 0.1, -40.0, Unit::DegreesCelsius, 1);
const KILOPASCALS: Scaling = Scaling::unsigned(8, 1.0, 0.0, Unit::Kilopascals, 0);
const SENSOR_VOLTAGE: Scaling = Scaling::unsigned(8, 0.005, 0.0, Unit::Volts, 3);
const LAMBDA: Scaling = Scaling::unsigned(16, 2.0 / 65536.0, 0.0, Unit::Ratio, 3);
const WIDE_VOLTAGE: Scaling = Scaling::unsigned(16, 8.0 / 65536.0, 0.0, Unit::Volts, 3);
const WIDE_CURRENT: Scaling = Scaling::unsigned(16, 1.0 / 256.0, -128.0, Unit::Milliamperes, 2);
const RAIL_PRESSURE: Scaling = Scaling::unsigned(16, 10.0, 0.0, Unit::Kilopascals, 0);
const DISTANCE: Scaling = Scaling::unsigned(16, 1.0, 0.0, Unit::Kilometres, 0);
const MINUTES: Scaling = Scaling::unsigned(16, 1.0, 0.0, Unit::Minutes, 0);
const TORQUE_SHARE: Scaling = Scaling::unsigned(8, 1.0, -125.0, Unit::Percent, 0);

/// A scaled number that starts at byte `byte` (0 = A).
const fn number(name: &'static str, byte: usize, scaling: Scaling) -> Field {
    Field {
        name,
        first_bit: byte * 8,
        bits: scaling.bits as usize,
        kind: Kind::Number(scaling),
    }
}

/// A field of whole bits at a place.
const fn field(name: &'static str, first_bit: usize, bits: usize, kind: Kind) -> Field {
    Field {
        name,
        first_bit,
        bits,
        kind,
    }
}

/// The trim that stands beside a sensor's voltage.
const fn sensor_trim() -> Field {
    field("short-term trim", 8, 8, Kind::NumberOrAbsent(TRIM))
}

macro_rules! definitions {
    ($($number:literal $name:literal $length:literal [$($field:expr),+];)+) => {
        &[$(Definition { pid: Pid::new($number), name: $name, length: $length, fields: &[$($field),+] }),+]
    };
}

macro_rules! masks {
    ($($number:literal)+) => {
        [$(Definition {
            pid: Pid::new($number),
            name: "supported parameters",
            length: 4,
            fields: &[field("", 0, 32, Kind::Mask)],
        }),+]
    };
}

/// The masks $00, $20 ... $E0, in order.
pub(super) static MASKS: [Definition; 8] = masks![0x00 0x20 0x40 0x60 0x80 0xA0 0xC0 0xE0];

/// All parameters but the masks, in rising order.
pub static DEFINITIONS: &[Definition] = definitions![
    0x01 "monitors since clear" 4 [
        field("lamp command", 0, 1, Kind::Flag),
        field("confirmed codes", 1, 7, Kind::Number(Scaling::unsigned(7, 1.0, 0.0, Unit::Count, 0))),
        field("not complete", 8, 24, Kind::Readiness)
    ];
    0x02 "causing code" 2 [field("", 0, 16, Kind::Code)];
    0x03 "fuel system" 2 [
        field("system 1", 0, 8, Kind::Choice(FUEL_SYSTEM)),
        field("system 2", 8, 8, Kind::Choice(FUEL_SYSTEM))
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
    0x12 "secondary air" 1 [field("", 0, 8, Kind::Choice(SECONDARY_AIR))];
    0x13 "oxygen sensors" 1 [field("", 0, 8, Kind::SensorPlaces)];
    0x14 "oxygen sensor, bank 1 sensor 1" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x15 "oxygen sensor, bank 1 sensor 2" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x16 "oxygen sensor, bank 1 sensor 3" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x17 "oxygen sensor, bank 1 sensor 4" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x18 "oxygen sensor, bank 2 sensor 1" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x19 "oxygen sensor, bank 2 sensor 2" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x1A "oxygen sensor, bank 2 sensor 3" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x1B "oxygen sensor, bank 2 sensor 4" 2 [number("voltage", 0, SENSOR_VOLTAGE), sensor_trim()];
    0x1C "OBD requirement" 1 [field("", 0, 8, Kind::Choice(REQUIREMENT))];
    0x1E "power take-off" 1 [field("", 7, 1, Kind::Flag)];
    0x1F "run time since start" 2 [number("", 0, Scaling::unsigned(16, 1.0, 0.0, Unit::Seconds, 0))];
    0x21 "distance with the lamp on" 2 [number("", 0, DISTANCE)];
    0x22 "fuel rail pressure above manifold" 2 [number("", 0, Scaling::unsigned(16, 0.079, 0.0, Unit::Kilopascals, 1))];
    0x23 "fuel rail pressure" 2 [number("", 0, RAIL_PRESSURE)];
    0x24 "wide-range sensor, bank 1 sensor 1" 4 [number("lambda", 0, LAMBDA), number("voltage", 2, WIDE_VOLTAGE)];
    0x25 "wide-range sensor, bank 1 sensor 2" 4 [number("lambda", 0, LAMBDA), number("voltage", 2, WIDE_VOLTAGE)];
    0x26 "wide-range sensor, bank 1 sensor 3" 4 [number("lambda", 0, LAMBDA), number("voltage", 2, WIDE_VOLTAGE)];
    0x27 "wide-range sensor, bank 1 sensor 4" 4 [number("lambda", 0, LAMBDA), number("voltage", 2, WIDE_VOLTAGE)];
    0x28 "wide-range sensor, bank 2 sensor 1" 4 [number("lambda", 0, LAMBDA), number("voltage", 2, WIDE_VOLTAGE)];
    0x29 "wide-range sensor, bank 2 sensor 2" 4 [number("lambda", 0, LAMBDA), number("voltage", 2, WIDE_VOLTAGE)];
    0x2A "wide-range sensor, bank 2 sensor 3" 4 [number("lambda", 0, LAMBDA), number("voltage", 2, WIDE_VOLTAGE)];
    0x2B "wide-range sensor, bank 2 sensor 4" 4 [number("lambda", 0, LAMBDA), number("voltage", 2, WIDE_VOLTAGE)];
    0x2C "commanded EGR" 1 [number("", 0, PERCENT)];
    0x2D "EGR error" 1 [number("", 0, TRIM)];
    0x2E "commanded purge" 1 [number("", 0, PERCENT)];
    0x2F "fuel level" 1 [number("", 0, PERCENT)];
    0x30 "warm-up cycles since clear" 1 [number("", 0, Scaling::unsigned(8, 1.0, 0.0, Unit::Count, 0))];
    0x31 "distance since clear" 2 [number("", 0, DISTANCE)];
    0x32 "tank pressure" 2 [number("", 0, Scaling::signed(16, 0.25, Unit::Pascals, 2))];
    0x33 "barometric pressure" 1 [number("", 0, KILOPASCALS)];
    0x34 "wide-range sensor, bank 1 sensor 1" 4 [number("lambda", 0, LAMBDA), number("current", 2, WIDE_CURRENT)];
    0x35 "wide-range sensor, bank 1 sensor 2" 4 [number("lambda", 0, LAMBDA), number("current", 2, WIDE_CURRENT)];
    0x36 "wide-range sensor, bank 1 sensor 3" 4 [number("lambda", 0, LAMBDA), number("current", 2, WIDE_CURRENT)];
    0x37 "wide-range sensor, bank 1 sensor 4" 4 [number("lambda", 0, LAMBDA), number("current", 2, WIDE_CURRENT)];
    0x38 "wide-range sensor, bank 2 sensor 1" 4 [number("lambda", 0, LAMBDA), number("current", 2, WIDE_CURRENT)];
    0x39 "wide-range sensor, bank 2 sensor 2" 4 [number("lambda", 0, LAMBDA), number("current", 2, WIDE_CURRENT)];
    0x3A "wide-range sensor, bank 2 sensor 3" 4 [number("lambda", 0, LAMBDA), number("current", 2, WIDE_CURRENT)];
    0x3B "wide-range sensor, bank 2 sensor 4" 4 [number("lambda", 0, LAMBDA), number("current", 2, WIDE_CURRENT)];
    0x3C "catalyst temperature, bank 1 sensor 1" 2 [number("", 0, CATALYST_TEMPERATURE)];
    0x3D "catalyst temperature, bank 2 sensor 1" 2 [number("", 0, CATALYST_TEMPERATURE)];
    0x3E "catalyst temperature, bank 1 sensor 2" 2 [number("", 0, CATALYST_TEMPERATURE)];
    0x3F "catalyst temperature, bank 2 sensor 2" 2 [number("", 0, CATALYST_TEMPERATURE)];
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
    0x51 "fuel type" 1 [field("", 0, 8, Kind::Choice(FUEL_TYPE))];
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
    0x61 "demanded torque" 1 [number("", 0, TORQUE_SHARE)];
    0x62 "actual torque" 1 [number("", 0, TORQUE_SHARE)];
    0x63 "reference torque" 2 [number("", 0, Scaling::unsigned(16, 1.0, 0.0, Unit::NewtonMetres, 0))];
];
