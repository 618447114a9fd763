//! The car as one thing: vehicle, harness, engine ECU and, in cars that have one, transmission ECU, stepped together in fixed steps of car time.

use core::time::Duration;

use twotrip_ecu::{
    Ecu, EcuConfig,
    memory::FaultMemory,
    transmission::{Transmission, TransmissionConfig},
};
use twotrip_harness::{
    ActuatorPins, EngineMessage, Harness, Holds, KeyPosition, SensorPins, SolenoidSet, Wire, WiringFault,
};
use twotrip_scenario::phrase::Presence;
use twotrip_units::{CarInstant, Speed, Torque};
use twotrip_vehicle::{DriverControls, STEP, Vehicle, VehicleParams};

use crate::{tolerance::Tolerances, wires::Wires};

/// Grid on which a parked car with a sleeping ECU rests, a whole number of steps.
pub(crate) const REST: Duration = Duration::from_secs(1);

/// Vehicle, harness and ECU under one clock.
#[derive(Clone, Debug)]
pub struct Car {
    /// The car as physics.
    pub(crate) vehicle: Vehicle,
    /// Sensor signals pinned by hand.
    pub(crate) holds: Holds,
    /// The wires between car and ECU.
    pub(crate) harness: Harness,
    /// Those whose faults come and go.
    pub(crate) wires: Wires,
    /// The engine ECU.
    pub(crate) ecu: Ecu,
    /// The transmission ECU, where there is one.
    pub(crate) transmission: Option<Box<Transmission>>,
    solenoids: SolenoidSet,
    /// What good parts of this car stray from nominal.
    pub(crate) tolerances: Tolerances,
    /// Whether the gearbox controller's messages got through in the last step, and the road speed in them.
    heard_gearbox: Option<Speed>,
    actuators: ActuatorPins,
    controls: DriverControls,
    now: CarInstant,
    /// How much has passed of the second at whose end an ECU that tests a parked car looks again.
    second: Duration,
}

impl Car {
    pub(crate) fn new(
        vehicle: VehicleParams,
        ecu: EcuConfig,
        transmission: Option<TransmissionConfig>,
        seed: u64,
    ) -> Self {
        Self {
            vehicle: Vehicle::new(vehicle, seed),
            holds: Holds::default(),
            harness: Harness::new(ecu.calibration.wide_range),
            wires: Wires::new(seed),
            solenoids: SolenoidSet::NONE,
            heard_gearbox: Some(Speed::ZERO),
            ecu: Ecu::new(ecu),
            transmission: transmission.map(|config| Box::new(Transmission::new(config))),
            tolerances: Tolerances::new(seed),
            actuators: ActuatorPins::default(),
            controls: DriverControls::default(),
            now: CarInstant::ZERO,
            second: Duration::ZERO,
        }
    }

    /// The car's own time.
    #[must_use]
    pub const fn now(&self) -> CarInstant {
        self.now
    }

    /// The vehicle, for those who look at the truth.
    #[must_use]
    pub const fn vehicle(&self) -> &Vehicle {
        &self.vehicle
    }

    /// The engine ECU.
    #[must_use]
    pub const fn ecu(&self) -> &Ecu {
        &self.ecu
    }

    /// The transmission ECU, where there is one.
    #[must_use]
    pub fn transmission(&self) -> Option<&Transmission> {
        self.transmission.as_deref()
    }

    /// The fault memories of its ECUs, the engine's first.
    pub(crate) fn memories(&self) -> impl Iterator<Item = &FaultMemory> {
        let transmission = self.transmission.as_ref();
        core::iter::once(self.ecu.memory()).chain(transmission.map(|transmission| transmission.memory()))
    }

    /// Whether there is a transmission ECU, it is awake, and the bus reaches it: else it hears and says nothing.
    #[must_use]
    pub fn transmission_is_on_bus(&self) -> bool {
        self.harness.gearbox().on_bus
            && self
                .transmission
                .as_ref()
                .is_some_and(|transmission| !transmission.asleep())
    }

    /// What the sensors give, pinned signals included.
    #[must_use]
    pub fn sensors(&self) -> SensorPins {
        self.holds.applied(self.vehicle.sensors())
    }

    /// Whether the lamp in the dashboard is lit at this instant.
    #[must_use]
    pub const fn lamp_lit(&self) -> bool {
        self.actuators.mil
    }

    /// What the ECU commands, as of the last step.
    pub(crate) const fn commands(&self) -> &ActuatorPins {
        &self.actuators
    }

    /// The solenoids that the transmission ECU drives, as of the last step.
    pub(crate) const fn solenoids(&self) -> SolenoidSet {
        self.solenoids
    }

    /// The road speed in the message of the gearbox controller, as of the last step; `None` while it is silent.
    pub(crate) const fn heard_gearbox(&self) -> Option<Speed> {
        self.heard_gearbox
    }

    /// Breaks a wire.
    pub(crate) fn break_wire(&mut self, wire: Wire, fault: WiringFault, when: Option<Presence>) {
        self.wires
            .break_wire(&mut self.harness, &mut self.vehicle, wire, fault, when);
    }

