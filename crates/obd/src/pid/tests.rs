//! The table of parameters against the figures of the standard's data annex.

extern crate std;

use std::{string::ToString, vec::Vec};

use super::*;

/// One field as the reference has it.
#[derive(Clone, Copy, Debug)]
struct Row {
    pid: Pid,
    length: usize,
    first_bit: usize,
    bits: usize,
    kind: &'static str,
    lowest: f64,
    highest: f64,
}

/// The rows of `tests/rows.tsv`, whose head names their sources.
fn rows() -> impl Iterator<Item = Row> {
    include_str!("tests/rows.tsv")
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| {
            let cells: Vec<&str> = line.split('\t').collect();
            let end = |place: usize| cells.get(place).and_then(|end| end.parse().ok());
            Row {
                pid: Pid::new(u8::from_str_radix(cells[0], 16).unwrap()),
                length: cells[1].parse().unwrap(),
                first_bit: cells[2].parse().unwrap(),
                bits: cells[3].parse().unwrap(),
                kind: cells[4],
                lowest: end(5).unwrap_or(f64::NAN),
                highest: end(6).unwrap_or(f64::NAN),
            }
        })
}

impl Row {
    fn definition(&self) -> &'static Definition {
        let definition = self
            .pid
            .definition()
            .unwrap_or_else(|| panic!("{self:?} is missing"));
        assert_eq!(definition.length, self.length, "{self:?}");
        definition
    }

    /// The field that begins where the row does.
    fn field(&self) -> &'static Field {
        let mut fields = self.definition().fields.iter();
        fields
            .find(|field| field.first_bit == self.first_bit && field.bits == self.bits)
            .unwrap_or_else(|| panic!("{self:?} is missing"))
    }

    /// The scaling of a numeric row.
    fn scaling(&self) -> Scaling {
        let (Kind::Number(scaling) | Kind::NumberOrAbsent(scaling)) = self.field().kind else {
            panic!("{self:?} is no number");
        };
        assert_eq!(
            (scaling.bits as usize, scaling.signed),
            (self.bits, self.kind == "signed"),
            "{self:?}"
        );
        scaling
    }

    fn numbers() -> impl Iterator<Item = Self> {
        rows().filter(|row| matches!(row.kind, "number" | "signed"))
    }

    /// Whether a field of the table covers a bit of this row, or is announced by it.
    fn covers(&self, field: &Field) -> bool {
        let bits = self.first_bit..self.first_bit + self.bits;
        field.announced_by.is_some_and(|bit| bits.contains(&bit))
            || (field.first_bit < bits.end && bits.start < field.first_bit + field.bits)
    }
}

/// The reference gives some resolutions with twelve digits, so the far end may differ by one part in 10^9.
fn near(found: f64, expected: f64, what: &Row) {
    assert!(
        (found - expected).abs() <= 1e-9 * expected.abs().max(1.0),
        "{what:?}: {found} instead of {expected}"
    );
}

#[test]
fn both_ends_agree_with_the_standard() {
    for row in Row::numbers() {
        let scaling = row.scaling();
        let (lowest, highest) = (row.lowest, row.highest);
        near(scaling.lowest(), lowest, &row);
        near(scaling.highest(), highest, &row);
        let (raw_lowest, raw_highest) = if scaling.signed {
            (1 << (row.bits - 1), (1 << (row.bits - 1)) - 1)
        } else {
            (0, u32::MAX >> (32 - row.bits))
        };
        near(scaling.decode(raw_lowest), lowest, &row);
        near(scaling.decode(raw_highest), highest, &row);
        for beyond in [0.0, 0.4 * scaling.resolution, 1e12, f64::INFINITY] {
            assert_eq!(scaling.encode(lowest - beyond), raw_lowest, "{row:?} or below");
            assert_eq!(scaling.encode(highest + beyond), raw_highest, "{row:?} or above");
        }
        assert_eq!(
            scaling.encode(f64::NAN),
            raw_lowest,
            "{row:?} of what is not a number"
        );
    }
}

#[test]
fn every_raw_number_comes_back() {
    let mut done: Vec<Scaling> = Vec::new();
    for row in Row::numbers() {
        let scaling = row.scaling();
        if done.contains(&scaling) {
            continue;
        }
        done.push(scaling);
        // All of them, or 65536 spread over 32 bits.
        let step = 1 << (row.bits.max(16) - 16);
        for raw in (0..1_u64 << row.bits).step_by(step) {
            let raw = u32::try_from(raw).unwrap();
            assert_eq!(scaling.encode(scaling.decode(raw)), raw, "{row:?}");
        }
    }
}

