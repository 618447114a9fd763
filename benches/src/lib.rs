//! What the benches share: cars in a known state.

pub mod cpu_time;
pub mod sessions;

use std::time::Duration;

use twotrip_scenario::{Phrase, Scenario, parse_phrase, shipped};
use twotrip_sim::{Settings, Simulator, Timing};

pub use cpu_time::CpuTime;

/// Defects too small to change the drive, each of another part.
pub const SMALL_DEFECTS: [&str; 10] = [
    "defect filler-neck hole 0.1 mm",
    "defect intake leak 0.5 mm2",
    "defect air-meter bias -1 %",
    "defect manifold-pressure-sensor bias 0.2 kPa",
    "defect coolant-sensor bias 0.5 K",
    "defect intake-air-sensor bias 0.5 K",
    "defect tank-pressure-sensor bias 10 Pa",
    "defect fuel-level-sensor bias 1 %",
    "defect catalyst aged 0.38 g",
    "defect throttle-sensor bias 0.05 deg",
];

/// A phrase that is known to parse.
///
/// # Panics
/// If it does not: a bench is wrong then.
#[must_use]
pub fn phrase(text: &str) -> Phrase {
    parse_phrase(text).unwrap_or_else(|problem| panic!("{text}: {problem}"))
}

/// A cold, healthy car.
#[must_use]
pub fn car() -> Simulator {
    Simulator::new(Settings::compact(1, Timing::FAST))
}

/// Lets a car do what phrases say, at full speed.
pub fn live(simulator: &mut Simulator, phrases: &[&str]) {
    for text in phrases {
        simulator.tell(phrase(text));
    }
    finish(simulator);
}

/// A car that has lived through a shipped scenario's story.
///
/// # Panics
/// If there is no such scenario.
#[must_use]
pub fn lived_through(name: &str) -> Simulator {
    live_through(name, car())
}

fn live_through(name: &str, mut simulator: Simulator) -> Simulator {
    let shipped = shipped::find(name).unwrap_or_else(|| panic!("no scenario {name}"));
    let scenario = Scenario::parse(shipped.text.as_bytes()).unwrap_or_else(|problems| panic!("{problems:?}"));
    for phrase in scenario.story() {
        simulator.tell(phrase.value.clone());
    }
    finish(&mut simulator);
    simulator
}

fn finish(simulator: &mut Simulator) {
    while simulator.is_busy() {
        simulator.work(Duration::from_secs(3600));
        while simulator.poll_event().is_some() {}
    }
}
