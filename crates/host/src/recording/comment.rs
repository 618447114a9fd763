//! What happens inside the car, as comments of frames: one line each, for people and machines.
//!
//! `car: bus=12.345678901 car=33060.010000000 pending P0455`: the fixed prefix, the instant in bus time and in the car's
//! time (seconds since the start of the run), then words. A comment belongs to the instant it names, and is attached to
//! the first frame recorded after it. Where none comes for a while a statistics block carries it besides: the same line
//! twice is one event.

use twotrip_ecu::memory::{Effect, Lamp};
use twotrip_sim::Event;
use twotrip_units::{BusInstant, CarInstant};

/// What every comment of ours begins with.
pub const PREFIX: &str = "car:";

/// The comment of an event, if it has one.
#[must_use]
pub fn of_event(now: BusInstant, event: &Event) -> Option<String> {
    let (at, words) = match event {
        Event::Began { at, phrase, .. } => (at, format!("begins `{phrase}`")),
        Event::Finished {
            at, phrase, outcome, ..
        } => {
            let how = if outcome.ok { "done" } else { "not done" };
            (at, format!("{how} `{phrase}`"))
        }
        Event::Memory { at, effect } => (at, of_effect(*effect)?),
    };
    Some(line(now, *at, &words))
}

/// The comment that something is so from now on.
#[must_use]
pub fn line(now: BusInstant, at: CarInstant, words: &str) -> String {
    let [bus, car] = [now.as_nanos(), at.as_nanos()]
        .map(|nanos| format!("{}.{:09}", nanos / 1_000_000_000, nanos % 1_000_000_000));
    format!("{PREFIX} bus={bus} car={car} {words}")
}

fn of_effect(effect: Effect) -> Option<String> {
    Some(match effect {
        Effect::DrivingCycleStarted => "driving cycle".to_owned(),
        Effect::PendingStored(dtc) => format!("pending {dtc}"),
        Effect::FreezeFrameStored(dtc) => format!("freeze frame {dtc}"),
        Effect::Confirmed(dtc) => format!("confirmed {dtc}"),
        Effect::PermanentStored(dtc) => format!("permanent {dtc}"),
        Effect::MilOn => "lamp on".to_owned(),
        Effect::MilOff => "lamp off".to_owned(),
        Effect::MisfireLamp(Lamp::Blinking) => "misfire lamp blinking".to_owned(),
        Effect::MisfireLamp(Lamp::On) => "misfire lamp on".to_owned(),
        Effect::MisfireLamp(Lamp::Off) => "misfire lamp off".to_owned(),
        Effect::PendingErased(dtc) => format!("no longer pending {dtc}"),
        Effect::ConfirmedErased(dtc) => format!("no longer confirmed {dtc}"),
        Effect::PermanentErased(dtc) => format!("no longer permanent {dtc}"),
        Effect::GroupCompleted(group) => format!("complete {}", group.name()),
        Effect::Cleared => "cleared".to_owned(),
        _ => return None,
    })
}
