//! `monitors`: how each monitor of the ECUs stands, what it waits for with the values of the moment, what it found last.

use serde::Serialize;
use twotrip_ecu::{
    memory::{FaultMemory, MonitorDefinition, MonitorId},
    monitors::{
        averages,
        frame::{Condition, Found, Missing, Number, State, Test},
    },
    records::{Records, What},
    transmission::{Stand, Transmission},
};
use twotrip_obd::Dtc;
use twotrip_units::CarInstant;

use crate::{Car, Outcome, clock, nodes::acronym};

/// One monitor, as data.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MonitorStand {
    /// The name of its ECU, in a car that has a transmission ECU too.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ecu: Option<String>,
    /// Its name.
    pub monitor: &'static str,
    /// `disabled`, `waiting`, `paused`, `running` or `done`; `off` with the engine off.
    pub state: &'static str,
    /// What it does while it runs, where it says so.
    #[serde(skip_serializing_if = "str::is_empty")]
    pub doing: &'static str,
    /// Codes that keep it from running.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub disabled_by: Vec<String>,
    /// Whether it cannot run any more in this driving cycle.
    pub ruled_out: bool,
    /// Whether it judges the mean of its results over driving cycles.
    pub averaged: bool,
    /// What is missing for it to run.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<Needed>,
    /// What it found last, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last: Option<String>,
    /// What its tests measured last, as service $06 has it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub measured: Vec<String>,
}

/// One thing that is missing, as data.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Needed {
    /// What, in words, with the value of the moment.
    pub text: String,
    /// Quantity or state.
    pub what: &'static str,
    /// Value of the moment, of a quantity.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// Its unit.
    #[serde(skip_serializing_if = "str::is_empty")]
    pub unit: &'static str,
    /// Least that fits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub least: Option<f64>,
    /// Most that fits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub most: Option<f64>,
}

impl From<Missing> for Needed {
    fn from(missing: Missing) -> Self {
        let &Condition {
            what,
            unit,
            least,
            most,
            ..
        } = missing.condition;
        Self {
            text: missing.to_string(),
            what,
            value: (least.is_some() || most.is_some()).then_some(missing.value),
            unit,
            least,
            most,
        }
    }
}

/// How all monitors stand.
pub(crate) fn tell(car: &Car) -> Outcome {
    let catalogue = car.ecu.memory().catalogue();
    let mut stands: Vec<MonitorStand> = (0..)
        .zip(catalogue.monitors)
        .filter(|&(place, _)| !car.ecu.memory().absent().contains(MonitorId(place)))
        .filter_map(|(place, definition)| stand(car, MonitorId(place), definition))
        .collect();
    if let Some(transmission) = car.transmission() {
        let name = |ecu: &[u8; 20]| Some(acronym(ecu).to_owned());
        let engine = name(car.ecu.identity().ecu_name());
        stands.iter_mut().for_each(|stand| stand.ecu.clone_from(&engine));
        let own = name(transmission.identity().ecu_name());
        stands.extend(transmission.stands().into_iter().filter_map(|stand| {
            Some(MonitorStand {
                ecu: own.clone(),
                ..of_transmission(transmission, stand)?
            })
        }));
    }
    let running = car.ecu.memory().is_driving_cycle();
    let mut outcome = Outcome::done(if running {
        format!("{} monitors", stands.len())
    } else {
        format!(
            "{} monitors; the engine is off, and this is how the last driving cycle left them",
            stands.len()
        )
    });
    for stand in &stands {
        outcome = outcome.with_detail(line(stand));
        let more = stand.missing.iter().skip(1).map(|needed| needed.text.as_str());
        let averaged = stand
            .averaged
            .then_some("judges the mean of its results over driving cycles");
        let found = stand.last.iter().chain(&stand.measured).map(String::as_str);
        for text in more.chain(averaged).chain(found) {
            outcome = outcome.with_detail(format!("  {text}"));
        }
    }
    outcome.monitors = Some(stands);
    outcome
}

/// `evap leak: waiting: fuel level 91 %, needs 15 to 85 %`.
fn line(stand: &MonitorStand) -> String {
    let mut line = match &stand.ecu {
        Some(ecu) => format!("{ecu} {}: {}", stand.monitor, stand.state),
        None => format!("{}: {}", stand.monitor, stand.state),
    };
    if !stand.disabled_by.is_empty() {
        line += &format!(" by {}", stand.disabled_by.join(", "));
    }
    if !stand.doing.is_empty() {
        line += &format!(", {}", stand.doing);
    }
    if let Some(first) = stand.missing.first() {
        line += &format!(": {}", first.text);
    }
    if stand.ruled_out {
        line += " (not in this driving cycle any more)";
    }
    line
}

