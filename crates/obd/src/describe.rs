//! Requests and answers in plain words, for `walkthrough`, `explain` and reports.
//!
//! Text that came over the bus (VIN, calibration id, name) is shown with everything but printable ASCII escaped.
//! The words are written straight to where they are wanted: a listing of millions of messages costs no allocation each.

use alloc::string::String;
use core::fmt::{Display, Result, Write};

use twotrip_units::decimal::{self, write_hex, write_whole};

use crate::{
    Codes, Control, Information, Mid, Pid, Readiness, Record, Records, Request, Response, ResponseCode,
    Service, Tid, info::InfoType, mask::is_mask, pid::Value, uds,
};

/// A request in words: `asks for engine speed, vehicle speed`.
#[must_use]
pub fn describe_request(bytes: &[u8]) -> String {
    let mut words = String::new();
    // A string takes everything.
    let _ = write_request(&mut words, bytes);
    words
}

/// An answer in words: `engine speed 1726 rpm; vehicle speed 80 km/h`, `1 confirmed code: P0455`.
#[must_use]
pub fn describe_response(bytes: &[u8]) -> String {
    let mut words = String::new();
    let _ = write_response(&mut words, bytes);
    words
}

/// As [`describe_request`], behind what `out` holds already.
///
/// # Errors
/// Those of `out`.
pub fn write_request(out: &mut impl Write, bytes: &[u8]) -> Result {
    if uds::is_request(bytes) {
        return uds::write_request(out, bytes);
    }
    let request = match Request::parse(bytes) {
        Ok(request) => request,
        Err(error) => return write!(out, "malformed request: {error}"),
    };
    match request {
        Request::CurrentData(parameters) => {
            out.write_str("asks for ")?;
            write_list(out, ", ", parameters.numbers(), |out, &number| {
                write_parameter(out, number)
            })
        }
        Request::FreezeFrame(parameters) => {
            out.write_str("asks the freeze frame for ")?;
            write_list(out, ", ", parameters.pairs(), |out, &[number, frame]| {
                write_parameter(out, number)?;
                write_frame(out, frame)
            })
        }
        Request::VehicleInformation(parameters) => {
            out.write_str("asks for ")?;
            write_list(out, ", ", parameters.numbers(), |out, &number| {
                if is_mask(number) {
                    write_supported(out, Service::VehicleInformation, number)
                } else {
                    write!(out, "{}", InfoType::new(number))
                }
            })
        }
        Request::TestResults(parameters) => {
            out.write_str("asks for ")?;
            write_list(out, ", ", parameters.numbers(), |out, &number| {
                if is_mask(number) {
                    write_supported(out, Service::TestResults, number)
                } else {
                    write!(out, "test results of {}", Mid::new(number).name())
                }
            })
        }
        Request::Control(Control::Masks(numbers)) => {
            out.write_str("asks for ")?;
            write_list(out, ", ", numbers, |out, &number| {
                write_supported(out, Service::Control, number)
            })
        }
        Request::Control(Control::Test(tid, data)) => {
            out.write_str("commands ")?;
            write_control_name(out, tid)?;
            write_bytes(out, data)
        }
        Request::ConfirmedCodes => out.write_str("asks for confirmed codes"),
        Request::PendingCodes => out.write_str("asks for pending codes"),
        Request::PermanentCodes => out.write_str("asks for permanent codes"),
        Request::Clear => out.write_str("asks to clear codes, freeze frame and readiness"),
        Request::Other(service, parameters) => {
            write!(out, "asks {service}")?;
            write_bytes(out, parameters)
        }
    }
}

/// As [`describe_response`], behind what `out` holds already.
///
/// # Errors
/// Those of `out`.
pub fn write_response(out: &mut impl Write, bytes: &[u8]) -> Result {
    if uds::is_answer(bytes) {
        return uds::write_response(out, bytes);
    }
    let response = match Response::parse(bytes) {
        Ok(response) => response,
        Err(error) => return write!(out, "malformed answer: {error}"),
    };
    match response {
        Response::CurrentData(records) => write_records(out, records),
        Response::FreezeFrame(records) => {
            out.write_str("freeze frame: ")?;
            write_records(out, records)
        }
        Response::Codes(service, codes) => write_codes(out, service, codes),
        Response::Cleared => out.write_str("codes, freeze frame and readiness cleared"),
        Response::Masks(service, masks) => write_list(out, "; ", masks, |out, &[base, mask @ ..]| {
            write_mask(out, base, mask, service)
        }),
        Response::TestResults(results) => {
            write_list(out, "; ", results.iter(), |out, result| write!(out, "{result}"))
        }
        Response::Control(tid, data) => {
            out.write_str("takes ")?;
            write_control_name(out, tid)?;
            out.write_str(":")?;
            write_bytes(out, data)
        }
        Response::Information(information) => write_information(out, information),
        Response::Negative(service, ResponseCode::ResponsePending) => {
            write_service_name(out, service)?;
            out.write_str(": the answer will follow (response pending, $78)")
        }
        Response::Negative(service, code) => {
            write_service_name(out, service)?;
            write!(out, " refused: {code}")
        }
        Response::Other(service, data) => {
            write!(out, "answers {service}")?;
            write_bytes(out, data)
        }
    }
}

