//! The transmission ECU at its pins: what it answers, when it asks for the lamp, what it does with the key.

extern crate std;

mod on_uds;

use std::vec::Vec;

use twotrip_harness::{EngineMessage, PulseSensor, PulseWire, Solenoid, gearbox::pattern};
use twotrip_obd::ResponseCode;
use twotrip_units::{AngularSpeed, Ratio, Temperature, Torque, Voltage};

use super::*;

/// A transmission ECU in a car that drives as it is told, and the clock of its steps.
struct Bench {
    ecu: Transmission,
    now: CarInstant,
    pins: GearboxPins,
    out: TransmissionOutputs,
    response: ResponseBuffer,
}

impl Bench {
    fn new() -> Self {
        Self::asked_in(Dialect::Classic)
    }

    fn asked_in(dialect: Dialect) -> Self {
        let engine = EngineMessage {
            engine_speed: AngularSpeed::from_rpm(1500.0),
            torque: Torque::from_newton_metres(20.0),
            pedal: Ratio::from_fraction(0.1),
            runs: true,
            coolant: Temperature::from_celsius(85.0),
            ambient: Temperature::from_celsius(20.0),
            load: Ratio::from_fraction(0.3),
        };
        let pins = GearboxPins {
            key: KeyPosition::On,
            supply: Voltage::from_volts(14.2),
            fluid_temperature: Voltage::from_volts(1.1),
            engine: Some(EngineMessage {
                runs: false,
                engine_speed: AngularSpeed::ZERO,
                ..engine
            }),
            ..GearboxPins::default()
        };
        let mut bench = Self {
            ecu: Transmission::new(TransmissionConfig {
                dialect,
                ..TransmissionConfig::under(&Profile::US_2010, Gearing::compact_2_0())
            }),
            now: CarInstant::ZERO,
            pins,
            out: TransmissionOutputs::default(),
            response: ResponseBuffer::new(),
        };
        bench.run(1.0);
        bench.pins.engine = Some(engine);
        bench
    }

    fn run(&mut self, seconds: f64) {
        let end = self.now + Duration::from_secs_f64(seconds);
        while self.now < end {
            self.now += Duration::from_millis(10);
            self.out = self.ecu.step(self.now, &self.pins);
        }
    }

    /// Drives on at a speed; the shafts turn as the commanded gear has it, times a factor.
    fn drive(&mut self, kmh: f64, factor: f64, seconds: u32) {
        let gearing = Gearing::compact_2_0();
        let output = kmh / 3.6 * gearing.output_per_speed;
        for _ in 0..seconds * 100 {
            let ratio = gearing.ratios[self.ecu.gear() - 1];
            self.pins.in_drive = true;
            self.pins.output.speed = AngularSpeed::from_radians_per_second(output);
            self.pins.turbine.speed = AngularSpeed::from_radians_per_second(output * ratio * factor);
            if let Some(engine) = &mut self.pins.engine {
                engine.engine_speed = self.pins.turbine.speed + AngularSpeed::from_rpm(5.0);
            }
            self.run(0.01);
        }
    }

    fn ask(&mut self, addressing: Addressing, request: &[u8]) -> (Answer, Vec<u8>) {
        let runs = self.ecu.memory().is_driving_cycle();
        let answer = self
            .ecu
            .answer(self.now, runs, addressing, request, &mut self.response);
        (answer, self.response.as_slice().to_vec())
    }

    fn asks(&mut self, request: &[u8]) -> Vec<u8> {
        self.ask(Addressing::Physical, request).1
    }

    fn pending(&self) -> Vec<alloc::string::String> {
        use alloc::string::ToString as _;
        self.ecu.memory().pending().map(|dtc| dtc.to_string()).collect()
    }

    /// Ends the driving cycle with the key, and starts the next.
    fn next_trip(&mut self) {
        let engine = self.pins.engine;
        (self.pins.key, self.pins.in_drive) = (KeyPosition::Off, false);
        self.pins.engine = None;
        self.run(8.0);
        assert!(self.ecu.asleep());
        self.pins.key = KeyPosition::On;
        self.pins.engine = engine;
        self.run(0.5);
    }

