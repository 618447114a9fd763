//! What a tester asks: the requests of services $01 to $0A, bytes to types and back.
//!
//! Rules on length and content: an OBD handler drops a request that breaks them without an answer (AUTOSAR
//! SWS_Dcm_00409, 00943, 00945, 00947, 00949, 00956, 00972; ISO 15031-5, from memory).

use alloc::vec::Vec;

use thiserror::Error;

use crate::{Service, Tid, mask::is_mask};

/// The parameters of a request of service $01, $06 or $09: one to six, either all masks or all data.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parameters<'a>(&'a [u8]);

/// The parameters of a request of service $02: one to three pairs of PID and frame, all masks or all data.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FramedParameters<'a>(&'a [[u8; 2]]);

/// Why a request has no meaning. An ECU is silent about all of these.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum RequestError {
    /// Not even a service.
    #[error("the request is empty")]
    Empty,
    /// The service takes no parameters.
    #[error("`{service}` takes no parameters, the request has `{found}` bytes of them")]
    Unexpected {
        /// The service asked for.
        service: Service,
        /// Bytes after the service.
        found: usize,
    },
    /// Too few or too many parameters, or half a pair.
    #[error("`{service}` takes `{allowed}` parameter bytes, the request has `{found}`")]
    Length {
        /// The service asked for.
        service: Service,
        /// Bytes after the service.
        found: usize,
        /// What is allowed.
        allowed: &'static str,
    },
    /// Masks and data in one request.
    #[error("the request mixes masks of supported parameters with data")]
    Mixed,
}

impl<'a> Parameters<'a> {
    /// Checks the parameters of a service $01 request.
    ///
    /// # Errors
    /// If there are none or more than six, or if masks and data are mixed.
    pub fn current_data(numbers: &'a [u8]) -> Result<Self, RequestError> {
        if !(1..=6).contains(&numbers.len()) {
            return Err(length(Service::CurrentData, numbers.len(), "1 to 6"));
        }
        unmixed(numbers.iter().copied())?;
        Ok(Self(numbers))
    }

    /// Checks the monitors of a service $06 request.
    ///
    /// # Errors
    /// If there is not exactly one monitor or one to six masks, or if the two are mixed.
    pub fn test_results(numbers: &'a [u8]) -> Result<Self, RequestError> {
        Self::one_or_masks(Service::TestResults, numbers)
    }

    /// Checks the InfoTypes of a service $09 request.
    ///
    /// # Errors
    /// If there is not exactly one InfoType or one to six masks, or if the two are mixed.
    pub fn information(numbers: &'a [u8]) -> Result<Self, RequestError> {
        Self::one_or_masks(Service::VehicleInformation, numbers)
    }

    fn one_or_masks(service: Service, numbers: &'a [u8]) -> Result<Self, RequestError> {
        unmixed(numbers.iter().copied())?;
        let most = if numbers.first().is_some_and(|&number| is_mask(number)) {
            6
        } else {
            1
        };
        if !(1..=most).contains(&numbers.len()) {
            return Err(length(service, numbers.len(), "1, or 1 to 6 of masks"));
        }
        Ok(Self(numbers))
    }

    /// The numbers in the order asked.
    #[must_use]
    pub const fn numbers(self) -> &'a [u8] {
        self.0
    }
}

impl<'a> FramedParameters<'a> {
    /// Checks the pairs of a service $02 request.
    ///
    /// # Errors
    /// If there are none or more than three, or if masks and data are mixed.
    pub fn new(pairs: &'a [[u8; 2]]) -> Result<Self, RequestError> {
        if !(1..=3).contains(&pairs.len()) {
            return Err(length(Service::FreezeFrame, pairs.len() * 2, "2, 4 or 6"));
        }
        unmixed(pairs.iter().map(|&[number, _]| number))?;
        Ok(Self(pairs))
    }

    /// PID and frame, in the order asked.
    #[must_use]
    pub const fn pairs(self) -> &'a [[u8; 2]] {
        self.0
    }
}

