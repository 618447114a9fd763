//! Service $09: vehicle information. The odd InfoTypes, message counts of older protocols, are not served on CAN.

use twotrip_obd::{BufferFull, InfoType, Parameters, ResponseBuffer, Service, SupportMask};

use super::{Answer, Context};

/// What the masks announce.
pub(super) const SUPPORTED: SupportMask = SupportMask::NONE
    .with(InfoType::VIN.number())
    .with(InfoType::CALIBRATION_ID.number())
    .with(InfoType::VERIFICATION_NUMBER.number())
    .with(InfoType::IN_USE_PERFORMANCE.number())
    .with(InfoType::ECU_NAME.number());

/// How many counters of in-use performance there are, as the count byte says it.
const COUNTERS: u8 = 20;

pub(super) fn answer(
    context: &Context<'_>,
    asked: Parameters<'_>,
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    response.begin(Service::VehicleInformation)?;
    for &number in asked.numbers() {
        if let Some(mask) = SUPPORTED.range(number) {
            response.extend(&[number])?;
            response.extend(&mask)?;
        } else {
            write(context, InfoType::new(number), response)?;
        }
    }
    let nothing_supported = response.len() == 1;
    Ok(if nothing_supported {
        Answer::Silence
    } else {
        Answer::Positive
    })
}

/// Appends InfoType, number of items and items; nothing if the InfoType is not served.
fn write(
    context: &Context<'_>,
    info_type: InfoType,
    response: &mut ResponseBuffer,
) -> Result<(), BufferFull> {
    let identity = context.identity;
    let mut one_item = |item: &[u8]| {
        response.extend(&[info_type.number(), 1])?;
        response.extend(item)
    };
    match info_type {
        InfoType::VIN => one_item(identity.vin()),
        InfoType::CALIBRATION_ID => one_item(identity.calibration_id()),
        InfoType::VERIFICATION_NUMBER => one_item(&identity.verification_number().to_be_bytes()),
        InfoType::ECU_NAME => one_item(identity.ecu_name()),
        InfoType::IN_USE_PERFORMANCE => {
            response.extend(&[info_type.number(), COUNTERS])?;
            let performance = context.memory.in_use();
            performance
                .counters()
                .iter()
                .try_for_each(|counter| response.extend(&counter.to_be_bytes()))
        }
        _ => Ok(()),
    }
}