    /// Ends the driving cycle, and has the key on with the engine off.
    fn stand(&mut self) {
        self.next_trip();
        self.pins.engine = self.pins.engine.map(|engine| EngineMessage {
            runs: false,
            engine_speed: AngularSpeed::ZERO,
            ..engine
        });
        self.pins.output.speed = AngularSpeed::ZERO;
        self.run(0.5);
    }
}

/// Masks by hand: of $01 the PIDs 01 04 05 0C 0D 1C 1F 20, 21 30 31 40, 41 42 4D 4E 60, 65 80, A0 and A4; of $09 the
/// InfoTypes 04 06 0A; its name (SAE J1979, layout from memory).
#[test]
fn it_says_what_it_is_and_has() {
    let mut bench = Bench::new();
    assert_eq!(bench.asks(&[0x01, 0x00]), [0x41, 0x00, 0x98, 0x18, 0x00, 0x13]);
    assert_eq!(bench.asks(&[0x01, 0x20]), [0x41, 0x20, 0x80, 0x01, 0x80, 0x01]);
    assert_eq!(bench.asks(&[0x01, 0x40]), [0x41, 0x40, 0xC0, 0x0C, 0x00, 0x01]);
    assert_eq!(bench.asks(&[0x01, 0x60]), [0x41, 0x60, 0x08, 0x00, 0x00, 0x01]);
    assert_eq!(bench.asks(&[0x01, 0xA0]), [0x41, 0xA0, 0x10, 0x00, 0x00, 0x00]);
    assert_eq!(
        bench.asks(&[0x02, 0x00, 0x00]),
        [0x42, 0x00, 0x00, 0x58, 0x18, 0x00, 0x03]
    );
    assert_eq!(bench.asks(&[0x09, 0x00]), [0x49, 0x00, 0x14, 0x40, 0x00, 0x00]);
    assert_eq!(bench.asks(&[0x09, 0x0A])[3..], *b"TCM\0-TransmisCtrl\0\0\0");
    assert_eq!(bench.asks(&[0x09, 0x04])[3..15], *b"TWOTRIP-TCM-");
    assert!(bench.asks(&[0x09, 0x02]).is_empty(), "one ECU has the VIN");
    assert!(bench.asks(&[0x09, 0x08]).is_empty(), "nothing is counted in use");
    // Components alone, which are complete.
    assert_eq!(bench.asks(&[0x01, 0x01]), [0x41, 0x01, 0x00, 0x04, 0x00, 0x00]);
    for service in [[0x06, 0x00], [0x08, 0x00]] {
        let (answer, _) = bench.ask(Addressing::Physical, &service);
        assert_eq!(answer, Answer::Negative(ResponseCode::ServiceNotSupported));
        assert_eq!(bench.ask(Addressing::Functional, &service).0, Answer::Silence);
    }
    for service in [0x03, 0x07, 0x0A] {
        assert_eq!(bench.asks(&[service]), [service + 0x40, 0x00]);
    }
}

#[test]
fn the_gear_is_shown_with_its_ratio() {
    let mut bench = Bench::new();
    bench.drive(50.0, 1.0, 15);
    assert_eq!(bench.ecu.gear(), 4);
    // 1.160 and fourth.
    assert_eq!(bench.asks(&[0x01, 0xA4]), [0x41, 0xA4, 0x03, 0x40, 0x04, 0x88]);
    assert_eq!(bench.asks(&[0x01, 0x0D]), [0x41, 0x0D, 50]);
    assert!(bench.out.solenoids.contains(Solenoid::ConverterClutch));
    assert_eq!(
        bench.out.solenoids.with(Solenoid::ConverterClutch, false),
        pattern(3)
    );
}

