//! What passes between the car and its ECUs: pins, and what may be wrong with the wires behind them.
//!
//! ```text
//! vehicle -- SensorPins --> Harness::sense -- SensorPins --> ecu
//! vehicle <-- ActuatorPins -- Harness::drive <-- ActuatorPins -- ecu
//! ```
//!
//! The harness knows pins, not what hangs on them: a sensor's data sheet ([`transfer`]) is here because both
//! ends of a wire need it; neither car nor ECU sees the other. What control units send each other is in [`broadcast`].
#![no_std]

pub mod broadcast;
mod circuit;
mod crank;
pub mod gearbox;
mod hold;
mod outputs;
pub mod pins;
pub mod transfer;
mod wire;
mod wiring;

pub use circuit::{Circuit, Input, OXYGEN_IDLE, Probe, Source};
pub use crank::CrankSegments;
pub use gearbox::{EngineMessage, GearboxPins, PulseSensor, PulseWire, ShiftSchedule, Solenoid, SolenoidSet};
pub use hold::{Holds, Signal};
pub use outputs::{COILS, Drivers, Output, OutputSet};
pub use pins::{ActuatorPins, BANKS, KeyPosition, ModuleCondition, PerBank, SensorPins};
pub use wire::{GearboxLink, Wire};
pub use wiring::{Harness, WiringFault, WiringFaultKind};
