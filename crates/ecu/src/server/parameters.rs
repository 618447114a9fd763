//! The parameters that this ECU serves, one row each: where its value comes from. How it is coded stands in
//! `twotrip_obd::pid`. To add a parameter: a row here, and one there.

use twotrip_harness::transfer::WIDE_RANGE;
use twotrip_obd::{BufferFull, Pid, Readiness, ResponseBuffer, SupportMask, pid::Value};
use twotrip_units::{Limit, Ratio};

use crate::{
    Calibration,
    control::torque_curve,
    data::{FuelSystemStatus, LiveData},
    memory::FaultMemory,
};

/// The value of a parameter before it is coded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Reading {
    /// The only field, in the unit of its scaling.
    Number(f64),
    /// The two fields, in the units of their scalings.
    Numbers(f64, f64),
    /// Voltage of an oxygen sensor, and the trim that rests on it in percent.
    Sensor { volts: f64, trim: Option<f64> },
    /// So many fields, in the units of their scalings, behind a byte A that announces them and no others.
    Announced(usize, [f64; 3]),
    /// Five fields in the unit of their scaling.
    Five([f64; 5]),
    /// The data bytes as they are; a shorter parameter takes the first ones.
    Bytes([u8; 4]),
}

impl Reading {
    /// Appends the data bytes of the parameter.
    pub(super) fn write(self, pid: Pid, response: &mut ResponseBuffer) -> Result<(), BufferFull> {
        let Some(definition) = pid.definition() else {
            return Ok(());
        };
        let data = response.extend_zeroed(definition.length)?;
        match (self, definition.fields) {
            (Self::Bytes(bytes), _) => data.copy_from_slice(&bytes[..definition.length]),
            (Self::Number(value), [field, ..]) => field.encode_number(value, data),
            (Self::Numbers(first, second), [a, b, ..]) => {
                a.encode_number(first, data);
                b.encode_number(second, data);
            }
            (Self::Five(values), fields) => {
                for (field, value) in fields.iter().zip(values) {
                    field.encode_number(value, data);
                }
            }
            (Self::Announced(count, values), fields) => {
                for (field, value) in fields.iter().zip(values).take(count) {
                    field.encode_number(value, data);
                }
            }
            (Self::Sensor { volts, trim }, [voltage, short_term, ..]) => {
                voltage.encode_number(volts, data);
                match trim {
                    Some(percent) => short_term.encode_number(percent, data),
                    None => short_term.encode(Value::Absent, data),
                }
            }
            _ => {}
        }
        Ok(())
    }
}

use Reading::{Announced, Bytes, Five, Number, Numbers, Sensor};

/// What a row of [`LIVE`] reads.
type FromLive = fn(&LiveData) -> Reading;
/// What a row of [`STORED`] reads.
type FromMemory = fn(&FaultMemory, &Calibration) -> Reading;

/// PID $65: the bit of the automatic transmission, in both bytes.
const AUTOMATIC: u8 = 0b0000_0010;

