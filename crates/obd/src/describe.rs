//! Requests and answers in plain words, for `walkthrough`, `explain` and reports.
//!
//! Text that came over the bus (VIN, calibration id, name) is shown with everything but printable ASCII escaped.

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::fmt::Display;

use crate::{
    Codes, Control, Information, Mid, Pid, Readiness, Record, Records, Request, Response, ResponseCode,
    Service, SupportMask, Tid, info::InfoType, mask::is_mask, pid::Value,
};

/// A request in words: `asks for engine speed, vehicle speed`.
#[must_use]
pub fn describe_request(bytes: &[u8]) -> String {
    let request = match Request::parse(bytes) {
        Ok(request) => request,
        Err(error) => return format!("malformed request: {error}"),
    };
    match request {
        Request::CurrentData(parameters) => asks_for(
            "",
            parameters.numbers().iter().map(|&number| parameter_name(number)),
        ),
        Request::FreezeFrame(parameters) => asks_for(
            " the freeze frame",
            parameters.pairs().iter().map(|&[number, frame]| match frame {
                0 => parameter_name(number),
                frame => format!("{} (frame {frame})", parameter_name(number)),
            }),
        ),
        Request::VehicleInformation(parameters) => asks_for(
            "",
            parameters.numbers().iter().map(|&number| {
                if is_mask(number) {
                    format!("the supported InfoTypes from ${:02X}", number.saturating_add(1))
                } else {
                    info_name(InfoType::new(number))
                }
            }),
        ),
        Request::TestResults(parameters) => asks_for(
            "",
            parameters.numbers().iter().map(|&number| {
                if is_mask(number) {
                    format!("the supported monitors from ${:02X}", number.saturating_add(1))
                } else {
                    format!("test results of {}", Mid::new(number).name())
                }
            }),
        ),
        Request::Control(Control::Masks(numbers)) => {
            let name =
                |&number: &u8| format!("the supported controls from ${:02X}", number.saturating_add(1));
            asks_for("", numbers.iter().map(name))
        }
        Request::Control(Control::Test(tid, data)) => format!("commands {}{}", control_name(tid), hex(data)),
        Request::ConfirmedCodes => "asks for confirmed codes".into(),
        Request::PendingCodes => "asks for pending codes".into(),
        Request::PermanentCodes => "asks for permanent codes".into(),
        Request::Clear => "asks to clear codes, freeze frame and readiness".into(),
        Request::Other(service, parameters) => format!("asks {service}{}", hex(parameters)),
    }
}

/// An answer in words: `engine speed 1726 rpm; vehicle speed 80 km/h`, `1 confirmed code: P0455`.
#[must_use]
pub fn describe_response(bytes: &[u8]) -> String {
    let response = match Response::parse(bytes) {
        Ok(response) => response,
        Err(error) => return format!("malformed answer: {error}"),
    };
    match response {
        Response::CurrentData(records) => describe_records(records),
        Response::FreezeFrame(records) => format!("freeze frame: {}", describe_records(records)),
        Response::Codes(service, codes) => describe_codes(service, codes),
        Response::Cleared => "codes, freeze frame and readiness cleared".into(),
        Response::Masks(service, masks) => {
            let what = match service {
                Service::TestResults => "monitors",
                Service::Control => "controls",
                _ => "InfoTypes",
            };
            let say = |&[base, mask @ ..]: &[u8; 5]| describe_mask(base, mask, what);
            list("; ", masks.iter().map(say))
        }
        Response::TestResults(results) => list("; ", results.iter()),
        Response::Control(tid, data) => format!("takes {}:{}", control_name(tid), hex(data)),
        Response::Information(information) => describe_information(information),
        Response::Negative(service, ResponseCode::ResponsePending) => {
            format!(
                "{}: the answer will follow (response pending, $78)",
                service_name(service)
            )
        }
        Response::Negative(service, code) => format!("{} refused: {code}", service_name(service)),
        Response::Other(service, data) => format!("answers {service}{}", hex(data)),
    }
}

fn service_name(service: Service) -> String {
    match service {
        Service::Unknown(number) => format!("service ${number:02X}"),
        known => known.name().into(),
    }
}

/// Bytes after a blank, in hexadecimal; nothing for none. Long ones are cut.
fn hex(bytes: &[u8]) -> String {
    const SHOWN: usize = 16;
    let mut text: String = bytes
        .iter()
        .take(SHOWN)
        .map(|byte| format!(" {byte:02X}"))
        .collect();
    if bytes.len() > SHOWN {
        text.push_str(&format!(" and {} bytes more", bytes.len() - SHOWN));
    }
    text
}

fn list(separator: &str, items: impl Iterator<Item = impl Display>) -> String {
    items
        .map(|item| item.to_string())
        .collect::<Vec<_>>()
        .join(separator)
}

fn asks_for(whom: &str, names: impl Iterator<Item = String>) -> String {
    format!("asks{whom} for {}", list(", ", names))
}

/// Text from the bus: the zero bytes that fill it up are left out, the rest is escaped.
fn outside_text(bytes: &[u8]) -> impl Display {
    let end = bytes
        .iter()
        .rposition(|&byte| byte != 0)
        .map_or(0, |last| last + 1);
    bytes[..end].escape_ascii()
}