/// Half a step goes away from raw zero, a little less goes to the nearer count.
#[test]
fn half_steps_round_away_from_zero() {
    for row in Row::numbers() {
        let scaling = row.scaling();
        let mask = u32::MAX >> (32 - row.bits);
        let counts = if scaling.signed { mask >> 1 } else { mask };
        for count in (0..20.min(counts)).chain([counts - 1]) {
            let up = scaling.offset + (f64::from(count) + 0.5) * scaling.resolution;
            let below = scaling.offset + (f64::from(count) + 0.499) * scaling.resolution;
            assert_eq!(scaling.encode(up), count + 1, "{row:?}, count {count} and a half");
            assert_eq!(
                scaling.encode(below),
                count,
                "{row:?}, count {count} and a little less"
            );
            if scaling.signed {
                assert_eq!(scaling.encode(-up), (count + 1).wrapping_neg() & mask, "{row:?}");
                assert_eq!(scaling.encode(-below), count.wrapping_neg() & mask, "{row:?}");
            }
        }
    }
}

#[test]
fn bits_and_named_values_stand_where_the_standard_has_them() {
    for row in rows() {
        let definition = row.definition();
        let found = match row.kind {
            "bit" => definition.fields.iter().any(|field| {
                field.announced_by == Some(row.first_bit)
                    || match field.kind {
                        Kind::Flag | Kind::Choice(_) => {
                            (field.first_bit, field.bits) == (row.first_bit, row.bits)
                        }
                        Kind::Readiness | Kind::SensorPlaces(_) => row.covers(field),
                        _ => false,
                    }
            }),
            "choice" => match row.field().kind {
                Kind::Choice(names) => names
                    .iter()
                    .any(|&(raw, _)| (f64::from(raw) - row.lowest).abs() < 0.5),
                _ => false,
            },
            "code" => row.field().kind == Kind::Code,
            "bits" => row.field().kind == Kind::Bits,
            "reserved" => !definition
                .fields
                .iter()
                .any(|field| field.kind != Kind::Readiness && row.covers(field)),
            "number" | "signed" => true,
            other => panic!("{other}"),
        };
        assert!(found, "{row:?}");
    }
}

/// Nothing is in the table that the reference has not, and nothing overlaps or lies outside.
#[test]
fn the_table_rises_and_its_fields_fit() {
    let definitions: Vec<&Definition> = Pid::definitions().collect();
    assert!(definitions.windows(2).all(|pair| pair[0].pid < pair[1].pid));
    for definition in definitions {
        assert!(!definition.pid.is_mask(), "PID {}", definition.pid);
        let mut taken = [false; 8 * 41];
        for field in definition.fields {
            let own = Row {
                pid: definition.pid,
                length: definition.length,
                first_bit: field.first_bit,
                bits: field.bits,
                kind: "",
                lowest: f64::NAN,
                highest: f64::NAN,
            };
            assert!(
                rows().any(|row| row.pid == own.pid && row.covers(field)),
                "{own:?} has no row in the reference"
            );
            for bit in &mut taken[field.first_bit..field.first_bit + field.bits] {
                assert!(!core::mem::replace(bit, true), "{own:?} overlaps another");
            }
            assert!(
                field.first_bit + field.bits <= definition.length * 8,
                "{own:?} is outside"
            );
        }
        for field in definition.fields {
            assert!(
                field.announced_by.is_none_or(|bit| !taken[bit]),
                "PID {}: an announcement overlaps a field",
                definition.pid
            );
        }
    }
    assert_eq!(
        Pid::new(0x20).definition().map(|mask| (mask.pid, mask.length)),
        Some((Pid::new(0x20), 4))
    );
    for without_layout in [0x80, 0x95, 0x96, 0x97, 0xAB, 0xC3, 0xFF] {
        let definition = Pid::new(without_layout).definition();
        assert!(definition.is_none_or(|definition| definition.pid.is_mask()));
    }
}

