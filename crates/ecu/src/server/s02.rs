//! Service $02: the freeze frame.
//!
//! Frame 00 is the legislated one; to other frames there is no answer (AUTOSAR SWS_Dcm_00409, 00972). Without a
//! stored frame PID $02 reads 0000 and the data are left out; the masks stay as they are.

use twotrip_obd::{BufferFull, FramedParameters, Pid, ResponseBuffer, Service};

use super::{Answer, Context, parameters};

/// The only frame.
const FRAME: u8 = 0x00;
/// The code that stored the frame.
const CAUSE: u8 = 0x02;

pub(super) fn answer(
    context: &Context<'_>,
    asked: FramedParameters<'_>,
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    response.begin(Service::FreezeFrame)?;
    let stored = context.memory.freeze_frame();
    let served = &context.served.frozen;
    for &[number, frame] in asked.pairs() {
        if frame != FRAME {
            continue;
        }
        if let Some(mask) = served.range(number) {
            response.extend(&[number, FRAME])?;
            response.extend(&mask)?;
        } else if number == CAUSE {
            response.extend(&[number, FRAME])?;
            response.extend(&stored.map_or([0, 0], |frame| frame.dtc.to_bytes()))?;
        } else if let Some(reading) = stored
            .filter(|_| served.contains(number))
            .and_then(|frame| parameters::frozen(number, &frame.data))
        {
            response.extend(&[number, FRAME])?;
            reading.write(Pid::new(number), response)?;
        }
    }
    Ok(Answer::unless_empty(response))
}
