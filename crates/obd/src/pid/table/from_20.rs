//! Parameters $20 to $3F (SAE J1979-DA).

use super::build::*;

pub(super) static ROWS: &[Definition] = definitions![
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
    0x3C "catalyst temperature, bank 1 sensor 1" 2 [number("", 0, HOT)];
    0x3D "catalyst temperature, bank 2 sensor 1" 2 [number("", 0, HOT)];
    0x3E "catalyst temperature, bank 1 sensor 2" 2 [number("", 0, HOT)];
    0x3F "catalyst temperature, bank 2 sensor 2" 2 [number("", 0, HOT)];
];
