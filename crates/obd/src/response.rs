//! What an ECU answers, as a tester reads it; `emit` is the way back.

mod emit;

use thiserror::Error;

use crate::{
    Dtc, Pid, ResponseCode, Service, TestResults, Tid,
    info::{InfoType, Information},
    mask::is_mask,
};

/// An answer, taken apart.
///
/// ```
/// use twotrip_obd::{Response, Service};
///
/// let Response::Codes(Service::ConfirmedCodes, codes) = Response::parse(&[0x43, 0x01, 0x04, 0x55])? else {
///     panic!("not an answer to $03");
/// };
/// assert!(codes.iter().map(|code| code.to_string()).eq(["P0455"]));
/// # Ok::<(), twotrip_obd::ResponseError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Response<'a> {
    /// $41: parameters and their data.
    CurrentData(Records<'a>),
    /// $42: parameters, frame numbers and data.
    FreezeFrame(Records<'a>),
    /// $43, $47, $4A: codes of the service asked.
    Codes(Service, Codes<'a>),
    /// $44.
    Cleared,
    /// $46, $48, $49 with masks: service asked; of each mask its number and its four bytes.
    Masks(Service, &'a [[u8; 5]]),
    /// $46 with data.
    TestResults(TestResults<'a>),
    /// $48 with data: the test, and five bytes from it.
    Control(Tid, &'a [u8; 5]),
    /// $49 with data.
    Information(Information<'a>),
    /// $7F: the service asked was refused.
    Negative(Service, ResponseCode),
    /// A positive answer to a service that is not taken apart.
    Other(Service, &'a [u8]),
}

/// Why bytes are no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum ResponseError {
    /// Nothing.
    #[error("the answer is empty")]
    Empty,
    /// The first byte is neither $7F nor a service plus $40.
    #[error("`${0:02X}` begins no answer")]
    NoAnswer(u8),
    /// A negative answer has three bytes.
    #[error("a negative answer has `3` bytes, this one `{0}`")]
    NegativeLength(usize),
    /// The count and the codes do not agree.
    #[error("the count says `{count}` codes, `{bytes}` bytes of codes follow")]
    CodeCount {
        /// As the ECU counts.
        count: usize,
        /// Bytes after the count.
        bytes: usize,
    },
    /// More bytes than the service has.
    #[error("`{0}` bytes follow where none belong")]
    Excess(usize),
    /// Not one or more whole results, or whole masks.
    #[error("`{0}` bytes are not whole results of nine bytes, nor whole masks of five")]
    Results(usize),
    /// A control answer has a test and five bytes.
    #[error("a control answer has `6` bytes after the service, or whole masks of five, this one `{0}`")]
    Control(usize),
    /// The item count or length of an InfoType is wrong, or the InfoType is missing.
    #[error("InfoType `${info_type:02X}` with `{bytes}` bytes does not fit its items")]
    Information {
        /// The InfoType, 0 if missing.
        info_type: u8,
        /// Bytes after it.
        bytes: usize,
    },
}

/// The codes of an answer of service $03, $07 or $0A.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Codes<'a>(&'a [[u8; 2]]);

impl<'a> Codes<'a> {
    /// How many.
    #[must_use]
    pub const fn len(self) -> usize {
        self.0.len()
    }

    /// Whether there are none.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0.is_empty()
    }

    /// The codes in the order of the answer.
    pub fn iter(self) -> impl ExactSizeIterator<Item = Dtc> + 'a {
        self.0.iter().map(|&bytes| Dtc::from_bytes(bytes))
    }
}

/// The parameters of an answer of service $01 or $02, read one after the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Records<'a> {
    rest: &'a [u8],
    framed: bool,
}

/// One parameter of an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Record<'a> {
    /// The parameter.
    pub pid: Pid,
    /// The frame number, in service $02.
    pub frame: Option<u8>,
    /// Its data, of the length that the table gives.
    pub data: &'a [u8],
}

/// Why the rest of an answer of service $01 or $02 cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum RecordError {
    /// The length of this parameter is not known, so nothing after it can be found.
    #[error("PID `{0}` is not in the table, what follows cannot be read")]
    UnknownPid(Pid),
    /// The answer ends too early.
    #[error("PID `{pid}` needs `{needed}` bytes, `{found}` are left")]
    Truncated {
        /// The parameter.
        pid: Pid,
        /// Bytes that it takes after its number.
        needed: usize,
        /// Bytes left.
        found: usize,
    },
}

impl<'a> Iterator for Records<'a> {
    type Item = Result<Record<'a>, RecordError>;

    /// The next parameter; after an error nothing more.
    fn next(&mut self) -> Option<Self::Item> {
        let (&number, rest) = core::mem::take(&mut self.rest).split_first()?;
        let pid = Pid::new(number);
        let Some(definition) = pid.definition() else {
            return Some(Err(RecordError::UnknownPid(pid)));
        };
        let needed = definition.length + usize::from(self.framed);
        let Some((record, rest)) = rest.split_at_checked(needed) else {
            return Some(Err(RecordError::Truncated {
                pid,
                needed,
                found: rest.len(),
            }));
        };
        self.rest = rest;
        let (frame, data) = record.split_at(usize::from(self.framed));
        Some(Ok(Record {
            pid,
            frame: frame.first().copied(),
            data,
        }))
    }
}

impl<'a> Response<'a> {
    /// Reads an answer.
    ///
    /// # Errors
    /// If it is none, or if its length does not fit its service. Errors inside the parameters of $41 and $42 come
    /// with the [`Records`], so that what stands before them is not lost.
    pub fn parse(bytes: &'a [u8]) -> Result<Self, ResponseError> {
        let (&first, data) = bytes.split_first().ok_or(ResponseError::Empty)?;
        if first == 0x7F {
            let &[service, code] = data else {
                return Err(ResponseError::NegativeLength(bytes.len()));
            };
            return Ok(Self::Negative(
                Service::from_byte(service),
                ResponseCode::from_byte(code),
            ));
        }
        let Some(number @ ..0xC0) = first.checked_sub(0x40) else {
            return Err(ResponseError::NoAnswer(first));
        };
        let records = |framed| Records { rest: data, framed };
        Ok(match Service::from_byte(number) {
            Service::CurrentData => Self::CurrentData(records(false)),
            Service::FreezeFrame => Self::FreezeFrame(records(true)),
            service @ (Service::ConfirmedCodes | Service::PendingCodes | Service::PermanentCodes) => {
                Self::Codes(service, parse_codes(data)?)
            }
            Service::Clear if data.is_empty() => Self::Cleared,
            Service::Clear => return Err(ResponseError::Excess(data.len())),
            Service::TestResults => match parse_masks(Service::TestResults, data) {
                Some(masks) => masks,
                None => match data.as_chunks() {
                    (results @ [_, ..], []) => Self::TestResults(TestResults(results)),
                    _ => return Err(ResponseError::Results(data.len())),
                },
            },
            Service::Control => match (parse_masks(Service::Control, data), data) {
                (Some(masks), _) => masks,
                (None, [tid, data @ ..]) if !is_mask(*tid) => match data.try_into() {
                    Ok(data) => Self::Control(Tid::new(*tid), data),
                    Err(_) => return Err(ResponseError::Control(1 + data.len())),
                },
                _ => return Err(ResponseError::Control(data.len())),
            },
            Service::VehicleInformation => match parse_masks(Service::VehicleInformation, data) {
                Some(masks) => masks,
                None => parse_information(data)?,
            },
            other => Self::Other(other, data),
        })
    }

    /// The service that the answer belongs to, as the request spells it.
    #[must_use]
    pub const fn service(&self) -> Service {
        match *self {
            Self::CurrentData(_) => Service::CurrentData,
            Self::FreezeFrame(_) => Service::FreezeFrame,
            Self::Cleared => Service::Clear,
            Self::TestResults(_) => Service::TestResults,
            Self::Control(..) => Service::Control,
            Self::Information(_) => Service::VehicleInformation,
            Self::Codes(service, _)
            | Self::Masks(service, _)
            | Self::Negative(service, _)
            | Self::Other(service, _) => service,
        }
    }
}

fn parse_codes(data: &[u8]) -> Result<Codes<'_>, ResponseError> {
    let (&count, bytes) = data
        .split_first()
        .ok_or(ResponseError::CodeCount { count: 0, bytes: 0 })?;
    match bytes.as_chunks() {
        (codes, []) if codes.len() == usize::from(count) => Ok(Codes(codes)),
        _ => Err(ResponseError::CodeCount {
            count: usize::from(count),
            bytes: bytes.len(),
        }),
    }
}

/// The masks of services $06, $08 and $09; nothing if these are data, or no whole masks.
fn parse_masks(service: Service, data: &[u8]) -> Option<Response<'_>> {
    match data.as_chunks() {
        (masks @ [_, ..], []) if masks.iter().all(|mask| is_mask(mask[0])) => {
            Some(Response::Masks(service, masks))
        }
        _ => None,
    }
}

fn parse_information(data: &[u8]) -> Result<Response<'_>, ResponseError> {
    let error = |info_type, bytes| ResponseError::Information { info_type, bytes };
    let (&number, rest) = data.split_first().ok_or_else(|| error(0, 0))?;
    if is_mask(number) {
        return Err(error(number, rest.len()));
    }
    let information =
        Information::parse(InfoType::new(number), rest).ok_or_else(|| error(number, rest.len()))?;
    Ok(Response::Information(information))
}

#[cfg(test)]
mod tests;
