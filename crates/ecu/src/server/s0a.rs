//! Service $0A: permanent codes, oldest first. The ECU answers also when there are none: count 0. Where the
//! regulation knows no permanent codes the service is not supported.

use twotrip_obd::{BufferFull, ResponseBuffer, ResponseCode, Service};

use super::Answer;
use crate::memory::FaultMemory;

pub(super) fn answer(memory: &FaultMemory, response: &mut ResponseBuffer) -> Result<Answer, BufferFull> {
    if !memory.profile().permanent_codes {
        return Ok(Answer::Negative(ResponseCode::ServiceNotSupported));
    }
    response.write_codes(Service::PermanentCodes, memory.permanent())?;
    Ok(Answer::Positive)
}
