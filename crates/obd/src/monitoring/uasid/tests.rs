//! The table of units and scalings against the figures of the standard's data annex.

extern crate std;

use std::format;

use super::*;

/// Number, two's complement, value at the lowest and at the highest count, unit: carried over row by row from the
/// project's reference table, whose ends are worked out from scapy's figures.
#[rustfmt::skip]
const ENDS: &[(u8, bool, f64, f64, &str)] = &[
    (0x01, false, 0.0, 65535.0, "Count"),
    (0x02, false, 0.0, 6553.5, "Count"),
    (0x03, false, 0.0, 655.35, "Count"),
    (0x04, false, 0.0, 65.535, "Count"),
    (0x05, false, 0.0, 1.998_817_5, "Count"),
    (0x06, false, 0.0, 19.988_175, "Count"),
    (0x07, false, 0.0, 16383.75, "RevolutionsPerMinute"),
    (0x08, false, 0.0, 655.35, "KilometresPerHour"),
    (0x09, false, 0.0, 65535.0, "KilometresPerHour"),
    (0x0A, false, 0.0, 7995.27, "Millivolts"),
    (0x0B, false, 0.0, 65.535, "Volts"),
    (0x0C, false, 0.0, 655.35, "Volts"),
    (0x0D, false, 0.0, 255.996_093_75, "Milliamperes"),
    (0x0E, false, 0.0, 65.535, "Amperes"),
    (0x0F, false, 0.0, 655.35, "Amperes"),
    (0x10, false, 0.0, 65535.0, "Milliseconds"),
    (0x11, false, 0.0, 6553500.0, "Milliseconds"),
    (0x12, false, 0.0, 65535.0, "Seconds"),
    (0x13, false, 0.0, 65535.0, "Milliohms"),
    (0x14, false, 0.0, 65535.0, "Ohms"),
    (0x15, false, 0.0, 65535.0, "Kiloohms"),
    (0x16, false, -40.0, 6513.5, "DegreesCelsius"),
    (0x17, false, 0.0, 655.35, "Kilopascals"),
    (0x18, false, 0.0, 766.7595, "Kilopascals"),
    (0x19, false, 0.0, 5177.265, "Kilopascals"),
    (0x1A, false, 0.0, 65535.0, "Kilopascals"),
    (0x1B, false, 0.0, 655350.0, "Kilopascals"),
    (0x1C, false, 0.0, 655.35, "DegreesOfAngle"),
    (0x1D, false, 0.0, 32767.5, "DegreesOfAngle"),
    (0x1E, false, 0.0, 1.998_817_5, "Ratio"),
    (0x1F, false, 0.0, 3276.75, "Ratio"),
    (0x20, false, 0.0, 255.992_817, "Ratio"),
    (0x21, false, 0.0, 65535.0, "Millihertz"),
    (0x22, false, 0.0, 65535.0, "Hertz"),
    (0x23, false, 0.0, 65535.0, "Kilohertz"),
    (0x24, false, 0.0, 65535.0, "Count"),
    (0x25, false, 0.0, 65535.0, "Kilometres"),
    (0x26, false, 0.0, 6553.5, "MillivoltsPerMillisecond"),
    (0x27, false, 0.0, 655.35, "GramsPerSecond"),
    (0x28, false, 0.0, 65535.0, "GramsPerSecond"),
    (0x29, false, 0.0, 16383.75, "PascalsPerSecond"),
    (0x2A, false, 0.0, 65.535, "KilogramsPerHour"),
    (0x2B, false, 0.0, 65535.0, "Switches"),
    (0x2C, false, 0.0, 655.35, "GramsPerCylinder"),
    (0x2D, false, 0.0, 655.35, "MilligramsPerStroke"),
    (0x2E, false, 0.0, 1.0, "TrueOrFalse"),
    (0x2F, false, 0.0, 655.35, "Percent"),
    (0x30, false, 0.0, 100.006_41, "Percent"),
    (0x31, false, 0.0, 65.535, "Litres"),
    (0x32, false, 0.0, 1.998_817_5, "Inches"),
    (0x33, false, 0.0, 15.999_714_9, "Ratio"),
    (0x34, false, 0.0, 65535.0, "Minutes"),
    (0x35, false, 0.0, 655350.0, "Milliseconds"),
    (0x36, false, 0.0, 655.35, "Grams"),
    (0x37, false, 0.0, 6553.5, "Grams"),
    (0x38, false, 0.0, 65535.0, "Grams"),
    (0x39, false, -327.68, 327.67, "Percent"),
    (0x3A, false, 0.0, 65.535, "Grams"),
    (0x3B, false, 0.0, 6.5535, "Grams"),
    (0x3C, false, 0.0, 6553.5, "Microseconds"),
    (0x3D, false, 0.0, 655.35, "Milliamperes"),
    (0x3E, false, 0.0, 3.999_939_210_6, "SquareMillimetres"),
    (0x3F, false, 0.0, 655.35, "Litres"),
    (0x40, false, 0.0, 65535.0, "PartsPerMillion"),
    (0x41, false, 0.0, 655.35, "Microamperes"),
    (0x81, true, -32768.0, 32767.0, "Count"),
    (0x82, true, -3276.8, 3276.7, "Count"),
    (0x83, true, -327.68, 327.67, "Count"),
    (0x84, true, -32.768, 32.767, "Count"),
    (0x85, true, -0.999_424, 0.999_393_5, "Count"),
    (0x86, true, -9.994_24, 9.993_935, "Count"),
    (0x87, true, -32768.0, 32767.0, "PartsPerMillion"),
    (0x8A, true, -3997.696, 3997.574, "Millivolts"),
    (0x8B, true, -32.768, 32.767, "Volts"),
    (0x8C, true, -327.68, 327.67, "Volts"),
    (0x8D, true, -128.0, 127.996_093_75, "Milliamperes"),
    (0x8E, true, -32.768, 32.767, "Amperes"),
    (0x90, true, -32768.0, 32767.0, "Milliseconds"),
    (0x96, true, -3276.8, 3276.7, "DegreesCelsius"),
    (0x99, true, -3276.8, 3276.7, "Kilopascals"),
    (0x9C, true, -327.68, 327.67, "DegreesOfAngle"),
    (0x9D, true, -16384.0, 16383.5, "DegreesOfAngle"),
    (0xA8, true, -32768.0, 32767.0, "GramsPerSecond"),
    (0xA9, true, -8192.0, 8191.75, "PascalsPerSecond"),
    (0xAD, true, -327.68, 327.67, "MilligramsPerStroke"),
    (0xAE, true, -3276.8, 3276.7, "MilligramsPerStroke"),
    (0xAF, true, -327.68, 327.67, "Percent"),
    (0xB0, true, -100.007_936, 100.004_884, "Percent"),
    (0xB1, true, -65536.0, 65534.0, "MillivoltsPerSecond"),
    (0xFB, true, -327680.0, 327670.0, "Kilopascals"),
    (0xFC, true, -327.68, 327.67, "Kilopascals"),
    (0xFD, true, -32.768, 32.767, "Kilopascals"),
    (0xFE, true, -8192.0, 8191.75, "Pascals"),
];

