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
    memory::{Catalogue, Effect, MonitorId},
    monitors::{
        Monitors, Signals, TestResult,
        frame::{Condition, Gate, Measured, Missing, State},
    },
};

mod evidence;
#[cfg(test)]
mod tests;

pub use evidence::Evidence;
use evidence::circuit_evidence;

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
    Aborted(MonitorId, Missing),
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

/// What a monitor waited for in one driving cycle.
#[derive(Clone, Copy, Debug)]
pub struct Wait {
    /// The first of those whose results it gives.
    pub monitor: MonitorId,
    /// What.
    pub condition: &'static Condition,
    /// How long, in sum.
    pub time: Duration,
    /// What stood there last, in the condition's unit.
    pub last: f64,
}

/// How a monitor stood at the end of the last step.
#[derive(Clone, Copy, Debug)]
struct Stand {
    monitor: MonitorId,
    state: State,
    /// What it waits for, and for how many steps without a change.
    missing: Option<Missing>,
    steps: u32,
}

impl Stand {
    /// Whether it waits for the same, or still for nothing.
    #[inline]
    fn waits_as(&self, gate: &Gate, runs: bool) -> bool {
        match (&self.missing, gate.missing()) {
            (Some(before), Some(now)) => runs && core::ptr::eq(before.condition, now.condition),
            (None, now) => !runs || now.is_none(),
            (Some(_), None) => false,
        }
    }

    /// Whether its monitor stands as a step ago.
    #[inline]
    fn is_as(&self, gate: &Gate, runs: bool) -> bool {
        self.state == gate.state() && self.waits_as(gate, runs)
    }

    /// One more step, if its monitor stands as a step ago; says whether it does.
    #[inline]
    fn goes_on(&mut self, gate: &Gate, runs: bool) -> bool {
        let same = self.is_as(gate, runs);
        if same {
            self.steps += 1;
            self.missing = gate.missing().filter(|_| runs);
        }
        same
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
    waits: Vec<Wait>,
    /// By the monitors' order.
    stands: Vec<Stand>,
    /// What the monitors measured in this step.
    measured: Vec<Measured>,
    /// Judgements of this step, whose grounds are still to be written down.
    judged: Vec<(Dtc, bool)>,
}

impl Default for Records {
    fn default() -> Self {
        Self {
            entries: VecDeque::with_capacity(Self::ENTRIES),
            forgotten: false,
            cycle: 0,
            passes: Vec::with_capacity(Self::CODES),
            failed: Vec::with_capacity(Self::CODES),
            waits: Vec::with_capacity(Self::WAITS),
            stands: Vec::with_capacity(Catalogue::MONITORS),
            measured: Vec::with_capacity(Self::MEASURED),
            judged: Vec::with_capacity(Self::CODES),
        }
    }
}

impl Records {
    /// How many entries are kept.
    pub const ENTRIES: usize = 1024;
    /// How many codes can be judged.
    const CODES: usize = 256;
    /// How many pairs of monitor and condition are kept.
    const WAITS: usize = 384;
    /// How many figures of a step are kept as grounds.
    const MEASURED: usize = 64;

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

    /// What the monitor that gives the results of `monitor` first waited for in this or, with the engine off, the last
    /// driving cycle.
    pub fn waits(&self, monitor: MonitorId) -> Vec<Wait> {
        let mut waits: Vec<Wait> = self
            .waits
            .iter()
            .filter(|wait| wait.monitor == monitor)
            .copied()
            .collect();
        let now = self.stands.iter().find(|stand| stand.monitor == monitor);
        if let Some((stand, missing)) = now.and_then(|stand| stand.missing.map(|missing| (stand, missing))) {
            add(&mut waits, monitor, missing, stand.steps);
        }
        waits
    }

    /// A driving cycle began.
    pub(crate) fn cycle_began(&mut self, now: CarInstant, soak: Duration, signals: &Signals) {
        self.cycle_began_with(now, soak, signals.coolant, signals.intake_air);
    }

