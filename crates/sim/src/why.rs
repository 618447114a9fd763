//! `why` and `why not`: the chain from what broke to the code, trip by trip, or what is missing for one.
//!
//! Everything said is read off: from the ECU's records of what it decided, from the ledger of what was done to the car,
//! and from the fault memory. Nothing is worked out afterwards.

use std::{collections::BTreeMap, fmt::Write as _, time::Duration};

use serde::Serialize;
use twotrip_ecu::{
    Ecu,
    memory::{CodeDefinition, CodeStatus, Effect, Logic, MonitorId},
    monitors::{EVAP_LEAK, TANK_PRESSURE, evap_leak::Stage},
    records::{Evidence, Records, What},
};
use twotrip_obd::Dtc;
use twotrip_units::CarInstant;

use crate::{Car, Outcome, clock, ledger::Ledger};

/// The answer as data.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Why {
    /// The code asked about.
    pub code: String,
    /// Where it is stored: `confirmed`, `pending`, `permanent`.
    pub stored: Vec<&'static str>,
    /// Whether it commands the lamp.
    pub commands_lamp: bool,
    /// The monitor that sets it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub monitor: Option<&'static str>,
    /// Driving cycles in which something happened to it.
    pub trips: Vec<Trip>,
    /// What is missing for it to be stored, or for a permanent code to go.
    pub missing: Vec<String>,
    /// Older records than these were dropped.
    pub forgotten: bool,
}

/// One driving cycle in the life of a code, and what came after it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Trip {
    /// Number of the driving cycle, from 1; 0 before the first.
    pub driving_cycle: u32,
    /// What was wrong with the car when the monitor judged first.
    pub wrong: Vec<String>,
    /// What happened.
    pub events: Vec<TripEvent>,
}

/// One thing that happened.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct TripEvent {
    /// The car's time, milliseconds.
    pub car_time_ms: u64,
    /// What, in words.
    pub what: String,
}

/// How it came to a code; a code that is not stored has no such story.
pub(crate) fn why(car: &Car, ledger: &Ledger, dtc: Dtc) -> Outcome {
    let Some(answer) = gather(car, ledger, dtc) else {
        return unknown(&car.ecu, dtc);
    };
    if answer.stored.is_empty() {
        return outcome(false, format!("{dtc} is not stored"), answer);
    }
    let lamp = if answer.commands_lamp {
        "; it commands the lamp"
    } else {
        ""
    };
    let text = format!("{dtc} is {}{lamp}", listed(&answer.stored));
    outcome(true, text, answer)
}

/// What is missing for a code to be confirmed; of one that is, nothing.
pub(crate) fn why_not(car: &Car, ledger: &Ledger, dtc: Dtc) -> Outcome {
    let Some(answer) = gather(car, ledger, dtc) else {
        return unknown(&car.ecu, dtc);
    };
    if answer.stored.contains(&"confirmed") {
        let text = format!("{dtc} is {}", listed(&answer.stored));
        return outcome(false, text, answer);
    }
    let text = if answer.stored.is_empty() {
        format!("{dtc} is not stored")
    } else {
        format!("{dtc} is only {}", listed(&answer.stored))
    };
    outcome(true, text, answer)
}

/// `confirmed, pending and permanent`.
fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [others @ .., last] => format!("{} and {last}", others.join(", ")),
    }
}

fn unknown(ecu: &Ecu, dtc: Dtc) -> Outcome {
    let mut known: Vec<String> = ecu
        .memory()
        .catalogue()
        .codes
        .iter()
        .map(|code| code.dtc.to_string())
        .collect();
    known.sort();
    Outcome::refused(format!("this ECU has no monitor for {dtc}"))
        .with_detail(format!("it watches for {}", known.join(", ")))
}

