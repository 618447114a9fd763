//! Requests and answers, byte for byte.

extern crate std;

use core::time::Duration;
use std::{string::ToString, vec, vec::Vec};

use twotrip_obd::{Dtc, Group, InUseItem, Pid, Response, pid::Kind};
use twotrip_units::{
    Angle, AngularSpeed, CarInstant, MassFlow, Pressure, Ratio, Speed, Temperature, Torque, Voltage,
};

use super::*;
use crate::{
    data::FuelSystemStatus,
    memory::{
        Catalogue, CodeDefinition, Conditions, Denominator, Fact, InUseTracking, MonitorDefinition,
        MonitorId, Profile,
    },
};

const fn monitor(name: &'static str, group: Group, continuous: bool) -> MonitorDefinition {
    let tracking = InUseTracking {
        item: InUseItem::Evap,
        denominator: Denominator::Evap,
    };
    MonitorDefinition {
        minimum_ratio: !continuous,
        continuous,
        in_use: if continuous { None } else { Some(tracking) },
        ..MonitorDefinition::named(name, group)
    }
}

static CATALOGUE: Catalogue = Catalogue {
    monitors: &[
        monitor("evap leak", Group::Evap, false),
        monitor("tank pressure circuit", Group::Components, true),
    ],
    codes: &[
        CodeDefinition::standard(Dtc::p(0x0455), MonitorId(0), "leak"),
        CodeDefinition::standard(Dtc::p(0x0452), MonitorId(1), "sensor low"),
    ],
};

/// A fault memory in which nothing has happened.
pub(super) fn memory() -> FaultMemory {
    // What the results of service $06 go by is the catalogue of the ECU, not the small one here.
    let absent = crate::monitors::CATALOGUE.absent(&Calibration::compact_2_0());
    FaultMemory::new(&Profile::US_2010, &CATALOGUE).without(absent)
}

/// Values that sit on a step of their scaling, so that the bytes below can be worked out by hand.
fn live() -> LiveData {
    LiveData {
        fuel_system: [FuelSystemStatus::ClosedLoop, FuelSystemStatus::Off],
        calculated_load: Ratio::from_percent(20.0),
        coolant_temperature: Temperature::from_celsius(70.0),
        short_term_trim: [Ratio::from_percent(-3.125), Ratio::ZERO],
        long_term_trim: [Ratio::from_percent(6.25), Ratio::ZERO],
        fuel_pressure: Pressure::from_kilopascals(390.0),
        manifold_pressure: Pressure::from_kilopascals(33.0),
        engine_speed: AngularSpeed::from_rpm(1726.0),
        vehicle_speed: Speed::from_kilometres_per_hour(80.0),
        timing_advance: Angle::from_degrees(10.0),
        intake_air_temperature: Temperature::from_celsius(25.0),
        air_flow: MassFlow::from_grams_per_second(5.0),
        throttle_position: Ratio::from_percent(20.0),
        oxygen_front: [Voltage::from_volts(0.45), Voltage::ZERO],
        oxygen_rear: [Voltage::from_volts(0.7), Voltage::ZERO],
        wide_range_pin: [Voltage::from_volts(1.25), Voltage::ZERO],
        run_time: Duration::from_millis(600_999),
        commanded_recirculation: Ratio::from_percent(20.0),
        actual_recirculation: Ratio::from_percent(40.0),
        recirculation_error: Ratio::from_percent(-3.125),
        commanded_purge: Ratio::from_percent(40.0),
        fuel_level: Ratio::from_percent(60.0),
        tank_pressure: Pressure::from_pascals(-100.25),
        barometric_pressure: Pressure::from_kilopascals(101.0),
        catalyst_temperature: [Temperature::from_celsius(450.0), Temperature::default()],
        module_voltage: Voltage::from_volts(14.1),
        absolute_load: Ratio::from_percent(100.0),
        commanded_lambda: Ratio::from_fraction(1.0),
        relative_throttle: Ratio::from_percent(0.0),
        ambient_temperature: Temperature::from_celsius(18.0),
        throttle_b: Ratio::from_percent(80.0),
        pedal_d: Ratio::from_percent(20.0),
        pedal_e: Ratio::from_percent(40.0),
        commanded_throttle: Ratio::from_percent(60.0),
        relative_pedal: Ratio::from_percent(20.0),
        oil_temperature: Temperature::from_celsius(60.0),
        fuel_rate_litres_per_hour: 5.0,
        demanded_torque: Ratio::from_percent(40.0),
        actual_torque: Ratio::from_percent(35.0),
        reference_torque: Torque::from_newton_metres(215.0),
        gear_selected: true,
        friction_torque: Ratio::from_percent(12.0),
        fuel_flow: MassFlow::from_grams_per_second(1.02),
        exhaust_flow: MassFlow::from_kilograms_per_hour(20.0),
        fuel_milligrams_per_stroke: 10.0,
        gear: None,
    }
}

