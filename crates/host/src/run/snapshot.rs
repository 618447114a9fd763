//! How the car is, and what happens to it, as data for clients of the control socket. Fields may be added, none go.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;
use twotrip_obd::{Dtc, Group};
use twotrip_scenario::phrase::CodeList;
use twotrip_sim::{Event, Simulator};

use crate::recording::comment;

/// The car at an instant.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Snapshot {
    /// Time since the car began to live, seconds.
    car_time_s: f64,
    key_on: bool,
    engine_running: bool,
    /// The bulb, which the check at key-on lights in a healthy car too.
    lamp_lit: bool,
    /// PID $01, byte A, bit 7.
    mil_commanded: bool,
    /// Codes of all its ECUs.
    confirmed: Vec<String>,
    pending: Vec<String>,
    permanent: Vec<String>,
    /// Since the last clear: whether each group that the car has is complete.
    readiness: BTreeMap<&'static str, bool>,
    /// The phrase that is being carried out.
    #[serde(skip_serializing_if = "Option::is_none")]
    busy: Option<Busy>,
    /// Requests taken, and those dropped because they came too fast.
    requests: u64,
    dropped: u64,
    not_physical: bool,
}

#[derive(Clone, Copy, Debug, Serialize)]
struct Busy {
    /// Car time, seconds.
    passed_s: f64,
    planned_s: f64,
}

impl Snapshot {
    /// Of the car as it is.
    pub(super) fn of(simulator: &Simulator) -> Self {
        let memory = simulator.car().ecu().memory();
        let codes = |list| {
            let codes = simulator.codes(list).into_iter().map(|(_, code)| code);
            let codes: BTreeSet<Dtc> = codes.collect();
            codes.into_iter().map(|code| code.to_string()).collect()
        };
        let readiness = memory.readiness_since_clear();
        let groups = Group::ALL
            .into_iter()
            .filter(|group| readiness.is_supported(*group));
        let counts = simulator.counts();
        Self {
            car_time_s: simulator.car().now().as_secs_f64(),
            key_on: simulator.key_is_on(),
            engine_running: simulator.engine_runs(),
            lamp_lit: simulator.car().lamp_lit(),
            mil_commanded: memory.mil_commanded(),
            confirmed: codes(CodeList::Confirmed),
            pending: codes(CodeList::Pending),
            permanent: codes(CodeList::Permanent),
            readiness: groups
                .map(|group| (group.name(), readiness.is_complete(group)))
                .collect(),
            busy: simulator.progress().map(|(_, passed, planned)| Busy {
                passed_s: passed.as_secs_f64(),
                planned_s: planned.as_secs_f64(),
            }),
            requests: counts.requests,
            dropped: counts.dropped,
            not_physical: simulator.not_physical(),
        }
    }
}

/// Something that happened.
#[derive(Clone, Debug, Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub(super) enum EventLine {
    /// A phrase was carried out, or could not be.
    Phrase {
        car_time_s: f64,
        phrase: String,
        ok: bool,
        outcome: String,
        #[serde(skip_serializing_if = "Vec::is_empty")]
        details: Vec<String>,
    },
    /// Anything else, in the words of recordings' comments.
    Car { car_time_s: f64, text: String },
}

impl EventLine {
    /// `None` for what only matters to statistics.
    pub(super) fn of(event: &Event) -> Option<Self> {
        if let Event::Finished {
            at, phrase, outcome, ..
        } = event
        {
            return Some(Self::Phrase {
                car_time_s: at.as_secs_f64(),
                phrase: phrase.to_string(),
                ok: outcome.ok,
                outcome: outcome.text.clone(),
                details: outcome.details.clone(),
            });
        }
        let (at, text) = comment::words_of(event)?;
        Some(Self::Car {
            car_time_s: at.as_secs_f64(),
            text,
        })
    }
}
