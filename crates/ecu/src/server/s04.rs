//! Service $04: clear codes, freeze frame, readiness and counters.
//!
//! Taken with the key on and the engine off; refused while the engine runs or the vehicle moves, as a maker may
//! (SAE J1979; AUTOSAR SWS_Dcm_00704 for the code). What a clear does stands in [`crate::memory`].

use twotrip_obd::{BufferFull, ResponseBuffer, ResponseCode, Service};

use super::{Answer, Context};

pub(super) fn answer(context: &Context<'_>, response: &mut ResponseBuffer) -> Result<Answer, BufferFull> {
    if context.engine_running || context.vehicle_moving {
        return Ok(Answer::Negative(ResponseCode::ConditionsNotCorrect));
    }
    response.begin(Service::Clear)?;
    Ok(Answer::PositiveAndClear)
}