fn parameter_name(number: u8) -> String {
    if is_mask(number) {
        return format!("the supported PIDs from ${:02X}", number.saturating_add(1));
    }
    let pid = Pid::new(number);
    pid.definition()
        .map_or_else(|| format!("PID {pid}"), |definition| definition.name.into())
}

fn control_name(tid: Tid) -> String {
    tid.control_name()
        .map_or_else(|| format!("control {tid}"), Into::into)
}

fn info_name(info_type: InfoType) -> String {
    info_type
        .name()
        .map_or_else(|| format!("InfoType ${:02X}", info_type.number()), Into::into)
}

fn describe_mask(base: u8, mask: [u8; 4], what: &str) -> String {
    let mut set = SupportMask::NONE;
    set.add_range(base, mask);
    let more = if mask[3] & 1 == 1 { ", more follow" } else { "" };
    match list(" ", set.iter().map(|number| format!("{number:02X}"))) {
        none if none.is_empty() => format!("supports no {what} from ${:02X}{more}", base.saturating_add(1)),
        some => format!("supports {what} {some}{more}"),
    }
}

fn describe_records(records: Records<'_>) -> String {
    let mut parts: Vec<String> = records
        .map(|record| record.map_or_else(|error| format!("unreadable: {error}"), describe_record))
        .collect();
    if parts.is_empty() {
        parts.push("no data".into());
    }
    parts.join("; ")
}

fn describe_record(record: Record<'_>) -> String {
    let Some(definition) = record.pid.definition() else {
        return format!("PID {}{}", record.pid, hex(record.data));
    };
    let framed = match record.frame {
        None | Some(0) => String::new(),
        Some(frame) => format!(" (frame {frame})"),
    };
    if let Some(Value::Code(code)) = definition.fields[0].decode(record.data) {
        return match code {
            Some(code) => format!("caused by {code}{framed}"),
            None => format!("none stored{framed}"),
        };
    }
    let values = definition.fields.iter().filter_map(|field| {
        let value = field.decode(record.data)?;
        if value == Value::Absent && field.announced_by.is_some() {
            return None;
        }
        Some(match value {
            Value::Mask(mask) => describe_mask(record.pid.number(), mask.to_be_bytes(), "PIDs"),
            Value::Readiness(readiness) => describe_readiness(readiness),
            value if field.name.is_empty() => value.to_string(),
            value => format!("{} {value}", field.name),
        })
    });
    let values = match list(", ", values) {
        none if none.is_empty() => "none announced".into(),
        some => some,
    };
    if record.pid.is_mask() {
        return values;
    }
    let colon = if definition.fields.iter().all(|field| field.name.is_empty()) {
        ""
    } else {
        ":"
    };
    format!("{}{framed}{colon} {values}", definition.name)
}

fn describe_readiness(readiness: Readiness) -> String {
    let groups = |complete| {
        let chosen = readiness
            .groups()
            .filter(move |group| group.supported && group.complete == complete);
        match list(" ", chosen.map(|group| group.name)) {
            none if none.is_empty() => "none".into(),
            some => some,
        }
    };
    format!("complete {}, not complete {}", groups(true), groups(false))
}

fn describe_codes(service: Service, codes: Codes<'_>) -> String {
    let kind = match service {
        Service::PendingCodes => "pending",
        Service::PermanentCodes => "permanent",
        _ => "confirmed",
    };
    match codes.len() {
        0 => format!("no {kind} code"),
        1 => format!("1 {kind} code: {}", list(" ", codes.iter())),
        count => format!("{count} {kind} codes: {}", list(" ", codes.iter())),
    }
}

fn describe_information(information: Information<'_>) -> String {
    match information {
        Information::Vin(vin) => format!("vehicle identification number {}", outside_text(vin)),
        Information::CalibrationIds(ids) => {
            format!(
                "calibration identification {}",
                list(", ", ids.iter().map(|id| outside_text(id)))
            )
        }
        Information::VerificationNumbers(numbers) => {
            let numbers = numbers
                .iter()
                .map(|&number| format!("{:08X}", u32::from_be_bytes(number)));
            format!("calibration verification number {}", list(", ", numbers))
        }
        Information::EcuName(name) => {
            let (acronym, text) = name.split_at(4);
            format!("ECU name {}{}", outside_text(acronym), outside_text(text))
        }
        Information::InUse(_) | Information::InUseCompression(_) => {
            let say = |(place, (name, count)): (usize, (Option<&str>, u16))| match name {
                Some(name) => format!("{name} {count}"),
                None => format!("counter {} {count}", place + 1),
            };
            let counters = information.counters().enumerate().map(say);
            format!("{}: {}", info_name(information.info_type()), list(", ", counters))
        }
        Information::Text(info_type, text) => format!("{} {}", info_name(info_type), outside_text(text)),
        Information::Number(info_type, bytes) => {
            let number = bytes
                .iter()
                .fold(0_u32, |number, &byte| number << 8 | u32::from(byte));
            format!("{} {number}", info_name(info_type))
        }
        Information::Other(info_type, data) => format!("{}{}", info_name(info_type), hex(data)),
    }
}

#[cfg(test)]
mod tests;