    /// Mends a wire; says what was wrong with it.
    pub(crate) fn mend_wire(&mut self, wire: Wire) -> Option<WiringFault> {
        self.wires.mend_wire(&mut self.harness, &mut self.vehicle, wire)
    }

    /// What the driver did in the last step.
    pub(crate) const fn controls(&self) -> &DriverControls {
        &self.controls
    }

    /// One step. In causal order: the car moves under what ECU and driver commanded, its sensors show it through
    /// the harness, the ECU reacts.
    pub(crate) fn step(&mut self, controls: &DriverControls) {
        if !self.second.is_zero() {
            self.catch_up();
        }
        self.now += STEP;
        self.controls = *controls;
        self.vehicle.step(self.harness.drive(&self.actuators), controls);
        self.wires.step(&mut self.harness, &mut self.vehicle);
        if self.transmission.is_some() {
            self.step_transmission();
        }
        let sensors = self.holds.apply(self.vehicle.sensors());
        let pins = self.harness.sense(sensors);
        self.heard_gearbox = (!pins.gearbox_silent).then_some(pins.vehicle_speed);
        self.actuators = self.ecu.step(self.now, pins);
    }

    /// One step of the transmission ECU, between the sensors of the gearbox and its solenoids.
    fn step_transmission(&mut self) {
        let Some(transmission) = &mut self.transmission else {
            return;
        };
        let key_on = self.controls.key != KeyPosition::Off;
        let works = self.harness.gearbox().powered && self.vehicle.gearbox_controller_works();
        let driven = if works {
            let mut pins = self.vehicle.gearbox_pins();
            pins.engine = (!self.ecu.asleep()).then(|| engine_message(&self.ecu));
            let outputs = transmission.step(self.now, &self.harness.sense_gearbox(&pins));
            self.vehicle.ask_for_lamp(outputs.asks_for_lamp);
            outputs.solenoids
        } else {
            transmission.without_supply(STEP);
            SolenoidSet::NONE
        };
        self.solenoids = driven;
        self.vehicle
            .drive_gearbox(self.harness.drive_gearbox(driven, key_on));
    }

    /// What comes of it if nothing is done for so long: what an instrument is watched for. This car stays where it is.
    pub(crate) fn watched(&self, span: Duration, mut look: impl FnMut(&Vehicle)) {
        let mut ahead = self.clone();
        let controls = self.controls;
        for _ in 0..crate::steps(span) {
            ahead.step(&controls);
            look(&ahead.vehicle);
        }
    }

    /// Whether nothing moves any more: key off, ECU asleep.
    pub(crate) fn is_resting(&self, key: KeyPosition) -> bool {
        key == KeyPosition::Off && self.ecu.asleep()
    }

    /// Time passes over a resting car; says how much of it has passed. That is all of it, but for an ECU that tests the
    /// parked car: it looks once a second, and what comes of a look is to be told before time goes on.
    pub(crate) fn rest(&mut self, span: Duration) -> Duration {
        let mut left = span;
        while self.ecu.tests_at_rest() && !left.is_zero() {
            let piece = left.min(REST - self.second);
            self.now += piece;
            self.second += piece;
            left -= piece;
            if self.second == REST {
                self.second = Duration::ZERO;
                if let Some(transmission) = &mut self.transmission {
                    transmission.slept(REST);
                }
                self.vehicle
                    .rest_second(self.harness.drive(&self.actuators).vent_shut);
                let sensors = self.holds.apply(self.vehicle.sensors());
                let pins = self.harness.sense(sensors);
                self.actuators = self.ecu.rest_second(self.now, pins);
                if self.ecu.has_effects() {
                    return span - left;
                }
            }
        }
        if !left.is_zero() {
            self.now += left;
            self.second += left;
            self.catch_up();
        }
        span
    }

    /// The car goes through what has passed and it has not yet gone through.
    #[cold]
    fn catch_up(&mut self) {
        let span = core::mem::take(&mut self.second);
        self.vehicle.rest(span);
        self.ecu.slept(self.now, span);
        if let Some(transmission) = &mut self.transmission {
            transmission.slept(span);
        }
        if self.vehicle.sensors().module.keep_alive_lost {
            self.ecu.lose_keep_alive();
        }
        self.actuators = ActuatorPins::default();
    }
}

/// What the engine ECU tells the transmission ECU.
fn engine_message(ecu: &Ecu) -> EngineMessage {
    let (live, control) = (ecu.live(), ecu.control());
    let measured = control.measured();
    let taken = live.friction_torque.fraction() + control.accessory_torque().fraction();
    let torque = (live.actual_torque.fraction() - taken) * live.reference_torque.newton_metres();
    EngineMessage {
        engine_speed: measured.engine_speed,
        torque: Torque::from_newton_metres(torque),
        pedal: measured.pedal,
        runs: control.is_running(),
        coolant: measured.coolant,
        ambient: live.ambient_temperature,
        load: live.calculated_load,
    }
}
