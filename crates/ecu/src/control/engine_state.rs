//! Whether the engine stands, is cranked or runs, and the starter.
//!
//! Engine start is 150 rpm below the warm idle in drive (13 CCR 1968.2(c), from memory): 500 rpm here.

use core::time::Duration;

use twotrip_harness::KeyPosition;
use twotrip_units::{AngularSpeed, CarInstant};

use crate::control::measured::Measured;

/// Engine start.
pub const ENGINE_STARTED: AngularSpeed = AngularSpeed::from_rpm(500.0);
/// Below this the engine counts as standing: the crank sensor's teeth come too slowly to be counted.
const STANDING: AngularSpeed = AngularSpeed::from_rpm(30.0);
/// The longest the starter is held engaged.
const STARTER_LIMIT: Duration = Duration::from_secs(15);

/// What the engine does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum EngineState {
    /// Standing still.
    #[default]
    Standing,
    /// Turned by the starter.
    Cranking,
    /// Running by itself since then.
    Running(CarInstant),
}

/// What has just changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Turn {
    /// The key came on.
    KeyOn,
    /// The key went off.
    KeyOff,
    /// The starter began to turn the engine.
    Cranking,
    /// The engine runs.
    Started,
    /// The engine has stopped.
    Stopped,
}

/// Key and engine.
#[derive(Clone, Debug, Default)]
pub(crate) struct EngineWatch {
    state: EngineState,
    key_on: bool,
    cranking_since: Option<CarInstant>,
}

impl EngineWatch {
    pub(crate) const fn state(&self) -> EngineState {
        self.state
    }

    pub(crate) const fn key_on(&self) -> bool {
        self.key_on
    }

    pub(crate) const fn is_running(&self) -> bool {
        matches!(self.state, EngineState::Running(_))
    }

    /// Time since engine start, zero while it does not run.
    pub(crate) const fn run_time(&self, now: CarInstant) -> Duration {
        match self.state {
            EngineState::Running(since) => now.saturating_since(since),
            _ => Duration::ZERO,
        }
    }

    /// Whether the starter relay is to be closed.
    pub(crate) fn starter(&self, now: CarInstant, measured: &Measured) -> bool {
        measured.key == KeyPosition::Start
            && !self.is_running()
            && self
                .cranking_since
                .is_none_or(|since| now.saturating_since(since) < STARTER_LIMIT)
    }

    /// Takes in one step; calls `turn` for each change, in the order in which they happen.
    pub(crate) fn step(&mut self, now: CarInstant, measured: &Measured, mut turn: impl FnMut(Turn)) {
        let key_on = measured.key != KeyPosition::Off;
        if key_on && !self.key_on {
            turn(Turn::KeyOn);
        }
        let speed = measured.engine_speed;
        match self.state {
            EngineState::Running(_) if !key_on || speed < STANDING => {
                self.state = EngineState::Standing;
                turn(Turn::Stopped);
            }
            EngineState::Standing | EngineState::Cranking if key_on && speed >= ENGINE_STARTED => {
                self.state = EngineState::Running(now);
                turn(Turn::Started);
            }
            EngineState::Standing if key_on && measured.key == KeyPosition::Start => {
                self.state = EngineState::Cranking;
                turn(Turn::Cranking);
            }
            EngineState::Cranking if !key_on || (measured.key != KeyPosition::Start && speed < STANDING) => {
                self.state = EngineState::Standing;
            }
            _ => {}
        }
        self.cranking_since = match (self.state, measured.key) {
            (EngineState::Cranking, KeyPosition::Start) => self.cranking_since.or(Some(now)),
            _ => None,
        };
        if !key_on && self.key_on {
            turn(Turn::KeyOff);
        }
        self.key_on = key_on;
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    #[test]
    fn a_start_and_a_stop_are_told_in_order() {
        let mut watch = EngineWatch::default();
        let mut told = Vec::new();
        for (millis, key, rpm) in [
            (0, KeyPosition::Off, 0.0),
            (10, KeyPosition::On, 0.0),
            (20, KeyPosition::Start, 0.0),
            (30, KeyPosition::Start, 200.0),
            (40, KeyPosition::Start, 499.0),
            (50, KeyPosition::Start, 500.0),
            (60, KeyPosition::On, 40.0),
            (70, KeyPosition::On, 900.0),
            (80, KeyPosition::Off, 800.0),
        ] {
            let measured = Measured {
                key,
                engine_speed: AngularSpeed::from_rpm(rpm),
                ..Measured::default()
            };
            watch.step(CarInstant::from_millis(millis), &measured, |turn| {
                told.push((millis, turn))
            });
        }
        assert_eq!(
            told,
            [
                (10, Turn::KeyOn),
                (20, Turn::Cranking),
                (50, Turn::Started),
                (80, Turn::Stopped),
                (80, Turn::KeyOff)
            ]
        );
    }

    #[test]
    fn the_starter_lets_go_after_its_limit() {
        let mut watch = EngineWatch::default();
        let measured = Measured {
            key: KeyPosition::Start,
            engine_speed: AngularSpeed::from_rpm(150.0),
            ..Measured::default()
        };
        watch.step(CarInstant::ZERO, &measured, |_| {});
        assert!(watch.starter(CarInstant::from_secs(14), &measured));
        assert!(!watch.starter(CarInstant::from_secs(16), &measured));
    }
}
