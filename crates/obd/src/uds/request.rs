//! What a tester asks in SAE J1979-2 (layouts of ISO 14229-1).

use alloc::vec::Vec;

use thiserror::Error;

use super::{FullDtc, Severity, Status};
use crate::{ResponseCode, Service};

/// A sub-function, and whether the tester does without a positive answer (bit 7).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SubFunction {
    /// Without bit 7.
    pub number: u8,
    /// No positive answer is wanted.
    pub quiet: bool,
}

impl SubFunction {
    /// Bit 7, suppressPosRspMsgIndicationBit.
    const QUIET: u8 = 0x80;

    /// From its byte.
    #[must_use]
    pub const fn from_byte(byte: u8) -> Self {
        Self {
            number: byte & !Self::QUIET,
            quiet: byte & Self::QUIET != 0,
        }
    }

    /// Its byte.
    #[must_use]
    pub const fn to_byte(self) -> u8 {
        self.number | if self.quiet { Self::QUIET } else { 0 }
    }
}

/// A request.
///
/// ```
/// use twotrip_obd::uds::{Did, Request};
///
/// let request = Request::parse(&[0x22, 0xF4, 0x0C])?;
/// let Request::ReadData(dids) = request else { panic!("another request") };
/// assert!(dids.iter().map(|&did| Did::from_bytes(did)).eq([Did::parameter(0x0C)]));
/// let mut bytes = Vec::new();
/// request.emit(&mut bytes);
/// assert_eq!(bytes, [0x22, 0xF4, 0x0C]);
/// # Ok::<(), twotrip_obd::uds::RequestError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Request<'a> {
    /// $10: another session.
    Session(SubFunction),
    /// $14 with the group of codes.
    Clear([u8; 3]),
    /// $19 $42: codes of a functional group with any of these bits in severity and status.
    CodesByMask {
        /// No positive answer is wanted.
        quiet: bool,
        /// Functional group.
        group: u8,
        /// Status bits.
        status: Status,
        /// Severity bits.
        severity: Severity,
    },
    /// $19 $55: permanent codes of a functional group.
    PermanentCodes {
        /// No positive answer is wanted.
        quiet: bool,
        /// Functional group.
        group: u8,
    },
    /// $19 $56: codes of a readiness group.
    CodesByReadiness {
        /// No positive answer is wanted.
        quiet: bool,
        /// Functional group.
        group: u8,
        /// Readiness group.
        readiness: u8,
    },
    /// $19 $1A: codes that have this extended data record.
    CodesWithRecord {
        /// No positive answer is wanted.
        quiet: bool,
        /// The record.
        record: u8,
    },
    /// $19 $04: freeze frames of a code.
    FreezeFrame {
        /// No positive answer is wanted.
        quiet: bool,
        /// The code.
        code: FullDtc,
        /// The record.
        record: u8,
    },
    /// $19 $06: extended data of a code.
    ExtendedData {
        /// No positive answer is wanted.
        quiet: bool,
        /// The code.
        code: FullDtc,
        /// The record.
        record: u8,
    },
    /// $22 with its data identifiers, one at least.
    ReadData(&'a [[u8; 2]]),
    /// $31: a routine, started, stopped or asked for its result.
    Routine {
        /// 1 starts it.
        what: SubFunction,
        /// Its number.
        routine: u16,
        /// What it is told.
        data: &'a [u8],
    },
    /// $3E.
    TesterPresent(SubFunction),
}

/// Why a request has no meaning, and how an ECU refuses it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum RequestError {
    /// A service of another dialect, or of none.
    #[error("no service of J1979-2 begins with this byte")]
    Service,
    /// A sub-function that J1979-2 does not use.
    #[error("`{service}` has no sub-function `${found:02X}` in J1979-2")]
    SubFunction {
        /// The service.
        service: Service,
        /// As asked.
        found: u8,
    },
    /// Too few or too many bytes.
    #[error("`{service}` takes `{allowed}` bytes, the request has `{found}`")]
    Length {
        /// The service.
        service: Service,
        /// Bytes of the request.
        found: usize,
        /// What is allowed.
        allowed: &'static str,
    },
}

impl RequestError {
    /// The code by which an ECU refuses it (ISO 14229-1).
    #[must_use]
    pub const fn refusal(&self) -> ResponseCode {
        match self {
            Self::Service => ResponseCode::ServiceNotSupported,
            Self::SubFunction { .. } => ResponseCode::SubFunctionNotSupported,
            Self::Length { .. } => ResponseCode::IncorrectLength,
        }
    }
}

