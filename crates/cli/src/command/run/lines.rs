//! What `twotrip run --json` prints: a line of JSON each.

use serde::Serialize;
use twotrip_can::address::EcuAddress;
use twotrip_host::{judge::Summary, run::Traffic};
use twotrip_sim::{EcuOnBus, MonitorStand, Why};

use super::memory::Memory;
use crate::command::words;

/// What the run prints with `--json`.
#[derive(Debug, Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub(super) enum Line<'a> {
    Ready {
        scenario: &'a str,
        bus: String,
        control: String,
        /// Of this process.
        pid: u32,
        seed: u64,
        not_physical: bool,
        #[serde(skip_serializing_if = "Option::is_none")]
        memory: Option<Memory>,
        identifiers: &'static str,
        bit_rate_kbit_per_s: u32,
        ecus: Vec<EcuObject>,
    },
    MemoryNotKept {
        error: String,
    },
    MemoryKept,
    Phrase {
        car_time_s: f64,
        phrase: &'a str,
        ok: bool,
        outcome: &'a str,
        details: &'a [String],
        #[serde(skip_serializing_if = "Option::is_none")]
        why: Option<&'a Why>,
        #[serde(skip_serializing_if = "Option::is_none")]
        monitors: Option<&'a [MonitorStand]>,
    },
    Memory {
        car_time_s: f64,
        text: String,
        /// Whose, of several ECUs: its name, and by which identifier it answers.
        #[serde(skip_serializing_if = "Option::is_none")]
        ecu: Option<String>,
        #[serde(skip_serializing_if = "Option::is_none")]
        response: Option<String>,
    },
    Disturbance {
        car_time_s: f64,
        number: u64,
        disturbance: String,
        begins: bool,
        acted: u64,
    },
    BusDown,
    RecordingTrouble {
        text: String,
    },
    Expectation {
        expectation: &'a str,
        met: bool,
        outcome: &'a str,
    },
    Verdict {
        number: u64,
        disturbance: String,
        verdict: &'static str,
        seen: String,
        source: &'static str,
    },
    BusError(words::BusErrorObject),
    TurnedAway {
        text: String,
        more: u64,
    },
    Bench {
        acknowledged: Option<bool>,
    },
    Conduct {
        text: String,
        conduct: &'a Summary,
    },
    End {
        reason: &'static str,
        requests: u64,
        dropped: u64,
        lost_frames: u64,
        ecus: Vec<EcuCounts>,
        bus: BusCounts,
        expectations_met: bool,
        not_physical: bool,
        #[serde(skip_serializing_if = "Option::is_none")]
        recorded: Option<Recorded>,
    },
}

/// Frames of the recording.
#[derive(Debug, Serialize)]
pub(super) struct Recorded {
    pub(super) frames: u64,
    pub(super) dropped: u64,
}

/// An ECU and its identifiers.
#[derive(Debug, Serialize)]
pub(super) struct EcuObject {
    name: String,
    functional: String,
    request: String,
    response: String,
}

impl From<EcuOnBus> for EcuObject {
    fn from(ecu: EcuOnBus) -> Self {
        let EcuAddress {
            functional,
            request,
            response,
        } = ecu.address;
        Self {
            name: ecu.acronym().to_owned(),
            functional: functional.to_string(),
            request: request.to_string(),
            response: response.to_string(),
        }
    }
}

/// What came to an ECU.
#[derive(Debug, Serialize)]
pub(super) struct EcuCounts {
    name: String,
    response: String,
    requests: u64,
    dropped: u64,
}

impl From<EcuOnBus> for EcuCounts {
    fn from(ecu: EcuOnBus) -> Self {
        Self {
            name: ecu.acronym().to_owned(),
            response: ecu.address.response.to_string(),
            requests: ecu.counts.requests,
            dropped: ecu.counts.dropped,
        }
    }
}

/// Frames of the run. `null` where nobody counts.
#[derive(Debug, Serialize)]
pub(crate) struct BusCounts {
    received: u64,
    sent: u64,
    sent_while_down: u64,
    given_up: u64,
    dropped_by_kernel: Option<u32>,
    error_frames: u64,
}

impl From<Traffic> for BusCounts {
    fn from(traffic: Traffic) -> Self {
        Self {
            received: traffic.received,
            sent: traffic.sent,
            sent_while_down: traffic.sent_while_down,
            given_up: traffic.given_up,
            dropped_by_kernel: traffic.dropped_by_kernel,
            error_frames: traffic.errors,
        }
    }
}
