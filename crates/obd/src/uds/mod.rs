//! SAE J1979-2, OBD on UDS: the messages of ISO 14229-1 that carry on-board diagnostics on cars of later model years.
//!
//! ```text
//! tester: Request::emit  -> bytes -> Request::parse :ECU
//! tester: Response::parse <- bytes <- answer::*      :ECU
//! ```
//!
//! | file | subject |
//! |---|---|
//! | `did` | data identifiers: PIDs, monitors and InfoTypes under numbers of two bytes |
//! | `dtc` | codes of three bytes with their failure type, status and severity |
//! | `request`, `response` | messages, bytes to types and back |
//! | `data` | data identifiers with their data, as answers of $22 and freeze frames carry them |
//! | `answer` | answers as an ECU writes them |
//! | `describe` | both in words |
//!
//! Sources: services and sub-functions by a public help page on J1979-2, names and numbers also in PyPI's `udsoncan`;
//! layouts by ISO 14229-1. What none of these says is marked "(from memory)"; **uncertain** marks what nobody of them
//! settles: whether $F8xx keeps the number of items, whether $F6xx repeats the monitor, the numbers of extended data
//! records and of readiness groups, status bytes of $31.

pub mod answer;
mod data;
mod describe;
mod did;
mod dtc;
mod request;
mod response;
#[cfg(test)]
mod tests;

pub use data::{Data, DataError, Datum, Frame, Frames};
pub(crate) use describe::{write_request, write_response};
pub use did::{Did, Subject};
pub use dtc::{FailureType, FullDtc, Severity, Status};
pub use request::{Request, RequestError, SubFunction};
pub use response::{Codes, GradedCodes, Response, ResponseError};

use crate::Service;

/// The functional group "emissions system" (`udsoncan`: `EMISSIONS_SYSTEM`).
pub const EMISSIONS: u8 = 0x33;
/// Codes are those of SAE J2012-DA, format 04 (`udsoncan`: `SAE_J2012_DA_DTCFormat_04`).
pub const FORMAT: u8 = 0x04;
/// The group of all emission-related codes, for $14 (a public help page).
pub const ALL_EMISSION_CODES: [u8; 3] = [0xFF, 0xFF, EMISSIONS];
/// The record of a code's first freeze frame (a public basic-software header).
pub const FIRST_FRAME: u8 = 0x00;
/// The record of its latest freeze frame (the same).
pub const LATEST_FRAME: u8 = 0xF0;
/// All records of a code.
pub const ALL_RECORDS: u8 = 0xFF;
/// All extended data records of OBD (ISO 14229-1).
pub const OBD_RECORDS: u8 = 0xFE;
/// In-use counts of the code's monitor as extended data (**uncertain**, from memory).
pub const IN_USE_RECORD: u8 = 0x92;
/// What $22 $F810 tells of an ECU that speaks J1979-2 (from memory).
pub const PROTOCOL_ON_UDS: u8 = 0x01;

/// Whether a service belongs to this dialect.
#[must_use]
pub const fn is_service(service: Service) -> bool {
    matches!(
        service,
        Service::Session
            | Service::ClearByGroup
            | Service::ReadCodes
            | Service::ReadData
            | Service::Routine
            | Service::TesterPresent
    )
}

/// Whether a message asks in this dialect.
#[must_use]
pub fn is_request(message: &[u8]) -> bool {
    message
        .first()
        .is_some_and(|&first| is_service(Service::from_byte(first)))
}

/// Whether a message answers in this dialect.
#[must_use]
pub fn is_answer(message: &[u8]) -> bool {
    match *message {
        [0x7F, service, ..] => is_service(Service::from_byte(service)),
        [first, ..] => first
            .checked_sub(0x40)
            .is_some_and(|number| is_service(Service::from_byte(number))),
        [] => false,
    }
}

/// The readiness group with this number in $19 $56: its place in the order of PID $01, from 1 on. **Uncertain**: the list of SAE
/// J1979-DA was not at hand, this order is ours.
#[must_use]
pub fn readiness_group(number: u8) -> Option<crate::Group> {
    let place = usize::from(number).checked_sub(1)?;
    crate::Group::ALL.get(place).copied()
}
