//! What an ECU answers in SAE J1979-2 (layouts of ISO 14229-1), as a tester reads it; [`answer`](super::answer) is the way
//! back.

use core::time::Duration;

use thiserror::Error;

use super::{Data, FORMAT, Frames, FullDtc, Severity, Status};
use crate::{ResponseCode, Service};

/// An answer, taken apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Response<'a> {
    /// $50: the session, and how long answers take in it.
    Session {
        /// The session.
        session: u8,
        /// From a request to its answer.
        p2: Duration,
        /// The same after response pending.
        p2_star: Duration,
    },
    /// $54.
    Cleared,
    /// $59 $42.
    CodesByMask {
        /// Functional group.
        group: u8,
        /// The status bits that the ECU has.
        available: Status,
        /// The codes.
        codes: GradedCodes<'a>,
    },
    /// $59 $55.
    PermanentCodes {
        /// Functional group.
        group: u8,
        /// The status bits that the ECU has.
        available: Status,
        /// The codes.
        codes: Codes<'a>,
    },
    /// $59 $56.
    CodesByReadiness {
        /// Functional group.
        group: u8,
        /// The status bits that the ECU has.
        available: Status,
        /// Readiness group.
        readiness: u8,
        /// The codes.
        codes: Codes<'a>,
    },
    /// $59 $1A.
    CodesWithRecord {
        /// The status bits that the ECU has.
        available: Status,
        /// The record.
        record: u8,
        /// The codes.
        codes: Codes<'a>,
    },
    /// $59 $04.
    FreezeFrames {
        /// The code.
        code: FullDtc,
        /// Its status.
        status: Status,
        /// Its frames; none if it has none.
        frames: Frames<'a>,
    },
    /// $59 $06.
    ExtendedData {
        /// The code.
        code: FullDtc,
        /// Its status.
        status: Status,
        /// Records and their data, whose lengths no published source gives.
        data: &'a [u8],
    },
    /// $62.
    Data(Data<'a>),
    /// $71.
    Routine {
        /// 1: it was started.
        what: u8,
        /// Its number.
        routine: u16,
        /// What it says (**uncertain**).
        data: &'a [u8],
    },
    /// $7E.
    TesterPresent,
    /// $7F: the service asked was refused.
    Negative(Service, ResponseCode),
}

/// Why bytes are no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum ResponseError {
    /// It answers no service of this dialect.
    #[error("no answer of J1979-2 begins with this byte")]
    Service,
    /// A sub-function that J1979-2 does not use.
    #[error("answers to sub-function `${0:02X}` are not known")]
    SubFunction(u8),
    /// Bytes missing, too many, or no whole entries.
    #[error("an answer of `{service}` cannot have `{found}` bytes")]
    Length {
        /// The service that it answers.
        service: Service,
        /// Bytes of the answer.
        found: usize,
    },
    /// Codes of another format than SAE J2012-DA's.
    #[error("codes of format `{0}` are not known, only `4`")]
    Format(u8),
}

/// Codes with their status, four bytes each. For $55 one reader on PyPI expects five, with a severity before; ISO 14229-1
/// has four (from memory).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Codes<'a>(&'a [[u8; 4]]);

impl<'a> Codes<'a> {
    /// The codes in the order of the answer.
    pub fn iter(self) -> impl ExactSizeIterator<Item = (FullDtc, Status)> + 'a {
        let apart =
            |&[a, b, c, status]: &[u8; 4]| (FullDtc::from_bytes([a, b, c]), Status::from_byte(status));
        self.0.iter().map(apart)
    }
}

/// Codes with severity and status, five bytes each.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GradedCodes<'a>(&'a [[u8; 5]]);

impl<'a> GradedCodes<'a> {
    /// The codes in the order of the answer.
    pub fn iter(self) -> impl ExactSizeIterator<Item = (Severity, FullDtc, Status)> + 'a {
        self.0.iter().map(|&[severity, a, b, c, status]| {
            let code = FullDtc::from_bytes([a, b, c]);
            (Severity::from_byte(severity), code, Status::from_byte(status))
        })
    }
}

