//! `why` and `why not`: the chain from what broke to the code, trip by trip, or what is missing for one.
//!
//! Everything said is read off: from the ECU's records of what it decided, from the ledger of what was done to the car,
//! and from the fault memory. Nothing is worked out afterwards.

use std::{collections::BTreeMap, fmt::Write as _};

use serde::Serialize;
use twotrip_ecu::{
    Ecu,
    memory::{Effect, FaultMemory},
    monitors::frame::Number,
    records::{Evidence, Records, What},
    transmission::Transmission,
};
use twotrip_obd::Dtc;
use twotrip_units::CarInstant;

use crate::{Car, Outcome, clock, ledger::Ledger};

mod missing;

use missing::missing;

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

/// The ECU that watches for a code or holds it.
#[derive(Clone, Copy)]
struct Watching<'a> {
    memory: &'a FaultMemory,
    records: &'a Records,
    /// The one of the two whose monitors say what they wait for.
    engine: Option<&'a Ecu>,
    transmission: Option<&'a Transmission>,
}

impl<'a> Watching<'a> {
    /// The engine ECU before others.
    fn of(car: &'a Car, dtc: Dtc) -> Option<Self> {
        let ecu = &car.ecu;
        if ecu.memory().status(dtc).is_some() {
            return Some(Self {
                memory: ecu.memory(),
                records: ecu.records(),
                engine: Some(ecu),
                transmission: None,
            });
        }
        let transmission = car.transmission.as_ref()?;
        transmission.memory().status(dtc)?;
        Some(Self {
            memory: transmission.memory(),
            records: transmission.records(),
            engine: None,
            transmission: Some(transmission),
        })
    }
}

/// How it came to a code; a code that is not stored has no such story.
pub(crate) fn why(car: &Car, ledger: &Ledger, dtc: Dtc) -> Outcome {
    let Some(answer) = gather(car, ledger, dtc) else {
        return unknown(car, dtc);
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
        return unknown(car, dtc);
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

fn unknown(car: &Car, dtc: Dtc) -> Outcome {
    let mut known: Vec<String> = car
        .memories()
        .flat_map(|memory| memory.catalogue().codes)
        .map(|code| code.dtc.to_string())
        .collect();
    known.sort();
    Outcome::refused(match car.transmission {
        Some(_) => format!("neither ECU has a monitor for {dtc}"),
        None => format!("this ECU has no monitor for {dtc}"),
    })
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

/// All that is known of a code; nothing of one that no ECU watches for or holds.
fn gather(car: &Car, ledger: &Ledger, dtc: Dtc) -> Option<Why> {
    let watching = Watching::of(car, dtc)?;
    let memory = watching.memory;
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
        trips: trips(watching.records, ledger, dtc),
        missing: missing(watching, dtc, &status, definition),
        forgotten: watching.records.forgotten(),
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
    let mut said = format!(": {what} {} {unit}", Number(value));
    let _ = match limits {
        (Some(least), Some(most)) => {
            write!(said, " (good: {} to {} {unit})", Number(least), Number(most))
        }
        (Some(least), None) => write!(said, " (good: at least {} {unit})", Number(least)),
        (None, Some(most)) => write!(said, " (good: at most {} {unit})", Number(most)),
        (None, None) => Ok(()),
    };
    said
}