/// An ECU with what a request can meet.
struct Bench {
    live: LiveData,
    memory: FaultMemory,
    monitors: Monitors,
    identity: Identity,
    calibration: Calibration,
    served: Served,
    overrides: Overrides,
    key_on: bool,
    engine_running: bool,
    vehicle_moving: bool,
    response: ResponseBuffer,
}

impl Bench {
    fn new(memory: FaultMemory) -> Self {
        Self {
            live: live(),
            memory,
            monitors: Monitors::default(),
            identity: Identity::engine(&Profile::US_2010, &CATALOGUE, &Calibration::compact_2_0()),
            calibration: Calibration::compact_2_0(),
            served: Served::by(&Calibration::compact_2_0()),
            overrides: Overrides::NONE,
            key_on: true,
            engine_running: false,
            vehicle_moving: false,
            response: ResponseBuffer::new(),
        }
    }

    fn ask(&mut self, addressing: Addressing, request: &[u8]) -> Answer {
        let context = Context {
            live: &self.live,
            memory: &self.memory,
            monitors: Some(&self.monitors),
            identity: &self.identity,
            key_on: self.key_on,
            engine_running: self.engine_running,
            vehicle_moving: self.vehicle_moving,
            overrides: &self.overrides,
            calibration: &self.calibration,
            served: &self.served,
        };
        answer(&context, addressing, request, &mut self.response)
    }

    /// Asks both ways and expects the same bytes; no bytes for silence.
    fn expect(&mut self, request: &[u8], expected: &[u8]) {
        for addressing in [Addressing::Functional, Addressing::Physical] {
            let answer = self.ask(addressing, request);
            assert_eq!(
                self.response.as_slice(),
                expected,
                "{request:02X?} {addressing:?}"
            );
            assert_eq!(
                answer.is_sent(),
                !expected.is_empty(),
                "{request:02X?} {addressing:?}"
            );
        }
    }
}

/// A fault memory after a driving cycle in which the leak test failed once.
fn pending() -> FaultMemory {
    let mut memory = memory();
    for fact in [
        Fact::KeyOn,
        Fact::EngineStarted,
        Fact::Failed { dtc: Dtc::p(0x0455) },
        Fact::Completed {
            monitor: MonitorId(0),
        },
        Fact::CouldDetect {
            monitor: MonitorId(0),
        },
        Fact::EngineStopped,
    ] {
        memory.apply(CarInstant::ZERO, &fact, &live());
    }
    memory
}

/// A fault memory after a second such driving cycle, with some driving in it.
fn confirmed() -> FaultMemory {
    let mut memory = pending();
    let driving = Conditions {
        span: Duration::from_secs(180),
        vehicle_speed: Speed::from_kilometres_per_hour(60.0),
        pedal_released: false,
        coolant_temperature: Temperature::from_celsius(90.0),
        coolant_is_measured: true,
        ambient_temperature: Temperature::from_celsius(18.0),
        barometric_pressure: Pressure::from_kilopascals(101.0),
        engine_speed: AngularSpeed::from_rpm(1726.0),
        load: Ratio::from_percent(20.0),
    };
    for fact in [
        Fact::EngineStarted,
        Fact::Failed { dtc: Dtc::p(0x0455) },
        Fact::Completed {
            monitor: MonitorId(0),
        },
        Fact::Conditions(driving),
        Fact::EngineStopped,
    ] {
        memory.apply(CarInstant::ZERO, &fact, &live());
    }
    memory
}

