//! What the ECU decided, and on what ground: the answer to "why is there a code, or none".
//!
//! Every judgement of a monitor is written down with what was measured at that moment, every change of the fault memory
//! beside it, and what kept a monitor that runs once a driving cycle from running. Nothing is worked out afterwards. The
//! memory is bounded: of what happened, the latest [`Records::ENTRIES`] entries; of each code, the last pass.

use alloc::{collections::VecDeque, vec::Vec};
use core::time::Duration;

use twotrip_harness::SensorPins;
use twotrip_obd::Dtc;
use twotrip_units::{CarInstant, Temperature};

use crate::{
    memory::{Effect, MonitorId},
    monitors::{
        EVAP_LEAK, Monitors, Signals, TestResult,
        evap_leak::{Reason, Stage},
    },
};

mod evidence;
#[cfg(test)]
mod tests;

pub use evidence::Evidence;
use evidence::evidence;

/// One thing that happened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Entry {
    /// When.
    pub at: CarInstant,
    /// In which driving cycle, or after which; they are counted from 1.
    pub cycle: u32,
    /// What.
    pub what: What,
}

/// What can happen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum What {
    /// A driving cycle began.
    CycleBegan {
        /// After so long a time of standing.
        soak: Duration,
        /// Coolant at the start.
        coolant: Temperature,
        /// Intake air at the start.
        intake_air: Temperature,
    },
    /// A monitor that runs once a driving cycle began to run.
    Began(MonitorId),
    /// It broke off without a result.
    Aborted(MonitorId, Reason),
    /// A monitor found the fault behind a code, which it had not found in this driving cycle.
    Failed(Dtc, Option<Evidence>),
    /// A monitor found no fault behind a code that it had found before.
    Passed(Dtc, Option<Evidence>),
    /// The fault memory changed.
    Memory(Effect),
    /// The power was off, and the memory came back with a content of before these records.
    MemoryPutBack,
}

/// The last pass of a code.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pass {
    /// When.
    pub at: CarInstant,
    /// In which driving cycle.
    pub cycle: u32,
    /// On what ground.
    pub evidence: Option<Evidence>,
}

/// How the leak test fared in this or, with the engine off, the last driving cycle.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Waits {
    /// Time waited, by [`Reason`].
    waited: [Duration; Reason::COUNT],
}

impl Waits {
    /// What was waited for, and how long.
    pub fn iter(&self) -> impl Iterator<Item = (Reason, Duration)> + '_ {
        let all = Reason::ALL.into_iter().zip(self.waited);
        all.filter(|(_, waited)| !waited.is_zero())
    }
}

/// The records of one ECU.
#[derive(Clone, Debug)]
pub struct Records {
    entries: VecDeque<Entry>,
    forgotten: bool,
    cycle: u32,
    passes: Vec<(Dtc, Pass)>,
    /// Codes that failed last.
    failed: Vec<Dtc>,
    waits: Waits,
    stage: Stage,
    /// Judgements of this step, whose grounds are still to be written down.
    judged: Vec<(Dtc, bool)>,
}

impl Default for Records {
    fn default() -> Self {
        Self {
            entries: VecDeque::with_capacity(Self::ENTRIES),
            forgotten: false,
            cycle: 0,
            passes: Vec::with_capacity(64),
            failed: Vec::with_capacity(64),
            waits: Waits::default(),
            stage: Stage::Waiting,
            judged: Vec::with_capacity(Self::JUDGED),
        }
    }
}

impl Records {
    /// How many entries are kept.
    pub const ENTRIES: usize = 1024;
    /// Judgements of one step, of which there are less than codes.
    const JUDGED: usize = 256;

