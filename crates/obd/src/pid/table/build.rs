//! What the rows of the table are made of: scalings that occur more than once, and short ways to write fields.

pub(super) use super::{
    super::{Definition, Field, Kind, Pid, Scaling, Unit},
    definitions,
};

pub(super) const PERCENT: Scaling = Scaling::unsigned(8, 100.0 / 255.0, 0.0, Unit::Percent, 1);
pub(super) const TRIM: Scaling = Scaling::unsigned(8, 100.0 / 128.0, -100.0, Unit::Percent, 1);
pub(super) const TORQUE_SHARE: Scaling = Scaling::unsigned(8, 1.0, -125.0, Unit::Percent, 0);
pub(super) const TEMPERATURE: Scaling = Scaling::unsigned(8, 1.0, -40.0, Unit::DegreesCelsius, 0);
/// Of catalysts, exhaust gas and turbines.
pub(super) const HOT: Scaling = Scaling::unsigned(16, 0.1, -40.0, Unit::DegreesCelsius, 1);
pub(super) const KILOPASCALS: Scaling = Scaling::unsigned(8, 1.0, 0.0, Unit::Kilopascals, 0);
pub(super) const RAIL_PRESSURE: Scaling = Scaling::unsigned(16, 10.0, 0.0, Unit::Kilopascals, 0);
/// Of manifolds and boost.
pub(super) const FINE_PRESSURE: Scaling = Scaling::unsigned(16, 1.0 / 32.0, 0.0, Unit::Kilopascals, 3);
pub(super) const EXHAUST_PRESSURE: Scaling = Scaling::unsigned(16, 0.01, 0.0, Unit::Kilopascals, 2);
pub(super) const SENSOR_VOLTAGE: Scaling = Scaling::unsigned(8, 0.005, 0.0, Unit::Volts, 3);
pub(super) const WIDE_VOLTAGE: Scaling = Scaling::unsigned(16, 8.0 / 65536.0, 0.0, Unit::Volts, 3);
pub(super) const WIDE_CURRENT: Scaling = Scaling::unsigned(16, 1.0 / 256.0, -128.0, Unit::Milliamperes, 2);
pub(super) const LAMBDA: Scaling = Scaling::unsigned(16, 2.0 / 65536.0, 0.0, Unit::Ratio, 3);
/// Printed as 0.000122, not 8/65536.
pub(super) const LAMBDA_BY_CONCENTRATION: Scaling = Scaling::unsigned(16, 0.000_122, 0.0, Unit::Ratio, 3);
pub(super) const OXYGEN: Scaling = Scaling::unsigned(16, 0.001_526, 0.0, Unit::Percent, 3);
pub(super) const BYTE_RATIO: Scaling = Scaling::unsigned(8, 1.0, 0.0, Unit::Ratio, 0);
pub(super) const DISTANCE: Scaling = Scaling::unsigned(16, 1.0, 0.0, Unit::Kilometres, 0);
pub(super) const MINUTES: Scaling = Scaling::unsigned(16, 1.0, 0.0, Unit::Minutes, 0);
pub(super) const HOURS: Scaling = Scaling::unsigned(16, 1.0, 0.0, Unit::Hours, 0);
pub(super) const SECONDS_32: Scaling = Scaling::unsigned(32, 1.0, 0.0, Unit::Seconds, 0);
/// One part per million a count; 0.1 in another source.
pub(super) const CONCENTRATION: Scaling = Scaling::unsigned(16, 1.0, 0.0, Unit::PartsPerMillion, 0);

/// A scaled number that starts at byte `byte` (0 = A).
pub(super) const fn number(name: &'static str, byte: usize, scaling: Scaling) -> Field {
    field(name, byte * 8, scaling.bits as usize, Kind::Number(scaling))
}

/// Bits at a place, counted from bit 7 of byte A.
pub(super) const fn field(name: &'static str, first_bit: usize, bits: usize, kind: Kind) -> Field {
    Field {
        name,
        first_bit,
        bits,
        kind,
        announced_by: None,
    }
}

/// A bit at a place, counted from bit 7 of byte A.
pub(super) const fn flag(name: &'static str, first_bit: usize) -> Field {
    field(name, first_bit, 1, Kind::Flag)
}

/// One of several named values.
pub(super) const fn choice(
    name: &'static str,
    first_bit: usize,
    bits: usize,
    names: &'static [(u8, &'static str)],
) -> Field {
    field(name, first_bit, bits, Kind::Choice(names))
}

/// A scaled number that is there if bit `bit` of byte A (0 = the lowest) says so.
pub(super) const fn on(bit: usize, name: &'static str, byte: usize, scaling: Scaling) -> Field {
    when(bit, number(name, byte, scaling))
}

/// A field that is there if bit `bit` of byte A (0 = the lowest) says so.
pub(super) const fn when(bit: usize, field: Field) -> Field {
    Field {
        announced_by: Some(7 - bit),
        ..field
    }
}

/// The trim that stands beside a sensor's voltage.
pub(super) const fn sensor_trim() -> Field {
    field("short-term trim", 8, 8, Kind::NumberOrAbsent(TRIM))
}
