//! The diagnostic server of one ECU: a request and the state of the ECU in, an answer or silence out (SAE J1979 on
//! CAN, ISO 15765-4).
//!
//! ```text
//! request --> answer --+--> s01 .. s0a --> ResponseBuffer, Answer
//!                      |      ^ Context: live data, fault memory, identity, overrides
//!                      +--> unknown: silence, or `7F xx 11` to a physical request
//! ```
//!
//! One file per service, each a function without a state of its own. Nothing is changed here: a clear or a seal is
//! decided, and left to the owner to carry out ([`Answer::PositiveAndClear`], [`Answer::PositiveAndSeal`]). Nothing is
//! allocated.
//!
//! Silence is an answer: to a request of wrong length or content (AUTOSAR SWS_Dcm_00409, 00943, 00949, 00972), to
//! one in which nothing is supported (ISO 15031-5, from memory), and in place of the response codes that are kept
//! quiet when a request went to all ECUs at once (AUTOSAR SWS_Dcm_00001).
//!
//! An ECU that speaks SAE J1979-2 has [`uds::answer`] in place of this.
//!
//! Not here: service $05, which is not on CAN.

mod deviation;
mod fitted;
mod identity;
mod overrides;
mod parameters;
mod quantity;
mod s01;
mod s02;
mod s03;
mod s04;
mod s06;
mod s07;
mod s08;
mod s09;
mod s0a;
#[cfg(test)]
mod tests;
pub mod uds;

use alloc::borrow::Cow;

use twotrip_obd::{BufferFull, Request, ResponseBuffer, ResponseCode, Service, SupportMask};

use crate::{Calibration, data::LiveData, memory::FaultMemory, monitors::Monitors};

pub use deviation::{Asked, Deviation, Falsified, Unserved};
pub use fitted::Served;
pub(crate) use identity::checksum;
pub use identity::{Identity, VinError};
pub use overrides::Overrides;
pub use quantity::Quantity;
pub(crate) use s08::SEALED;

/// The services that this ECU has; of the permanent codes, $0A, only under a regulation that knows them.
pub const SERVICES: [Service; 9] = [
    Service::CurrentData,
    Service::FreezeFrame,
    Service::ConfirmedCodes,
    Service::Clear,
    Service::TestResults,
    Service::PendingCodes,
    Service::Control,
    Service::VehicleInformation,
    Service::PermanentCodes,
];

/// What the masks of a service announce; nothing for a service without masks.
#[must_use]
pub fn supported(service: Service, served: &Served) -> Option<SupportMask> {
    match service {
        Service::CurrentData => Some(served.current),
        Service::FreezeFrame => Some(served.frozen),
        Service::TestResults => Some(served.monitored),
        Service::Control => Some(served.controlled),
        Service::VehicleInformation => Some(served.information),
        _ => None,
    }
}

/// The bit that tells the service of an answer from that of a request.
const ANSWER: u8 = 0x40;

/// To whom a request was sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Addressing {
    /// To all ECUs at once.
    Functional,
    /// To this ECU alone.
    Physical,
}

/// What the ECU does about a request. Where it answers, the bytes are in the buffer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[must_use]
pub enum Answer {
    /// No answer.
    Silence,
    /// A positive answer.
    Positive,
    /// A positive answer, and the owner of the fault memory now has to clear it.
    PositiveAndClear,
    /// A positive answer, and the owner of the valves now has to seal the fuel tank.
    PositiveAndSeal,
    /// The same without an answer, as the tester wished.
    SilenceAndSeal,
    /// A refusal with this code.
    Negative(ResponseCode),
}

impl Answer {
    /// Positive, unless the answer has nothing but its first byte: then nothing that was asked is supported.
    pub(crate) fn unless_empty(response: &ResponseBuffer) -> Self {
        if response.len() > 1 {
            Self::Positive
        } else {
            Self::Silence
        }
    }

    /// Whether bytes go out.
    #[must_use]
    pub const fn is_sent(self) -> bool {
        !matches!(self, Self::Silence | Self::SilenceAndSeal)
    }

    /// Whether what goes out is no refusal.
    #[must_use]
    pub const fn is_positive(self) -> bool {
        matches!(
            self,
            Self::Positive | Self::PositiveAndClear | Self::PositiveAndSeal
        )
    }
}

