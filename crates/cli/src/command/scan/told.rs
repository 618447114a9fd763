//! What an answer says, whichever dialect it was given in: SAE J1979, or SAE J1979-2 where the service is one of UDS.

use twotrip_obd::{
    Dtc, Information, Record, Response, ResponseCode, TestResult,
    uds::{self, Data, Datum, Did, FailureType},
};
use twotrip_tester::Finding as Heard;

/// A code, and how it failed, where the dialect tells.
pub(super) type ToldCode = (Dtc, Option<FailureType>);

/// An answer.
pub(super) enum Told<'a> {
    /// Parameters of services $01 and $02, or what kept the rest from being read.
    Parameters(Vec<Result<Record<'a>, String>>),
    /// Codes.
    Codes(Vec<ToldCode>),
    /// Freeze frames of a code (SAE J1979-2): record and parameters.
    Frames(ToldCode, Vec<(u8, Vec<Result<Record<'a>, String>>)>),
    /// Results of tests.
    Tests(Vec<TestResult>),
    /// An InfoType.
    Information(Information<'a>),
    /// A clear.
    Cleared,
    /// A refusal.
    Refused(ResponseCode),
    /// An answer to another question.
    Other,
    /// Bytes that are no answer, and why.
    Unreadable(String),
}

impl<'a> Told<'a> {
    /// Reads what was heard.
    pub(super) fn of(heard: &'a Heard) -> Self {
        if uds::is_answer(&heard.answer) {
            Self::of_uds(&heard.answer)
        } else {
            Self::of_classic(&heard.answer)
        }
    }

    fn of_classic(answer: &'a [u8]) -> Self {
        match Response::parse(answer) {
            Ok(Response::CurrentData(records) | Response::FreezeFrame(records)) => {
                let said =
                    |record: Result<_, twotrip_obd::RecordError>| record.map_err(|error| error.to_string());
                Self::Parameters(records.map(said).collect())
            }
            Ok(Response::Codes(_, codes)) => Self::Codes(codes.iter().map(|code| (code, None)).collect()),
            Ok(Response::TestResults(results)) => Self::Tests(results.iter().collect()),
            Ok(Response::Information(information)) => Self::Information(information),
            Ok(Response::Cleared) => Self::Cleared,
            Ok(Response::Negative(_, code)) => Self::Refused(code),
            Ok(_) => Self::Other,
            Err(error) => Self::Unreadable(error.to_string()),
        }
    }

    fn of_uds(answer: &'a [u8]) -> Self {
        let told = |code: uds::FullDtc| (code.code, Some(code.failure));
        match uds::Response::parse(answer) {
            Ok(uds::Response::Data(mut data)) => match data.next() {
                Some(Ok(datum @ Datum::Tests(..))) => Self::Tests(datum.results().collect()),
                Some(Ok(Datum::Information(information))) => Self::Information(information),
                first => Self::Parameters(first.into_iter().chain(data).filter_map(parameter).collect()),
            },
            Ok(uds::Response::CodesByMask { codes, .. }) => {
                Self::Codes(codes.iter().map(|(_, code, _)| told(code)).collect())
            }
            Ok(uds::Response::PermanentCodes { codes, .. }) => {
                Self::Codes(codes.iter().map(|(code, _)| told(code)).collect())
            }
            Ok(uds::Response::FreezeFrames { code, frames, .. }) => {
                let frame = |frame: Result<uds::Frame<'a>, uds::DataError>| match frame {
                    Ok(frame) => (frame.record, parameters(frame.data)),
                    Err(error) => (uds::FIRST_FRAME, vec![Err(error.to_string())]),
                };
                Self::Frames(told(code), frames.map(frame).collect())
            }
            Ok(uds::Response::Cleared) => Self::Cleared,
            Ok(uds::Response::Negative(_, code)) => Self::Refused(code),
            Ok(_) => Self::Other,
            Err(error) => Self::Unreadable(error.to_string()),
        }
    }

    /// Why it does not answer the question that was asked.
    pub(super) fn why_not(&self) -> String {
        match self {
            Self::Refused(code) => format!("refused: {}", code.name()),
            Self::Unreadable(why) => why.clone(),
            _ => "the answer belongs to another question".to_owned(),
        }
    }
}

fn parameters(data: Data<'_>) -> Vec<Result<Record<'_>, String>> {
    data.filter_map(parameter).collect()
}

/// A parameter among data; masks are none, and of other data is said that they are not known.
fn parameter(datum: Result<Datum<'_>, uds::DataError>) -> Option<Result<Record<'_>, String>> {
    match datum {
        Ok(Datum::Parameter(record)) => Some(Ok(record)),
        Ok(Datum::Mask(..)) => None,
        Ok(Datum::Other(did, _)) => Some(Err(format!("{did} is not in the table"))),
        Ok(Datum::Tests(..) | Datum::Information(_)) => Some(Err("not a parameter".to_owned())),
        Err(error) => Some(Err(error.to_string())),
    }
}

/// Service and parameters of a request: one byte each, or two of data identifiers.
pub(super) fn asked_for(request: &[u8]) -> (u8, Vec<u16>) {
    let wide = |numbers: &[u8]| numbers.iter().map(|&number| u16::from(number)).collect();
    match *request {
        // The last byte is the frame's number.
        [0x02, ref numbers @ .., _] => (0x02, wide(numbers)),
        [0x22, ref dids @ ..] => {
            let (dids, _) = dids.as_chunks();
            (0x22, dids.iter().map(|&did| u16::from_be_bytes(did)).collect())
        }
        [service, ref numbers @ ..] => (service, wide(numbers)),
        [] => (0, Vec::new()),
    }
}

/// A parameter's number as its service writes it.
pub(super) fn number(service: u8, number: u16) -> String {
    match service {
        0x22 => format!("${number:04X}"),
        _ => format!("${number:02X}"),
    }
}

/// The number of a parameter, in the width of its service.
pub(super) fn number_of(service: u8, record: &Record<'_>) -> u16 {
    let number = record.pid.number();
    match service {
        0x22 => u16::from_be_bytes(Did::parameter(number).to_bytes()),
        _ => number.into(),
    }
}

/// Whether it is the number of a mask.
pub(super) const fn is_mask(number: u16) -> bool {
    number.is_multiple_of(0x20)
}
