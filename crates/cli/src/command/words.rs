//! Words that several commands use: counts, bytes, changes of the memory, clocks, and failures of bus and control socket.

use serde::Serialize;
use tokio::signal::unix::{SignalKind, signal};
use twotrip_can::{
    address::EcuAddress,
    error_frame::{Cause, ErrorFrame, ErrorState},
};
use twotrip_ecu::memory::{Effect, Lamp};
use twotrip_host::bus::local::TurnedAway;
use twotrip_sim::{EcuName, EcuOnBus, Simulator};
use twotrip_units::decimal;

use crate::{exit::Failure, output};

/// Whether a change of the memory is bad news for the owner.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Mood {
    /// A fault was found.
    Bad,
    /// A fault is gone, or a monitor is done.
    Good,
    /// Neither.
    Plain,
}

/// What a change of the memory means; `None` for what only matters to the in-use statistics.
pub(super) fn effect(effect: Effect) -> Option<(String, Mood)> {
    Some(match effect {
        Effect::DrivingCycleStarted => ("a driving cycle begins".to_owned(), Mood::Plain),
        Effect::PendingStored(dtc) => (format!("the monitor fails: {dtc} pending"), Mood::Bad),
        Effect::FreezeFrameStored(dtc) => (format!("freeze frame stored for {dtc}"), Mood::Plain),
        Effect::Confirmed(dtc) => (format!("the fault is confirmed: {dtc}"), Mood::Bad),
        Effect::PermanentStored(dtc) => (format!("{dtc} stored as permanent"), Mood::Bad),
        Effect::MilOn => ("the lamp is commanded on".to_owned(), Mood::Bad),
        Effect::MilOff => ("the lamp is commanded off".to_owned(), Mood::Good),
        Effect::MisfireLamp(Lamp::Blinking) => (
            "the lamp blinks: misfire endangers the catalyst".to_owned(),
            Mood::Bad,
        ),
        Effect::MisfireLamp(Lamp::On) => (
            "the lamp is lit: a misfiring cylinder is cut off".to_owned(),
            Mood::Bad,
        ),
        Effect::MisfireLamp(Lamp::Off) => ("the misfire is over".to_owned(), Mood::Good),
        Effect::PendingErased(dtc) => (format!("{dtc} no longer pending"), Mood::Good),
        Effect::ConfirmedErased(dtc) => (format!("{dtc} grew old and is erased"), Mood::Good),
        Effect::PermanentErased(dtc) => (format!("the ECU erases the permanent {dtc} itself"), Mood::Good),
        Effect::GroupCompleted(group) => (format!("readiness: {} complete", group.name()), Mood::Good),
        Effect::Cleared => (
            "codes, freeze frame and readiness cleared".to_owned(),
            Mood::Plain,
        ),
        _ => return None,
    })
}

/// With the name of the ECU in which it happened, in a car with several.
pub(super) fn of_ecu(ecu: Option<EcuName>, text: String) -> String {
    match ecu {
        Some(ecu) => format!("{}: {text}", output::escape(ecu.acronym())),
        None => text,
    }
}

/// The ECUs of a car with the identifiers of requests and answers; nothing of a car with the engine ECU alone, where it
/// is by recommendation.
pub(super) fn ecus(car: &Simulator) -> Option<String> {
    let ecus: Vec<EcuOnBus> = car.ecus().collect();
    let usual = matches!(ecus[..], [only] if only.address == EcuAddress::ENGINE);
    let names: Vec<String> = ecus
        .iter()
        .map(|ecu| {
            format!(
                "{} {}/{}",
                output::escape(ecu.acronym()),
                ecu.address.request,
                ecu.address.response
            )
        })
        .collect();
    (!usual).then(|| names.join(", "))
}

/// Ready once a signal asks for the end.
pub(super) fn stopped() -> Result<impl Future<Output = ()>, Failure> {
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
    })
}

/// A clock of car time: days, hours, minutes, seconds.
pub(super) fn car_clock(seconds: f64) -> String {
    let whole = std::time::Duration::try_from_secs_f64(seconds)
        .unwrap_or_default()
        .as_secs();
    format!(
        "{} d {:02}:{:02}:{:02}",
        whole / 86_400,
        whole / 3600 % 24,
        whole / 60 % 60,
        whole % 60
    )
}

/// What a controller reports of its bus, and what to try.
pub(super) fn bus_error(error: ErrorFrame, more: u64) -> String {
    let mut text = format!("the bus: {error}");
    if more > 0 {
        text += &format!(" ({more} more of the kind before it)");
    }
    let hint = if error.state() == Some(ErrorState::BusOff) {
        "\n  bit rate, wires, terminators? It comes back by itself where the interface has `restart-ms 100`"
    } else if error.causes().any(|cause| cause == Cause::NoAcknowledge) {
        "\n  is another node on the bus, powered and at the same bit rate?"
    } else {
        ""
    };
    text + hint
}

/// The same for machines.
#[derive(Debug, Serialize)]
pub(super) struct BusErrorObject {
    text: String,
    state: Option<String>,
    transmit_errors: Option<u8>,
    receive_errors: Option<u8>,
    more: u64,
}

impl BusErrorObject {
    pub(super) fn of(error: ErrorFrame, more: u64) -> Self {
        let counters = error.counters();
        Self {
            text: error.to_string(),
            state: error.state().map(|state| state.to_string()),
            transmit_errors: counters.map(|counters| counters.transmit),
            receive_errors: counters.map(|counters| counters.receive),
            more,
        }
    }
}

/// Who was not let in to a bus of ours, or not let stay.
pub(super) fn turned_away(why: TurnedAway, more: u64) -> String {
    match more {
        0 => why.to_string(),
        more => format!("{why} ({more} more for the same reason before it)"),
    }
}

/// So many of something.
pub(super) fn counted(count: u64, one: &str, several: &str) -> String {
    match count {
        1 => format!("1 {one}"),
        count => format!("{count} {several}"),
    }
}

/// Bytes in hexadecimal, blanks between them.
pub(super) fn hex(bytes: &[u8]) -> String {
    let mut text = String::new();
    write_hex(&mut text, bytes);
    text
}

/// The same behind what stands in `text`.
pub(super) fn write_hex(text: &mut String, bytes: &[u8]) {
    for (place, &byte) in bytes.iter().enumerate() {
        if place > 0 {
            text.push(' ');
        }
        // A string takes everything.
        let _ = decimal::write_hex(text, byte);
    }
}

/// A failure of the bus, the control socket or the system: what it is, then, a line each, what to try.
pub(super) fn system(error: impl std::fmt::Display) -> Failure {
    let text = error.to_string();
    let (what, hint) = text.split_once("; ").unwrap_or((&text, ""));
    Failure::system(what, (!hint.is_empty()).then(|| hint.replace("; ", "\n")))
}
