//! Service $08: control of an on-board system. Test $01 seals the fuel tank for a leak test with means of the workshop.
//!
//! The test alone or with five data bytes, which are ignored; five zero bytes come back (SAE J1979, from memory).
//! Taken with the key on and the engine off, as makers' service information asks, else $22 (AUTOSAR SWS_Dcm_01192).
//! How long the vent stays shut is the maker's matter: [`SEALED`].

use core::time::Duration;

use twotrip_obd::{BufferFull, Control, Response, ResponseBuffer, ResponseCode, Service, SupportMask, Tid};

use super::{Answer, Context, write_mask};

/// What the masks of an engine ECU announce.
pub(super) const SUPPORTED: SupportMask = SupportMask::NONE.with(Tid::EVAP_LEAK_TEST.number());

/// How long the tank stays sealed, unless the engine starts or the key goes off before (our choice).
pub(crate) const SEALED: Duration = Duration::from_secs(600);

pub(super) fn answer(
    context: &Context<'_>,
    asked: Control<'_>,
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    match asked {
        Control::Masks(numbers) => {
            response.begin(Service::Control)?;
            for &number in numbers {
                write_mask(&context.served.controlled, number, response)?;
            }
            Ok(Answer::unless_empty(response))
        }
        Control::Test(tid @ Tid::EVAP_LEAK_TEST, data) if matches!(data.len(), 0 | 5) => {
            if !context.key_on || context.engine_running || context.vehicle_moving {
                return Ok(Answer::Negative(ResponseCode::ConditionsNotCorrect));
            }
            Response::Control(tid, &[0; 5]).emit(response)?;
            Ok(Answer::PositiveAndSeal)
        }
        Control::Test(..) => Ok(Answer::Silence),
    }
}
