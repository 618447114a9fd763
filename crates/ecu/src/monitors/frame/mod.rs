//! What all monitors share: how a monitor says under which conditions it runs, where it stands, what it found.
//!
//! ```text
//!           a code of its list is held            its conditions hold
//! disabled <---------------------------- waiting ----------------------> running --> done
//!     |                                     ^ ^                          |  |
//!     +-------------------------------------+ +--------- aborted --------+  +-- paused: a break that is borne
//! ```
//! A monitor is a struct with a [`Gate`], a table of [`Condition`]s and some [`Test`]s. Of engine, wires and fault
//! memory it sees [`Signals`] and [`Inhibits`] alone; it says what it finds by [`TestResult`]s. One that sums seconds
//! over many windows takes [`Rules::PAUSES`], one that wants a single window says how long a break may be.
//!
//! ```
//! use twotrip_ecu::monitors::{Signals, TestResult, frame::*};
//! use twotrip_ecu::monitors::{Inhibits, SYSTEM_VOLTAGE};
//! use twotrip_obd::Dtc;
//!
//! const CODE: Dtc = Dtc::p(0x0507);
//! static EXCESS: Test = Test::new("mean excess of idle speed", "rpm").at_most(200.0).of(&[CODE]);
//! static CONDITIONS: [Condition; 2] = [COOLANT.at_least(70.0), SPEED.at_most(1.0)];
//! static RULES: Rules = Rules {
//!     pause: Rules::PAUSES,
//!     ..Rules::once(&[SYSTEM_VOLTAGE], &CONDITIONS)
//! };
//!
//! #[derive(Clone, Debug, Default)]
//! struct IdleIsFast {
//!     gate: Gate,
//!     sum: f64,
//!     ticks: u32,
//! }
//!
//! impl Monitor for IdleIsFast {
//!     fn rules(&self) -> &'static Rules {
//!         &RULES
//!     }
//!
//!     fn gate(&self) -> &Gate {
//!         &self.gate
//!     }
//!
//!     fn gate_mut(&mut self) -> &mut Gate {
//!         &mut self.gate
//!     }
//!
//!     fn reset(&mut self) {
//!         *self = Self { gate: self.gate, ..Self::default() };
//!     }
//!
//!     fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult)) {
//!         if !self.gate.step(&RULES, signals, inhibits).runs() {
//!             return; // waiting, paused, done or disabled
//!         }
//!         self.sum += (signals.engine_speed - signals.idle_target).rpm();
//!         self.ticks += 1;
//!         if self.ticks >= 170 {
//!             EXCESS.judge(self.sum / f64::from(self.ticks), report); // $06, code, grounds for `why`
//!             self.gate.complete(&RULES, report); // readiness and in-use numerator
//!         }
//!     }
//! }
//!
//! let mut monitor = IdleIsFast::default();
//! let mut said = Vec::new();
//! let warm = Signals {
//!     run_time: Some(core::time::Duration::from_secs(600)),
//!     coolant: twotrip_units::Temperature::from_celsius(85.0),
//!     engine_speed: twotrip_units::AngularSpeed::from_rpm(1000.0),
//!     idle_target: twotrip_units::AngularSpeed::from_rpm(700.0),
//!     ..Signals::default()
//! };
//! for _ in 0..200 {
//!     monitor.step(&warm, Inhibits::default(), &mut |result| said.push(result));
//! }
//! assert!(said.contains(&TestResult::Failed(CODE)));
//! assert_eq!(monitor.gate().state(), State::Done);
//! ```

mod condition;
mod gate;
mod mean;
mod results;
mod test;

use core::time::Duration;

use super::{Fast, Inhibits, Signals, TestResult};
use crate::control::Requests;

pub use condition::*;
pub use gate::{Gate, Rules, State, Step};
pub use mean::LongMean;
pub use results::{Found, Results, StoredTest, monitored};
pub use test::{Measured, Reported, Test};

/// The part of [`Monitor`] that is the same for whoever keeps its [`Gate`] in a field `gate`: rules and gate, and, where
/// a monitor forgets all but that, how it does so.
macro_rules! gated {
    ($rules:expr) => {
        fn rules(&self) -> &'static Rules {
            $rules
        }

        fn gate(&self) -> &Gate {
            &self.gate
        }

        fn gate_mut(&mut self) -> &mut Gate {
            &mut self.gate
        }
    };
    ($rules:expr, forgets all) => {
        gated!($rules);

        fn reset(&mut self) {
            *self = Self {
                gate: self.gate,
                ..Self::default()
            };
        }
    };
}

pub(crate) use gated;

/// A monitor. Everything but what it measures and how it judges has a usual answer.
pub trait Monitor {
    /// Whose results it gives, and when it runs.
    fn rules(&self) -> &'static Rules;

    /// Where it stands.
    fn gate(&self) -> &Gate;

    /// Where it stands, to be changed.
    fn gate_mut(&mut self) -> &mut Gate;

    /// Forgets what it has gathered: a driving cycle begins, or service $04. What is filtered over driving cycles
    /// goes in [`Self::clear`] alone.
    fn reset(&mut self);

    /// One step of 100 ms while the engine runs.
    fn step(&mut self, signals: &Signals, inhibits: Inhibits, report: &mut dyn FnMut(TestResult));

    /// One step of 10 ms while the engine runs, before [`Self::step`]: for what moves faster, and nothing else.
    fn fast(&mut self, _fast: &Fast<'_>) {}

    /// One step of 100 ms with the key off, while the ECU is awake.
    fn step_off(&mut self, _signals: &Signals, _inhibits: Inhibits, _report: &mut dyn FnMut(TestResult)) {}

    /// Whether it works on while the car is parked and the ECU answers nobody any more.
    fn works_at_rest(&self) -> bool {
        false
    }

    /// One second of that.
    fn rest_second(&mut self, _signals: &Signals, _report: &mut dyn FnMut(TestResult)) {}

    /// The key came on.
    fn key_on(&mut self, _signals: &Signals) {}

    /// The key went off.
    fn key_off(&mut self, _signals: &Signals) {}

    /// The engine started after `soak` of standing: a driving cycle begins. Here a monitor rules itself out
    /// ([`Gate::rule_out`]) that needs a start of another kind.
    fn engine_started(&mut self, _signals: &Signals, _soak: Duration, _report: &mut dyn FnMut(TestResult)) {
        self.reset();
        self.gate_mut().begin_cycle();
    }

    /// The engine stopped.
    fn engine_stopped(&mut self) {
        self.gate_mut().stop();
    }

    /// Service $04: counters, filters and marks to zero (our choice); it runs again in this driving cycle, if it can.
    fn clear(&mut self) {
        self.reset();
        self.gate_mut().clear();
    }

    /// What it asks of engine management now.
    fn requests(&self) -> Requests {
        Requests::default()
    }
}