/// What a field says, written into other data, gives the same bits again: each field at both ends and in between.
#[test]
fn every_field_is_written_as_it_is_read() {
    for definition in Pid::definitions() {
        for field in definition.fields {
            let highest = u32::MAX >> (32 - field.bits);
            for raw in [0, 1, highest / 2, highest / 2 + 1, highest - 1, highest] {
                let mut data = [0; 41];
                let data = &mut data[..definition.length];
                field.insert(raw, data);
                if let Some(bit) = field.announced_by {
                    let absent = field.decode(data).unwrap();
                    assert_eq!(absent, Value::Absent, "PID {}", definition.pid);
                    data[bit / 8] |= 0x80 >> (bit % 8);
                }
                let value = field.decode(data).unwrap();
                let mut again = [0; 41];
                let again = &mut again[..definition.length];
                field.encode(value, again);
                assert_eq!(again, data, "PID {}: {value}", definition.pid);
            }
        }
    }
}

#[test]
fn an_absent_field_is_not_announced() {
    let sensors = Pid::new(0x67).definition().unwrap();
    let mut data = [0; 3];
    sensors.fields[0].encode(Value::Absent, &mut data);
    sensors.fields[1].encode_number(70.0, &mut data);
    assert_eq!(data, [0b10, 0, 110]);
    assert_eq!(sensors.fields[0].decode(&data), Some(Value::Absent));
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
        (0x1D, &[0x05], "bank 1 sensor 1, bank 2 sensor 1"),
        (0x67, &[0x01, 0x6E, 0x00], "70 °C"),
        (0x67, &[0x02, 0x6E, 0x00], "not used"),
        (0x88, &[0x8F, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0], "$8F"),
        (0xA6, &[0x00, 0x01, 0x86, 0xA1], "10000.1 km"),
    ] {
        let field = &Pid::new(pid).definition().unwrap().fields[0];
        assert_eq!(field.decode(data).unwrap().to_string(), shown, "PID {pid:02X}");
    }
}

/// Every numeric field, from end to end: within half of the last decimal that is worth showing, and no zero too many.
#[test]
fn numbers_are_shown_rounded_without_idle_zeros() {
    for field in Pid::definitions().flat_map(|definition| definition.fields) {
        let (Kind::Number(scaling) | Kind::NumberOrAbsent(scaling)) = field.kind else {
            continue;
        };
        let highest = scaling.absent();
        let every = usize::try_from(highest / 300 + 1).unwrap();
        for raw in (0..=highest).step_by(every).chain([highest]) {
            let value = scaling.decode(raw);
            let shown = Value::Number(value, scaling).to_string();
            let number = shown.strip_suffix(scaling.unit.symbol()).unwrap().trim_end();
            let off = (number.parse::<f64>().unwrap() - value).abs();
            let half = 0.5 * 0.1_f64.powi(i32::try_from(scaling.decimals).unwrap());
            assert!(off <= half * 1.000_001, "{value} is shown as {shown}");
            let idle = number.contains('.') && number.ends_with(['0', '.']);
            assert!(!idle && number != "-0", "{value} is shown as {shown}");
        }
    }
}

#[test]
fn bits_are_taken_from_wherever_they_are() {
    let data = [0xA5, 0x3C, 0x0F, 0x96, 0x69, 0xF0];
    for first_bit in 0..16 {
        for bits in 1..=32 {
            let field = Field {
                first_bit,
                bits,
                ..Pid::new(0x0D).definition().unwrap().fields[0]
            };
            let one_by_one = (first_bit..first_bit + bits).fold(0, |raw: u32, bit| {
                raw << 1 | u32::from(data[bit / 8] >> (7 - bit % 8) & 1)
            });
            assert_eq!(field.extract(&data), Some(one_by_one), "{bits} from {first_bit}");
            assert_eq!(field.extract(&data[..(first_bit + bits - 1) / 8]), None);
        }
    }
}

/// A sensor that the trim does not use sends $FF, and a trim at its end must not look like that.
#[test]
fn a_trim_at_its_end_is_not_taken_for_absent() {
    let field = &Pid::new(0x14).definition().unwrap().fields[1];
    let Kind::NumberOrAbsent(scaling) = field.kind else {
        panic!("the trim can be absent");
    };
    assert_eq!(
        (
            scaling.encode_or_absent(None),
            scaling.encode_or_absent(Some(99.5))
        ),
        (0xFF, 0xFE)
    );
    assert_eq!(field.decode(&[0x5A, 0xFF]), Some(Value::Absent));
}
