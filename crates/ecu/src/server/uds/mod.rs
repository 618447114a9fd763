//! The diagnostic server in the dialect of SAE J1979-2 (OBD on UDS): the services of ISO 14229-1 over the same fault
//! memory, live data, tests and identity.
//!
//! | file | service |
//! |---|---|
//! | `data` | $22: PIDs, tests and vehicle information under data identifiers |
//! | `codes` | $19: codes, freeze frames, extended data |
//! | `failure` | failure type and severity of each code |
//!
//! $10, $14, $31 and $3E are short and stand here. The services of SAE J1979 are met with silence (an article on SAE
//! J1979-2); any other that this ECU does not have is refused with $11, which, like $12 and $31, is kept quiet when all ECUs
//! were asked (AUTOSAR SWS_Dcm_00001). $13 and $22 are not.
//!
//! Not here: $11, which the published list of services leaves out; codes of a maker's own in groups of their own.

mod codes;
pub(crate) mod data;
mod failure;
#[cfg(test)]
mod tests;

use core::time::Duration;

use twotrip_obd::{
    BufferFull, ResponseBuffer, ResponseCode, Service, SupportMask, Tid,
    uds::{ALL_EMISSION_CODES, Request, SubFunction, answer as write},
};

use super::{ANSWER, Addressing, Answer, Context, refuse};

/// The services that this ECU has.
pub const SERVICES: [Service; 6] = [
    Service::Session,
    Service::ClearByGroup,
    Service::ReadCodes,
    Service::ReadData,
    Service::Routine,
    Service::TesterPresent,
];

/// The default session, the only one of on-board diagnostics (ISO 14229-1; its part in SAE J1979-2 from memory).
const DEFAULT_SESSION: u8 = 0x01;
/// From a request to its answer, and the same after response pending (ISO 15765-4).
const P2: [Duration; 2] = [Duration::from_millis(50), Duration::from_secs(5)];
/// The high byte of routines: tests of service $08 (`udsoncan`: range of routine identifiers).
const ROUTINES: u8 = 0xE0;
/// Starts a routine (ISO 14229-1).
const START: u8 = 0x01;

/// Answers one request. The buffer is emptied first.
pub fn answer(
    context: &Context<'_>,
    addressing: Addressing,
    request: &[u8],
    response: &mut ResponseBuffer,
) -> Answer {
    // As service $08 of an ECU that has nothing to control.
    let controls = context.served.controlled != SupportMask::NONE;
    answer_by(
        |service| service != Service::Routine || controls,
        addressing,
        request,
        response,
        |request, response| serve(context, request, response),
    )
}

/// The same of any ECU, of those of [`SERVICES`] that it has: when to be silent, what to refuse, and how.
pub(crate) fn answer_by(
    has: impl FnOnce(Service) -> bool,
    addressing: Addressing,
    request: &[u8],
    response: &mut ResponseBuffer,
    serve: impl FnOnce(Request<'_>, &mut ResponseBuffer) -> Result<Answer, BufferFull>,
) -> Answer {
    response.clear();
    let Some(&service) = request.first() else {
        return Answer::Silence;
    };
    // The other dialect; and what has the bit of an answer asks nothing.
    if service <= Service::PermanentCodes.to_byte() || service & ANSWER != 0 {
        return Answer::Silence;
    }
    let (answer, quiet) = match Request::parse(request) {
        _ if !has(Service::from_byte(service)) => {
            (Answer::Negative(ResponseCode::ServiceNotSupported), false)
        }
        Ok(request) => {
            let answer = serve(request, response);
            let too_long = Answer::Negative(ResponseCode::ResponseTooLong);
            (answer.unwrap_or(too_long), request.is_quiet())
        }
        Err(error) => (Answer::Negative(error.refusal()), false),
    };
    match answer {
        Answer::Negative(code) => refuse(Service::from_byte(service), code, addressing, response),
        Answer::PositiveAndSeal if quiet => {
            response.clear();
            Answer::SilenceAndSeal
        }
        _ if quiet => {
            response.clear();
            Answer::Silence
        }
        answer => answer,
    }
}

fn serve(
    context: &Context<'_>,
    request: Request<'_>,
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    match request {
        Request::ReadData(dids) => data::answer(context, dids, response),
        Request::Clear(group) => {
            let engine_or_wheels_turn = context.engine_running || context.vehicle_moving;
            clear(engine_or_wheels_turn, group, response)
        }
        Request::Session(session) => self::session(session, response),
        Request::TesterPresent(_) => tester_present(response),
        Request::Routine { what, routine, data } => self::routine(context, what, routine, data, response),
        codes => codes::answer(context, codes, response),
    }
}

/// $10: there is the default session, and no other.
pub(crate) fn session(session: SubFunction, response: &mut ResponseBuffer) -> Result<Answer, BufferFull> {
    if session.number != DEFAULT_SESSION {
        return Ok(Answer::Negative(ResponseCode::SubFunctionNotSupported));
    }
    let [p2, p2_star] = P2;
    write::session(response, DEFAULT_SESSION, p2, p2_star)?;
    Ok(Answer::Positive)
}

/// $3E.
pub(crate) fn tester_present(response: &mut ResponseBuffer) -> Result<Answer, BufferFull> {
    response.begin(Service::TesterPresent)?;
    response.extend(&[0x00])?;
    Ok(Answer::Positive)
}

/// $14: all emission-related codes at once, under the conditions of service $04.
pub(crate) fn clear(
    engine_or_wheels_turn: bool,
    group: [u8; 3],
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    if group != ALL_EMISSION_CODES {
        return Ok(Answer::Negative(ResponseCode::RequestOutOfRange));
    }
    if engine_or_wheels_turn {
        return Ok(Answer::Negative(ResponseCode::ConditionsNotCorrect));
    }
    response.begin(Service::ClearByGroup)?;
    Ok(Answer::PositiveAndClear)
}

/// $31 $E0xx: the tests of service $08, under its conditions. They end by themselves, so they can only be started. What stands
/// behind the routine's number in the answer is **uncertain**: one zero byte here.
fn routine(
    context: &Context<'_>,
    what: SubFunction,
    routine: u16,
    data: &[u8],
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    let [high, low] = routine.to_be_bytes();
    let refusal = if (high, Tid::new(low)) != (ROUTINES, Tid::EVAP_LEAK_TEST) {
        Some(ResponseCode::RequestOutOfRange)
    } else if what.number != START {
        Some(ResponseCode::SubFunctionNotSupported)
    } else if !data.is_empty() {
        Some(ResponseCode::IncorrectLength)
    } else if !context.key_on || context.engine_running || context.vehicle_moving {
        Some(ResponseCode::ConditionsNotCorrect)
    } else {
        None
    };
    if let Some(code) = refusal {
        return Ok(Answer::Negative(code));
    }
    response.begin(Service::Routine)?;
    response.extend(&[START, high, low, 0x00])?;
    Ok(Answer::PositiveAndSeal)
}
