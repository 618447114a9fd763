//! Service $06: results of on-board monitoring tests.
//!
//! One monitor at a time (AUTOSAR SWS_Dcm_00956), nine bytes for each of its tests. Not run since the clear: value and
//! limits 0; what is supported does not change with that (SAE J1979, as makers' service information repeats it).

use twotrip_obd::{BufferFull, Mid, Parameters, ResponseBuffer, Service};

use super::{Answer, Context, write_mask};

pub(super) fn answer(
    context: &Context<'_>,
    asked: Parameters<'_>,
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    response.begin(Service::TestResults)?;
    for &number in asked.numbers() {
        if write_mask(&context.served.monitored, number, response)? {
            continue;
        }
        if !context.served.monitored.contains(number) {
            continue;
        }
        let Some(monitors) = context.monitors else {
            continue;
        };
        for result in monitors
            .results()
            .answers(Mid::new(number), context.memory.absent())
        {
            response.extend(&result.to_bytes())?;
        }
    }
    Ok(Answer::unless_empty(response))
}
