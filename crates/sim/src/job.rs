//! What a phrase makes the car do: tasks that take car time, one after the other.
//!
//! Most phrases happen at once. Those that take time are cut into [`Task`]s, which the simulator works off in
//! slices, so that the bus is served in between.

use std::{collections::VecDeque, time::Duration};

use twotrip_scenario::{Phrase, phrase::Claim};
use twotrip_vehicle::{Driver, Plan, STEP, Vehicle};

use crate::{MonitorStand, Why, steps};

/// The number of a phrase in the order in which phrases were given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct JobId(pub u64);

/// What came of a phrase.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// Whether it could be done, or whether the expectation was met.
    pub ok: bool,
    /// What came of it, a sentence without a full stop.
    pub text: String,
    /// Further lines: a list of readings, or what to try next.
    pub details: Vec<String>,
    /// The answer to `why` and `why not` as data.
    pub why: Option<Box<Why>>,
    /// The answer to `monitors` as data.
    pub monitors: Option<Vec<MonitorStand>>,
}

impl Outcome {
    pub(crate) fn done(text: impl Into<String>) -> Self {
        Self {
            ok: true,
            text: text.into(),
            details: Vec::new(),
            why: None,
            monitors: None,
        }
    }

    pub(crate) fn refused(text: impl Into<String>) -> Self {
        Self {
            ok: false,
            text: text.into(),
            details: Vec::new(),
            why: None,
            monitors: None,
        }
    }

    pub(crate) fn with_detail(mut self, detail: impl Into<String>) -> Self {
        self.details.push(detail.into());
        self
    }

    pub(crate) fn with_details(mut self, details: impl IntoIterator<Item = String>) -> Self {
        self.details.extend(details);
        self
    }
}

/// A piece of a job that takes car time. Steps are those of the car, 10 ms.
#[derive(Clone, Debug)]
pub(crate) enum Task {
    /// Time passes with the controls as they are.
    Settle { steps: u64 },
    /// The starter turns until the engine runs or the patience is over.
    Crank { patience: u64 },
    /// A plan is driven. The driver waits here until it begins, then sits in the cabin.
    Drive {
        driver: Option<Box<Driver>>,
        planned: Duration,
        /// Steps after which a car that does not reach its speeds gives up.
        patience: u64,
        /// Steps for which the engine has not run.
        engine_off: u64,
    },
    /// The key is off and the ECU finishes its after-run.
    FallAsleep { patience: u64 },
    /// The parked car rests.
    Rest { left: Duration },
    /// The key turns back on.
    KeyOn,
    /// The key goes off, whatever the car does, if the engine runs.
    KeyOff,
    /// The car comes to a stand.
    Halt { patience: u64 },
    /// Time passes until a claim holds, or so much has passed.
    Await {
        /// What is waited for.
        claim: Claim,
        /// Steps left.
        patience: u64,
        /// The same in all.
        planned: Duration,
    },
}

impl Task {
    /// Car time that it takes, as far as it is known.
    pub(crate) fn planned(&self) -> Duration {
        match self {
            Self::Settle { steps } => STEP * u32::try_from(*steps).unwrap_or(u32::MAX),
            Self::Drive { planned, .. } | Self::Await { planned, .. } => *planned,
            Self::Rest { left } => *left,
            Self::Crank { .. } | Self::FallAsleep { .. } | Self::Halt { .. } | Self::KeyOn | Self::KeyOff => {
                Duration::ZERO
            }
        }
    }
}

/// A phrase in progress.
#[derive(Clone, Debug)]
pub(crate) struct Job {
    pub(crate) id: JobId,
    pub(crate) phrase: Phrase,
    pub(crate) tasks: VecDeque<Task>,
    /// Car time that the tasks will take, as far as it is known, and what has passed of it.
    pub(crate) planned: Duration,
    pub(crate) passed: Duration,
    /// Distance on the clock when the job began, metres.
    pub(crate) odometer_metres: f64,
    /// Of a drive, whether it came to its end.
    pub(crate) arrived: bool,
}

/// Time from key on until everything answers.
pub(crate) const KEY_ON: Duration = Duration::from_millis(500);
/// Time that the key is on before the starter turns.
const BEFORE_START: Duration = Duration::from_secs(2);
/// Longest cranking.
const CRANK: Duration = Duration::from_secs(8);
/// Time after a start before anything else is done.
const AFTER_START: Duration = Duration::from_secs(2);
/// Longest way to a stand with the key off.
const HALT: Duration = Duration::from_secs(60);
/// What a drive may take beyond twice its plan.
const SLOW_CAR: Duration = Duration::from_secs(300);
/// Steps after which nobody waits any more in a car whose engine has died: 30 s.
pub(crate) const ENGINE_OFF: u64 = 3000;
/// Longest after-run of the ECU that is waited for.
const AFTER_RUN: Duration = Duration::from_secs(120);

/// Turning the engine on from where the key stands.
pub(crate) fn start(key_is_off: bool) -> VecDeque<Task> {
    let mut tasks = VecDeque::new();
    if key_is_off {
        tasks.push_back(Task::KeyOn);
        tasks.push_back(Task::Settle {
            steps: steps(BEFORE_START),
        });
    }
    tasks.push_back(Task::Crank {
        patience: steps(CRANK),
    });
    tasks.push_back(Task::Settle {
        steps: steps(AFTER_START),
    });
    tasks
}

/// Driving a plan, starting first if the engine stands; at its end the key may go off as the car rolls.
pub(crate) fn drive(
    vehicle: &Vehicle,
    plan: &Plan,
    key_is_off: bool,
    running: bool,
    key_off: bool,
) -> VecDeque<Task> {
    let mut tasks = if running {
        VecDeque::new()
    } else {
        start(key_is_off)
    };
    tasks.push_back(Task::Drive {
        driver: Some(Box::new(Driver::of(vehicle, plan.clone()))),
        planned: plan.duration(),
        patience: steps(plan.duration() * 2 + SLOW_CAR),
        engine_off: 0,
    });
    if key_off {
        tasks.push_back(Task::KeyOff);
        tasks.push_back(Task::Halt {
            patience: steps(HALT),
        });
        tasks.push_back(fall_asleep());
    }
    tasks
}

/// Waiting until the ECU sleeps with the key off.
pub(crate) fn fall_asleep() -> Task {
    Task::FallAsleep {
        patience: steps(AFTER_RUN),
    }
}
