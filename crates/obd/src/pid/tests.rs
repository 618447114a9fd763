//! The table of parameters against the figures of the standard's data annex.

extern crate std;

use std::{format, string::ToString};

use super::*;

/// Every numeric field by PID: data bytes, first bit, bits, signed, value at the lowest and at the highest raw
/// number. Figures of SAE J1979-DA as a public encyclopedia and the open decoders of two projects give them,
/// carried over field by field from the project's reference table.
#[rustfmt::skip]
const ENDS: &[(u8, usize, usize, usize, bool, f64, f64)] = &[
    (0x01, 4, 1, 7, false, 0.0, 127.0),
    (0x04, 1, 0, 8, false, 0.0, 100.0),
    (0x05, 1, 0, 8, false, -40.0, 215.0),
    (0x06, 1, 0, 8, false, -100.0, 99.21875),
    (0x07, 1, 0, 8, false, -100.0, 99.21875),
    (0x08, 1, 0, 8, false, -100.0, 99.21875),
    (0x09, 1, 0, 8, false, -100.0, 99.21875),
    (0x0A, 1, 0, 8, false, 0.0, 765.0),
    (0x0B, 1, 0, 8, false, 0.0, 255.0),
    (0x0C, 2, 0, 16, false, 0.0, 16383.75),
    (0x0D, 1, 0, 8, false, 0.0, 255.0),
    (0x0E, 1, 0, 8, false, -64.0, 63.5),
    (0x0F, 1, 0, 8, false, -40.0, 215.0),
    (0x10, 2, 0, 16, false, 0.0, 655.35),
    (0x11, 1, 0, 8, false, 0.0, 100.0),
    (0x14, 2, 0, 8, false, 0.0, 1.275),
    (0x14, 2, 8, 8, false, -100.0, 99.21875),
    (0x15, 2, 0, 8, false, 0.0, 1.275),
    (0x15, 2, 8, 8, false, -100.0, 99.21875),
    (0x1B, 2, 0, 8, false, 0.0, 1.275),
    (0x1B, 2, 8, 8, false, -100.0, 99.21875),
    (0x1F, 2, 0, 16, false, 0.0, 65535.0),
    (0x21, 2, 0, 16, false, 0.0, 65535.0),
    (0x22, 2, 0, 16, false, 0.0, 5177.265),
    (0x23, 2, 0, 16, false, 0.0, 655350.0),
    (0x24, 4, 0, 16, false, 0.0, 1.999969482421875),
    (0x24, 4, 16, 16, false, 0.0, 7.9998779296875),
    (0x2B, 4, 0, 16, false, 0.0, 1.999969482421875),
    (0x2B, 4, 16, 16, false, 0.0, 7.9998779296875),
    (0x2C, 1, 0, 8, false, 0.0, 100.0),
    (0x2D, 1, 0, 8, false, -100.0, 99.21875),
    (0x2E, 1, 0, 8, false, 0.0, 100.0),
    (0x2F, 1, 0, 8, false, 0.0, 100.0),
    (0x30, 1, 0, 8, false, 0.0, 255.0),
    (0x31, 2, 0, 16, false, 0.0, 65535.0),
    (0x32, 2, 0, 16, true, -8192.0, 8191.75),
    (0x33, 1, 0, 8, false, 0.0, 255.0),
    (0x34, 4, 0, 16, false, 0.0, 1.999969482421875),
    (0x34, 4, 16, 16, false, -128.0, 127.99609375),
    (0x3B, 4, 0, 16, false, 0.0, 1.999969482421875),
    (0x3B, 4, 16, 16, false, -128.0, 127.99609375),
    (0x3C, 2, 0, 16, false, -40.0, 6513.5),
    (0x3F, 2, 0, 16, false, -40.0, 6513.5),
    (0x42, 2, 0, 16, false, 0.0, 65.535),
    (0x43, 2, 0, 16, false, 0.0, 25700.0),
    (0x44, 2, 0, 16, false, 0.0, 1.999969482421875),
    (0x45, 1, 0, 8, false, 0.0, 100.0),
    (0x46, 1, 0, 8, false, -40.0, 215.0),
    (0x47, 1, 0, 8, false, 0.0, 100.0),
    (0x48, 1, 0, 8, false, 0.0, 100.0),
    (0x49, 1, 0, 8, false, 0.0, 100.0),
    (0x4A, 1, 0, 8, false, 0.0, 100.0),
    (0x4B, 1, 0, 8, false, 0.0, 100.0),
    (0x4C, 1, 0, 8, false, 0.0, 100.0),
    (0x4D, 2, 0, 16, false, 0.0, 65535.0),
    (0x4E, 2, 0, 16, false, 0.0, 65535.0),
    (0x52, 1, 0, 8, false, 0.0, 100.0),
    (0x53, 2, 0, 16, false, 0.0, 327.675),
    (0x54, 2, 0, 16, true, -32768.0, 32767.0),
    (0x55, 2, 0, 8, false, -100.0, 99.21875),
    (0x55, 2, 8, 8, false, -100.0, 99.21875),
    (0x56, 2, 0, 8, false, -100.0, 99.21875),
    (0x56, 2, 8, 8, false, -100.0, 99.21875),
    (0x57, 2, 0, 8, false, -100.0, 99.21875),
    (0x57, 2, 8, 8, false, -100.0, 99.21875),
    (0x58, 2, 0, 8, false, -100.0, 99.21875),
    (0x58, 2, 8, 8, false, -100.0, 99.21875),
    (0x59, 2, 0, 16, false, 0.0, 655350.0),
    (0x5A, 1, 0, 8, false, 0.0, 100.0),
    (0x5B, 1, 0, 8, false, 0.0, 100.0),
    (0x5C, 1, 0, 8, false, -40.0, 215.0),
    (0x5D, 2, 0, 16, false, -210.0, 301.9921875),
    (0x5E, 2, 0, 16, false, 0.0, 3276.75),
    (0x61, 1, 0, 8, false, -125.0, 130.0),
    (0x62, 1, 0, 8, false, -125.0, 130.0),
    (0x63, 2, 0, 16, false, 0.0, 65535.0),
];