#[test]
fn both_ends_agree_with_the_standard() {
    assert!(Uasid::all().map(Uasid::number).eq(ENDS.iter().map(|row| row.0)));
    for &(number, signed, lowest, highest, unit) in ENDS {
        let uasid = Uasid::new(number);
        let scaling = uasid.scaling().unwrap();
        assert_eq!((uasid.is_signed(), scaling.signed), (signed, signed), "{uasid}");
        assert_eq!(format!("{:?}", scaling.unit), unit, "{uasid}");
        let near = |found: f64, wanted: f64| (found - wanted).abs() <= 1e-9 * wanted.abs().max(1.0);
        // A state has two values, whatever its 16 bits could hold.
        let raw_highest = if signed { 0x7FFF } else { 0xFFFF };
        if scaling.unit == Unit::TrueOrFalse {
            assert!(
                near(scaling.decode(1), highest) && near(scaling.decode(0), lowest),
                "{uasid}"
            );
            continue;
        }
        let raw_lowest = if signed { 0x8000 } else { 0 };
        assert!(
            near(scaling.decode(raw_lowest), lowest),
            "{uasid}: {}",
            scaling.lowest()
        );
        assert!(
            near(scaling.decode(raw_highest), highest),
            "{uasid}: {}",
            scaling.highest()
        );
        for beyond in [0.0, 0.4 * scaling.resolution, 1e9] {
            assert_eq!(
                scaling.encode(lowest - beyond),
                raw_lowest,
                "{uasid} below the lowest"
            );
            assert_eq!(
                scaling.encode(highest + beyond),
                raw_highest,
                "{uasid} above the highest"
            );
        }
    }
}

#[test]
fn every_count_comes_back_and_half_counts_go_away_from_zero() {
    for uasid in Uasid::all() {
        let scaling = uasid.scaling().unwrap();
        for raw in (0..0x1_0000_u32).step_by(3) {
            assert_eq!(scaling.encode(scaling.decode(raw)), raw, "{uasid}");
        }
        for count in 0..20_u32 {
            let half = f64::from(count) + 0.5;
            let value = |counts: f64| scaling.offset + counts * scaling.resolution;
            assert_eq!(scaling.encode(value(half)), count + 1, "{uasid}");
            assert_eq!(scaling.encode(value(half - 0.001)), count, "{uasid}");
            if scaling.signed {
                assert_eq!(
                    scaling.encode(value(-half)),
                    (count + 1).wrapping_neg() & 0xFFFF,
                    "{uasid}"
                );
            }
        }
    }
}
