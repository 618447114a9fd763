//! What the tests of the transport share: its conformance cases as data, and the one body that plays them.
//!
//! - [`cases`]: the cases, each with its number and source; [`notation`]: frames as text in them.
//! - [`run`]: the body, and what it asks of an arm: a bus with the ECU under test on it.
//! - [`peer`]: a small ECU for the arms that need one unlike the program.
//!
//! `tests/pair` is the arm in memory, `tests/guest/transport_cases.rs` the one on a bus of the kernel.

pub mod cases;
pub mod notation;
pub mod peer;
pub mod run;