pub(crate) fn write_service_name(out: &mut impl Write, service: Service) -> Result {
    match service {
        Service::Unknown(number) => write!(out, "service ${number:02X}"),
        known => out.write_str(known.name()),
    }
}

/// Bytes in hexadecimal, blanks between them. Long ones are cut.
///
/// # Errors
/// Those of `out`.
pub fn write_data(out: &mut impl Write, bytes: &[u8]) -> Result {
    const SHOWN: usize = 16;
    match bytes.split_at_checked(SHOWN) {
        Some((shown, rest @ [_, ..])) => {
            decimal::write_bytes(out, shown)?;
            write!(out, " and {} bytes more", rest.len())
        }
        _ => decimal::write_bytes(out, bytes),
    }
}

/// The same behind a blank; nothing for none.
pub(crate) fn write_bytes(out: &mut impl Write, bytes: &[u8]) -> Result {
    if bytes.is_empty() {
        return Ok(());
    }
    out.write_str(" ")?;
    write_data(out, bytes)
}

/// Items with something between them.
pub(crate) fn write_list<W: Write, I>(
    out: &mut W,
    separator: &str,
    items: impl IntoIterator<Item = I>,
    mut write: impl FnMut(&mut W, I) -> Result,
) -> Result {
    for (place, item) in items.into_iter().enumerate() {
        if place > 0 {
            out.write_str(separator)?;
        }
        write(out, item)?;
    }
    Ok(())
}

/// The frame of the freeze frame, where it is not the one that everybody has.
fn write_frame(out: &mut impl Write, frame: u8) -> Result {
    match frame {
        0 => Ok(()),
        frame => write!(out, " (frame {frame})"),
    }
}

/// Text from the bus: the zero bytes that fill it up are left out, the rest is escaped.
fn outside_text(bytes: &[u8]) -> impl Display {
    let end = bytes
        .iter()
        .rposition(|&byte| byte != 0)
        .map_or(0, |last| last + 1);
    bytes[..end].escape_ascii()
}

fn write_supported(out: &mut impl Write, service: Service, base: u8) -> Result {
    let (what, first) = (service.parameter(), base.saturating_add(1));
    write!(out, "the supported {what}s from ${first:02X}")
}

fn write_parameter(out: &mut impl Write, number: u8) -> Result {
    if is_mask(number) {
        return write_supported(out, Service::CurrentData, number);
    }
    let pid = Pid::new(number);
    match pid.definition() {
        Some(definition) => out.write_str(definition.name),
        None => write!(out, "PID {pid}"),
    }
}

pub(crate) fn write_control_name(out: &mut impl Write, tid: Tid) -> Result {
    match tid.control_name() {
        Some(name) => out.write_str(name),
        None => write!(out, "control {tid}"),
    }
}

/// A mask's numbers; its last bit announces the next mask.
fn write_mask(out: &mut impl Write, base: u8, mask: [u8; 4], service: Service) -> Result {
    write_mask_of(out, base, mask, service.parameter())
}

/// The same of what is called `what`.
pub(crate) fn write_mask_of(out: &mut impl Write, base: u8, mask: [u8; 4], what: &str) -> Result {
    let word = u32::from_be_bytes(mask);
    if word >> 1 == 0 {
        write!(out, "supports no {what}s from ${:02X}", base.saturating_add(1))?;
    } else {
        write!(out, "supports {what}s")?;
        for (number, place) in (base.saturating_add(1)..=u8::MAX).zip(0..31) {
            if word << place & 0x8000_0000 != 0 {
                out.write_str(" ")?;
                write_hex(out, number)?;
            }
        }
    }
    out.write_str(if word & 1 == 1 { ", more follow" } else { "" })
}

