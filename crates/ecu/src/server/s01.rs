//! Service $01: current data.
//!
//! Answered in the order of the request, once per mention; what is not supported is left out. The standard settles
//! neither order nor repeated mentions; this is what AUTOSAR stacks do.

use twotrip_obd::{BufferFull, Parameters, Pid, ResponseBuffer, Service};

use super::{Answer, Context, parameters, write_mask};

pub(super) fn answer(
    context: &Context<'_>,
    asked: Parameters<'_>,
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    response.begin(Service::CurrentData)?;
    let live = context.reported();
    for &number in asked.numbers() {
        if write_mask(&context.served.current, number, response)? || !context.served.current.contains(number)
        {
            continue;
        }
        if let Some(reading) = parameters::current(number, &live, context.memory, context.calibration) {
            response.extend(&[number])?;
            reading.write(Pid::new(number), response)?;
        }
    }
    Ok(Answer::unless_empty(response))
}
