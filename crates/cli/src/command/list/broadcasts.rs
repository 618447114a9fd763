//! The periodic messages of the car, from the table by which they are sent.

use serde::Serialize;
use twotrip_harness::broadcast::{BroadcastMessage, BroadcastSignal, Content, MESSAGES};

use crate::{
    exit::Failure,
    output::{self, PLAIN, STRONG},
};

/// A message, as `--json` gives it.
#[derive(Debug, Serialize)]
struct Message {
    name: &'static str,
    /// 11-bit identifier.
    id: u16,
    sender: &'static str,
    cycle_ms: u128,
    /// Of the first frame, after the bus has woken up.
    offset_ms: u128,
    dlc: u8,
    byte_order: &'static str,
    signals: Vec<Signal>,
}

/// A signal of it: value = raw times scale plus offset.
#[derive(Debug, Serialize)]
struct Signal {
    name: &'static str,
    /// Byte times eight plus bit, 0 the least: of the least significant bit in a little-endian message, of the most
    /// significant one in a big-endian message.
    start_bit: u8,
    length: u8,
    signed: bool,
    scale: f64,
    offset: f64,
    unit: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    meaning: Option<&'static str>,
}

/// Prints them.
pub(super) fn list(json: bool) -> Result<(), Failure> {
    for message in &MESSAGES {
        if json {
            output::json(&Message {
                name: message.name,
                id: message.id,
                sender: message.sender.name(),
                cycle_ms: message.cycle.as_millis(),
                offset_ms: message.offset.as_millis(),
                dlc: message.length,
                byte_order: message.order.name(),
                signals: message.signals.iter().map(signal).collect(),
            })?;
        } else {
            say(message)?;
        }
    }
    Ok(())
}

fn signal(signal: &BroadcastSignal) -> Signal {
    Signal {
        name: signal.name,
        start_bit: signal.start,
        length: signal.length,
        signed: signal.signed,
        scale: signal.scale,
        offset: signal.offset,
        unit: signal.unit,
        meaning: meaning(signal.content),
    }
}

fn say(message: &BroadcastMessage) -> Result<(), Failure> {
    output::line(&format!(
        "{STRONG}{:03X} {}{PLAIN}: {}, every {} ms from {} ms on, {} bytes, {}",
        message.id,
        message.name,
        message.sender.name(),
        message.cycle.as_millis(),
        message.offset.as_millis(),
        message.length,
        message.order.name()
    ))?;
    for signal in message.signals {
        let sign = if signal.signed { ", signed" } else { "" };
        let value = match (signal.unit, meaning(signal.content)) {
            ("", meaning) => meaning.unwrap_or("0 or 1").to_owned(),
            (unit, _) => {
                let [least, greatest] = signal.range();
                format!("{} {unit} a step, {least} to {greatest} {unit}", signal.scale)
            }
        };
        output::line(&format!(
            "    {} (bit {}, {} bit{}{sign}): {value}",
            signal.name,
            signal.start,
            signal.length,
            if signal.length == 1 { "" } else { "s" }
        ))?;
    }
    Ok(())
}

/// What a number stands for.
const fn meaning(content: Content) -> Option<&'static str> {
    match content {
        Content::Gear => Some("0 in Park, else the gear"),
        Content::Selector => Some("0 Park, 3 Drive"),
        Content::Key => Some("0 off, 1 on, 2 start"),
        Content::Counter => Some("counts the frames"),
        Content::Checksum => Some("CRC-8 of SAE J1850 over the bytes before it"),
        Content::EngineRuns | Content::Shifting | Content::BrakeSwitch | Content::Mil => Some("1 if so"),
        _ => None,
    }
}