    /// A driving cycle began, with these temperatures.
    pub(crate) fn cycle_began_with(
        &mut self,
        now: CarInstant,
        soak: Duration,
        coolant: Temperature,
        intake_air: Temperature,
    ) {
        self.cycle = self.cycle.saturating_add(1);
        self.waits.clear();
        self.stands.clear();
        self.push(
            now,
            What::CycleBegan {
                soak,
                coolant,
                intake_air,
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
            TestResult::Failed(dtc) | TestResult::Misfire { dtc, .. } => (dtc, false),
            TestResult::Measured(measured) => {
                if self.measured.len() < Self::MEASURED {
                    self.measured.push(measured);
                }
                return;
            }
            TestResult::Completed(_)
            | TestResult::CouldDetect(_)
            | TestResult::Possible(..)
            | TestResult::Commanded(..)
            | TestResult::CatalystMisfire(_) => return,
        };
        if self.judged.len() < Self::CODES {
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
        self.write_all_grounds(now, |dtc| circuit_evidence(dtc, pins));
        let runs = signals.run_time.is_some();
        let mut all_as_before = true;
        let mut stands = self.stands.iter_mut();
        monitors.each(|rules, gate| {
            if !rules.monitors.is_empty() {
                all_as_before &= stands.next().is_some_and(|stand| stand.goes_on(gate, runs));
            }
        });
        if !all_as_before {
            self.follow(now, monitors, runs);
        }
    }

    /// Writes down the grounds of what was judged in this step: what was measured, or else what is known `otherwise`.
    #[inline]
    pub(crate) fn write_all_grounds(&mut self, now: CarInstant, otherwise: impl Fn(Dtc) -> Option<Evidence>) {
        while let Some((dtc, passed)) = self.judged.pop() {
            let measured = self.measured.iter().rev();
            let ground = measured
                .copied()
                .find(|measured| measured.test.codes.contains(&dtc))
                .map(Evidence::from);
            self.write_grounds(now, dtc, passed, ground.or_else(|| otherwise(dtc)));
        }
        self.measured.clear();
    }

    /// Follows the monitors that stand otherwise than a step ago.
    #[cold]
    fn follow(&mut self, now: CarInstant, monitors: &Monitors, runs: bool) {
        let mut place = 0;
        monitors.each(|rules, gate| {
            let Some(&id) = rules.monitors.first() else {
                return;
            };
            if place == self.stands.len() && place < Catalogue::MONITORS {
                self.stands.push(Stand {
                    monitor: id,
                    state: State::Waiting,
                    missing: None,
                    steps: 0,
                });
            }
            self.follow_one(now, place, gate, runs);
            place += 1;
        });
    }

    /// Follows one monitor, if it stands otherwise.
    fn follow_one(&mut self, now: CarInstant, place: usize, gate: &Gate, runs: bool) {
        let Some(stand) = self.stands.get_mut(place) else {
            return;
        };
        if stand.is_as(gate, runs) {
            return;
        }
        let id = stand.monitor;
        let missing = gate.missing().filter(|_| runs);
        let over = if stand.waits_as(gate, runs) {
            stand.steps += 1;
            stand.missing = missing;
            None
        } else {
            let next = Stand {
                missing,
                steps: 1,
                ..*stand
            };
            Some(core::mem::replace(stand, next))
        };
        let before = core::mem::replace(&mut stand.state, gate.state());
        if let Some(Stand {
            missing: Some(missing),
            steps,
            ..
        }) = over
        {
            add(&mut self.waits, id, missing, steps);
        }
        if before == gate.state() {
            return;
        }
        if gate.state() == State::Running {
            self.push(now, What::Began(id));
        } else if before == State::Running
            && gate.state() == State::Waiting
            && let Some(missing) = gate.aborted_by().filter(|_| runs)
        {
            self.push(now, What::Aborted(id, missing));
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

/// Adds a time of waiting to what is known; the list does not grow beyond its bound.
fn add(waits: &mut Vec<Wait>, monitor: MonitorId, missing: Missing, steps: u32) {
    let time = Duration::from_millis(100) * steps;
    let known = waits
        .iter_mut()
        .find(|wait| wait.monitor == monitor && core::ptr::eq(wait.condition, missing.condition));
    if let Some(wait) = known {
        wait.time += time;
        wait.last = missing.value;
    } else if waits.len() < Records::WAITS {
        waits.push(Wait {
            monitor,
            condition: missing.condition,
            time,
            last: missing.value,
        });
    }
}
