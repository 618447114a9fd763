//! The pins of the engine ECU.

use twotrip_units::{Acceleration, Angle, AngularSpeed, Current, Interval, Ratio, Speed, Voltage};

/// The most cylinder banks with an exhaust of their own that an engine here has.
pub const BANKS: usize = 2;

/// A value for each bank, bank 1 first (SAE J1979: the bank with cylinder 1); a one-bank engine leaves the rest at its
/// default.
pub type PerBank<T> = [T; BANKS];

use crate::{CrankSegments, Drivers};

/// Where the ignition key stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum KeyPosition {
    /// Everything off.
    #[default]
    Off,
    /// Ignition on.
    On,
    /// Starter engaged; springs back to on.
    Start,
}

/// What ails the engine ECU itself. It travels with the pins, because the module is a part of the car like others; what its
/// program makes of it is its own affair.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ModuleCondition {
    /// A bit of the memory with its figures of the engine reads as its opposite.
    pub calibration_bit: bool,
    /// A bit of the memory with its program does.
    pub program_bit: bool,
    /// A cell of its RAM does not hold what is written into it.
    pub ram_cell: bool,
    /// Its processor makes mistakes.
    pub processor: bool,
    /// Its permanent supply, which feeds it with the key off, is missing.
    pub keep_alive_lost: bool,
}

/// What the sensors put on the pins of the ECU. Voltages are against sensor ground.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SensorPins {
    /// Ignition switch.
    pub key: KeyPosition,
    /// Supply of the control module.
    pub supply: Voltage,
    /// Frequency of the crank sensor's teeth as a speed; zero when the engine stands.
    pub crank_speed: AngularSpeed,
    /// How long the crank took from firing to firing, as timed by the same sensor.
    pub crank_segments: CrankSegments,
    /// What the ECU's drivers see of what hangs on them.
    pub drivers: Drivers,
    /// Road speed from the output shaft, in the message of the gearbox controller ([`crate::broadcast`]); zero where it is
    /// silent.
    pub vehicle_speed: Speed,
    /// No message of the gearbox controller has come in this step.
    pub gearbox_silent: bool,
    /// The transmission ECU asks for the malfunction indicator lamp, in the message of the gearbox controller.
    pub gearbox_asks_for_lamp: bool,
    /// Manifold pressure sensor, [`crate::transfer::PRESSURE`].
    pub manifold_pressure: Voltage,
    /// Air-mass meter, [`crate::transfer::AIR_METER`].
    pub air_meter: Voltage,
    /// Coolant thermistor, [`crate::transfer::THERMISTOR`].
    pub coolant_temperature: Voltage,
    /// Intake-air thermistor.
    pub intake_air_temperature: Voltage,
    /// Ambient-air thermistor.
    pub ambient_temperature: Voltage,
    /// Oil thermistor.
    pub oil_temperature: Voltage,
    /// Throttle position, track A, rising with opening, [`crate::transfer::throttle_volts`].
    pub throttle_a: Voltage,
    /// Throttle position, track B, falling with opening.
    pub throttle_b: Voltage,
    /// Accelerator pedal, track D, [`crate::transfer::pedal_volts`].
    pub pedal_d: Voltage,
    /// Accelerator pedal, track E, half of track D.
    pub pedal_e: Voltage,
    /// Stem of the exhaust-gas recirculation valve, [`crate::transfer::VALVE_LIFT`].
    pub recirculation_lift: Voltage,
    /// Intake cam of each bank against the crank, degrees of crank ahead of its locked place, from the teeth of both sensors.
    pub cam_advance: PerBank<Angle>,
    /// No teeth come from the bank's cam sensor.
    pub cam_silent: PerBank<bool>,
    /// Vertical acceleration of the body, from its own sensor.
    pub body_acceleration: Acceleration,
    /// Brake light switch closed.
    pub brake: bool,
    /// Selector in a driving position.
    pub in_gear: bool,
    /// Air conditioning asked for: the driver's switch and the evaporator's thermostat in a row.
    pub air_conditioning: bool,
    /// The heater takes warmth from the coolant for the cabin, as its switch says.
    pub cabin_heater: bool,
    /// Headlamps on, as their switch says.
    pub lights: bool,
    /// The blower runs at full speed, as its switch says.
    pub blower: bool,
    /// The relay of the rear screen's heater is closed.
    pub rear_screen: bool,
    /// Front oxygen sensors, sensor 1 of each bank; a wide-range one by [`crate::transfer::WIDE_RANGE`].
    pub oxygen_front: PerBank<Voltage>,
    /// Rear oxygen sensors, sensor 2 of each bank.
    pub oxygen_rear: PerBank<Voltage>,
    /// Current through the heaters of the front sensors, as the ECU's drivers measure it.
    pub heater_front: PerBank<Current>,
    /// Current through the heaters of the rear sensors.
    pub heater_rear: PerBank<Current>,
    /// Fuel level sender, [`crate::transfer::FUEL_LEVEL`].
    pub fuel_level: Voltage,
    /// Tank pressure sensor, [`crate::transfer::tank_pressure_volts`].
    pub tank_pressure: Voltage,
    /// Barometer in the ECU's own case, [`crate::transfer::PRESSURE`].
    pub barometer: Voltage,
    /// Fuel rail pressure sensor, [`crate::transfer::rail_pressure_volts`].
    pub rail_pressure: Voltage,
    /// The module behind the pins.
    pub module: ModuleCondition,
}

/// What the ECU drives.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ActuatorPins {
    /// Throttle plate target of the position loop; `None` leaves the motor without current (spring position).
    pub throttle: Option<Angle>,
    /// Injection pulse width per cylinder and engine cycle, for the cylinders of each bank; zero for fuel cut.
    pub injection: PerBank<Interval>,
    /// Ignition before top dead centre.
    pub ignition_advance: Angle,
    /// Fuel pump relay.
    pub fuel_pump: bool,
    /// Starter relay.
    pub starter: bool,
    /// Purge valve duty.
    pub purge: Ratio,
    /// Duty of the exhaust-gas recirculation valve.
    pub recirculation: Ratio,
    /// Duty of the oil control valve of the phaser of each bank's intake cam: half holds, more advances, less retards.
    pub cam_valve: PerBank<Ratio>,
    /// Canister vent valve energised, which shuts it.
    pub vent_shut: bool,
    /// Heaters of the front oxygen sensors.
    pub oxygen_heater_front: PerBank<bool>,
    /// Heaters of the rear oxygen sensors.
    pub oxygen_heater_rear: PerBank<bool>,
    /// Radiator fan relay.
    pub fan: bool,
    /// Clutch of the air conditioning's compressor.
    pub compressor: bool,
    /// Set point of the alternator's regulator; zero switches it off.
    pub alternator: Voltage,
    /// The malfunction indicator lamp's driver.
    pub mil: bool,
}