fn write_records(out: &mut impl Write, records: Records<'_>) -> Result {
    let mut any = false;
    for record in records {
        if any {
            out.write_str("; ")?;
        }
        any = true;
        match record {
            Ok(record) => write_record(out, record)?,
            Err(error) => write!(out, "unreadable: {error}")?,
        }
    }
    out.write_str(if any { "" } else { "no data" })
}

pub(crate) fn write_record(out: &mut impl Write, record: Record<'_>) -> Result {
    let Some(definition) = record.pid.definition() else {
        write!(out, "PID {}", record.pid)?;
        return write_bytes(out, record.data);
    };
    let frame = record.frame.unwrap_or(0);
    if let Some(Value::Code(code)) = definition.fields[0].decode(record.data) {
        match code {
            Some(code) => write!(out, "caused by {code}")?,
            None => out.write_str("none stored")?,
        }
        return write_frame(out, frame);
    }
    if !record.pid.is_mask() {
        out.write_str(definition.name)?;
        write_frame(out, frame)?;
        if definition.fields.iter().any(|field| !field.name.is_empty()) {
            out.write_str(":")?;
        }
        out.write_str(" ")?;
    }
    let mut any = false;
    for field in definition.fields {
        let Some(value) = field.decode(record.data) else {
            continue;
        };
        if value == Value::Absent && field.announced_by.is_some() {
            continue;
        }
        if any {
            out.write_str(", ")?;
        }
        any = true;
        match value {
            Value::Mask(mask) => {
                write_mask(out, record.pid.number(), mask.to_be_bytes(), Service::CurrentData)?;
            }
            Value::Readiness(readiness) => write_readiness(out, readiness)?,
            value => {
                if !field.name.is_empty() {
                    out.write_str(field.name)?;
                    out.write_str(" ")?;
                }
                value.write(out)?;
            }
        }
    }
    out.write_str(if any { "" } else { "none announced" })
}

fn write_readiness(out: &mut impl Write, readiness: Readiness) -> Result {
    for (heading, complete) in [("complete", true), (", not complete", false)] {
        out.write_str(heading)?;
        let mut any = false;
        for group in readiness.groups() {
            if group.supported && group.complete == complete {
                out.write_str(" ")?;
                out.write_str(group.name)?;
                any = true;
            }
        }
        out.write_str(if any { "" } else { " none" })?;
    }
    Ok(())
}

fn write_codes(out: &mut impl Write, service: Service, codes: Codes<'_>) -> Result {
    let kind = service.kind_of_codes();
    match codes.len() {
        0 => return write!(out, "no {kind} code"),
        1 => write!(out, "1 {kind} code:")?,
        count => write!(out, "{count} {kind} codes:")?,
    }
    for code in codes.iter() {
        write!(out, " {code}")?;
    }
    Ok(())
}

pub(crate) fn write_information(out: &mut impl Write, information: Information<'_>) -> Result {
    match information {
        Information::Vin(vin) => write!(out, "vehicle identification number {}", outside_text(vin)),
        Information::CalibrationIds(ids) => {
            out.write_str("calibration identification ")?;
            write_list(out, ", ", ids, |out, id| write!(out, "{}", outside_text(id)))
        }
        Information::VerificationNumbers(numbers) => {
            out.write_str("calibration verification number ")?;
            write_list(out, ", ", numbers, |out, &number| {
                number.iter().try_for_each(|&byte| write_hex(out, byte))
            })
        }
        Information::EcuName(name) => {
            let (acronym, text) = name.split_at(4);
            write!(out, "ECU name {}{}", outside_text(acronym), outside_text(text))
        }
        Information::InUse(_) | Information::InUseCompression(_) => {
            write!(out, "{}: ", information.info_type())?;
            let counters = (1..).zip(information.counters());
            write_list(out, ", ", counters, |out, (place, (name, count))| {
                match name {
                    Some(name) => out.write_str(name)?,
                    None => write!(out, "counter {place}")?,
                }
                out.write_str(" ")?;
                write_whole(out, u64::from(count))
            })
        }
        Information::Text(info_type, text) => write!(out, "{info_type} {}", outside_text(text)),
        Information::Number(info_type, _) => {
            write!(out, "{info_type} {}", information.number().unwrap_or_default())
        }
        Information::Other(info_type, data) => {
            write!(out, "{info_type}")?;
            write_bytes(out, data)
        }
    }
}

#[cfg(test)]
mod tests;