fn stand(car: &Car, id: MonitorId, definition: &'static MonitorDefinition) -> Option<MonitorStand> {
    let ecu = &car.ecu;
    let memory = ecu.memory();
    let (rules, gate) = ecu.monitors().gate(id)?;
    let disabled_by = disabled_by(memory, definition);
    let missing: Vec<Needed> = match gate.state() {
        State::Waiting | State::Running => gate
            .all_missing(&rules, ecu.signals())
            .map(Needed::from)
            .collect(),
        State::Done | State::Disabled => Vec::new(),
    };
    let state = match gate.state() {
        State::Running if !missing.is_empty() && gate.missing().is_some() => "paused",
        // It breaks off in its next step, or bears it.
        State::Waiting if !disabled_by.is_empty() => State::Disabled.name(),
        state => state.name(),
    };
    let missing = if state == State::Running.name() || !disabled_by.is_empty() {
        Vec::new()
    } else {
        missing
    };
    let codes = codes_of(memory, id);
    Some(MonitorStand {
        ecu: None,
        monitor: definition.name,
        state,
        doing: if gate.state() == State::Running {
            gate.doing()
        } else {
            ""
        },
        disabled_by,
        ruled_out: gate.is_ruled_out(),
        averaged: averages(&ecu.control().calibration().averaging, id),
        missing,
        last: last(ecu.records(), &codes),
        measured: twotrip_ecu::monitors::tests()
            .filter(|test| test.codes.iter().any(|code| codes.contains(code)))
            .filter_map(|test| {
                ecu.monitors()
                    .results()
                    .of(test)
                    .map(|found| measured(test, &found))
            })
            .collect(),
    })
}

/// One of the transmission ECU's.
fn of_transmission(ecu: &Transmission, stand: Stand) -> Option<MonitorStand> {
    let memory = ecu.memory();
    let definition = memory.catalogue().monitor(stand.monitor)?;
    let codes = codes_of(memory, stand.monitor);
    // One monitor of several wires: what it found of one counts more than that the others are sound.
    let failed = codes.iter().copied().filter(|&code| {
        let status = memory.status(code);
        status.is_some_and(|status| status.failed_this_cycle)
    });
    let failed: Vec<Dtc> = failed.collect();
    Some(MonitorStand {
        ecu: None,
        monitor: definition.name,
        state: stand.state.name(),
        doing: "",
        disabled_by: if stand.state == State::Disabled {
            disabled_by(memory, definition)
        } else {
            Vec::new()
        },
        ruled_out: stand.ruled_out,
        averaged: false,
        missing: stand.missing.into_iter().map(Needed::from).collect(),
        last: last(ecu.records(), if failed.is_empty() { &codes } else { &failed }),
        // It has no service $06.
        measured: Vec::new(),
    })
}

/// Codes in the memory that keep a monitor from running.
fn disabled_by(memory: &FaultMemory, definition: &MonitorDefinition) -> Vec<String> {
    definition
        .disabled_by
        .iter()
        .filter(|&&code| memory.disables(code, definition))
        .filter(|code| {
            memory
                .status(**code)
                .is_some_and(|status| status.pending || status.commands_mil)
        })
        .map(ToString::to_string)
        .collect()
}

/// The codes that a monitor sets.
fn codes_of(memory: &FaultMemory, id: MonitorId) -> Vec<Dtc> {
    let codes = memory.catalogue().codes.iter();
    codes
        .filter(|code| code.monitor == id)
        .map(|code| code.dtc)
        .collect()
}

/// What a monitor found last: a fault behind one of its codes, or none.
fn last(records: &Records, codes: &[Dtc]) -> Option<String> {
    let passed = codes
        .iter()
        .filter_map(|&code| records.last_pass(code))
        .map(|pass| (pass.at, pass.cycle))
        .max();
    let failed = records
        .entries()
        .filter_map(|entry| match entry.what {
            What::Failed(code, _) if codes.contains(&code) => Some((entry.at, entry.cycle, code)),
            _ => None,
        })
        .last();
    let when = |at: CarInstant, cycle: u32| format!("in driving cycle {cycle}, at {}", clock::stamp(at));
    match (passed, failed) {
        (Some((at, _)), Some((failed_at, cycle, code))) if failed_at >= at => {
            Some(format!("found {code} {}", when(failed_at, cycle)))
        }
        (None, Some((at, cycle, code))) => Some(format!("found {code} {}", when(at, cycle))),
        (Some((at, cycle)), _) => Some(format!("found no fault {}", when(at, cycle))),
        (None, None) => None,
    }
}

/// `size of the hole: 0.21 mm (at most 0.8 mm)`.
fn measured(test: &Test, found: &Found) -> String {
    let factor = test.reported.map_or(1.0, |row| row.factor);
    let number = |value: f64| Number(value / factor);
    let unit = test.unit;
    let limits = match found.limits {
        (Some(least), Some(most)) => format!(" ({} to {} {unit})", number(least), number(most)),
        (Some(least), None) => format!(" (at least {} {unit})", number(least)),
        (None, Some(most)) => format!(" (at most {} {unit})", number(most)),
        (None, None) => String::new(),
    };
    let verdict = if found.passed { "" } else { ", failed" };
    format!("{}: {} {unit}{limits}{verdict}", test.what, number(found.value))
}
