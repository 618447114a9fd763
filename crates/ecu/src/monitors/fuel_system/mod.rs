//! The fuel system: what the loop and its learned trims have to make up for (13 CCR 1968.2(e)(6), from memory).

mod rear_trim;
#[cfg(test)]
mod tests;
mod trim;

pub use rear_trim::RearTrim;
pub use trim::FuelTrim;

use super::frame::Test;

/// Length of a step, s.
const SECONDS: f64 = crate::control::SLOW_SECONDS;

/// The tests of these monitors.
pub(super) static TESTS: &[&Test] = &[
    &trim::CORRECTION[0],
    &rear_trim::SHIFT[0],
    &trim::CORRECTION[1],
    &rear_trim::SHIFT[1],
];