/// Scalings: SAE J1979-DA. `1A F8`, `50`, `6E` are 1726 rpm, 80 km/h and 70 °C to independent decoders.
#[test]
fn each_parameter_of_service_01() {
    let mut bench = Bench::new(confirmed());
    let rows: &[(&[u8], &[u8])] = &[
        (&[0x03], &[0x02, 0x00]),
        (&[0x04], &[51]),
        (&[0x05], &[0x6E]),
        (&[0x06], &[124]),
        (&[0x07], &[136]),
        (&[0x0A], &[130]),
        (&[0x0B], &[33]),
        (&[0x0C], &[0x1A, 0xF8]),
        (&[0x0D], &[0x50]),
        (&[0x0E], &[148]),
        (&[0x0F], &[65]),
        (&[0x10], &[0x01, 0xF4]),
        (&[0x11], &[51]),
        (&[0x13], &[0x03]),
        (&[0x14], &[90, 124]),
        (&[0x15], &[140, 0xFF]),
        (&[0x1C], &[0x01]),
        (&[0x1F], &[0x02, 0x58]),
        (&[0x21], &[0, 3]),
        (&[0x2C], &[51]),
        (&[0x2D], &[124]),
        (&[0x2E], &[102]),
        (&[0x2F], &[153]),
        (&[0x30], &[0]),
        (&[0x31], &[0, 3]),
        (&[0x32], &[0xFE, 0x6F]),
        (&[0x33], &[101]),
        (&[0x3C], &[0x13, 0x24]),
        (&[0x42], &[0x37, 0x14]),
        (&[0x43], &[0x00, 0xFF]),
        (&[0x44], &[0x80, 0x00]),
        (&[0x45], &[0]),
        (&[0x46], &[58]),
        (&[0x47], &[204]),
        (&[0x49], &[51]),
        (&[0x4A], &[102]),
        (&[0x4C], &[153]),
        (&[0x4D], &[0, 3]),
        (&[0x4E], &[0, 3]),
        (&[0x51], &[0x01]),
        (&[0x54], &[0xFF, 0x9C]),
        (&[0x5A], &[51]),
        (&[0x5C], &[100]),
        (&[0x5E], &[0x00, 0x64]),
        (&[0x61], &[165]),
        (&[0x62], &[160]),
        (&[0x63], &[0, 215]),
        (&[0x64], &[195, 203, 211, 219, 215]),
        (&[0x65], &[0b10, 0b10]),
        (&[0x66], &[0b1, 0, 160, 0, 0]),
        (&[0x67], &[0b1, 110, 0]),
        (&[0x68], &[0b1, 65, 0, 0, 0, 0, 0]),
        (&[0x69], &[0b111, 51, 102, 124, 0, 0, 0]),
        (&[0x6C], &[0b11, 153, 0, 0, 0]),
        (&[0x8E], &[137]),
        (&[0x9D], &[0, 51, 0, 51]),
        (&[0x9E], &[0, 100]),
        (&[0xA2], &[0x01, 0x40]),
    ];
    for (pid, data) in rows {
        bench.expect(&[&[0x01], *pid].concat(), &[&[0x41], *pid, *data].concat());
    }
    let with_own_rows = [0x01, 0x41];
    let asked: Vec<u8> = rows.iter().map(|(pid, _)| pid[0]).chain(with_own_rows).collect();
    for number in bench.served.current.iter() {
        assert!(asked.contains(&number), "PID {number:02X} has no row here");
    }
    assert!(asked.len() >= 60, "the car has {} live parameters", asked.len());
}

/// A wide-range sensor in front at -0.5 mA, which is lambda 0.9 (from memory): 0.9 of 32768 is 7333h; 1.25 V of 8 V over
/// 65535; -0.5 mA is 128 counts below 8000h.
#[test]
fn a_wide_range_sensor_is_served_as_lambda_voltage_and_current() {
    let mut bench = Bench::new(memory());
    bench.calibration.wide_range = true;
    bench.served = Served::by(&bench.calibration);
    bench.expect(&[0x01, 0x24], &[0x41, 0x24, 0x73, 0x33, 0x28, 0x00]);
    bench.expect(&[0x01, 0x34], &[0x41, 0x34, 0x73, 0x33, 0x7F, 0x80]);
    bench.expect(&[0x01, 0x14], &[]);
    bench.expect(&[0x01, 0x28], &[]);
}

/// A V engine: bank 2 has its own state of the loop, trims and sensors.
#[test]
fn the_second_bank_is_served_where_there_is_one() {
    let mut bench = Bench::new(memory());
    bench.calibration.second_bank = [false, true, false, true, false, false];
    bench.served = Served::by(&bench.calibration);
    bench.live.fuel_system[1] = FuelSystemStatus::OpenLoop;
    bench.live.short_term_trim[1] = Ratio::from_percent(3.125);
    bench.live.long_term_trim[1] = Ratio::from_percent(-6.25);
    bench.live.oxygen_front[1] = Voltage::from_volts(0.9);
    bench.live.oxygen_rear[1] = Voltage::from_volts(0.1);
    bench.live.catalyst_temperature[1] = Temperature::from_celsius(460.0);
    let rows: &[(&[u8], &[u8])] = &[
        (&[0x03], &[0x02, 0x01]),
        (&[0x08], &[132]),
        (&[0x09], &[120]),
        (&[0x13], &[0x33]),
        (&[0x18], &[180, 132]),
        (&[0x19], &[20, 0xFF]),
        (&[0x3D], &[0x13, 0x88]),
    ];
    for (pid, data) in rows {
        bench.expect(&[&[0x01], *pid].concat(), &[&[0x41], *pid, *data].concat());
    }
}

