//! What the ECU decided, and on what ground: the answer to "why is there a code, or none".
//!
//! Every judgement of a monitor is written down with what was measured at that moment, every change of the fault memory
//! beside it, and what kept a monitor that runs once a driving cycle from running. Nothing is worked out afterwards. The
//! memory is bounded: of what happened, the latest [`Records::ENTRIES`] entries; of each code, the last pass.

use alloc::{collections::VecDeque, vec::Vec};
use core::time::Duration;

use twotrip_harness::{Circuit, SensorPins};
use twotrip_obd::Dtc;
use twotrip_units::{CarInstant, Temperature};

use crate::{
    circuits,
    memory::{Effect, MonitorId},
    monitors::{
        EVAP_LEAK, EvapLeak, Monitors, P0441, P0442, P0446, P0451, P0455, P0457, P0496, Signals, TestResult,
        circuit::{PARAMS, Watch},
        evap_leak::{Reason, Stage},
    },
};

/// What was measured when a monitor judged, with the limits it was held against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// What it is.
    pub what: &'static str,
    /// How much of it.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
    /// The least and the most that is good, where there is such a limit.
    pub limits: (Option<f64>, Option<f64>),
}

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
            judged: Vec::with_capacity(64),
        }
    }
}

impl Records {
    /// How many entries are kept.
    pub const ENTRIES: usize = 1024;

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
        if self.judged.len() < self.judged.capacity() {
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

/// What the monitor of a code measured, at the moment it judged.
fn evidence(dtc: Dtc, monitors: &Monitors, signals: &Signals, pins: &SensorPins) -> Option<Evidence> {
    let params = &EvapLeak::PARAMS;
    let results = monitors.evap_leak().results();
    let tank_now = |limits| {
        Some(Evidence {
            what: "tank pressure at that moment",
            value: signals.tank_pressure.pascals(),
            unit: "Pa",
            limits,
        })
    };
    match dtc {
        P0442 => results.small.map(|(hole, _)| Evidence {
            what: "size of the hole",
            value: hole.millimetres(),
            unit: "mm",
            limits: (None, Some(params.hole_limit.millimetres())),
        }),
        P0455 | P0457 => results.gross.map(|(lowest, _)| Evidence {
            what: "lowest tank pressure of the pull",
            value: lowest.pascals(),
            unit: "Pa",
            limits: (None, Some(params.target.pascals())),
        }),
        P0441 => results.flow.map(|(moved, _)| Evidence {
            what: "change of the tank pressure by purging",
            value: moved.pascals(),
            unit: "Pa",
            limits: (Some(params.flow_pressure.pascals()), None),
        }),
        P0451 => tank_now((Some(-params.offset.pascals()), Some(params.offset.pascals()))),
        P0446 => tank_now((Some(-params.vented.pascals()), Some(params.vented.pascals()))),
        P0496 => tank_now((Some(params.purge_leak.pascals()), None)),
        _ => circuit_evidence(dtc, pins),
    }
}

/// What stands at the pin of the circuit that a code is about.
fn circuit_evidence(dtc: Dtc, pins: &SensorPins) -> Option<Evidence> {
    let watch = PARAMS.iter().map(|row| row.watch).find(|watch| match watch {
        Watch::Range { low, high, .. } | Watch::Supply { low, high } => [*low, *high].contains(&dtc),
        Watch::Tracks { code } => *code == dtc,
    })?;
    Some(match watch {
        Watch::Range { circuit, .. } => {
            let limits = circuits::limits(circuit);
            Evidence {
                what: pin_name(circuit),
                value: circuit.pin(pins).volts(),
                unit: "V",
                limits: (Some(limits.low.volts()), Some(limits.high.volts())),
            }
        }
        Watch::Supply { .. } => Evidence {
            what: "supply of the control module",
            value: pins.supply.volts(),
            unit: "V",
            limits: (
                Some(circuits::SUPPLY.low.volts()),
                Some(circuits::SUPPLY.high.volts()),
            ),
        },
        Watch::Tracks { .. } => {
            let supply = twotrip_harness::transfer::SENSOR_SUPPLY_VOLTS;
            let apart = circuits::TRACKS_APART.volts();
            Evidence {
                what: "sum of both throttle tracks",
                value: (pins.throttle_a + pins.throttle_b).volts(),
                unit: "V",
                limits: (Some(supply - apart), Some(supply + apart)),
            }
        }
    })
}

/// The ECU's pin of a circuit.
const fn pin_name(circuit: Circuit) -> &'static str {
    match circuit {
        Circuit::CoolantSensor => "pin of the coolant sensor",
        Circuit::IntakeAirSensor => "pin of the intake air sensor",
        Circuit::AirMeter => "pin of the air meter",
        Circuit::ManifoldPressureSensor => "pin of the manifold pressure sensor",
        Circuit::ThrottleSensorA => "pin of throttle track A",
        Circuit::ThrottleSensorB => "pin of throttle track B",
        Circuit::TankPressureSensor => "pin of the tank pressure sensor",
        Circuit::FuelLevelSensor => "pin of the fuel level sensor",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::monitors::P0117;

    fn end(records: &mut Records, now: CarInstant, pins: &SensorPins) {
        records.end_of_step(now, &Monitors::default(), &Signals::default(), pins);
    }

    #[test]
    fn grounds_stand_beside_what_was_judged() {
        let mut records = Records::default();
        let now = CarInstant::from_secs(5);
        records.cycle_began(now, Duration::from_secs(60), &Signals::default());
        records.heard(now, TestResult::Failed(P0117));
        records.changed(now, Effect::PendingStored(P0117));
        end(&mut records, now, &SensorPins::default());
        let ground = Evidence {
            what: "pin of the coolant sensor",
            value: 0.0,
            unit: "V",
            limits: (Some(0.2), Some(4.9)),
        };
        let what: Vec<What> = records.entries().skip(1).map(|entry| entry.what).collect();
        assert_eq!(
            what,
            [
                What::Failed(P0117, Some(ground)),
                What::Memory(Effect::PendingStored(P0117))
            ]
        );
        assert_eq!(records.last_pass(P0117), None);
    }

    /// A pass is an entry only where it ends a failure; the last one of each code is kept besides.
    #[test]
    fn passes_are_kept_by_code() {
        let mut records = Records::default();
        for second in 1..=9 {
            let now = CarInstant::from_secs(second);
            records.heard(now, TestResult::Passed(P0117));
            end(&mut records, now, &SensorPins::default());
        }
        assert_eq!(records.entries().count(), 0);
        assert_eq!(
            records.last_pass(P0117).map(|pass| pass.at),
            Some(CarInstant::from_secs(9))
        );
        let now = CarInstant::from_secs(10);
        records.heard(now, TestResult::Failed(P0117));
        records.heard(now, TestResult::Passed(P0117));
        end(&mut records, now, &SensorPins::default());
        assert_eq!(records.entries().count(), 2);
        records.changed(now, Effect::Cleared);
        assert_eq!(records.last_pass(P0117), None);
    }

    #[test]
    fn the_records_are_bounded_and_say_when_they_forgot() {
        let mut records = Records::default();
        for second in 0..3000 {
            let now = CarInstant::from_secs(second);
            records.heard(now, TestResult::Failed(P0117));
            end(&mut records, now, &SensorPins::default());
        }
        assert_eq!(records.entries().count(), Records::ENTRIES);
        assert!(records.forgotten() && records.judged.is_empty());
        assert_eq!(
            records.entries.capacity(),
            VecDeque::<Entry>::with_capacity(Records::ENTRIES).capacity()
        );
    }
}