/// What the ECU knows at the moment of a request.
#[derive(Clone, Copy, Debug)]
pub struct Context<'a> {
    /// Live data as measured.
    pub live: &'a LiveData,
    /// Codes, readiness, counters, freeze frame.
    pub memory: &'a FaultMemory,
    /// Results of the monitors; none of an ECU without service $06.
    pub monitors: Option<&'a Monitors>,
    /// Vehicle information.
    pub identity: &'a Identity,
    /// Whether the key is on: after it went off, the ECU answers for some seconds more.
    pub key_on: bool,
    /// Whether the engine runs: no clear then.
    pub engine_running: bool,
    /// Whether the vehicle moves: no clear then.
    pub vehicle_moving: bool,
    /// Values reported in place of the measured ones.
    pub overrides: &'a Overrides,
    /// What it knows of its engine.
    pub calibration: &'a Calibration,
    /// The parameters that it serves for that.
    pub served: &'a Served,
}

impl Context<'_> {
    /// Live data as they are reported: with what is pinned by hand in place of what was measured.
    fn reported(&self) -> Cow<'_, LiveData> {
        if self.overrides.is_empty() {
            Cow::Borrowed(self.live)
        } else {
            Cow::Owned(self.overrides.apply(self.live))
        }
    }
}

/// Answers one request. The buffer is emptied first.
pub fn answer(
    context: &Context<'_>,
    addressing: Addressing,
    request: &[u8],
    response: &mut ResponseBuffer,
) -> Answer {
    response.clear();
    let Ok(request) = Request::parse(request) else {
        return Answer::Silence;
    };
    let answer = serve(context, request, response).unwrap_or(Answer::Negative(ResponseCode::ResponseTooLong));
    settle(request.service(), answer, addressing, response)
}

/// Makes the bytes in the buffer those of the answer: a refusal, unless it is kept quiet, or none.
pub(crate) fn settle(
    service: Service,
    answer: Answer,
    addressing: Addressing,
    response: &mut ResponseBuffer,
) -> Answer {
    match answer {
        Answer::Negative(code) => refuse(service, code, addressing, response),
        Answer::Silence => {
            response.clear();
            Answer::Silence
        }
        Answer::Positive | Answer::PositiveAndClear | Answer::PositiveAndSeal | Answer::SilenceAndSeal => {
            answer
        }
    }
}

/// What has the bit of an answer asks nothing: two ECUs must not answer each other (ISO 14229-1, from memory).
pub(crate) const fn is_answer(service: Service) -> bool {
    service.to_byte() & ANSWER != 0
}

fn serve(
    context: &Context<'_>,
    request: Request<'_>,
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    match request {
        Request::CurrentData(parameters) => s01::answer(context, parameters, response),
        Request::FreezeFrame(parameters) => s02::answer(context, parameters, response),
        Request::TestResults(_) if context.served.monitored == SupportMask::NONE => {
            Ok(Answer::Negative(ResponseCode::ServiceNotSupported))
        }
        Request::Control(_) if context.served.controlled == SupportMask::NONE => {
            Ok(Answer::Negative(ResponseCode::ServiceNotSupported))
        }
        Request::ConfirmedCodes => s03::answer(context.memory, response),
        Request::Clear => s04::answer(context, response),
        Request::TestResults(parameters) => s06::answer(context, parameters, response),
        Request::PendingCodes => s07::answer(context.memory, response),
        Request::Control(control) => s08::answer(context, control, response),
        Request::VehicleInformation(parameters) => s09::answer(context, parameters, response),
        Request::PermanentCodes => s0a::answer(context.memory, response),
        Request::Other(service, _) if is_answer(service) => Ok(Answer::Silence),
        Request::Other(..) => Ok(Answer::Negative(ResponseCode::ServiceNotSupported)),
    }
}

/// Appends a mask of what is supported, its number first. Whether the number is that of a mask which is announced.
pub(crate) fn write_mask(
    set: &SupportMask,
    number: u8,
    response: &mut ResponseBuffer,
) -> Result<bool, BufferFull> {
    let Some([a, b, c, d]) = set.range(number) else {
        return Ok(false);
    };
    response.extend(&[number, a, b, c, d])?;
    Ok(true)
}

/// Writes the refusal, unless it is one that is kept quiet.
fn refuse(
    service: Service,
    code: ResponseCode,
    addressing: Addressing,
    response: &mut ResponseBuffer,
) -> Answer {
    let quiet = addressing == Addressing::Functional && code.is_suppressed_when_functional();
    if quiet || response.refuse(service, code).is_err() {
        response.clear();
        return Answer::Silence;
    }
    Answer::Negative(code)
}