/// Places of the bits: SAE J1979 (from memory), as in the public source of the J1699-3 conformance test. Groups
/// without a monitor are neither supported nor incomplete.
#[test]
fn monitor_status_counts_confirmed_codes_only() {
    // Components supported and always complete; evap supported, not complete.
    Bench::new(memory()).expect(&[0x01, 0x01], &[0x41, 0x01, 0x00, 0x04, 0x04, 0x04]);
    // Failed once: pending is not counted, a single failure does not complete the group.
    Bench::new(pending()).expect(&[0x01, 0x01], &[0x41, 0x01, 0x00, 0x04, 0x04, 0x04]);
    Bench::new(confirmed()).expect(&[0x01, 0x01], &[0x41, 0x01, 0x81, 0x04, 0x04, 0x00]);
}

/// PID $41: byte A is 0, the leak test is done for this driving cycle, the circuit was not judged in it.
#[test]
fn monitor_status_of_the_driving_cycle_has_no_codes() {
    let mut bench = Bench::new(confirmed());
    let readiness = bench.memory.readiness_this_cycle().to_bytes();
    bench.expect(&[0x01, 0x41], &[&[0x41, 0x41, 0x00], &readiness[..]].concat());
    assert_eq!(readiness[2] & 0x04, 0, "the leak test has run");
}

/// Masks by the rule of SAE J1979: bit A7 is parameter $01 of the range, D0 leads on to the next mask.
#[test]
fn masks_announce_what_is_answered() {
    let mut bench = Bench::new(memory());
    bench.expect(&[0x01, 0x00], &[0x41, 0x00, 0xBE, 0x7F, 0xB8, 0x13]);
    bench.expect(&[0x01, 0x20], &[0x41, 0x20, 0x80, 0x1F, 0xE0, 0x11]);
    bench.expect(&[0x01, 0x40], &[0x41, 0x40, 0xFE, 0xDC, 0x90, 0x55]);
    bench.expect(&[0x01, 0x60], &[0x41, 0x60, 0xFF, 0x90, 0x00, 0x01]);
    bench.expect(&[0x01, 0x80], &[0x41, 0x80, 0x00, 0x04, 0x00, 0x0D]);
    bench.expect(&[0x01, 0xA0], &[0x41, 0xA0, 0x40, 0x00, 0x00, 0x00]);
    bench.expect(&[0x01, 0xC0], &[]);
    bench.expect(
        &[0x01, 0x00, 0x20, 0x40, 0x60, 0x80, 0xA0],
        &[
            0x41, 0x00, 0xBE, 0x7F, 0xB8, 0x13, 0x20, 0x80, 0x1F, 0xE0, 0x11, 0x40, 0xFE, 0xDC, 0x90, 0x55,
            0x60, 0xFF, 0x90, 0x00, 0x01, 0x80, 0x00, 0x04, 0x00, 0x0D, 0xA0, 0x40, 0x00, 0x00, 0x00,
        ],
    );
    for number in 0..=u8::MAX {
        let answered = bench.ask(Addressing::Functional, &[0x01, number]).is_sent();
        assert_eq!(
            answered,
            bench.served.current.contains(number),
            "PID {number:02X}"
        );
    }
}

/// AUTOSAR: request order; unsupported ones left out; more than six, none, or masks beside data: silence
/// (SWS_Dcm_00943). Answered once per mention: not settled by the standard.
#[test]
fn several_parameters_in_one_request() {
    let mut bench = Bench::new(memory());
    bench.expect(
        &[0x01, 0x0C, 0x0D, 0x05],
        &[0x41, 0x0C, 0x1A, 0xF8, 0x0D, 0x50, 0x05, 0x6E],
    );
    bench.expect(&[0x01, 0x0D, 0x0D], &[0x41, 0x0D, 0x50, 0x0D, 0x50]);
    bench.expect(&[0x01, 0x02, 0x0D, 0xC3], &[0x41, 0x0D, 0x50]);
    bench.expect(
        &[0x01, 0x0C, 0x0D, 0x05, 0x04, 0x11, 0x0F],
        &[
            0x41, 0x0C, 0x1A, 0xF8, 0x0D, 0x50, 0x05, 0x6E, 0x04, 51, 0x11, 51, 0x0F, 65,
        ],
    );
    for silent in [
        &[0x01][..],
        &[0x01, 0x02],
        &[0x01, 0xC3, 0x12],
        &[0x01, 0x00, 0x0C],
        &[0x01, 0x0C, 0x0D, 0x05, 0x04, 0x11, 0x0F, 0x10],
    ] {
        bench.expect(silent, &[]);
    }
}

