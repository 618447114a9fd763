//! Service $09: vehicle information. The odd InfoTypes, message counts of older protocols, are not served on CAN.

use core::slice;

use twotrip_obd::{
    BufferFull, InUsePerformance, InfoType, Information, Parameters, Response, ResponseBuffer, Service,
    SupportMask, mask::is_mask,
};

use super::{Answer, Context, write_mask};

/// What the masks of an engine ECU announce.
pub(super) const SUPPORTED: SupportMask = SupportMask::NONE
    .with(InfoType::VIN.number())
    .with(InfoType::CALIBRATION_ID.number())
    .with(InfoType::VERIFICATION_NUMBER.number())
    .with(InfoType::IN_USE_PERFORMANCE.number())
    .with(InfoType::ECU_NAME.number());

/// What those of a transmission ECU announce.
pub(super) const OF_TRANSMISSION: SupportMask = SupportMask::NONE
    .with(InfoType::CALIBRATION_ID.number())
    .with(InfoType::VERIFICATION_NUMBER.number())
    .with(InfoType::ECU_NAME.number());

pub(super) fn answer(
    context: &Context<'_>,
    asked: Parameters<'_>,
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    if let &[number] = asked.numbers()
        && !is_mask(number)
    {
        return one(context, InfoType::new(number), response);
    }
    response.begin(Service::VehicleInformation)?;
    for &number in asked.numbers() {
        write_mask(&context.served.information, number, response)?;
    }
    Ok(Answer::unless_empty(response))
}

fn one(
    context: &Context<'_>,
    info_type: InfoType,
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    let mut emit = |information: Information<'_>| Response::Information(information).emit(response);
    match with_information(context, info_type, &mut emit) {
        Some(written) => written.map(|()| Answer::Positive),
        None => Ok(Answer::Silence),
    }
}

/// Gives an InfoType to be written, in whichever dialect; nothing if it is not supported.
pub(super) fn with_information<T>(
    context: &Context<'_>,
    info_type: InfoType,
    write: &mut dyn FnMut(Information<'_>) -> T,
) -> Option<T> {
    if !context.served.information.contains(info_type.number()) {
        return None;
    }
    let identity = context.identity;
    let number = identity.verification_number().to_be_bytes();
    let mut counters = [[0; 2]; InUsePerformance::LEN];
    let information = match info_type {
        InfoType::VIN => Information::Vin(identity.vin()),
        InfoType::CALIBRATION_ID => Information::CalibrationIds(slice::from_ref(identity.calibration_id())),
        InfoType::VERIFICATION_NUMBER => Information::VerificationNumbers(slice::from_ref(&number)),
        InfoType::ECU_NAME => Information::EcuName(identity.ecu_name()),
        InfoType::IN_USE_PERFORMANCE => {
            let performance = context.memory.in_use();
            for (item, counter) in counters.iter_mut().zip(performance.counters()) {
                *item = counter.to_be_bytes();
            }
            Information::InUse(&counters)
        }
        _ => return None,
    };
    Some(write(information))
}
