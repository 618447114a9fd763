//! Recordings that are played again.
//!
//! - [`frames`]: every frame at its time.
//! - [`car`]: the ECUs of a recording on a bus, in wall time.

pub mod car;
pub mod frames;
