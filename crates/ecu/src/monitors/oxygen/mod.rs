//! The oxygen sensors of each bank, and the catalyst between them (13 CCR 1968.2(e)(1) and (e)(7), from memory). Limits
//! are ours, beside published ones.
//!
//! A monitor of a bank is one type with the bank as its parameter; its tables stand once for each.

mod catalyst;
mod circuit;
mod heater;
mod limit;
mod rear;
mod response;
#[cfg(test)]
mod tests;
mod trace;

pub use catalyst::Catalyst;
pub use circuit::FrontCircuit;
pub use heater::Heater;
pub(crate) use limit::{AtLimit, Limited};
pub use rear::RearSensor;
pub use response::FrontResponse;
pub use trace::{Edges, Gathered, Trace};

use super::frame::{Condition, Test};

/// Length of a step, s.
const SECONDS: f64 = crate::control::SLOW_SECONDS;

/// Purge that has not stepped for a while: what it brings is known then.
static STEADY_PURGE: Condition = Condition::own("a purge without steps", "");

/// The loop has little to correct, so that it swings about the middle: what is wrong with the mixture has been learned.
pub(in crate::monitors) const fn learned<const BANK: usize>() -> Condition {
    Condition::of("mean short-term trim, either way", "%", |signals| {
        signals.banks[BANK].mean_short_term.percent().abs()
    })
    .at_most(8.0)
}

/// Watches for steps of the purge duty, as tests of other monitors make them.
#[derive(Clone, Copy, Debug, Default)]
struct PurgeSteps {
    before: f64,
    quiet_seconds: f64,
}

impl PurgeSteps {
    /// A larger change within 100 ms is a step: the strategy itself moves by 2 % a second, and shuts.
    const STEP: f64 = 0.02;
    /// How long a step is felt, s: a lag of the manifold, and the loop's answer.
    const FELT_SECONDS: f64 = 4.0;

    /// Whether it is quiet.
    fn step(&mut self, duty: f64) -> bool {
        let stepped = (duty - self.before).abs() > Self::STEP;
        self.before = duty;
        self.quiet_seconds = if stepped {
            0.0
        } else {
            self.quiet_seconds + SECONDS
        };
        self.quiet_seconds > Self::FELT_SECONDS
    }
}

/// The tests of these monitors, those of bank 2 last.
pub(super) static TESTS: &[&Test] = &[
    &response::FROM[0],
    &response::TO[0],
    &response::FALL[0],
    &response::RISE[0],
    &response::LOWEST[0],
    &response::HIGHEST[0],
    &response::PERIOD[0],
    &rear::FALL[0],
    &rear::LOWEST[0],
    &rear::HIGHEST[0],
    &catalyst::INDEX[0],
    &heater::CURRENT[0][0],
    &heater::CURRENT[0][1],
    &response::FROM[1],
    &response::TO[1],
    &response::FALL[1],
    &response::RISE[1],
    &response::LOWEST[1],
    &response::HIGHEST[1],
    &response::PERIOD[1],
    &rear::FALL[1],
    &rear::LOWEST[1],
    &rear::HIGHEST[1],
    &catalyst::INDEX[1],
    &heater::CURRENT[1][0],
    &heater::CURRENT[1][1],
];