/// A failed circuit is reported at the end of the range, not wrapped and not left out.
#[test]
fn values_beyond_the_range_are_held_at_its_ends() {
    let mut bench = Bench::new(memory());
    bench.live.coolant_temperature = Temperature::from_celsius(400.0);
    bench.live.intake_air_temperature = Temperature::from_celsius(-100.0);
    bench.live.tank_pressure = Pressure::from_pascals(-20_000.0);
    bench.live.engine_speed = AngularSpeed::from_rpm(f64::NAN);
    bench.live.short_term_trim[0] = Ratio::from_percent(500.0);
    bench.expect(
        &[0x01, 0x05, 0x0F, 0x32, 0x54],
        &[0x41, 0x05, 0xFF, 0x0F, 0x00, 0x32, 0x80, 0x00, 0x54, 0xB1, 0xE0],
    );
    bench.expect(&[0x01, 0x0C, 0x14], &[0x41, 0x0C, 0x00, 0x00, 0x14, 90, 0xFE]);
}

/// SAE J1979 (from memory) and AUTOSAR SWS_Dcm_00409: frame 00 only; masks carry the frame; PID $02 reads 0000
/// without a frame, and data are then left out.
#[test]
fn freeze_frame_before_there_is_one() {
    let mut bench = Bench::new(memory());
    bench.expect(&[0x02, 0x02, 0x00], &[0x42, 0x02, 0x00, 0x00, 0x00]);
    bench.expect(&[0x02, 0x00, 0x00], &[0x42, 0x00, 0x00, 0x7E, 0x7F, 0x98, 0x03]);
    bench.expect(&[0x02, 0x0C, 0x00], &[]);
    bench.expect(&[0x02, 0x0C, 0x00, 0x02, 0x00], &[0x42, 0x02, 0x00, 0x00, 0x00]);
}

/// The frame is of the first detection, and holds what was measured then.
#[test]
fn freeze_frame_of_a_code() {
    let mut bench = Bench::new(confirmed());
    bench.live.engine_speed = AngularSpeed::from_rpm(800.0);
    bench.overrides.set(Quantity::EngineSpeed, 3000.0);
    bench.expect(&[0x02, 0x02, 0x00], &[0x42, 0x02, 0x00, 0x04, 0x55]);
    bench.expect(
        &[0x02, 0x0C, 0x00, 0x05, 0x00, 0x03, 0x00],
        &[
            0x42, 0x0C, 0x00, 0x1A, 0xF8, 0x05, 0x00, 0x6E, 0x03, 0x00, 0x02, 0x00,
        ],
    );
    bench.expect(
        &[0x02, 0x00, 0x00, 0x20, 0x00, 0x40, 0x00],
        &[
            0x42, 0x00, 0x00, 0x7E, 0x7F, 0x98, 0x03, 0x20, 0x00, 0x00, 0x1E, 0x60, 0x11, 0x40, 0x00, 0x7E,
            0xD0, 0x10, 0x55,
        ],
    );
    bench.expect(&[0x02, 0x0C, 0x01, 0x05, 0x00], &[0x42, 0x05, 0x00, 0x6E]);
    for silent in [
        &[0x02][..],
        &[0x02, 0x0C],
        &[0x02, 0x0C, 0x01],
        &[0x02, 0x02, 0xFF],
        &[0x02, 0x01, 0x00],
        &[0x02, 0x1C, 0x00],
        &[0x02, 0xC0, 0x00],
        &[0x02, 0x00, 0x00, 0x0C, 0x00],
        &[0x02, 0x0C, 0x00, 0x05],
        &[0x02, 0x04, 0x00, 0x05, 0x00, 0x06, 0x00, 0x07, 0x00],
    ] {
        bench.expect(silent, &[]);
    }
    for number in 0..=u8::MAX {
        let answered = bench.ask(Addressing::Physical, &[0x02, number, 0x00]).is_sent();
        assert_eq!(answered, bench.served.frozen.contains(number), "PID {number:02X}");
    }
}