/// The answer in lines.
fn outcome(ok: bool, text: String, answer: Why) -> Outcome {
    let mut outcome = if ok {
        Outcome::done(text)
    } else {
        Outcome::refused(text)
    };
    if answer.forgotten {
        outcome = outcome.with_detail("older records than these have given way to newer ones");
    }
    for trip in &answer.trips {
        outcome = outcome.with_detail(match trip.driving_cycle {
            0 => "before the first driving cycle:".to_owned(),
            number => format!("driving cycle {number}:"),
        });
        for wrong in &trip.wrong {
            outcome = outcome.with_detail(format!("  wrong with the car: {wrong}"));
        }
        for event in &trip.events {
            let at = clock::stamp(CarInstant::from_millis(event.car_time_ms));
            outcome = outcome.with_detail(format!("  {at}  {}", event.what));
        }
    }
    for missing in &answer.missing {
        outcome = outcome.with_detail(missing.clone());
    }
    outcome.why = Some(Box::new(answer));
    outcome
}

/// All that is known of a code; nothing of one that the ECU neither watches for nor holds.
fn gather(car: &Car, ledger: &Ledger, dtc: Dtc) -> Option<Why> {
    let memory = car.ecu.memory();
    let status = memory.status(dtc)?;
    let definition = memory.catalogue().code(dtc);
    let stored = [
        (status.confirmed, "confirmed"),
        (status.pending, "pending"),
        (status.permanent, "permanent"),
    ];
    let monitor = definition.and_then(|code| memory.catalogue().monitor(code.monitor));
    Some(Why {
        code: dtc.to_string(),
        stored: stored
            .into_iter()
            .filter_map(|(is, name)| is.then_some(name))
            .collect(),
        commands_lamp: status.commands_mil,
        monitor: monitor.map(|monitor| monitor.name),
        trips: trips(car.ecu.records(), ledger, dtc),
        missing: missing(car, dtc, &status, definition),
        forgotten: car.ecu.records().forgotten(),
    })
}

/// What happened to a code, by driving cycle.
fn trips(records: &Records, ledger: &Ledger, dtc: Dtc) -> Vec<Trip> {
    let mut trips: BTreeMap<u32, Trip> = BTreeMap::new();
    let mut began: Option<TripEvent> = None;
    let mut concerned = false;
    for entry in records.entries() {
        let event = |what: String| TripEvent {
            car_time_ms: u64::try_from(entry.at.saturating_since(CarInstant::ZERO).as_millis())
                .unwrap_or(u64::MAX),
            what,
        };
        let judged = matches!(entry.what, What::Failed(..) | What::Passed(..));
        let said = match entry.what {
            What::CycleBegan { soak, coolant, .. } => {
                began = Some(event(format!(
                    "the engine started after {} of standing, coolant {:.0} C",
                    clock::say(soak),
                    coolant.celsius()
                )));
                None
            }
            What::Failed(code, evidence) if code == dtc => {
                Some(format!("its monitor found a fault{}", measured(evidence)))
            }
            What::Passed(code, evidence) if code == dtc => {
                Some(format!("its monitor found no fault{}", measured(evidence)))
            }
            What::Memory(effect) => change(effect, dtc, concerned),
            What::MemoryPutBack => Some(
                "the ECU's memory was put back as it was kept; how it came to that was recorded then, not here".to_owned(),
            ),
            What::Began(_) | What::Aborted(..) | What::Failed(..) | What::Passed(..) => None,
        };
        let Some(said) = said else {
            continue;
        };
        concerned = true;
        let trip = trips.entry(entry.cycle).or_insert_with(|| Trip {
            driving_cycle: entry.cycle,
            wrong: Vec::new(),
            events: began.take().into_iter().collect(),
        });
        if judged && trip.wrong.is_empty() {
            trip.wrong = ledger.at(entry.at).map(|wrong| wrong.say()).collect();
        }
        trip.events.push(event(said));
    }
    trips.into_values().collect()
}