impl<'a> Response<'a> {
    /// Reads an answer.
    ///
    /// # Errors
    /// If it is none of this dialect, or if its length does not fit. Errors inside data come with [`Data`] and [`Frames`],
    /// so that what stands before them is not lost.
    pub fn parse(bytes: &'a [u8]) -> Result<Self, ResponseError> {
        let (&first, rest) = bytes.split_first().ok_or(ResponseError::Service)?;
        if first == 0x7F {
            return match *rest {
                [service, code] => Ok(Self::Negative(
                    Service::from_byte(service),
                    ResponseCode::from_byte(code),
                )),
                _ => Err(ResponseError::Service),
            };
        }
        let number = first.checked_sub(0x40).ok_or(ResponseError::Service)?;
        let service = Service::from_byte(number);
        let length = ResponseError::Length {
            service,
            found: bytes.len(),
        };
        match (service, rest) {
            (Service::Session, &[session, a, b, c, d]) => Ok(Self::Session {
                session,
                p2: Duration::from_millis(u16::from_be_bytes([a, b]).into()),
                // In units of 10 ms (ISO 14229-2).
                p2_star: Duration::from_millis(u64::from(u16::from_be_bytes([c, d])) * 10),
            }),
            (Service::ClearByGroup, []) => Ok(Self::Cleared),
            (Service::ReadCodes, &[sub, ref rest @ ..]) => Self::parse_codes(sub, rest, length),
            (Service::ReadData, rest @ [_, _, _, ..]) => Ok(Self::Data(Data::new(rest))),
            (Service::Routine, &[what, high, low, ref data @ ..]) => Ok(Self::Routine {
                what,
                routine: u16::from_be_bytes([high, low]),
                data,
            }),
            (Service::TesterPresent, [0]) => Ok(Self::TesterPresent),
            (service, _) if super::is_service(service) => Err(length),
            _ => Err(ResponseError::Service),
        }
    }

    fn parse_codes(sub: u8, rest: &'a [u8], length: ResponseError) -> Result<Self, ResponseError> {
        let graded = |codes: &'a [u8]| match codes.as_chunks() {
            (codes, []) => Ok(GradedCodes(codes)),
            _ => Err(length),
        };
        let plain = |codes: &'a [u8]| match codes.as_chunks() {
            (codes, []) => Ok(Codes(codes)),
            _ => Err(length),
        };
        match (sub, rest) {
            // Group, status bits, severity bits, format.
            (0x42, &[_, _, _, format, ..]) | (0x55 | 0x56, &[_, _, format, ..]) if format != FORMAT => {
                Err(ResponseError::Format(format))
            }
            (0x42, &[group, available, _, _, ref codes @ ..]) => Ok(Self::CodesByMask {
                group,
                available: Status::from_byte(available),
                codes: graded(codes)?,
            }),
            (0x55, &[group, available, _, ref codes @ ..]) => Ok(Self::PermanentCodes {
                group,
                available: Status::from_byte(available),
                codes: plain(codes)?,
            }),
            (0x56, &[group, available, _, readiness, ref codes @ ..]) => Ok(Self::CodesByReadiness {
                group,
                available: Status::from_byte(available),
                readiness,
                codes: plain(codes)?,
            }),
            (0x1A, &[available, record, ref codes @ ..]) => Ok(Self::CodesWithRecord {
                available: Status::from_byte(available),
                record,
                codes: plain(codes)?,
            }),
            (0x04, &[a, b, c, status, ref frames @ ..]) => Ok(Self::FreezeFrames {
                code: FullDtc::from_bytes([a, b, c]),
                status: Status::from_byte(status),
                frames: Frames::new(frames),
            }),
            (0x06, &[a, b, c, status, ref data @ ..]) => Ok(Self::ExtendedData {
                code: FullDtc::from_bytes([a, b, c]),
                status: Status::from_byte(status),
                data,
            }),
            (0x42 | 0x55 | 0x56 | 0x1A | 0x04 | 0x06, _) => Err(length),
            _ => Err(ResponseError::SubFunction(sub)),
        }
    }
}