fn scaling_at(pid: u8, first_bit: usize) -> (&'static Definition, &'static Field, Scaling) {
    let definition = Pid::new(pid)
        .definition()
        .unwrap_or_else(|| panic!("PID {pid:02X} is missing"));
    let field = definition
        .fields
        .iter()
        .find(|field| field.first_bit == first_bit)
        .unwrap_or_else(|| panic!("PID {pid:02X} has no field at bit {first_bit}"));
    let (Kind::Number(scaling) | Kind::NumberOrAbsent(scaling)) = field.kind else {
        panic!("PID {pid:02X} is no number");
    };
    (definition, field, scaling)
}

/// The reference gives some resolutions with twelve digits, so the far end may differ by one part in 10^9.
fn near(found: f64, expected: f64, what: &str) {
    assert!(
        (found - expected).abs() <= 1e-9 * expected.abs().max(1.0),
        "{what}: {found} instead of {expected}"
    );
}

#[test]
fn both_ends_agree_with_the_standard() {
    for &(pid, length, first_bit, bits, signed, lowest, highest) in ENDS {
        let (definition, field, scaling) = scaling_at(pid, first_bit);
        let what = format!("PID {pid:02X}");
        assert_eq!(
            (
                definition.length,
                field.bits,
                scaling.bits as usize,
                scaling.signed
            ),
            (length, bits, bits, signed),
            "{what}"
        );
        near(scaling.lowest(), lowest, &what);
        near(scaling.highest(), highest, &what);
        let (raw_lowest, raw_highest) = if signed {
            (1 << (bits - 1), (1 << (bits - 1)) - 1)
        } else {
            (0, u32::MAX >> (32 - bits))
        };
        near(scaling.decode(raw_lowest), lowest, &what);
        near(scaling.decode(raw_highest), highest, &what);
        for beyond in [0.0, 0.4 * scaling.resolution, 1e9, f64::INFINITY] {
            assert_eq!(
                scaling.encode(lowest - beyond),
                raw_lowest,
                "{what} at or below the lowest"
            );
            assert_eq!(
                scaling.encode(highest + beyond),
                raw_highest,
                "{what} at or above the highest"
            );
        }
        assert_eq!(
            scaling.encode(f64::NAN),
            raw_lowest,
            "{what} of what is not a number"
        );
    }
}

#[test]
fn every_raw_number_comes_back() {
    for &(pid, _, first_bit, bits, ..) in ENDS {
        let (.., scaling) = scaling_at(pid, first_bit);
        for raw in 0..1 << bits {
            assert_eq!(scaling.encode(scaling.decode(raw)), raw, "PID {pid:02X}");
        }
    }
}

