//! Messages of SAE J1979-2 in plain words. Parameters, tests and vehicle information read as those of SAE J1979.

use core::fmt::{Result, Write};

use super::{
    ALL_EMISSION_CODES, ALL_RECORDS, Codes, Data, Datum, Did, EMISSIONS, FIRST_FRAME, FullDtc, IN_USE_RECORD,
    LATEST_FRAME, Request, RequestError, Response, ResponseError, Status, readiness_group,
};
use crate::{
    ResponseCode, Service, Tid,
    describe::{
        write_bytes, write_control_name, write_information, write_list, write_mask_of, write_record,
        write_service_name,
    },
};

/// A request in words, behind what `out` holds already.
pub(crate) fn write_request(out: &mut impl Write, bytes: &[u8]) -> Result {
    let request = match Request::parse(bytes) {
        Ok(request) => request,
        // Of UDS, if not of on-board diagnostics.
        Err(RequestError::SubFunction { service, .. }) => {
            write!(out, "asks {service}")?;
            return write_bytes(out, &bytes[1..]);
        }
        Err(error) => return write!(out, "malformed request: {error}"),
    };
    match request {
        Request::Session(sub) if sub.number == 1 => out.write_str("asks for the default session")?,
        Request::Session(sub) => write!(out, "asks for session ${:02X}", sub.number)?,
        Request::Clear(ALL_EMISSION_CODES) => {
            out.write_str("asks to clear codes, freeze frames and readiness")?;
        }
        Request::Clear(group) => {
            out.write_str("asks to clear the codes of group")?;
            write_bytes(out, &group)?;
        }
        Request::CodesByMask { group, status, .. } => {
            out.write_str("asks for ")?;
            write_kind(out, status)?;
            out.write_str("codes")?;
            write_group(out, group)?;
        }
        Request::PermanentCodes { group, .. } => {
            out.write_str("asks for permanent codes")?;
            write_group(out, group)?;
        }
        Request::CodesByReadiness { group, readiness, .. } => {
            out.write_str("asks for the codes of ")?;
            write_readiness_group(out, readiness)?;
            write_group(out, group)?;
        }
        Request::CodesWithRecord { record, .. } => {
            write!(out, "asks for the codes with extended data record ${record:02X}")?;
        }
        Request::FreezeFrame { code, record, .. } => {
            out.write_str("asks for the ")?;
            out.write_str(match record {
                FIRST_FRAME => "first freeze frame",
                LATEST_FRAME => "latest freeze frame",
                _ => "freeze frames",
            })?;
            write!(out, " of {code}")?;
            if !matches!(record, FIRST_FRAME | LATEST_FRAME | ALL_RECORDS) {
                write!(out, " (record ${record:02X})")?;
            }
        }
        Request::ExtendedData { code, record, .. } => {
            write!(out, "asks for extended data of {code} (record ${record:02X})")?;
        }
        Request::ReadData([did]) if Did::from_bytes(*did) == Did::PROTOCOL => {
            out.write_str("asks whether anybody speaks OBD on UDS (J1979-2)")?;
        }
        Request::ReadData(dids) => {
            out.write_str("asks for ")?;
            write_list(out, ", ", dids, |out, &did| Did::from_bytes(did).write_name(out))?;
        }
        Request::Routine { what, routine, data } => {
            out.write_str(match what.number {
                1 => "commands ",
                2 => "stops ",
                3 => "asks for the result of ",
                _ => "asks for something of ",
            })?;
            write_routine(out, routine)?;
            write_bytes(out, data)?;
        }
        Request::TesterPresent(_) => out.write_str("says that it is still there")?,
    }
    out.write_str(if request.is_quiet() {
        " (without an answer)"
    } else {
        ""
    })
}