/// `43 00` when there is nothing: article on the standard, scapy. A pending code can be confirmed as well.
#[test]
fn codes_are_counted_and_listed() {
    let mut clean = Bench::new(memory());
    clean.expect(&[0x03], &[0x43, 0x00]);
    clean.expect(&[0x07], &[0x47, 0x00]);
    clean.expect(&[0x0A], &[0x4A, 0x00]);
    let mut first_trip = Bench::new(pending());
    first_trip.expect(&[0x03], &[0x43, 0x00]);
    first_trip.expect(&[0x07], &[0x47, 0x01, 0x04, 0x55]);
    first_trip.expect(&[0x0A], &[0x4A, 0x00]);
    let mut second_trip = Bench::new(confirmed());
    second_trip
        .memory
        .preload_confirmed(Dtc::p(0x0301), &live())
        .unwrap();
    second_trip.expect(&[0x03], &[0x43, 0x02, 0x04, 0x55, 0x03, 0x01]);
    second_trip.expect(&[0x07], &[0x47, 0x01, 0x04, 0x55]);
    second_trip.expect(&[0x0A], &[0x4A, 0x02, 0x04, 0x55, 0x03, 0x01]);
    for silent in [&[0x03, 0x00][..], &[0x07, 0x01], &[0x0A, 0xFF], &[0x04, 0x00]] {
        second_trip.expect(silent, &[]);
    }
}

/// Refused with $22 while the engine runs (AUTOSAR SWS_Dcm_00704), on both addressings: $22 is not kept quiet.
/// Decided here, carried out by the owner.
#[test]
fn clear_is_decided_by_the_state_of_the_car() {
    let mut bench = Bench::new(confirmed());
    for (engine_running, vehicle_moving) in [(true, false), (false, true), (true, true)] {
        (bench.engine_running, bench.vehicle_moving) = (engine_running, vehicle_moving);
        bench.expect(&[0x04], &[0x7F, 0x04, 0x22]);
        assert_eq!(
            bench.ask(Addressing::Functional, &[0x04]),
            Answer::Negative(ResponseCode::ConditionsNotCorrect)
        );
    }
    (bench.engine_running, bench.vehicle_moving) = (false, false);
    bench.expect(&[0x04], &[0x44]);
    assert_eq!(
        bench.ask(Addressing::Functional, &[0x04]),
        Answer::PositiveAndClear
    );
    bench.memory.apply(CarInstant::ZERO, &Fact::Clear, &live());
    bench.expect(&[0x03], &[0x43, 0x00]);
    bench.expect(&[0x0A], &[0x4A, 0x01, 0x04, 0x55]);
    bench.expect(&[0x02, 0x02, 0x00], &[0x42, 0x02, 0x00, 0x00, 0x00]);
    bench.expect(&[0x01, 0x01], &[0x41, 0x01, 0x00, 0x04, 0x04, 0x04]);
    bench.expect(&[0x04], &[0x44]);
}

/// Lengths and order: SAE J1979 as a public encyclopedia and scapy give them.
#[test]
fn vehicle_information() {
    let mut bench = Bench::new(pending());
    bench.expect(&[0x09, 0x00], &[0x49, 0x00, 0x55, 0x40, 0x00, 0x00]);
    bench.expect(&[0x09, 0x00, 0x20], &[0x49, 0x00, 0x55, 0x40, 0x00, 0x00]);
    bench.expect(
        &[0x09, 0x02],
        &[&[0x49, 0x02, 0x01], &b"0TW00TRP3A0000042"[..]].concat(),
    );
    bench.expect(
        &[0x09, 0x04],
        &[&[0x49, 0x04, 0x01], &b"TWOTRIP-ENG-2010"[..]].concat(),
    );
    bench.expect(
        &[0x09, 0x0A],
        &[&[0x49, 0x0A, 0x01], &b"ECM\0-EngineControl\0\0"[..]].concat(),
    );
    let number = bench.identity.verification_number().to_be_bytes();
    bench.expect(&[0x09, 0x06], &[&[0x49, 0x06, 0x01], &number[..]].concat());
    let mut counters = vec![0x49, 0x08, 20];
    counters.extend([0; 40]);
    counters[3 + 2 * 14 + 1] = 1; // evap completions: the leak test could have found a fault once
    bench.expect(&[0x09, 0x08], &counters);
    for silent in [
        &[0x09][..],
        &[0x09, 0x01],
        &[0x09, 0x03],
        &[0x09, 0x0B],
        &[0x09, 0x20],
        &[0x09, 0x02, 0x04],
        &[0x09, 0x00, 0x02],
    ] {
        bench.expect(silent, &[]);
    }
}

