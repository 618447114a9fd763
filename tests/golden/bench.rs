//! Car, harness and ECU under one clock, without bus and scenario: what the closed-loop tests drive.

use std::time::Duration;

use twotrip_ecu::{
    Ecu, EcuConfig,
    memory::Effect,
    server::{Addressing, Answer},
};
use twotrip_harness::{ActuatorPins, Harness, KeyPosition};
use twotrip_obd::ResponseBuffer;
use twotrip_units::{Acceleration, CarInstant, Ratio, Speed};
use twotrip_vehicle::{Driver, DriverControls, Plan, STEP, Selector, Vehicle, VehicleParams};

/// A car on the test bench.
#[derive(Clone)]
pub(crate) struct Bench {
    pub(crate) vehicle: Vehicle,
    pub(crate) harness: Harness,
    pub(crate) ecu: Ecu,
    /// The plug of the body's acceleration sensor is off.
    pub(crate) body_unplugged: bool,
    /// What happened in the fault memory, with the second.
    pub(crate) effects: Vec<(f64, Effect)>,
    actuators: ActuatorPins,
    now: CarInstant,
}

/// One step of a drive, for those who look on.
pub(crate) struct Moment<'a> {
    /// Seconds since the drive began.
    pub(crate) second: f64,
    pub(crate) bench: &'a Bench,
}

impl Bench {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            vehicle: Vehicle::new(VehicleParams::compact_2_0(), seed),
            harness: Harness::default(),
            ecu: Ecu::new(EcuConfig::default()),
            body_unplugged: false,
            effects: Vec::new(),
            actuators: ActuatorPins::default(),
            now: CarInstant::ZERO,
        }
    }

    pub(crate) const fn now(&self) -> CarInstant {
        self.now
    }

    pub(crate) const fn actuators(&self) -> &ActuatorPins {
        &self.actuators
    }

    pub(crate) fn step(&mut self, controls: &DriverControls) {
        self.now += STEP;
        self.vehicle.step(self.harness.drive(&self.actuators), controls);
        let pins = self.harness.sense(self.vehicle.sensors());
        self.actuators = if self.body_unplugged {
            let mut pins = *pins;
            pins.body_acceleration = Acceleration::ZERO;
            self.ecu.step(self.now, &pins)
        } else {
            self.ecu.step(self.now, pins)
        };
        self.take_effects();
    }

    fn take_effects(&mut self) {
        while let Some(effect) = self.ecu.poll_effect() {
            self.effects.push((self.now.as_secs_f64(), effect));
        }
    }

    /// Holds the controls for a time.
    pub(crate) fn hold(&mut self, controls: &DriverControls, span: Duration) {
        for _ in 0..span.as_nanos() / STEP.as_nanos() {
            self.step(controls);
        }
    }

    /// Key off, until the ECU sleeps, and then for the rest of the time.
    pub(crate) fn park(&mut self, span: Duration) {
        let mut left = span;
        while !self.ecu.asleep() || self.vehicle.engine_speed().rpm() > 0.0 {
            self.step(&DriverControls::default());
            left = left.saturating_sub(STEP);
        }
        const SECOND: Duration = Duration::from_secs(1);
        while self.ecu.tests_at_rest() && left >= SECOND {
            self.now += SECOND;
            self.vehicle
                .rest_second(self.harness.drive(&self.actuators).vent_shut);
            let pins = self.harness.sense(self.vehicle.sensors());
            self.actuators = self.ecu.rest_second(self.now, pins);
            self.take_effects();
            left -= SECOND;
        }
        while left > Duration::ZERO {
            let piece = left.min(Duration::from_secs(60));
            self.now += piece;
            self.vehicle.rest(piece);
            self.ecu.slept(self.now, piece);
            left -= piece;
        }
        self.actuators = ActuatorPins::default();
    }

    /// Key on and crank until the engine runs; says how long the starter turned.
    pub(crate) fn start(&mut self) -> Duration {
        let key = |key| DriverControls {
            key,
            ..DriverControls::default()
        };
        self.hold(&key(KeyPosition::On), Duration::from_secs(2));
        let mut cranked = Duration::ZERO;
        while !self.ecu.control().is_running() {
            self.step(&key(KeyPosition::Start));
            cranked += STEP;
            assert!(cranked < Duration::from_secs(10), "the engine does not start");
        }
        self.hold(&key(KeyPosition::On), Duration::from_millis(500));
        cranked
    }

    /// Idles in Park.
    pub(crate) fn idle(&mut self, span: Duration) {
        let controls = DriverControls {
            key: KeyPosition::On,
            ..DriverControls::default()
        };
        self.hold(&controls, span);
    }

    /// Drives a plan, starting the engine if need be; the car stands afterwards, idling in Drive.
    pub(crate) fn drive(&mut self, plan: Plan, mut look: impl FnMut(&Moment<'_>)) {
        if !self.ecu.control().is_running() {
            self.start();
        }
        let mut driver = Driver::new(plan);
        let begun = self.now;
        while !driver.finished() {
            driver.read_tachometer(self.vehicle.engine_speed());
            let controls = driver.controls(self.vehicle.road_speed());
            self.step(&controls);
            look(&Moment {
                second: self.now.saturating_since(begun).as_secs_f64(),
                bench: self,
            });
        }
        let stand = DriverControls {
            key: KeyPosition::On,
            brake: Ratio::from_fraction(0.3),
            selector: Selector::Drive,
            ..DriverControls::default()
        };
        while self.vehicle.road_speed() > Speed::from_metres_per_second(0.05) {
            self.step(&stand);
        }
        self.hold(&stand, Duration::from_secs(2));
    }

    /// Asks the ECU, as a tester would.
    pub(crate) fn ask(&mut self, request: &[u8]) -> (Answer, Vec<u8>) {
        let mut response = ResponseBuffer::default();
        let answer = self
            .ecu
            .answer(self.now, Addressing::Functional, request, &mut response);
        (answer, response.as_slice().to_vec())
    }

    /// Key on, engine off, service $04, key off.
    pub(crate) fn clear(&mut self) {
        let on = DriverControls {
            key: KeyPosition::On,
            ..DriverControls::default()
        };
        self.hold(&on, Duration::from_secs(1));
        let (answer, response) = self.ask(&[0x04]);
        assert_eq!(
            (answer, response.as_slice()),
            (Answer::PositiveAndClear, &[0x44][..])
        );
    }

    pub(crate) fn pending(&self) -> Vec<String> {
        self.ecu.memory().pending().map(|dtc| dtc.to_string()).collect()
    }

    pub(crate) fn confirmed(&self) -> Vec<String> {
        self.ecu.memory().confirmed().map(|dtc| dtc.to_string()).collect()
    }
}
