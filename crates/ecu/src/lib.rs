//! The engine ECU: engine management, monitors, fault memory, and the server that answers SAE J1979 requests.
//!
//! ```text
//!            +---------- Ecu::step, every 10 ms ----------+
//! pins ----> | control --signals--> monitors --results--> memory ----> lamp, effects
//! pins <---- |    ^--------requests-----'                 |  |
//!            +--------------------------------------------+  |
//! request -> Ecu::answer -> server <---- live data ----------'  -> response or silence
//! ```
//! The ECU sees pins and nothing else of the car. A car may have a second one, [`transmission`], with pins, codes and
//! answers of its own. Beside them [`listed`] has an ECU that only says what is listed of it.
#![no_std]
extern crate alloc;

mod calibration;
pub mod circuits;
pub mod control;
pub mod data;
mod ecu;
pub mod listed;
pub mod memory;
mod module;
pub mod monitors;
mod nonvolatile;
pub mod records;
pub mod server;
pub mod transmission;

pub use calibration::{Averaging, Calibration, Equipment};
pub use ecu::{Ecu, EcuConfig};
pub use module::SelfTest;
pub use nonvolatile::{Nonvolatile, Owner, RestoreError};