/// One monitor at a time, its number repeated for each test; not run: value and limits 0 (SAE J1979; AUTOSAR
/// SWS_Dcm_00945, 00956). D0 of masks $00 leads on to $20, where the monitors are.
#[test]
fn test_results_before_any_test_ran() {
    let mut bench = Bench::new(memory());
    let masks = bench.served.monitored;
    assert!(
        [0x01, 0x02, 0x21, 0x41, 0x42, 0x81, 0x39, 0x3B, 0x3D, 0xE1]
            .into_iter()
            .all(|mid| masks.contains(mid))
    );
    let mut all = vec![0x46];
    for base in (0..=0xE0).step_by(0x20) {
        let mut expected = vec![0x46, base];
        match masks.range(base) {
            Some(mask) => expected.extend(mask),
            None => expected.clear(),
        }
        bench.expect(&[0x06, base], &expected);
        all.extend(expected.into_iter().skip(1));
    }
    all.truncate(1 + 3 * 5);
    bench.expect(&[0x06, 0x00, 0x20, 0x40], &all);
    bench.expect(&[0x06, 0x39], &[0x46, 0x39, 0x80, 0xFE, 0, 0, 0, 0, 0, 0]);
    bench.expect(
        &[0x06, 0x3B],
        &[
            0x46, 0x3B, 0x81, 0x32, 0, 0, 0, 0, 0, 0, 0x3B, 0x82, 0xFE, 0, 0, 0, 0, 0, 0,
        ],
    );
    for silent in [
        &[0x06][..],
        &[0x06, 0x7F],
        &[0x06, 0x03],
        &[0x06, 0x39, 0x3B],
        &[0x06, 0x00, 0x39],
    ] {
        bench.expect(silent, &[]);
    }
}

/// SAE J1979 (from memory): alone or with five bytes, five zero bytes come back. Conditions: AUTOSAR SWS_Dcm_01192.
#[test]
fn the_tank_is_sealed_with_the_key_on_and_the_engine_off() {
    let mut bench = Bench::new(memory());
    bench.expect(&[0x08, 0x00], &[0x48, 0x00, 0x80, 0x00, 0x00, 0x00]);
    for request in [
        &[0x08, 0x01][..],
        &[0x08, 0x01, 0, 0, 0, 0, 0],
        &[0x08, 0x01, 9, 9, 9, 9, 9],
    ] {
        bench.expect(request, &[0x48, 0x01, 0, 0, 0, 0, 0]);
        assert_eq!(
            bench.ask(Addressing::Functional, request),
            Answer::PositiveAndSeal
        );
    }
    for silent in [&[0x08][..], &[0x08, 0x02], &[0x08, 0x01, 0], &[0x08, 0x20]] {
        bench.expect(silent, &[]);
    }
    bench.engine_running = true;
    bench.expect(&[0x08, 0x01], &[0x7F, 0x08, 0x22]);
    bench.engine_running = false;
    bench.key_on = false;
    bench.expect(&[0x08, 0x01], &[0x7F, 0x08, 0x22]);
}

/// AUTOSAR SWS_Dcm_00001: $11 is kept quiet when a request went to all ECUs.
#[test]
fn unknown_services_are_refused_only_when_asked_alone() {
    let mut bench = Bench::new(memory());
    for request in [
        &[0x05, 0x01, 0x01][..],
        &[0x0B],
        &[0x10, 0x01],
        &[0x22, 0xF8, 0x10],
        &[0x3E, 0x00],
    ] {
        assert_eq!(
            bench.ask(Addressing::Functional, request),
            Answer::Silence,
            "{request:02X?}"
        );
        assert!(bench.response.is_empty());
        assert_eq!(
            bench.ask(Addressing::Physical, request),
            Answer::Negative(ResponseCode::ServiceNotSupported)
        );
        assert_eq!(bench.response.as_slice(), [0x7F, request[0], 0x11]);
    }
    for service in (0x00..0x40).map(Service::from_byte) {
        let _ = bench.ask(Addressing::Physical, &[service.to_byte()]);
        let refused = bench.response.as_slice() == [0x7F, service.to_byte(), 0x11];
        assert_eq!(refused, !SERVICES.contains(&service), "{service}");
    }
    bench.expect(&[], &[]);
}

