//! Answers of SAE J1979-2 as an ECU writes them: each function begins one in a [`ResponseBuffer`], entries follow by
//! [`push_code`], [`push_graded`], [`push_data`]. Errors: [`BufferFull`] if the answer does not fit.

use core::time::Duration;

use super::{Did, FORMAT, FullDtc, Severity, Status};
use crate::{BufferFull, ResponseBuffer, Service};

/// $50 with both times.
///
/// # Errors
/// If it does not fit.
pub fn session(
    out: &mut ResponseBuffer,
    session: u8,
    p2: Duration,
    p2_star: Duration,
) -> Result<(), BufferFull> {
    let count = |time: Duration, unit: u128| {
        let count = u16::try_from(time.as_millis() / unit).unwrap_or(u16::MAX);
        count.to_be_bytes()
    };
    out.begin(Service::Session)?;
    out.extend(&[session])?;
    out.extend(&count(p2, 1))?;
    out.extend(&count(p2_star, 10))
}

/// $59 $42, before its codes.
///
/// # Errors
/// If it does not fit.
pub fn begin_codes_by_mask(
    out: &mut ResponseBuffer,
    group: u8,
    available: (Status, Severity),
) -> Result<(), BufferFull> {
    let (status, severity) = available;
    out.begin(Service::ReadCodes)?;
    out.extend(&[0x42, group, status.to_byte(), severity.to_byte(), FORMAT])
}

/// $59 $55, before its codes.
///
/// # Errors
/// If it does not fit.
pub fn begin_permanent_codes(
    out: &mut ResponseBuffer,
    group: u8,
    available: Status,
) -> Result<(), BufferFull> {
    out.begin(Service::ReadCodes)?;
    out.extend(&[0x55, group, available.to_byte(), FORMAT])
}

/// $59 $56, before its codes.
///
/// # Errors
/// If it does not fit.
pub fn begin_codes_by_readiness(
    out: &mut ResponseBuffer,
    group: u8,
    available: Status,
    readiness: u8,
) -> Result<(), BufferFull> {
    out.begin(Service::ReadCodes)?;
    out.extend(&[0x56, group, available.to_byte(), FORMAT, readiness])
}

/// $59 $1A, before its codes.
///
/// # Errors
/// If it does not fit.
pub fn begin_codes_with_record(
    out: &mut ResponseBuffer,
    available: Status,
    record: u8,
) -> Result<(), BufferFull> {
    out.begin(Service::ReadCodes)?;
    out.extend(&[0x1A, available.to_byte(), record])
}

/// $59 $04 or $06, before its records.
///
/// # Errors
/// If it does not fit.
pub fn begin_records(
    out: &mut ResponseBuffer,
    sub_function: u8,
    code: FullDtc,
    status: Status,
) -> Result<(), BufferFull> {
    out.begin(Service::ReadCodes)?;
    out.extend(&[sub_function])?;
    push_code(out, code, status)
}

/// A code with its status.
///
/// # Errors
/// If it does not fit.
pub fn push_code(out: &mut ResponseBuffer, code: FullDtc, status: Status) -> Result<(), BufferFull> {
    let [a, b, c] = code.to_bytes();
    out.extend(&[a, b, c, status.to_byte()])
}

/// A code with severity and status.
///
/// # Errors
/// If it does not fit.
pub fn push_graded(
    out: &mut ResponseBuffer,
    severity: Severity,
    code: FullDtc,
    status: Status,
) -> Result<(), BufferFull> {
    out.extend(&[severity.to_byte()])?;
    push_code(out, code, status)
}

/// A data identifier, before its data.
///
/// # Errors
/// If it does not fit.
pub fn push_data(out: &mut ResponseBuffer, did: Did) -> Result<(), BufferFull> {
    out.extend(&did.to_bytes())
}