/// An answer in words, behind what `out` holds already.
pub(crate) fn write_response(out: &mut impl Write, bytes: &[u8]) -> Result {
    let response = match Response::parse(bytes) {
        Ok(response) => response,
        Err(ResponseError::SubFunction(_)) => {
            write!(out, "answers {}", Service::ReadCodes)?;
            return write_bytes(out, &bytes[1..]);
        }
        Err(error) => return write!(out, "malformed answer: {error}"),
    };
    match response {
        Response::Session { session, p2, p2_star } => write!(
            out,
            "session ${session:02X}: answers within {} ms, {} ms after response pending",
            p2.as_millis(),
            p2_star.as_millis()
        ),
        Response::Cleared => out.write_str("codes, freeze frames and readiness cleared"),
        Response::CodesByMask { codes, .. } => {
            let codes = codes.iter();
            write_count(out, codes.len(), "")?;
            let mut codes = codes.enumerate();
            codes.try_for_each(|(place, (severity, code, status))| {
                write_code(out, place, code)?;
                write!(out, " ({status}; {severity})")
            })
        }
        Response::PermanentCodes { codes, .. } => write_codes(out, codes, "permanent "),
        Response::CodesByReadiness { readiness, codes, .. } => {
            write_readiness_group(out, readiness)?;
            let codes = codes.iter();
            let count = codes.len();
            let open = codes.filter(|(_, status)| status.has(Status::NOT_RUN_SINCE_CLEAR));
            match open.count() {
                0 => write!(out, ": all {count} codes judged since clear"),
                open => write!(out, ": {open} of {count} codes not judged since clear"),
            }
        }
        Response::CodesWithRecord { record, codes, .. } => {
            let count = codes.iter().len();
            write!(out, "{count} codes have extended data record ${record:02X}")
        }
        Response::FreezeFrames { code, status, frames } => {
            write!(out, "{code} ({status})")?;
            let mut any = false;
            for frame in frames {
                any = true;
                let frame = match frame {
                    Ok(frame) => frame,
                    Err(error) => return write!(out, "; unreadable: {error}"),
                };
                match frame.record {
                    FIRST_FRAME => out.write_str("; first freeze frame: ")?,
                    LATEST_FRAME => out.write_str("; latest freeze frame: ")?,
                    record => write!(out, "; freeze frame ${record:02X}: ")?,
                }
                write_data(out, frame.data)?;
            }
            out.write_str(if any { "" } else { ": no freeze frame" })
        }
        Response::ExtendedData { code, status, data } => {
            write!(out, "{code} ({status}): extended data")?;
            match *data {
                [IN_USE_RECORD, a, b, c, d] => {
                    let [completions, conditions] = [[a, b], [c, d]].map(u16::from_be_bytes);
                    write!(out, ", in-use completions {completions}, conditions {conditions}")
                }
                [] => out.write_str(" none"),
                _ => write_bytes(out, data),
            }
        }
        Response::Data(data) => write_data(out, data),
        Response::Routine { what, routine, data } => {
            out.write_str(if what == 1 { "takes " } else { "answers for " })?;
            write_routine(out, routine)?;
            out.write_str(if data.is_empty() { "" } else { ":" })?;
            write_bytes(out, data)
        }
        Response::TesterPresent => out.write_str("knows that the tester is there"),
        Response::Negative(service, ResponseCode::ResponsePending) => {
            write_service_name(out, service)?;
            out.write_str(": the answer will follow (response pending, $78)")
        }
        Response::Negative(service, code) => {
            write_service_name(out, service)?;
            write!(out, " refused: {code}")
        }
    }
}

/// Which codes a status mask asks for, with a blank behind.
fn write_kind(out: &mut impl Write, status: Status) -> Result {
    match status {
        Status::CONFIRMED => out.write_str("confirmed "),
        Status::PENDING => out.write_str("pending "),
        Status::ALL => out.write_str("all "),
        status => write!(out, "({status}) "),
    }
}

/// A functional group that is not the usual one.
fn write_group(out: &mut impl Write, group: u8) -> Result {
    match group {
        EMISSIONS => Ok(()),
        group => write!(out, " of functional group ${group:02X}"),
    }
}

fn write_readiness_group(out: &mut impl Write, number: u8) -> Result {
    write!(out, "readiness group ${number:02X}")?;
    match readiness_group(number) {
        Some(group) => write!(out, " ({}, by our numbers)", group.name()),
        None => Ok(()),
    }
}

/// `no permanent code`, `1 code:`, `2 codes:`.
fn write_count(out: &mut impl Write, count: usize, kind: &str) -> Result {
    match count {
        0 => write!(out, "no {kind}code"),
        1 => write!(out, "1 {kind}code:"),
        count => write!(out, "{count} {kind}codes:"),
    }
}

fn write_codes(out: &mut impl Write, codes: Codes<'_>, kind: &str) -> Result {
    let codes = codes.iter();
    write_count(out, codes.len(), kind)?;
    let mut codes = codes.enumerate();
    codes.try_for_each(|(place, (code, _))| write_code(out, place, code))
}

/// A code behind others, with its failure type in words.
fn write_code(out: &mut impl Write, place: usize, code: FullDtc) -> Result {
    out.write_str(if place > 0 { ", " } else { " " })?;
    write!(out, "{code}")?;
    match code.failure.name().filter(|_| code.failure.number() != 0) {
        Some(name) => write!(out, " {name}"),
        None => Ok(()),
    }
}

fn write_routine(out: &mut impl Write, routine: u16) -> Result {
    match routine.to_be_bytes() {
        [0xE0, tid] => write_control_name(out, Tid::new(tid)),
        _ => write!(out, "routine ${routine:04X}"),
    }
}

fn write_data(out: &mut impl Write, data: Data<'_>) -> Result {
    let mut any = false;
    for datum in data {
        if any {
            out.write_str("; ")?;
        }
        any = true;
        match datum {
            Ok(Datum::Parameter(record)) => write_record(out, record)?,
            Ok(Datum::Mask(did, mask)) => {
                let [_, base] = did.to_bytes();
                write_mask_of(out, base, mask, did.kind())?;
            }
            Ok(datum @ Datum::Tests(..)) => {
                write_list(out, "; ", datum.results(), |out, result| write!(out, "{result}"))?;
            }
            Ok(Datum::Information(information)) => write_information(out, information)?,
            Ok(Datum::Other(did, data)) => {
                did.write_name(out)?;
                write_bytes(out, data)?;
            }
            Err(error) => write!(out, "unreadable: {error}")?,
        }
    }
    out.write_str(if any { "" } else { "no data" })
}