/// Half a step goes away from raw zero, a little less goes to the nearer count.
#[test]
fn half_steps_round_away_from_zero() {
    for &(pid, _, first_bit, bits, signed, ..) in ENDS {
        let (.., scaling) = scaling_at(pid, first_bit);
        let mask = u32::MAX >> (32 - bits);
        for count in 0..20_u32 {
            let up = scaling.offset + (f64::from(count) + 0.5) * scaling.resolution;
            let below = scaling.offset + (f64::from(count) + 0.499) * scaling.resolution;
            assert_eq!(
                scaling.encode(up),
                count + 1,
                "PID {pid:02X}, count {count} and a half"
            );
            assert_eq!(
                scaling.encode(below),
                count,
                "PID {pid:02X}, count {count} and a little less"
            );
            if signed {
                assert_eq!(
                    scaling.encode(-up),
                    (count + 1).wrapping_neg() & mask,
                    "PID {pid:02X}"
                );
                assert_eq!(
                    scaling.encode(-below),
                    count.wrapping_neg() & mask,
                    "PID {pid:02X}"
                );
            }
        }
    }
}

#[test]
fn the_table_rises_and_its_fields_fit() {
    assert!(DEFINITIONS.windows(2).all(|pair| pair[0].pid < pair[1].pid));
    for definition in DEFINITIONS {
        assert!(!definition.pid.is_mask(), "PID {}", definition.pid);
        let mut free = 0;
        for field in definition.fields {
            assert!(field.first_bit >= free, "PID {}: fields overlap", definition.pid);
            free = field.first_bit + field.bits;
        }
        assert!(
            free <= definition.length * 8,
            "PID {}: a field is outside",
            definition.pid
        );
    }
    assert_eq!(
        Pid::new(0x20).definition().map(|mask| (mask.pid, mask.length)),
        Some((Pid::new(0x20), 4))
    );
    assert_eq!(Pid::new(0xC3).definition(), None);
}

#[test]
fn a_field_writes_only_its_own_bits() {
    let lamp_and_count = &Pid::new(0x01).definition().unwrap().fields[..2];
    let mut data = [0x00, 0xA5, 0xA5, 0xA5];
    lamp_and_count[0].insert(1, &mut data);
    lamp_and_count[1].insert(3, &mut data);
    assert_eq!(data, [0x83, 0xA5, 0xA5, 0xA5]);
    lamp_and_count[0].insert(0, &mut data);
    assert_eq!(
        (lamp_and_count[0].extract(&data), lamp_and_count[1].extract(&data)),
        (Some(0), Some(3))
    );
    assert_eq!(lamp_and_count[0].extract(&[]), None);
}

/// `41 0C 1A F8 0D 50 05 6E` is 1726 rpm, 80 km/h, 70 °C to two independent dissectors.
#[test]
fn values_are_shown_with_their_unit() {
    for (pid, data, shown) in [
        (0x0C, &[0x1A, 0xF8][..], "1726 rpm"),
        (0x0C, &[0x1A, 0xF9], "1726.25 rpm"),
        (0x0D, &[0x50], "80 km/h"),
        (0x05, &[0x6E], "70 °C"),
        (0x06, &[0x80], "0 %"),
        (0x06, &[0x7F], "-0.8 %"),
        (0x0E, &[0x94], "10°"),
        (0x32, &[0xFF, 0xFF], "-0.25 Pa"),
        (0x44, &[0x80, 0x00], "1"),
        (0x03, &[0x02, 0x00], "closed loop"),
        (0x03, &[0x03, 0x00], "unknown value $03"),
        (0x1C, &[0x01], "OBD II (California)"),
        (0x1C, &[0x06], "EOBD"),
        (0x51, &[0x01], "gasoline"),
        (0x51, &[0x04], "diesel"),
        (0x02, &[0x04, 0x55], "P0455"),
        (0x02, &[0x00, 0x00], "none"),
        (0x13, &[0x03], "bank 1 sensor 1, bank 1 sensor 2"),
    ] {
        let field = &Pid::new(pid).definition().unwrap().fields[0];
        assert_eq!(field.decode(data).unwrap().to_string(), shown, "PID {pid:02X}");
    }
}

/// A sensor that the trim does not use sends $FF, and a trim at its end must not look like that.
#[test]
fn a_trim_at_its_end_is_not_taken_for_absent() {
    let (_, field, scaling) = scaling_at(0x14, 8);
    assert_eq!(
        (
            scaling.encode_or_absent(None),
            scaling.encode_or_absent(Some(99.5))
        ),
        (0xFF, 0xFE)
    );
    assert_eq!(field.decode(&[0x5A, 0xFF]), Some(Value::Absent));
}
