//! What tests share: above all the conformance cases of the transport as data, and the one body that plays them.
//!
//! - [`cases`]: the cases, each with its number and source; [`notation`]: frames as text in them.
//! - [`run`]: the body, and what it asks of an arm: a bus with the ECU under test on it.
//! - [`exceptions`]: what checks let through, for the tests of the car.
//! - [`watched_gearbox`]: the car with a transmission ECU.
//! - [`peer`]: a small ECU for the arms that need one unlike the program.
//!
//! `tests/pair` is the arm in memory, `tests/guest/transport_cases.rs` the one on a bus of the kernel.

pub mod cases;
pub mod exceptions;
pub mod notation;
pub mod peer;
pub mod run;
pub mod watched_gearbox;
