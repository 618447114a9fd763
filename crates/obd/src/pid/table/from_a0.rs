//! Parameters $A0 to $BF (SAE J1979-DA). Beyond $AA no layout was found: those are not understood.

use super::build::*;

/// Both scales uncertain, from memory.
const VAPOUR: Scaling = Scaling::signed(16, 0.25, Unit::Pascals, 2);
const VAPOUR_WIDE: Scaling = Scaling::signed(16, 2.0, Unit::Pascals, 0);

pub(super) static ROWS: &[Definition] = definitions![
    // As $83; from memory.
    0xA1 "NOx concentration, corrected" 9 [
        on(0, "bank 1 sensor 1", 1, CONCENTRATION),
        on(1, "bank 1 sensor 2", 3, CONCENTRATION),
        on(2, "bank 2 sensor 1", 5, CONCENTRATION),
        on(3, "bank 2 sensor 2", 7, CONCENTRATION)
    ];
    0xA2 "fuel per cylinder" 2 [number("", 0, Scaling::unsigned(16, 1.0 / 32.0, 0.0, Unit::MilligramsPerStroke, 2))];
    // From memory but for length and unit.
    0xA3 "tank pressure sensors" 9 [
        on(0, "A", 1, VAPOUR),
        on(1, "A, wide range", 3, VAPOUR_WIDE),
        on(2, "B", 5, VAPOUR),
        on(3, "B, wide range", 7, VAPOUR_WIDE)
    ];
    0xA4 "transmission" 4 [
        when(0, field("gear", 8, 4, Kind::Number(Scaling::unsigned(4, 1.0, 0.0, Unit::Gear, 0)))),
        on(1, "gear ratio", 2, Scaling::unsigned(16, 0.001, 0.0, Unit::Ratio, 3))
    ];
    // The usage: from memory.
    0xA5 "exhaust fluid dosing" 4 [
        on(0, "commanded", 1, Scaling::unsigned(8, 0.5, 0.0, Unit::Percent, 1)),
        on(1, "used this driving cycle", 2, Scaling::unsigned(16, 0.0005, 0.0, Unit::Litres, 4))
    ];
    0xA6 "odometer" 4 [number("", 0, Scaling::unsigned(32, 0.1, 0.0, Unit::Kilometres, 1))];
    // Nine bytes, as $83; another source has four. From memory.
    0xA7 "NOx concentration" 9 [
        on(0, "bank 1 sensor 3", 1, CONCENTRATION),
        on(1, "bank 1 sensor 4", 3, CONCENTRATION),
        on(2, "bank 2 sensor 3", 5, CONCENTRATION),
        on(3, "bank 2 sensor 4", 7, CONCENTRATION)
    ];
    0xA8 "NOx concentration, corrected" 9 [
        on(0, "bank 1 sensor 3", 1, CONCENTRATION),
        on(1, "bank 1 sensor 4", 3, CONCENTRATION),
        on(2, "bank 2 sensor 3", 5, CONCENTRATION),
        on(3, "bank 2 sensor 4", 7, CONCENTRATION)
    ];
    // Two bytes; another source has four.
    0xA9 "motorcycle inputs and outputs" 2 [when(0, flag("ABS disabled", 15))];
    // Scale from memory.
    0xAA "speed limiter" 1 [number("", 0, Scaling::unsigned(8, 1.0, 0.0, Unit::KilometresPerHour, 0))];
];