/// Parameters of the live data: service $01 gives them as they are now, service $02 as they were frozen.
const LIVE: &[(u8, FromLive)] = &[
    // The banks of a V engine close their loops each by its own sensor: a system each.
    (0x03, |live| {
        let [first, second] = live.fuel_system.map(fuel_system);
        Bytes([first, second, 0, 0])
    }),
    (0x04, |live| Number(live.calculated_load.percent())),
    (0x05, |live| Number(live.coolant_temperature.celsius())),
    (0x06, |live| Number(live.short_term_trim[0].percent())),
    (0x07, |live| Number(live.long_term_trim[0].percent())),
    (0x08, |live| Number(live.short_term_trim[1].percent())),
    (0x09, |live| Number(live.long_term_trim[1].percent())),
    (0x0A, |live| Number(live.fuel_pressure.kilopascals())),
    (0x0B, |live| Number(live.manifold_pressure.kilopascals())),
    (0x0C, |live| Number(live.engine_speed.rpm())),
    (0x0D, |live| Number(live.vehicle_speed.kilometres_per_hour())),
    (0x0E, |live| Number(live.timing_advance.degrees())),
    (0x0F, |live| Number(live.intake_air_temperature.celsius())),
    (0x10, |live| Number(live.air_flow.grams_per_second())),
    (0x11, |live| Number(live.throttle_position.percent())),
    (0x14, |live| Sensor {
        volts: live.oxygen_front[0].volts(),
        trim: Some(live.short_term_trim[0].percent()),
    }),
    (0x15, |live| Sensor {
        volts: live.oxygen_rear[0].volts(),
        trim: None,
    }),
    (0x18, |live| Sensor {
        volts: live.oxygen_front[1].volts(),
        trim: Some(live.short_term_trim[1].percent()),
    }),
    (0x19, |live| Sensor {
        volts: live.oxygen_rear[1].volts(),
        trim: None,
    }),
    (0x1F, |live| {
        Number(f64::from(
            u32::try_from(live.run_time.as_secs()).unwrap_or(u32::MAX),
        ))
    }),
    (0x24, |live| wide_volts(live, 0)),
    (0x28, |live| wide_volts(live, 1)),
    (0x2C, |live| Number(live.commanded_recirculation.percent())),
    (0x2D, |live| Number(live.recirculation_error.percent())),
    (0x2E, |live| Number(live.commanded_purge.percent())),
    (0x2F, |live| Number(live.fuel_level.percent())),
    (0x32, |live| Number(live.tank_pressure.pascals())),
    (0x33, |live| Number(live.barometric_pressure.kilopascals())),
    (0x34, |live| wide_current(live, 0)),
    (0x38, |live| wide_current(live, 1)),
    (0x3C, |live| Number(live.catalyst_temperature[0].celsius())),
    (0x3D, |live| Number(live.catalyst_temperature[1].celsius())),
    (0x42, |live| Number(live.module_voltage.volts())),
    (0x43, |live| Number(live.absolute_load.percent())),
    (0x44, |live| Number(live.commanded_lambda.fraction())),
    (0x45, |live| Number(live.relative_throttle.percent())),
    (0x46, |live| Number(live.ambient_temperature.celsius())),
    (0x47, |live| Number(live.throttle_b.percent())),
    (0x49, |live| Number(live.pedal_d.percent())),
    (0x4A, |live| Number(live.pedal_e.percent())),
    (0x4C, |live| Number(live.commanded_throttle.percent())),
    (0x54, |live| Number(live.tank_pressure.pascals())),
    (0x5A, |live| Number(live.relative_pedal.percent())),
    (0x5C, |live| Number(live.oil_temperature.celsius())),
    (0x5E, |live| Number(live.fuel_rate_litres_per_hour)),
    (0x61, |live| Number(live.demanded_torque.percent())),
    (0x62, |live| Number(live.actual_torque.percent())),
    (0x63, |live| Number(live.reference_torque.newton_metres())),
    // Byte A announces the automatic transmission alone; byte B says what it does.
    (0x65, |live| {
        Bytes([AUTOMATIC, if live.gear_selected { AUTOMATIC } else { 0 }, 0, 0])
    }),
    (0x66, |live| {
        Announced(1, [live.air_flow.grams_per_second(), 0.0, 0.0])
    }),
    (0x67, |live| {
        Announced(1, [live.coolant_temperature.celsius(), 0.0, 0.0])
    }),
    (0x68, |live| {
        Announced(1, [live.intake_air_temperature.celsius(), 0.0, 0.0])
    }),
    (0x69, |live| {
        Announced(
            3,
            [
                live.commanded_recirculation.percent(),
                live.actual_recirculation.percent(),
                live.recirculation_error.percent(),
            ],
        )
    }),
    (0x6C, |live| {
        let [commanded, relative] = [live.commanded_throttle, live.relative_throttle].map(Ratio::percent);
        Announced(2, [commanded, relative, 0.0])
    }),
    (0x8E, |live| Number(live.friction_torque.percent())),
    // Nothing but the engine burns fuel.
    (0x9D, |live| {
        let flow = live.fuel_flow.grams_per_second();
        Numbers(flow, flow)
    }),
    (0x9E, |live| Number(live.exhaust_flow.kilograms_per_hour())),
    (0xA2, |live| Number(live.fuel_milligrams_per_stroke)),
    // Both gear and ratio are announced.
    (0xA4, |live| {
        let gear = live.gear.unwrap_or_default();
        let [high, low] = thousandths(gear.ratio).to_be_bytes();
        Bytes([0b0000_0011, gear.number << 4, high, low])
    }),
];

/// PID $A4: a ratio in the steps of its coding, held at its end.
fn thousandths(ratio: f64) -> u16 {
    let steps = libm::round(ratio * 1000.0).within(0.0, 65_535.0);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "held within"
    )]
    let steps = steps as u16;
    steps
}

/// Parameters of the fault memory and of the car as built: service $01 only.
const STORED: &[(u8, FromMemory)] = &[
    (0x01, |memory, _| {
        let lamp = if memory.mil_commanded() { 0x80 } else { 0x00 };
        monitors(lamp | memory.confirmed_count(), memory.readiness_since_clear())
    }),
    // Oxygen sensors 1 and 2 of each bank.
    (0x13, |_, calibration| {
        let second = if calibration.banks() > 1 { 0b0011_0000 } else { 0 };
        Bytes([0b0000_0011 | second, 0, 0, 0])
    }),
    (0x1C, |memory, _| {
        Bytes([memory.profile().obd_requirement, 0, 0, 0])
    }),
    (0x21, |memory, _| {
        Number(memory.counters().distance_with_mil.into())
    }),
    (0x30, |memory, _| {
        Number(memory.counters().warm_ups_since_clear.into())
    }),
    (0x31, |memory, _| {
        Number(memory.counters().distance_since_clear.into())
    }),
    (0x41, |memory, _| monitors(0, memory.readiness_this_cycle())),
    (0x4D, |memory, _| Number(memory.counters().time_with_mil.into())),
    (0x4E, |memory, _| {
        Number(memory.counters().time_since_clear.into())
    }),
    // Gasoline.
    (0x51, |_, _| Bytes([1, 0, 0, 0])),
    (0x64, |_, calibration| {
        Five(torque_curve(calibration).map(Ratio::percent))
    }),
];

