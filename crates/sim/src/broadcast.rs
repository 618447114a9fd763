//! The periodic messages of the car's control units on its bus: when each is due, and what it says.
//!
//! The bus is awake as long as the engine ECU is. Each message begins at its own offset after the bus woke up and keeps
//! to its cycle in bus time, whatever the car's time does; what could not be sent before its next turn is overwritten by it, as in
//! a controller's buffer. One frame is on the wire at a time; of those that wait, the lowest identifier goes first.

use std::time::Duration;

use twotrip_can::{
    CanId, Frame,
    timing::{self, BitRate},
};
use twotrip_harness::{
    KeyPosition,
    broadcast::{Content, MESSAGES, Sender},
};
use twotrip_units::BusInstant;
use twotrip_vehicle::Selector;

use crate::Car;

/// A frame that the bus does not take for so long is given up, as one of an answer is (N_As, ISO 15765-4).
const GIVEN_UP: Duration = Duration::from_millis(25);

/// The messages of one car.
#[derive(Clone, Debug)]
pub(crate) struct Broadcasts {
    /// Bit rate at which frames leave where the bus itself does not pace them.
    spacing: Option<BitRate>,
    /// When the bus woke up; `None` while it sleeps.
    awake_since: Option<BusInstant>,
    /// When each message is due next, while the bus is awake.
    due: [BusInstant; MESSAGES.len()],
    counts: [u8; MESSAGES.len()],
    /// The frame that the bus has not confirmed yet: how long it takes, and when it is given up.
    in_flight: Option<(Duration, BusInstant)>,
    /// When our last frame has left the wire, as far as we pace it ourselves.
    leaves: Option<BusInstant>,
}

impl Broadcasts {
    pub(crate) const fn new(spacing: Option<BitRate>) -> Self {
        Self {
            spacing,
            awake_since: None,
            due: [BusInstant::ZERO; MESSAGES.len()],
            counts: [0; MESSAGES.len()],
            in_flight: None,
            leaves: None,
        }
    }

    /// Follows the bus's sleep, and runs the deadlines up to `now`.
    pub(crate) fn handle_timeout(&mut self, now: BusInstant, awake: bool) {
        if !awake {
            self.awake_since = None;
        } else if self.awake_since.is_none() {
            self.awake_since = Some(now);
            for (due, message) in self.due.iter_mut().zip(&MESSAGES) {
                *due = now + message.offset;
            }
        }
        if self.in_flight.is_some_and(|(_, given_up)| given_up <= now) {
            self.in_flight = None;
        }
        if self.leaves.is_some_and(|leaves| leaves <= now) {
            self.leaves = None;
        }
    }

    /// Whether a frame of ours takes the wire.
    pub(crate) const fn is_on_the_wire(&self) -> bool {
        self.in_flight.is_some() || self.leaves.is_some()
    }

    /// Whether the frame last polled still waits for the bus.
    pub(crate) const fn has_frame_in_flight(&self) -> bool {
        self.in_flight.is_some()
    }

    /// The bus has taken the frame last polled.
    pub(crate) fn handle_transmitted(&mut self, now: BusInstant) {
        if let Some((takes, _)) = self.in_flight.take()
            && self.spacing.is_some()
        {
            self.leaves = Some(now + takes);
        }
    }

    /// The frame that is due, if the wire is free; the caller has run [`Self::handle_timeout`].
    pub(crate) fn poll_frame(&mut self, now: BusInstant, car: &Car) -> Option<Frame> {
        let awake_since = self.awake_since?;
        if self.is_on_the_wire() {
            return None;
        }
        for (place, message) in MESSAGES.iter().enumerate() {
            if self.due[place] > now {
                continue;
            }
            self.due[place] = next(awake_since + message.offset, message.cycle, now);
            if message.sender == Sender::Gearbox && car.heard_gearbox().is_none() {
                continue;
            }
            let count = self.counts[place];
            self.counts[place] = (count + 1) % 16;
            let data = message.encode(count, |content| value(car, content));
            let frame = Frame::new(CanId::Standard(message.id), &data[..usize::from(message.length)])?;
            let takes = self
                .spacing
                .map_or(Duration::ZERO, |rate| timing::frame_time(&frame, rate));
            self.in_flight = Some((takes, self.due[place].min(now + GIVEN_UP)));
            return Some(frame);
        }
        None
    }

