//! The car as one thing: vehicle, harness and engine ECU, stepped together in fixed steps of car time.

use core::time::Duration;

use twotrip_ecu::{Ecu, EcuConfig};
use twotrip_harness::{ActuatorPins, Harness, Holds, KeyPosition, SensorPins};
use twotrip_units::CarInstant;
use twotrip_vehicle::{DriverControls, STEP, Vehicle, VehicleParams};

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
    /// The engine ECU.
    pub(crate) ecu: Ecu,
    actuators: ActuatorPins,
    controls: DriverControls,
    now: CarInstant,
}

impl Car {
    pub(crate) fn new(vehicle: VehicleParams, ecu: EcuConfig, seed: u64) -> Self {
        Self {
            vehicle: Vehicle::new(vehicle, seed),
            holds: Holds::default(),
            harness: Harness::default(),
            ecu: Ecu::new(ecu),
            actuators: ActuatorPins::default(),
            controls: DriverControls::default(),
            now: CarInstant::ZERO,
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

    /// What the driver did in the last step.
    pub(crate) const fn controls(&self) -> &DriverControls {
        &self.controls
    }

    /// One step. In causal order: the car moves under what ECU and driver commanded, its sensors show it through
    /// the harness, the ECU reacts.
    pub(crate) fn step(&mut self, controls: &DriverControls) {
        self.now += STEP;
        self.controls = *controls;
        self.vehicle.step(&self.actuators, controls);
        let sensors = self.holds.apply(self.vehicle.sensors());
        let pins = self.harness.sense(sensors);
        self.actuators = self.ecu.step(self.now, pins);
    }

    /// Whether nothing moves any more: key off, ECU asleep.
    pub(crate) fn is_resting(&self, controls: &DriverControls) -> bool {
        controls.key == KeyPosition::Off && self.ecu.asleep()
    }

    /// Time passes over a resting car.
    pub(crate) fn rest(&mut self, span: Duration) {
        self.now += span;
        self.vehicle.rest(span);
        self.ecu.slept(self.now, span);
        self.actuators = ActuatorPins::default();
    }
}
