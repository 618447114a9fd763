//! Misbehaviour on purpose: what a server can do wrong with a request, for testing who asked.
//!
//! A [`Deviation`] is handed in with a request, and is empty by default: [`Deviation::before`] may take the place of the
//! server, [`Deviation::after`] falsifies what that has said, in either dialect. The services themselves know nothing of it.

mod falsified;
#[cfg(test)]
mod tests;

use twotrip_obd::{Dialect, ResponseBuffer, ResponseCode, Service};

use super::{Addressing, Answer};

pub use self::falsified::Falsified;

/// What the server does wrong with one request. Nothing by default.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Deviation {
    /// It does not do what is asked, and says so with this code, or says nothing.
    pub unserved: Option<Unserved>,
    /// What it says in the end is not what it should say.
    pub falsified: Option<Falsified>,
}

/// What takes the place of serving a request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unserved {
    /// Nothing is said.
    Silently,
    /// A refusal with this code, even to a request that went to all ECUs.
    Refused(ResponseCode),
}

/// A request as it was put.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Asked<'a> {
    /// What the ECU speaks.
    pub dialect: Dialect,
    /// To whom.
    pub addressing: Addressing,
    /// Its bytes.
    pub request: &'a [u8],
}

impl Deviation {
    /// What takes the place of serving the request, if anything does.
    pub fn before(&self, request: &[u8], response: &mut ResponseBuffer) -> Option<Answer> {
        let unserved = self.unserved?;
        response.clear();
        let code = match unserved {
            Unserved::Silently => return Some(Answer::Silence),
            Unserved::Refused(code) => code,
        };
        Some(refuse(request, code, response))
    }

    /// Falsifies what the server has answered.
    pub fn after(&self, asked: Asked<'_>, answer: Answer, response: &mut ResponseBuffer) -> Answer {
        match self.falsified {
            Some(falsified) if falsified.fits(asked.request, answer, response.as_slice()) => {
                falsified.apply(asked, answer, response)
            }
            _ => answer,
        }
    }
}

/// Refuses, whoever was asked.
fn refuse(request: &[u8], code: ResponseCode, response: &mut ResponseBuffer) -> Answer {
    let service = Service::from_byte(request.first().copied().unwrap_or_default());
    if response.refuse(service, code).is_err() {
        response.clear();
        return Answer::Silence;
    }
    Answer::Negative(code)
}