    /// When to call [`Self::handle_timeout`] at the latest.
    pub(crate) fn poll_timeout(&self, awake: bool, wire_is_free: bool) -> Option<BusInstant> {
        match (self.in_flight, self.leaves, self.awake_since) {
            (Some((_, given_up)), ..) => Some(given_up),
            (None, Some(leaves), _) => Some(leaves),
            (None, None, Some(_)) if !wire_is_free => None,
            (None, None, Some(_)) => self.due.iter().copied().min(),
            (None, None, None) => awake.then_some(BusInstant::ZERO),
        }
    }

    /// When the wire is free again at the latest, while a message is on it.
    pub(crate) fn on_the_wire_until(&self) -> Option<BusInstant> {
        self.in_flight.map(|(_, given_up)| given_up).or(self.leaves)
    }

    /// When the wire is free again, as far as we pace it ourselves.
    pub(crate) const fn leaves(&self) -> Option<BusInstant> {
        self.leaves
    }
}

/// The first turn after `now` on the grid that begins at `first`.
fn next(first: BusInstant, cycle: Duration, now: BusInstant) -> BusInstant {
    let (since, cycle) = (now.saturating_since(first).as_nanos(), cycle.as_nanos());
    let turns = since / cycle + 1;
    first + Duration::from_nanos(u64::try_from(turns * cycle).unwrap_or(u64::MAX))
}

/// What a message says now, in the unit of its signal.
fn value(car: &Car, content: Content) -> f64 {
    let (vehicle, ecu, controls) = (&car.vehicle, &car.ecu, car.controls());
    let in_drive = controls.selector == Selector::Drive;
    let (live, control) = (ecu.live(), ecu.control());
    let measured = control.measured();
    let flag = |set: bool| f64::from(u8::from(set));
    let reference = live.reference_torque.newton_metres();
    match content {
        Content::EngineSpeed => measured.engine_speed.rpm(),
        Content::EngineTorque => {
            let taken = live.friction_torque.fraction() + control.accessory_torque().fraction();
            (live.actual_torque.fraction() - taken) * reference
        }
        Content::DemandedTorque => live.demanded_torque.fraction() * reference,
        Content::Pedal => measured.pedal.percent(),
        Content::EngineRuns => flag(control.is_running()),
        Content::ThrottlePosition => live.throttle_position.percent(),
        Content::ManifoldPressure => measured.manifold_pressure.kilopascals(),
        Content::AirFlow => measured.air_flow.grams_per_second(),
        Content::IgnitionAdvance => live.timing_advance.degrees(),
        Content::FuelRate => live.fuel_rate_litres_per_hour,
        Content::CoolantTemperature => live.coolant_temperature.celsius(),
        Content::IntakeAirTemperature => live.intake_air_temperature.celsius(),
        Content::OilTemperature => live.oil_temperature.celsius(),
        Content::ModuleVoltage => measured.supply.volts(),
        Content::Mil => flag(ecu.memory().mil_commanded()),
        Content::Gear if in_drive => u32::try_from(vehicle.gear()).map_or(0.0, f64::from),
        Content::Gear => 0.0,
        Content::Shifting => flag(vehicle.is_shifting()),
        Content::OutputSpeed => car.heard_gearbox().unwrap_or_default().kilometres_per_hour(),
        Content::TorqueLimit => 100.0,
        Content::Selector => 3.0 * flag(in_drive),
        Content::LockUp => vehicle.lock_up().percent(),
        Content::GearboxTemperature => vehicle.oil_temperature().celsius(),
        Content::WheelSpeed => vehicle.road_speed().kilometres_per_hour(),
        Content::BrakePedal => controls.brake.percent(),
        Content::BrakeSwitch => flag(measured.brake),
        Content::Acceleration => vehicle.acceleration().metres_per_second_squared(),
        Content::Key => match controls.key {
            KeyPosition::Off => 0.0,
            KeyPosition::On => 1.0,
            KeyPosition::Start => 2.0,
        },
        Content::BatteryVoltage => vehicle.battery_voltage().volts(),
        Content::BatteryCurrent => vehicle.battery_current().amperes(),
        Content::BatteryCharge => vehicle.battery_charge().percent(),
        Content::Odometer => vehicle.distance().kilometres(),
        Content::FuelLevel => live.fuel_level.percent(),
        Content::AmbientTemperature => vehicle.ambient_temperature().celsius(),
        Content::Counter | Content::Checksum => 0.0,
    }
}
