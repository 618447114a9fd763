//! Parameters $80 to $9F (SAE J1979-DA): mostly compression ignition, NOx after-treatment, hybrids. Layouts here rest on
//! memory more than elsewhere; such rows say so.

use super::super::choice::{ACTIVE_OR_PASSIVE, LOOP, SUSTAINING_OR_DEPLETING};
use super::build::*;

const REAGENT: Scaling = Scaling::unsigned(16, 0.005, 0.0, Unit::LitresPerHour, 3);
const PARTICLES: Scaling = Scaling::unsigned(16, 0.0125, 0.0, Unit::MilligramsPerCubicMetre, 2);
const SENSOR_OUTPUT: Scaling = Scaling::signed(16, 0.01, Unit::Percent, 2);
const FUEL_MASS: Scaling = Scaling::unsigned(16, 0.02, 0.0, Unit::GramsPerSecond, 2);

/// A number without a scale, such as a type or a mode.
const fn code(name: &'static str, first_bit: usize, bits: u32) -> Field {
    let scaling = Scaling::unsigned(bits, 1.0, 0.0, Unit::Code, 0);
    field(name, first_bit, bits as usize, Kind::Number(scaling))
}

pub(super) static ROWS: &[Definition] = definitions![
    // Length from one source, two timers each from memory; an older source has 21 bytes.
    0x81 "run time of emission strategies" 41 [
        on(0, "number 1, timer 1", 1, SECONDS_32),
        on(0, "number 1, timer 2", 5, SECONDS_32),
        on(1, "number 2, timer 1", 9, SECONDS_32),
        on(1, "number 2, timer 2", 13, SECONDS_32),
        on(2, "number 3, timer 1", 17, SECONDS_32),
        on(2, "number 3, timer 2", 21, SECONDS_32),
        on(3, "number 4, timer 1", 25, SECONDS_32),
        on(3, "number 4, timer 2", 29, SECONDS_32),
        on(4, "number 5, timer 1", 33, SECONDS_32),
        on(4, "number 5, timer 2", 37, SECONDS_32)
    ];
    0x82 "run time of emission strategies" 41 [
        on(0, "number 6, timer 1", 1, SECONDS_32),
        on(0, "number 6, timer 2", 5, SECONDS_32),
        on(1, "number 7, timer 1", 9, SECONDS_32),
        on(1, "number 7, timer 2", 13, SECONDS_32),
        on(2, "number 8, timer 1", 17, SECONDS_32),
        on(2, "number 8, timer 2", 21, SECONDS_32),
        on(3, "number 9, timer 1", 25, SECONDS_32),
        on(3, "number 9, timer 2", 29, SECONDS_32),
        on(4, "number 10, timer 1", 33, SECONDS_32),
        on(4, "number 10, timer 2", 37, SECONDS_32)
    ];
    // Nine bytes; one source has five. The bits of byte A: from memory.
    0x83 "NOx concentration" 9 [
        on(0, "bank 1 sensor 1", 1, CONCENTRATION),
        on(1, "bank 1 sensor 2", 3, CONCENTRATION),
        on(2, "bank 2 sensor 1", 5, CONCENTRATION),
        on(3, "bank 2 sensor 2", 7, CONCENTRATION)
    ];
    0x84 "manifold surface temperature" 1 [number("", 0, TEMPERATURE)];
    // The bits of byte A: from memory.
    0x85 "NOx reagent" 10 [
        on(0, "consumption", 1, REAGENT),
        on(1, "demanded consumption", 3, REAGENT),
        on(2, "tank level", 5, PERCENT),
        on(3, "run time with warning", 6, SECONDS_32)
    ];
    // The bits of byte A: from memory.
    0x86 "particle mass" 5 [on(0, "bank 1 sensor 1", 1, PARTICLES), on(1, "bank 2 sensor 1", 3, PARTICLES)];
    // The bits of byte A: from memory.
    0x87 "manifold pressure sensors" 5 [on(0, "A", 1, FINE_PRESSURE), on(1, "B", 3, FINE_PRESSURE)];
    // From memory.
    0x88 "SCR inducement" 13 [
        field("state", 0, 8, Kind::Bits),
        field("history", 8, 16, Kind::Bits),
        number("distance active, this block", 3, DISTANCE),
        number("distance, this block", 5, DISTANCE),
        number("distance active, 20 000 km block", 7, DISTANCE),
        number("distance active, 30 000 km block", 9, DISTANCE),
        number("distance active, 40 000 km block", 11, DISTANCE)
    ];
    // As $81; the bits of byte A: from memory.
    0x89 "run time of emission strategies" 41 [
        on(0, "number 11, timer 1", 1, SECONDS_32),
        on(0, "number 11, timer 2", 5, SECONDS_32),
        on(1, "number 12, timer 1", 9, SECONDS_32),
        on(1, "number 12, timer 2", 13, SECONDS_32),
        on(2, "number 13, timer 1", 17, SECONDS_32),
        on(2, "number 13, timer 2", 21, SECONDS_32),
        on(3, "number 14, timer 1", 25, SECONDS_32),
        on(3, "number 14, timer 2", 29, SECONDS_32),
        on(4, "number 15, timer 1", 33, SECONDS_32),
        on(4, "number 15, timer 2", 37, SECONDS_32)
    ];
    0x8A "run time of emission strategies" 41 [
        on(0, "number 16, timer 1", 1, SECONDS_32),
        on(0, "number 16, timer 2", 5, SECONDS_32),
        on(1, "number 17, timer 1", 9, SECONDS_32),
        on(1, "number 17, timer 2", 13, SECONDS_32),
        on(2, "number 18, timer 1", 17, SECONDS_32),
        on(2, "number 18, timer 2", 21, SECONDS_32),
        on(3, "number 19, timer 1", 25, SECONDS_32),
        on(3, "number 19, timer 2", 29, SECONDS_32),
        on(4, "number 20, timer 1", 33, SECONDS_32),
        on(4, "number 20, timer 2", 37, SECONDS_32)
    ];
    // From memory.
    0x8B "after-treatment" 7 [
        when(3, flag("NOx adsorber desulphurisation", 12)),
        when(2, flag("NOx adsorber regeneration", 13)),
        when(1, choice("filter regeneration type", 14, 1, ACTIVE_OR_PASSIVE)),
        when(0, flag("filter regeneration", 15)),
        on(4, "trigger of filter regeneration", 2, PERCENT),
        on(5, "time between regenerations", 3, MINUTES),
        on(6, "distance between regenerations", 5, DISTANCE)
    ];
    // Seventeen bytes; one source has sixteen. The bits of byte A: from memory.
    0x8C "oxygen concentration" 17 [
        on(0, "oxygen, bank 1 sensor 1", 1, OXYGEN),
        on(1, "oxygen, bank 1 sensor 2", 3, OXYGEN),
        on(2, "oxygen, bank 2 sensor 1", 5, OXYGEN),
        on(3, "oxygen, bank 2 sensor 2", 7, OXYGEN),
        on(4, "lambda, bank 1 sensor 1", 9, LAMBDA_BY_CONCENTRATION),
        on(5, "lambda, bank 1 sensor 2", 11, LAMBDA_BY_CONCENTRATION),
        on(6, "lambda, bank 2 sensor 1", 13, LAMBDA_BY_CONCENTRATION),
        on(7, "lambda, bank 2 sensor 2", 15, LAMBDA_BY_CONCENTRATION)
    ];
    0x8D "throttle position G" 1 [number("", 0, PERCENT)];
    0x8E "friction torque" 1 [number("", 0, TORQUE_SHARE)];
    // Seven bytes; one source has five. From memory.
    0x8F "particle sensor" 7 [
        when(0, flag("bank 1 regenerating", 14)),
        when(0, flag("bank 1 measuring", 15)),
        on(1, "bank 1 output", 2, SENSOR_OUTPUT),
        when(2, flag("bank 2 regenerating", 38)),
        when(2, flag("bank 2 measuring", 39)),
        on(3, "bank 2 output", 5, SENSOR_OUTPUT)
    ];
    // From memory.
    0x90 "world-wide OBD, vehicle" 3 [
        flag("readiness complete", 1),
        code("indicator mode", 2, 4),
        code("indicator strategy", 6, 2),
        number("continuous indicator time", 1, HOURS)
    ];
    // From memory.
    0x91 "world-wide OBD, ECU" 5 [
        code("indicator status", 4, 4),
        number("continuous indicator time", 1, HOURS),
        number("highest B1 counter", 3, HOURS)
    ];
    // From memory.
    0x92 "fuel system control, compression ignition" 2 [
        when(7, choice("idle balance 2", 8, 1, LOOP)),
        when(6, choice("injection timing 2", 9, 1, LOOP)),
        when(5, choice("injection quantity 2", 10, 1, LOOP)),
        when(4, choice("fuel pressure 2", 11, 1, LOOP)),
        when(3, choice("idle balance 1", 12, 1, LOOP)),
        when(2, choice("injection timing 1", 13, 1, LOOP)),
        when(1, choice("injection quantity 1", 14, 1, LOOP)),
        when(0, choice("fuel pressure 1", 15, 1, LOOP))
    ];
    // From memory.
    0x93 "world-wide OBD, cumulative" 3 [on(0, "continuous indicator time", 1, HOURS)];
    // Inner layout from one public list, meaning of the two bit fields from memory.
    0x94 "NOx control inducement" 12 [
        field("announced", 0, 8, Kind::Bits),
        field("status", 8, 8, Kind::Bits),
        number("reagent quality", 2, HOURS),
        number("reagent consumption", 4, HOURS),
        number("dosing", 6, HOURS),
        number("EGR valve", 8, HOURS),
        number("monitoring", 10, HOURS)
    ];
    // From memory.
    0x98 "exhaust gas temperature, bank 1" 9 [
        on(0, "sensor 5", 1, HOT),
        on(1, "sensor 6", 3, HOT),
        on(2, "sensor 7", 5, HOT),
        on(3, "sensor 8", 7, HOT)
    ];
    0x99 "exhaust gas temperature, bank 2" 9 [
        on(0, "sensor 5", 1, HOT),
        on(1, "sensor 6", 3, HOT),
        on(2, "sensor 7", 5, HOT),
        on(3, "sensor 8", 7, HOT)
    ];
    // Current in two's complement and the state: from memory.
    0x9A "hybrid battery" 6 [
        when(0, choice("charge", 15, 1, SUSTAINING_OR_DEPLETING)),
        on(1, "voltage", 2, Scaling::unsigned(16, 1.0 / 64.0, 0.0, Unit::Volts, 2)),
        on(2, "current", 4, Scaling::signed(16, 0.1, Unit::Amperes, 1))
    ];
    // Bytes A to D; one source repeats the places of the first two. The bits of byte A: from memory.
    0x9B "exhaust fluid" 4 [
        when(0, code("type", 0, 4)),
        on(1, "concentration", 1, Scaling::unsigned(8, 0.25, 0.0, Unit::Percent, 2)),
        on(2, "tank temperature", 2, TEMPERATURE),
        on(3, "tank level", 3, PERCENT)
    ];
    0x9C "oxygen concentration" 17 [
        on(0, "oxygen, bank 1 sensor 3", 1, OXYGEN),
        on(1, "oxygen, bank 1 sensor 4", 3, OXYGEN),
        on(2, "oxygen, bank 2 sensor 3", 5, OXYGEN),
        on(3, "oxygen, bank 2 sensor 4", 7, OXYGEN),
        on(4, "lambda, bank 1 sensor 3", 9, LAMBDA_BY_CONCENTRATION),
        on(5, "lambda, bank 1 sensor 4", 11, LAMBDA_BY_CONCENTRATION),
        on(6, "lambda, bank 2 sensor 3", 13, LAMBDA_BY_CONCENTRATION),
        on(7, "lambda, bank 2 sensor 4", 15, LAMBDA_BY_CONCENTRATION)
    ];
    0x9D "fuel flow" 4 [number("engine", 0, FUEL_MASS), number("vehicle", 2, FUEL_MASS)];
    0x9E "exhaust flow" 2 [number("", 0, Scaling::unsigned(16, 0.2, 0.0, Unit::KilogramsPerHour, 1))];
    // The bits of byte A: from memory.
    0x9F "fuel system use" 9 [
        on(0, "1", 1, PERCENT),
        on(1, "2", 2, PERCENT),
        on(2, "3", 3, PERCENT),
        on(3, "4", 4, PERCENT),
        on(4, "5", 5, PERCENT),
        on(5, "6", 6, PERCENT),
        on(6, "7", 7, PERCENT),
        on(7, "8", 8, PERCENT)
    ];
];