/// A wide-range sensor: lambda, and the voltage of its pin.
fn wide_volts(live: &LiveData, bank: usize) -> Reading {
    let pin = live.wide_range_pin[bank];
    Numbers(WIDE_RANGE.to_lambda(pin).fraction(), pin.volts())
}

/// A wide-range sensor: lambda, and its pump current in mA.
fn wide_current(live: &LiveData, bank: usize) -> Reading {
    let pin = live.wide_range_pin[bank];
    let milliamperes = WIDE_RANGE.to_current(pin).amperes() * 1e3;
    Numbers(WIDE_RANGE.to_lambda(pin).fraction(), milliamperes)
}

/// Byte A, then the readiness in B, C, D.
const fn monitors(a: u8, readiness: Readiness) -> Reading {
    let [b, c, d] = readiness.to_bytes();
    Bytes([a, b, c, d])
}

/// PID $03: one bit per state, none with the engine off.
const fn fuel_system(status: FuelSystemStatus) -> u8 {
    match status {
        FuelSystemStatus::Off => 0,
        FuelSystemStatus::OpenLoop => 1,
        FuelSystemStatus::ClosedLoop => 2,
        FuelSystemStatus::OpenLoopDriving => 4,
        FuelSystemStatus::OpenLoopFault => 8,
    }
}

/// What a parameter of service $01 reads now; nothing if it is not served. PID $02 belongs to service $02.
pub(super) fn current(
    number: u8,
    live: &LiveData,
    memory: &FaultMemory,
    calibration: &Calibration,
) -> Option<Reading> {
    if let Some(read) = row(STORED, number) {
        return Some(read(memory, calibration));
    }
    frozen(number, live)
}

/// What a parameter of service $02 reads, but for PID $02; nothing if it is not served.
pub(super) fn frozen(number: u8, frame: &LiveData) -> Option<Reading> {
    row(LIVE, number).map(|read| read(frame))
}

/// The first value of a parameter of the live data, in the unit of its scaling; zero if there is no such row.
pub(super) fn number(parameter: u8, live: &LiveData) -> f64 {
    match frozen(parameter, live) {
        Some(Number(value) | Numbers(value, _) | Sensor { volts: value, .. }) => value,
        Some(Announced(_, [value, ..]) | Five([value, ..])) => value,
        Some(Bytes(_)) | None => 0.0,
    }
}

fn row<T: Copy>(rows: &[(u8, T)], number: u8) -> Option<T> {
    rows.iter().find(|(row, _)| *row == number).map(|&(_, read)| read)
}

/// Parameters of service $01.
pub(super) const CURRENT: SupportMask = with_rows(with_rows(SupportMask::NONE, STORED), LIVE);

/// Parameters of service $02.
pub(super) const FROZEN: SupportMask = with_rows(SupportMask::NONE.with(0x02), LIVE);

const fn with_rows<T: Copy>(mut mask: SupportMask, rows: &[(u8, T)]) -> SupportMask {
    let mut place = 0;
    while place < rows.len() {
        mask = mask.with(rows[place].0);
        place += 1;
    }
    mask
}

#[cfg(test)]
mod tests {
    use twotrip_obd::pid::Kind;

    use super::*;

    #[test]
    fn each_row_rises_and_has_a_coding_that_fits_its_reading() {
        let memory = super::super::tests::memory();
        for rows in [
            LIVE.iter().map(|row| row.0).collect::<alloc::vec::Vec<_>>(),
            STORED.iter().map(|row| row.0).collect(),
        ] {
            assert!(rows.is_sorted_by(|a, b| a < b), "{rows:02X?}");
        }
        for number in CURRENT.iter() {
            let definition = Pid::new(number)
                .definition()
                .unwrap_or_else(|| panic!("PID {number:02X}"));
            let reading =
                current(number, &LiveData::default(), &memory, &Calibration::compact_2_0()).unwrap();
            let kinds: alloc::vec::Vec<_> = definition.fields.iter().map(|field| field.kind).collect();
            let fits = match reading {
                Number(_) => matches!(kinds[..], [Kind::Number(_)]),
                Numbers(..) => matches!(kinds[..], [Kind::Number(_), Kind::Number(_)]),
                Announced(count, _) => {
                    kinds.len() >= count && kinds.iter().all(|kind| matches!(kind, Kind::Number(_)))
                }
                Five(_) => kinds.len() == 5 && kinds.iter().all(|kind| matches!(kind, Kind::Number(_))),
                Sensor { .. } => matches!(kinds[..], [Kind::Number(_), Kind::NumberOrAbsent(_)]),
                Bytes(bytes) => bytes[definition.length..].iter().all(|&byte| byte == 0),
            };
            assert!(fits, "PID {number:02X}: {reading:?}");
        }
    }
}