impl<'a> Request<'a> {
    /// Reads a request. A sub-function is looked at before the length, but for a request without one (ISO 14229-1, order of
    /// checks).
    ///
    /// # Errors
    /// [`RequestError`], which knows the refusal that it deserves.
    pub fn parse(bytes: &'a [u8]) -> Result<Self, RequestError> {
        let (&service, rest) = bytes.split_first().ok_or(RequestError::Service)?;
        let service = Service::from_byte(service);
        let length = |allowed| RequestError::Length {
            service,
            found: bytes.len(),
            allowed,
        };
        let unknown = |found| RequestError::SubFunction { service, found };
        match service {
            Service::Session => match *rest {
                [sub] => Ok(Self::Session(SubFunction::from_byte(sub))),
                _ => Err(length("2")),
            },
            Service::ClearByGroup => match *rest {
                [a, b, c] => Ok(Self::Clear([a, b, c])),
                _ => Err(length("4")),
            },
            Service::ReadCodes => Self::parse_codes(rest, length, unknown),
            Service::ReadData => match rest.as_chunks() {
                (dids @ [_, ..], []) => Ok(Self::ReadData(dids)),
                _ => Err(length("3, 5, 7 ...")),
            },
            Service::Routine => match *rest {
                [what, high, low, ref data @ ..] => Ok(Self::Routine {
                    what: SubFunction::from_byte(what),
                    routine: u16::from_be_bytes([high, low]),
                    data,
                }),
                _ => Err(length("4 or more")),
            },
            Service::TesterPresent => match *rest {
                [sub] if sub & 0x7F == 0 => Ok(Self::TesterPresent(SubFunction::from_byte(sub))),
                [sub] => Err(unknown(sub & 0x7F)),
                _ => Err(length("2")),
            },
            _ => Err(RequestError::Service),
        }
    }

    fn parse_codes(
        rest: &'a [u8],
        length: impl Fn(&'static str) -> RequestError,
        unknown: impl Fn(u8) -> RequestError,
    ) -> Result<Self, RequestError> {
        let (&sub, rest) = rest.split_first().ok_or_else(|| length("3 or more"))?;
        let SubFunction { number, quiet } = SubFunction::from_byte(sub);
        match (number, rest) {
            (0x42, &[group, status, severity]) => Ok(Self::CodesByMask {
                quiet,
                group,
                status: Status::from_byte(status),
                severity: Severity::from_byte(severity),
            }),
            (0x55, &[group]) => Ok(Self::PermanentCodes { quiet, group }),
            (0x56, &[group, readiness]) => Ok(Self::CodesByReadiness {
                quiet,
                group,
                readiness,
            }),
            (0x1A, &[record]) => Ok(Self::CodesWithRecord { quiet, record }),
            (0x04, &[a, b, c, record]) => Ok(Self::FreezeFrame {
                quiet,
                code: FullDtc::from_bytes([a, b, c]),
                record,
            }),
            (0x06, &[a, b, c, record]) => Ok(Self::ExtendedData {
                quiet,
                code: FullDtc::from_bytes([a, b, c]),
                record,
            }),
            (0x42, _) => Err(length("5")),
            (0x55 | 0x1A, _) => Err(length("3")),
            (0x56, _) => Err(length("4")),
            (0x04 | 0x06, _) => Err(length("6")),
            _ => Err(unknown(number)),
        }
    }

    /// The service asked for.
    #[must_use]
    pub const fn service(&self) -> Service {
        match self {
            Self::Session(_) => Service::Session,
            Self::Clear(_) => Service::ClearByGroup,
            Self::CodesByMask { .. }
            | Self::PermanentCodes { .. }
            | Self::CodesByReadiness { .. }
            | Self::CodesWithRecord { .. }
            | Self::FreezeFrame { .. }
            | Self::ExtendedData { .. } => Service::ReadCodes,
            Self::ReadData(_) => Service::ReadData,
            Self::Routine { .. } => Service::Routine,
            Self::TesterPresent(_) => Service::TesterPresent,
        }
    }

    /// Whether the tester does without a positive answer.
    #[must_use]
    pub const fn is_quiet(&self) -> bool {
        match *self {
            Self::Session(sub) | Self::TesterPresent(sub) | Self::Routine { what: sub, .. } => sub.quiet,
            Self::CodesByMask { quiet, .. }
            | Self::PermanentCodes { quiet, .. }
            | Self::CodesByReadiness { quiet, .. }
            | Self::CodesWithRecord { quiet, .. }
            | Self::FreezeFrame { quiet, .. }
            | Self::ExtendedData { quiet, .. } => quiet,
            Self::Clear(_) | Self::ReadData(_) => false,
        }
    }

    /// Writes the request into `out`, which is emptied first.
    pub fn emit(&self, out: &mut Vec<u8>) {
        out.clear();
        out.push(self.service().to_byte());
        let sub = |number| {
            SubFunction {
                number,
                quiet: self.is_quiet(),
            }
            .to_byte()
        };
        match *self {
            Self::Session(what) | Self::TesterPresent(what) => out.push(what.to_byte()),
            Self::Clear(group) => out.extend_from_slice(&group),
            Self::CodesByMask {
                group,
                status,
                severity,
                ..
            } => out.extend_from_slice(&[sub(0x42), group, status.to_byte(), severity.to_byte()]),
            Self::PermanentCodes { group, .. } => out.extend_from_slice(&[sub(0x55), group]),
            Self::CodesByReadiness { group, readiness, .. } => {
                out.extend_from_slice(&[sub(0x56), group, readiness]);
            }
            Self::CodesWithRecord { record, .. } => out.extend_from_slice(&[sub(0x1A), record]),
            Self::FreezeFrame { code, record, .. } => {
                out.push(sub(0x04));
                out.extend_from_slice(&code.to_bytes());
                out.push(record);
            }
            Self::ExtendedData { code, record, .. } => {
                out.push(sub(0x06));
                out.extend_from_slice(&code.to_bytes());
                out.push(record);
            }
            Self::ReadData(dids) => out.extend_from_slice(dids.as_flattened()),
            Self::Routine { what, routine, data } => {
                out.push(what.to_byte());
                out.extend_from_slice(&routine.to_be_bytes());
                out.extend_from_slice(data);
            }
        }
    }
}