/// A change of the memory that concerns a code.
fn change(effect: Effect, dtc: Dtc, concerned: bool) -> Option<String> {
    Some(match effect {
        Effect::PendingStored(code) if code == dtc => "pending".to_owned(),
        Effect::PendingErased(code) if code == dtc => "no longer pending".to_owned(),
        Effect::Confirmed(code) if code == dtc => "confirmed".to_owned(),
        Effect::ConfirmedErased(code) if code == dtc => "grown old and erased".to_owned(),
        Effect::PermanentStored(code) if code == dtc => "permanent".to_owned(),
        Effect::PermanentErased(code) if code == dtc => "the permanent entry is erased".to_owned(),
        Effect::FreezeFrameStored(code) if code == dtc => "its freeze frame is stored".to_owned(),
        Effect::FreezeFrameErased(code) if code == dtc => "its freeze frame is erased".to_owned(),
        Effect::MilOn if concerned => "the lamp is commanded on".to_owned(),
        Effect::MilOff if concerned => "the lamp is commanded off".to_owned(),
        Effect::Cleared if concerned => "a tester cleared the memory".to_owned(),
        _ => return None,
    })
}

/// `: size of the hole 1.02 mm (good: at most 0.8 mm)`.
fn measured(evidence: Option<Evidence>) -> String {
    let Some(Evidence {
        what,
        value,
        unit,
        limits,
    }) = evidence
    else {
        return String::new();
    };
    let number = |value: f64| {
        let text = format!("{value:.2}");
        let text = text.trim_end_matches('0').trim_end_matches('.');
        if text == "-0" {
            "0".to_owned()
        } else {
            text.to_owned()
        }
    };
    let mut said = format!(": {what} {} {unit}", number(value));
    let _ = match limits {
        (Some(least), Some(most)) => {
            write!(said, " (good: {} to {} {unit})", number(least), number(most))
        }
        (Some(least), None) => write!(said, " (good: at least {} {unit})", number(least)),
        (None, Some(most)) => write!(said, " (good: at most {} {unit})", number(most)),
        (None, None) => Ok(()),
    };
    said
}

/// What is missing: for a code that is not confirmed, to become so; for a permanent one, to go.
fn missing(
    car: &Car,
    dtc: Dtc,
    status: &CodeStatus,
    definition: Option<&'static CodeDefinition>,
) -> Vec<String> {
    let mut lines = Vec::new();
    similar(car, status, &mut lines);
    let Some(definition) = definition else {
        lines.push("this ECU has no monitor for it: it was put into the memory by hand".to_owned());
        return lines;
    };
    let memory = car.ecu.memory();
    if status.permanent && !status.confirmed {
        permanent(status, &mut lines);
    }
    if status.confirmed {
        return lines;
    }
    if status.pending && definition.logic == Logic::Standard {
        lines.push(format!(
            "trip {} of {}: the monitor has to find the fault in another driving cycle",
            status.failed_cycles,
            memory.profile().driving_cycles_to_confirm
        ));
    }
    let records = car.ecu.records();
    if records.cycle() == 0 {
        lines.push("the engine has not been started yet: no monitor has judged anything".to_owned());
        return lines;
    }
    let when = if memory.is_driving_cycle() {
        "in this driving cycle"
    } else {
        "in the last driving cycle"
    };
    if status.failed_this_cycle {
        lines.push(format!(
            "the monitor has found the fault {when}; another one is needed"
        ));
        return lines;
    }
    match records.last_pass(dtc) {
        Some(pass) if pass.cycle == records.cycle() => {
            let at = clock::stamp(pass.at);
            lines.push(format!(
                "the monitor has run {when}, at {at}, and found no fault{}",
                measured(pass.evidence)
            ));
        }
        pass => {
            lines.push(format!("the monitor has not judged it {when}"));
            held_up(car, definition, when, &mut lines);
            if let Some(pass) = pass {
                lines.push(format!(
                    "it found no fault in driving cycle {}, at {}{}",
                    pass.cycle,
                    clock::stamp(pass.at),
                    measured(pass.evidence)
                ));
            }
        }
    }
    lines
}

/// Whether one of these monitors sets a code.
fn is_of(car: &Car, dtc: Dtc, monitors: &[MonitorId]) -> bool {
    let catalogue = car.ecu.memory().catalogue();
    catalogue
        .code(dtc)
        .is_some_and(|code| monitors.contains(&code.monitor))
}