/// Two trips to the lamp, a frame with the gear, and a clear with the engine off only.
#[test]
fn a_slipping_gear_is_found_in_two_trips_and_cleared() {
    let mut bench = Bench::new();
    bench.drive(12.0, 1.2, 4);
    assert_eq!(bench.pending(), ["P0731"], "the first gear that was judged");
    assert!(!bench.out.asks_for_lamp && bench.out.default_mode);
    assert!(bench.out.solenoids.is_empty(), "third, without current");
    assert_eq!(bench.asks(&[0x02, 0x02, 0x00]), [0x42, 0x02, 0x00, 0x07, 0x31]);
    assert_eq!(bench.asks(&[0x02, 0xA4, 0x00])[3..5], [0x03, 0x10], "in first");
    assert_eq!(bench.asks(&[0x04]), [0x7F, 0x04, 0x22], "the engine runs");
    bench.next_trip();
    bench.drive(12.0, 1.2, 4);
    assert!(bench.out.asks_for_lamp && bench.ecu.lamp_requested());
    assert_eq!(bench.asks(&[0x01, 0x01])[2], 0x81);
    assert_eq!(bench.asks(&[0x03]), [0x43, 0x01, 0x07, 0x31]);
    assert_eq!(bench.asks(&[0x0A]), [0x4A, 0x01, 0x07, 0x31]);
    bench.stand();
    assert_eq!(bench.asks(&[0x04]), [0x44]);
    assert!(!bench.ecu.lamp_requested());
    assert_eq!(bench.asks(&[0x03]), [0x43, 0x00]);
    assert_eq!(bench.asks(&[0x0A]), [0x4A, 0x01, 0x07, 0x31], "permanent");
    assert_eq!(bench.asks(&[0x02, 0x02, 0x00]), [0x42, 0x02, 0x00, 0x00, 0x00]);
}

/// One trip, for the default mode is entered by what a circuit shows (1968.2(d)(2.2.3)).
#[test]
fn an_open_shift_solenoid_is_confirmed_at_once() {
    let mut bench = Bench::new();
    bench.drive(30.0, 1.0, 3);
    bench.pins.drivers.open = SolenoidSet::NONE.with(Solenoid::ShiftB, true);
    bench.drive(30.0, 1.0, 1);
    assert!(bench.out.asks_for_lamp && bench.out.default_mode);
    assert_eq!(bench.asks(&[0x03]), [0x43, 0x01, 0x07, 0x58]);
}

#[test]
fn pulses_are_missed_by_the_other_shaft() {
    let mut bench = Bench::new();
    bench.drive(40.0, 1.0, 8);
    bench.drive(40.0, 0.0, 4);
    assert_eq!(bench.pending(), ["P0717"]);
    let mut bench = Bench::new();
    bench.drive(40.0, 1.0, 8);
    for _ in 0..400 {
        bench.pins.output = PulseSensor::default();
        bench.run(0.01);
    }
    assert_eq!(bench.pending(), ["P0722"]);
    assert!(
        bench.out.default_mode,
        "and no shift down on the way: the speed is not believed"
    );
    let mut bench = Bench::new();
    bench.pins.turbine.wire = PulseWire::Open;
    bench.run(2.0);
    assert_eq!(bench.pending(), ["P0715"]);
}

/// An engine that is not heard for half a second is missed; it is held to run on until the key says otherwise.
#[test]
fn silence_of_the_engine_is_told() {
    let mut bench = Bench::new();
    bench.drive(40.0, 1.0, 4);
    let engine = bench.pins.engine.take();
    bench.run(0.3);
    assert!(bench.pending().is_empty());
    bench.run(0.5);
    assert_eq!(bench.pending(), ["U0100"]);
    assert!(bench.ecu.memory().is_driving_cycle());
    bench.pins.engine = engine;
    bench.pins.key = KeyPosition::Off;
    bench.run(0.1);
    assert!(!bench.ecu.memory().is_driving_cycle());
}

#[test]
fn asleep_or_without_supply_it_answers_nobody_and_remembers() {
    let mut bench = Bench::new();
    bench.drive(12.0, 1.2, 4);
    bench.pins.key = KeyPosition::Off;
    bench.run(6.0);
    assert!(bench.ecu.asleep() && bench.asks(&[0x03]).is_empty());
    bench.pins.key = KeyPosition::On;
    bench.run(0.1);
    assert_eq!(bench.asks(&[0x07]), [0x47, 0x01, 0x07, 0x31]);
    bench.ecu.without_supply(Duration::from_secs(1));
    assert!(bench.asks(&[0x07]).is_empty());
    let stored = bench.ecu.store();
    let mut other = Bench::new();
    other.ecu.restore(other.now, &stored).expect("its own");
    assert_eq!(other.asks(&[0x07]), [0x47, 0x01, 0x07, 0x31]);
    other.ecu.renew(other.now);
    assert_eq!(other.asks(&[0x07]), [0x47, 0x00]);
}
