//! Service $03: confirmed codes, oldest first. The ECU answers also when there are none: count 0.

use twotrip_obd::{BufferFull, ResponseBuffer, Service};

use super::Answer;
use crate::memory::FaultMemory;

pub(super) fn answer(memory: &FaultMemory, response: &mut ResponseBuffer) -> Result<Answer, BufferFull> {
    response.write_codes(Service::ConfirmedCodes, memory.confirmed())?;
    Ok(Answer::Positive)
}