/// What a pending code of misfire or fuel system waits for.
fn similar(car: &Car, status: &CodeStatus, lines: &mut Vec<String>) {
    let Some(point) = status.similar_to.filter(|_| status.pending) else {
        return;
    };
    let rule = &car.ecu.memory().profile().similar;
    lines.push(format!(
        "first found at {:.0} rpm and {:.0} % load, engine {}: within {:.0} rpm and {:.0} points of it the next driving \
         cycle decides",
        point.engine_speed.rpm(),
        point.load.percent(),
        if point.warm { "warm" } else { "cold" },
        rule.engine_speed.rpm(),
        rule.load.percent(),
    ));
    lines.push(format!(
        "{} of {} driving cycles went by without such conditions; then it is dropped",
        status.cycles_without_similar, rule.cycles_to_expire
    ));
}

/// What a permanent code that was cleared waits for.
fn permanent(status: &CodeStatus, lines: &mut Vec<String>) {
    let done = |is: bool| if is { "done" } else { "not yet" };
    lines.push(format!(
        "cleared, but permanent until its monitor has found no fault ({}) and, where that is asked, the prescribed \
         drive was driven ({}); it leaves at the end of a driving cycle",
        done(status.permanent_passed),
        done(status.permanent_driven)
    ));
}

/// What kept a monitor from judging.
fn held_up(car: &Car, definition: &CodeDefinition, when: &str, lines: &mut Vec<String>) {
    let memory = car.ecu.memory();
    let Some(monitor) = memory.catalogue().monitor(definition.monitor) else {
        return;
    };
    let blocking: Vec<String> = monitor
        .disabled_by
        .iter()
        .filter(|code| {
            memory
                .status(**code)
                .is_some_and(|status| status.pending || status.commands_mil)
        })
        .map(ToString::to_string)
        .collect();
    if !blocking.is_empty() {
        lines.push(format!("it is blocked by {}", blocking.join(", ")));
    }
    if ![EVAP_LEAK, TANK_PRESSURE].contains(&definition.monitor) {
        lines.push(
            "it judges while the engine runs, once the circuit has read the same for long enough".to_owned(),
        );
        return;
    }
    let leak = car.ecu.monitors().evap_leak();
    let records = car.ecu.records();
    let mut waits: Vec<_> = records.waits().iter().collect();
    waits.sort_by_key(|(_, waited)| core::cmp::Reverse(*waited));
    for (reason, waited) in waits {
        // Half a second of this or that is no reason.
        if waited >= Duration::from_secs(1) {
            lines.push(format!("it waited {} for {reason}", clock::say(waited)));
        }
    }
    let mut aborts: BTreeMap<String, u32> = BTreeMap::new();
    let mut begun = 0;
    for entry in records.entries().filter(|entry| entry.cycle == records.cycle()) {
        match entry.what {
            What::Began(_) => begun += 1,
            What::Failed(other, evidence) if is_of(car, other, &[EVAP_LEAK, TANK_PRESSURE]) => {
                lines.push(format!(
                    "the test ended at {} with {other}{}: what it would have looked at after that is not judged",
                    clock::stamp(entry.at),
                    measured(evidence)
                ));
            }
            What::Aborted(_, reason) => *aborts.entry(reason.to_string()).or_default() += 1,
            _ => {}
        }
    }
    for (reason, count) in &aborts {
        let times = if *count == 1 {
            "once".to_owned()
        } else {
            format!("{count} times")
        };
        lines.push(format!("it broke off {times}: it needs {reason}"));
    }
    if begun == 0 {
        lines.push(format!("it never began to run {when}"));
    }
    match leak.stage() {
        Stage::Waiting | Stage::Done => {}
        stage => lines.push(format!("it is running now: {}", stage.name())),
    }
    if !memory.is_driving_cycle() {
        lines.push("the engine stands: it can run in the next driving cycle".to_owned());
    }
}