    /// What happened, oldest first.
    pub fn entries(&self) -> impl Iterator<Item = &Entry> + '_ {
        self.entries.iter()
    }

    /// Whether older entries than the first one have given way.
    #[must_use]
    pub const fn forgotten(&self) -> bool {
        self.forgotten
    }

    /// Driving cycles so far, the present one included.
    #[must_use]
    pub const fn cycle(&self) -> u32 {
        self.cycle
    }

    /// When a code passed last, since the last clear.
    #[must_use]
    pub fn last_pass(&self, dtc: Dtc) -> Option<Pass> {
        let (_, pass) = self.passes.iter().find(|(code, _)| *code == dtc)?;
        Some(*pass)
    }

    /// What the leak test waited for in this or, with the engine off, the last driving cycle.
    #[must_use]
    pub const fn waits(&self) -> &Waits {
        &self.waits
    }

    /// A driving cycle began.
    pub(crate) fn cycle_began(&mut self, now: CarInstant, soak: Duration, signals: &Signals) {
        self.cycle = self.cycle.saturating_add(1);
        self.waits = Waits::default();
        self.push(
            now,
            What::CycleBegan {
                soak,
                coolant: signals.coolant,
                intake_air: signals.intake_air,
            },
        );
    }

    /// The memory came back with another content: how that came is not in these records, and what is in them led to
    /// none of it.
    pub(crate) fn put_back(&mut self, now: CarInstant, engine_runs: bool) {
        *self = Self {
            cycle: engine_runs.into(),
            ..Self::default()
        };
        self.push(now, What::MemoryPutBack);
    }

    /// A monitor said something.
    pub(crate) fn heard(&mut self, now: CarInstant, result: TestResult) {
        let (dtc, passed) = match result {
            TestResult::Passed(dtc) => (dtc, true),
            TestResult::Failed(dtc) => (dtc, false),
            TestResult::Completed(_) | TestResult::CouldDetect(_) | TestResult::Possible(..) => return,
        };
        // Not the vector's capacity, which a clone does not keep.
        if self.judged.len() < Self::JUDGED {
            self.judged.push((dtc, passed));
        }
        let failed_before = self.failed.iter().position(|code| *code == dtc);
        match (passed, failed_before) {
            (true, Some(place)) => {
                self.failed.swap_remove(place);
                self.push(now, What::Passed(dtc, None));
            }
            (true, None) => {}
            (false, before) => {
                if before.is_none() {
                    self.failed.push(dtc);
                }
                self.push(now, What::Failed(dtc, None));
            }
        }
    }

    /// The fault memory changed.
    pub(crate) fn changed(&mut self, now: CarInstant, effect: Effect) {
        match effect {
            Effect::Cleared => {
                self.passes.clear();
                self.failed.clear();
                self.judged.clear();
            }
            // Began with its circumstances; and what only statistics need.
            Effect::DrivingCycleStarted
            | Effect::NumeratorCounted(_)
            | Effect::DenominatorCounted(_)
            | Effect::GeneralDenominatorCounted => return,
            _ => {}
        }
        self.push(now, What::Memory(effect));
    }

    /// The end of a step: writes down the grounds of what was judged in it, and how the leak test stands.
    pub(crate) fn end_of_step(
        &mut self,
        now: CarInstant,
        monitors: &Monitors,
        signals: &Signals,
        pins: &SensorPins,
    ) {
        while let Some((dtc, passed)) = self.judged.pop() {
            self.write_grounds(now, dtc, passed, evidence(dtc, monitors, signals, pins));
        }
        let leak = monitors.evap_leak();
        let stage = leak.stage();
        if stage == Stage::Waiting
            && signals.run_time.is_some()
            && let Some(reason) = leak.waiting_for()
        {
            self.waits.waited[reason as usize] += Duration::from_millis(100);
        }
        if stage != self.stage {
            if self.stage == Stage::Waiting && stage != Stage::Done {
                self.push(now, What::Began(EVAP_LEAK));
            }
            if stage == Stage::Recover
                && let Some(reason) = leak.aborted_by()
            {
                self.push(now, What::Aborted(EVAP_LEAK, reason));
            }
            self.stage = stage;
        }
    }

    fn write_grounds(&mut self, now: CarInstant, dtc: Dtc, passed: bool, found: Option<Evidence>) {
        for entry in self.entries.iter_mut().rev().take_while(|entry| entry.at == now) {
            match &mut entry.what {
                What::Failed(code, evidence) if *code == dtc && !passed => *evidence = found,
                What::Passed(code, evidence) if *code == dtc && passed => *evidence = found,
                _ => {}
            }
        }
        if !passed {
            return;
        }
        let pass = Pass {
            at: now,
            cycle: self.cycle,
            evidence: found,
        };
        match self.passes.iter_mut().find(|(code, _)| *code == dtc) {
            Some((_, last)) => *last = pass,
            None => self.passes.push((dtc, pass)),
        }
    }

    fn push(&mut self, at: CarInstant, what: What) {
        if self.entries.len() == Self::ENTRIES {
            self.entries.pop_front();
            self.forgotten = true;
        }
        self.entries.push_back(Entry {
            at,
            cycle: self.cycle,
            what,
        });
    }
}