/// Each mask of each service that has some, and only those.
#[test]
fn what_is_supported_is_what_the_masks_say() {
    let mut bench = Bench::new(confirmed());
    for service in SERVICES {
        let mut request = vec![service.to_byte(), 0x00];
        if service == Service::FreezeFrame {
            request.push(0x00);
        }
        let answered = bench.ask(Addressing::Physical, &request) == Answer::Positive;
        let mask = supported(service, &bench.served).and_then(|set| set.range(0x00));
        assert_eq!(answered, mask.is_some(), "{service}");
        if let Some(mask) = mask {
            assert!(bench.response.ends_with(&mask), "{service}");
        }
    }
}

#[test]
fn an_answer_too_long_for_the_transport_is_refused() {
    let mut bench = Bench::new(memory());
    bench.response = ResponseBuffer::with_limit(7);
    bench.expect(&[0x09, 0x02], &[0x7F, 0x09, 0x14]);
    bench.response = ResponseBuffer::with_limit(2);
    bench.expect(&[0x09, 0x02], &[]);
}

#[test]
fn pinned_values_are_reported_and_released() {
    let mut bench = Bench::new(memory());
    bench.overrides.set(Quantity::EngineSpeed, 3000.0);
    bench.overrides.set(Quantity::CoolantTemperature, 1e6);
    bench.overrides.set(Quantity::VehicleSpeed, f64::NAN);
    bench.expect(
        &[0x01, 0x0C, 0x05, 0x0D],
        &[0x41, 0x0C, 0x2E, 0xE0, 0x05, 0xFF, 0x0D, 0x50],
    );
    assert_eq!(bench.overrides.pinned(Quantity::CoolantTemperature), Some(215.0));
    bench.overrides.release(Quantity::EngineSpeed);
    bench.expect(&[0x01, 0x0C], &[0x41, 0x0C, 0x1A, 0xF8]);
}

/// Each quantity moves its own PID, from one end to the other, over the range that the PID's scaling has.
#[test]
fn each_quantity_reaches_both_ends_of_its_pid() {
    let mut bench = Bench::new(memory());
    // A car with everything.
    bench.served = Served {
        current: parameters::CURRENT,
        frozen: parameters::FROZEN,
        ..bench.served
    };
    let mut names = Vec::new();
    for quantity in Quantity::ALL {
        let definition = Pid::new(quantity.pid()).definition().unwrap();
        let field = &definition.fields[0];
        let Kind::Number(scaling) = field.kind else {
            panic!("{} is no number", quantity.name());
        };
        for (end, expected) in quantity
            .range()
            .into_iter()
            .zip([scaling.lowest(), scaling.highest()])
        {
            assert!(
                (end - expected).abs() < 1e-6 * expected.abs().max(1.0),
                "{}: {expected}",
                quantity.name()
            );
            bench.overrides.set(quantity, end);
            assert!(bench.ask(Addressing::Physical, &[0x01, quantity.pid()]).is_sent());
            let told = quantity.of(&bench.overrides.apply(&LiveData::default()));
            assert!((told - end).abs() < 1e-6, "{}: {told} for {end}", quantity.name());
            let raw = field.extract(&bench.response[2..]).unwrap();
            assert_eq!(raw, scaling.encode(expected), "{} at {end}", quantity.name());
        }
        bench.overrides.release(quantity);
        assert!(
            !names.contains(&quantity.name()),
            "{} stands twice",
            quantity.name()
        );
        names.push(quantity.name());
    }
    assert_eq!(bench.overrides, Overrides::NONE);
    assert_eq!(bench.overrides.apply(&live()), live());
}

/// Whatever is asked is answered with something a tester can read, or not at all.
#[test]
fn any_request_gets_a_readable_answer_or_none() {
    let mut bench = Bench::new(confirmed());
    for service in 0..=u8::MAX {
        for parameter in 0..=u8::MAX {
            for length in 0..=9 {
                let mut request = vec![parameter; length];
                if let Some(first) = request.first_mut() {
                    *first = service;
                }
                for addressing in [Addressing::Functional, Addressing::Physical] {
                    if bench.ask(addressing, &request).is_sent() {
                        let response = Response::parse(&bench.response).unwrap();
                        assert_eq!(response.service().to_byte(), service);
                        if let Response::CurrentData(records) | Response::FreezeFrame(records) = response {
                            assert!(records.count() > 0);
                            for record in records {
                                assert!(!record.unwrap().pid.to_string().is_empty());
                            }
                        }
                    } else {
                        assert!(bench.response.is_empty());
                    }
                }
            }
        }
    }
}