/// The parameters of a request of service $08.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Control<'a> {
    /// One to six masks of supported tests.
    Masks(&'a [u8]),
    /// A test or command, and up to five bytes for it.
    Test(Tid, &'a [u8]),
}

impl<'a> Control<'a> {
    /// Most data bytes that a single frame has room for.
    const MOST: usize = 5;

    /// Reads the parameters of a service $08 request.
    ///
    /// # Errors
    /// If there are none, if masks are mixed with a test, or if there are more bytes than a test has.
    pub fn new(parameters: &'a [u8]) -> Result<Self, RequestError> {
        match parameters {
            [] => Err(length(Service::Control, 0, "1 to 6")),
            [first, ..] if is_mask(*first) => {
                unmixed(parameters.iter().copied())?;
                if parameters.len() > 6 {
                    return Err(length(Service::Control, parameters.len(), "1 to 6"));
                }
                Ok(Self::Masks(parameters))
            }
            [_, data @ ..] if data.len() > Self::MOST => {
                Err(length(Service::Control, parameters.len(), "1 to 6"))
            }
            [tid, data @ ..] => Ok(Self::Test(Tid::new(*tid), data)),
        }
    }
}

fn length(service: Service, found: usize, allowed: &'static str) -> RequestError {
    RequestError::Length {
        service,
        found,
        allowed,
    }
}

/// Checks that the numbers are all masks or all data.
fn unmixed(mut numbers: impl Iterator<Item = u8>) -> Result<(), RequestError> {
    let first = numbers.next().is_some_and(is_mask);
    if numbers.all(|number| is_mask(number) == first) {
        Ok(())
    } else {
        Err(RequestError::Mixed)
    }
}

/// A request.
///
/// ```
/// use twotrip_obd::{Parameters, Request};
///
/// let request = Request::CurrentData(Parameters::current_data(&[0x0C, 0x0D])?);
/// let mut bytes = Vec::new();
/// request.emit(&mut bytes);
/// assert_eq!(bytes, [0x01, 0x0C, 0x0D]);
/// assert_eq!(Request::parse(&bytes), Ok(request));
/// # Ok::<(), twotrip_obd::RequestError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Request<'a> {
    /// $01 with its PIDs.
    CurrentData(Parameters<'a>),
    /// $02 with its PIDs and frames.
    FreezeFrame(FramedParameters<'a>),
    /// $03.
    ConfirmedCodes,
    /// $04.
    Clear,
    /// $06 with its monitor or masks.
    TestResults(Parameters<'a>),
    /// $07.
    PendingCodes,
    /// $08 with its test or masks.
    Control(Control<'a>),
    /// $09 with its InfoType or masks.
    VehicleInformation(Parameters<'a>),
    /// $0A.
    PermanentCodes,
    /// A service whose parameters are not taken apart.
    Other(Service, &'a [u8]),
}

impl<'a> Request<'a> {
    /// Reads a request.
    ///
    /// # Errors
    /// If it breaks a rule on length or content.
    pub fn parse(bytes: &'a [u8]) -> Result<Self, RequestError> {
        let (&service, parameters) = bytes.split_first().ok_or(RequestError::Empty)?;
        let service = Service::from_byte(service);
        let alone = |request| {
            if parameters.is_empty() {
                Ok(request)
            } else {
                Err(RequestError::Unexpected {
                    service,
                    found: parameters.len(),
                })
            }
        };
        match service {
            Service::CurrentData => Ok(Self::CurrentData(Parameters::current_data(parameters)?)),
            Service::FreezeFrame => match parameters.as_chunks() {
                (pairs, []) => Ok(Self::FreezeFrame(FramedParameters::new(pairs)?)),
                _ => Err(length(service, parameters.len(), "2, 4 or 6")),
            },
            Service::ConfirmedCodes => alone(Self::ConfirmedCodes),
            Service::Clear => alone(Self::Clear),
            Service::TestResults => Ok(Self::TestResults(Parameters::test_results(parameters)?)),
            Service::PendingCodes => alone(Self::PendingCodes),
            Service::Control => Ok(Self::Control(Control::new(parameters)?)),
            Service::VehicleInformation => Ok(Self::VehicleInformation(Parameters::information(parameters)?)),
            Service::PermanentCodes => alone(Self::PermanentCodes),
            other => Ok(Self::Other(other, parameters)),
        }
    }

    /// The service asked for.
    #[must_use]
    pub const fn service(&self) -> Service {
        match *self {
            Self::CurrentData(_) => Service::CurrentData,
            Self::FreezeFrame(_) => Service::FreezeFrame,
            Self::ConfirmedCodes => Service::ConfirmedCodes,
            Self::Clear => Service::Clear,
            Self::TestResults(_) => Service::TestResults,
            Self::PendingCodes => Service::PendingCodes,
            Self::Control(_) => Service::Control,
            Self::VehicleInformation(_) => Service::VehicleInformation,
            Self::PermanentCodes => Service::PermanentCodes,
            Self::Other(service, _) => service,
        }
    }

    /// Writes the request into `out`, which is emptied first.
    pub fn emit(&self, out: &mut Vec<u8>) {
        out.clear();
        out.push(self.service().to_byte());
        match *self {
            Self::CurrentData(parameters)
            | Self::TestResults(parameters)
            | Self::VehicleInformation(parameters) => {
                out.extend_from_slice(parameters.numbers());
            }
            Self::FreezeFrame(parameters) => out.extend_from_slice(parameters.pairs().as_flattened()),
            Self::Control(Control::Test(tid, data)) => {
                out.push(tid.number());
                out.extend_from_slice(data);
            }
            Self::Control(Control::Masks(bytes)) | Self::Other(_, bytes) => out.extend_from_slice(bytes),
            Self::ConfirmedCodes | Self::Clear | Self::PendingCodes | Self::PermanentCodes => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn good_requests_are_read_and_written_alike() {
        let mut out = Vec::new();
        for bytes in [
            &[0x01, 0x00][..],
            &[0x01, 0x00, 0x20, 0x40, 0x60, 0x80, 0xA0],
            &[0x01, 0x0C, 0x0C, 0x0D, 0x05, 0x04, 0x11],
            &[0x02, 0x00, 0x00],
            &[0x02, 0x02, 0x00, 0x0C, 0x00, 0x05, 0x00],
            &[0x03],
            &[0x04],
            &[0x05, 0x01, 0x01],
            &[0x06, 0x00],
            &[0x06, 0x00, 0x20, 0x40, 0x60, 0x80, 0xA0],
            &[0x06, 0x3B],
            &[0x07],
            &[0x08, 0x00],
            &[0x08, 0x01],
            &[0x08, 0x01, 0, 0, 0, 0, 0],
            &[0x09, 0x02],
            &[0x09, 0x00, 0x20],
            &[0x0A],
            &[0x22, 0xF4, 0x0C],
        ] {
            let request = Request::parse(bytes).unwrap();
            assert_eq!(request.service().to_byte(), bytes[0]);
            request.emit(&mut out);
            assert_eq!(out, bytes);
        }
    }

    #[test]
    fn wrong_lengths_and_mixtures_are_named() {
        let length = |service, found, allowed| Err(length(service, found, allowed));
        for (bytes, error) in [
            (&[][..], Err(RequestError::Empty)),
            (&[0x01], length(Service::CurrentData, 0, "1 to 6")),
            (
                &[0x01, 1, 2, 3, 4, 5, 6, 7],
                length(Service::CurrentData, 7, "1 to 6"),
            ),
            (&[0x01, 0x00, 0x0C], Err(RequestError::Mixed)),
            (&[0x01, 0x0C, 0x20], Err(RequestError::Mixed)),
            (&[0x02, 0x0C], length(Service::FreezeFrame, 1, "2, 4 or 6")),
            (&[0x02], length(Service::FreezeFrame, 0, "2, 4 or 6")),
            (
                &[0x02, 4, 0, 5, 0, 6, 0, 7, 0],
                length(Service::FreezeFrame, 8, "2, 4 or 6"),
            ),
            (&[0x02, 0x00, 0x00, 0x0C, 0x00], Err(RequestError::Mixed)),
            (&[0x06], length(Service::TestResults, 0, "1, or 1 to 6 of masks")),
            (
                &[0x06, 0x39, 0x3B],
                length(Service::TestResults, 2, "1, or 1 to 6 of masks"),
            ),
            (&[0x06, 0x00, 0x39], Err(RequestError::Mixed)),
            (&[0x08], length(Service::Control, 0, "1 to 6")),
            (&[0x08, 0x00, 0x01], Err(RequestError::Mixed)),
            (
                &[0x08, 0x01, 0, 0, 0, 0, 0, 0],
                length(Service::Control, 7, "1 to 6"),
            ),
            (
                &[0x09],
                length(Service::VehicleInformation, 0, "1, or 1 to 6 of masks"),
            ),
            (
                &[0x09, 0x02, 0x04],
                length(Service::VehicleInformation, 2, "1, or 1 to 6 of masks"),
            ),
            (&[0x09, 0x00, 0x02], Err(RequestError::Mixed)),
            (
                &[0x03, 0x00],
                Err(RequestError::Unexpected {
                    service: Service::ConfirmedCodes,
                    found: 1,
                }),
            ),
        ] {
            assert_eq!(Request::parse(bytes), error, "{bytes:02X?}");
        }
    }
}
