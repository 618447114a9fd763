//! Recordings that are played again.
//!
//! - [`car`]: the ECUs of a recording on a bus, in wall time.

pub mod car;
