//! Service $22: data by identifier, in the order of the request. What is not supported is left out; if that is all, the request
//! is out of range ($31; ISO 14229-1, from memory).
//!
//! Three identifiers at most: what fits one frame to all ECUs, and no published source gives a larger number for one ECU
//! alone.

use twotrip_obd::{
    BufferFull, Information, Pid, ResponseBuffer, ResponseCode, Service, SupportMask, TestResult,
    uds::{Did, PROTOCOL_ON_UDS, Subject, answer as write},
};

use crate::{
    data::LiveData,
    server::{Answer, Context, parameters, s09},
};

/// Identifiers in one request.
pub(crate) const AT_ONCE: usize = 3;

pub(super) fn answer(
    context: &Context<'_>,
    dids: &[[u8; 2]],
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    if dids.len() > AT_ONCE {
        return Ok(Answer::Negative(ResponseCode::IncorrectLength));
    }
    response.begin(Service::ReadData)?;
    let live = context.reported();
    for &did in dids {
        write_data(context, Did::from_bytes(did), &live, response)?;
    }
    Ok(if response.len() > 1 {
        Answer::Positive
    } else {
        Answer::Negative(ResponseCode::RequestOutOfRange)
    })
}

/// Appends an identifier with its data; nothing if it is not supported.
fn write_data(
    context: &Context<'_>,
    did: Did,
    live: &LiveData,
    response: &mut ResponseBuffer,
) -> Result<(), BufferFull> {
    let [_, number] = did.to_bytes();
    let served = context.served;
    // Those of service $09, and the dialect.
    let information = served.information.with(Did::PROTOCOL.to_bytes()[1]);
    let supported = match did.subject() {
        Subject::Parameter(_) => &served.current,
        Subject::Monitor(_) => &served.monitored,
        Subject::Information(_) => &information,
        // No parameter of this ECU has a number beyond $FF.
        Subject::HighParameter(_) | Subject::Other => return Ok(()),
    };
    // An ECU without service $06 has no mask of monitors either.
    let has_none = matches!(did.subject(), Subject::Monitor(_)) && *supported == SupportMask::NONE;
    if has_none || !supported.contains(number) {
        return Ok(());
    }
    if let Some(mask) = supported.range(number) {
        write::push_data(response, did)?;
        return response.extend(&mask);
    }
    match did.subject() {
        Subject::Parameter(pid) => {
            let reading = parameters::current(number, live, context.memory, context.calibration);
            if let Some(reading) = reading {
                write::push_data(response, did)?;
                reading.write(pid, response)?;
            }
        }
        Subject::Monitor(mid) => {
            write::push_data(response, did)?;
            let monitors = context.monitors.into_iter();
            for result in monitors.flat_map(|own| own.results().answers(mid, context.memory.absent())) {
                let [_, result @ ..]: [u8; TestResult::LEN] = result.to_bytes();
                response.extend(&result)?;
            }
        }
        Subject::Information(info_type) => {
            write::push_data(response, did)?;
            if did == Did::PROTOCOL {
                return response.extend(&[PROTOCOL_ON_UDS]);
            }
            // Without a number of items (uncertain).
            let mut put = |information: Information<'_>| response.extend(information.bytes());
            s09::with_information(context, info_type, &mut put).unwrap_or(Ok(()))?;
        }
        Subject::HighParameter(_) | Subject::Other => {}
    }
    Ok(())
}

/// Appends the data of a freeze frame: how many, then each parameter of service $02 but for the causing code, which the request
/// names.
pub(super) fn write_frame(
    context: &Context<'_>,
    frame: &LiveData,
    response: &mut ResponseBuffer,
) -> Result<(), BufferFull> {
    let numbers = || context.served.frozen.iter().filter(|&number| number != 0x02);
    // Fewer than 256 parameters.
    let count = u8::try_from(numbers().count()).unwrap_or(u8::MAX);
    response.extend(&[count])?;
    for number in numbers() {
        if let Some(reading) = parameters::frozen(number, frame) {
            write::push_data(response, Did::parameter(number))?;
            reading.write(Pid::new(number), response)?;
        }
    }
    Ok(())
}
