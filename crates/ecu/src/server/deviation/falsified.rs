//! What becomes of an answer: where in its bytes it is falsified, in SAE J1979 and in SAE J1979-2.
//!
//! | | SAE J1979 | SAE J1979-2 |
//! |---|---|---|
//! | codes | $03, $07, $0A: a count, two bytes each | $19 $42, $55, $56, $1A: four bytes each, five with their severity |
//! | VIN | $09 $02, behind the number of items | $22 $F802, among others that were asked for |
//! | masks | $01, $02, $06, $08, $09 | $22 $F4xx, $F6xx, $F8xx |
//! | not there | silence | $31, to all ECUs silence |

use core::ops::Range;

use twotrip_obd::{Dialect, Request, ResponseBuffer, ResponseCode, Service, uds::Did};

use super::{Asked, refuse};
use crate::server::{Addressing, Answer, SERVICES, uds};

/// What becomes of an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Falsified {
    /// A refusal where silence is due: of a service that the ECU lacks `7F xx 11`, of what is not there `7F 22 31`, of
    /// anything else `7F xx 12`.
    RefusalForSilence,
    /// Silence where a refusal is due.
    SilenceForRefusal,
    /// The last code of a list is left out.
    CodeLeftOut,
    /// The vehicle identification number is not there.
    VinMissing,
    /// So many characters of the vehicle identification number are there.
    VinCut(u8),
    /// Some of its characters are none of ASCII.
    VinGarbled,
    /// A mask announces three parameters more than there are.
    MaskLies,
}

/// `09 02`: the vehicle identification number; its answer has three bytes before the number.
const VIN: [u8; 2] = [0x09, 0x02];
const VIN_HEADER: usize = 3;
/// `F8 02`: the same in SAE J1979-2, and `F8 00`, the mask that announces it.
const VIN_DID: [u8; 2] = [Did::INFORMATION, 0x02];
const MASK_DID: [u8; 2] = [Did::INFORMATION, 0x00];
/// Its characters (ISO 3779).
const VIN_LENGTH: usize = 17;
/// In a mask of InfoTypes, the bit of the number.
const VIN_BIT: u8 = 0x40;
/// Bytes that are no characters of ASCII: beyond it, erased memory, and a control character.
const NO_ASCII: [u8; 3] = [0x9C, 0xFF, 0x07];
/// Parameters that a lying mask announces.
const LIES: usize = 3;

impl Falsified {
    /// Whether this can be done to an answer: only then there is an opportunity for it.
    #[must_use]
    pub fn fits(self, request: &[u8], answer: Answer, response: &[u8]) -> bool {
        let is_request = Request::parse(request).is_ok() && request[0] & 0x40 == 0;
        match self {
            Self::RefusalForSilence => is_request && answer == Answer::Silence && !wants_no_answer(request),
            Self::SilenceForRefusal => matches!(answer, Answer::Negative(_)),
            _ if !answer.is_positive() => false,
            Self::CodeLeftOut => last_code(response).is_some(),
            Self::VinMissing => vin_in(request, response).is_some() || vin_bit(request, response).is_some(),
            Self::VinCut(_) | Self::VinGarbled => vin_in(request, response).is_some(),
            Self::MaskLies => mask_at(response).is_some(),
        }
    }

    pub(super) fn apply(self, asked: Asked<'_>, answer: Answer, response: &mut ResponseBuffer) -> Answer {
        let request = asked.request;
        match self {
            Self::RefusalForSilence => return refuse(request, refusal(asked), response),
            Self::SilenceForRefusal => {
                response.clear();
                return Answer::Silence;
            }
            Self::CodeLeftOut => leave_out_code(response),
            Self::VinMissing => return leave_out_vin(asked, answer, response),
            Self::VinCut(characters) => {
                if let Some(vin) = vin_in(request, response.as_slice()) {
                    let kept = (vin.start + usize::from(characters)).min(vin.end);
                    remove(response, kept..vin.end);
                }
            }
            Self::VinGarbled => {
                if let Some(vin) = vin_in(request, response.as_slice()) {
                    for (place, byte) in vin.step_by(2).zip(NO_ASCII) {
                        response.set(place, byte);
                    }
                }
            }
            Self::MaskLies => lie(response),
        }
        answer
    }
}

/// Whether silence is what the tester asked for: bit 7 of a sub-function (ISO 14229-1).
const fn wants_no_answer(request: &[u8]) -> bool {
    matches!(request, [0x10 | 0x19 | 0x31 | 0x3E, sub_function, ..] if *sub_function & 0x80 != 0)
}

/// The code by which an ECU refuses that does not keep quiet.
fn refusal(asked: Asked<'_>) -> ResponseCode {
    let service = Service::from_byte(asked.request.first().copied().unwrap_or_default());
    let (services, out_of_range) = match asked.dialect {
        Dialect::Classic => (&SERVICES[..], false),
        Dialect::OnUds => (&uds::SERVICES[..], service == Service::ReadData),
    };
    match service {
        _ if !services.contains(&service) => ResponseCode::ServiceNotSupported,
        _ if out_of_range => ResponseCode::RequestOutOfRange,
        _ => ResponseCode::SubFunctionNotSupported,
    }
}

/// The bytes of the last code in a list.
fn last_code(response: &[u8]) -> Option<Range<usize>> {
    let (head, each) = match response {
        [0x43 | 0x47 | 0x4A, ..] => (2, 2),
        // Group, two masks of what is available, format; then severity, code, status.
        [0x59, 0x42, ..] => (6, 5),
        // Group, mask, format, and of $56 the readiness group; then code, status.
        [0x59, 0x55, ..] => (5, 4),
        [0x59, 0x56, ..] => (6, 4),
        // Mask, record.
        [0x59, 0x1A, ..] => (4, 4),
        _ => return None,
    };
    let end = response.len();
    (end >= head + each).then(|| end - each..end)
}

fn leave_out_code(response: &mut ResponseBuffer) {
    let Some(last) = last_code(response.as_slice()) else {
        return;
    };
    response.truncate(last.start);
    // The older dialect counts them.
    if response[0] != 0x59 {
        response.set(1, response[1].saturating_sub(1));
    }
}

/// Where the vehicle identification number stands in the answer to what asked for it.
fn vin_in(request: &[u8], response: &[u8]) -> Option<Range<usize>> {
    if request == VIN {
        return (response.len() > VIN_HEADER + NO_ASCII.len()).then_some(VIN_HEADER..response.len());
    }
    let asks = matches!(request, [0x22, dids @ ..] if dids.as_chunks().0.contains(&VIN_DID));
    let mut places = response.windows(VIN_DID.len() + VIN_LENGTH).enumerate();
    let (place, _) = places.find(|(place, window)| {
        asks && *place > 0
            && window.starts_with(&VIN_DID)
            && window[VIN_DID.len()..].iter().all(u8::is_ascii_graphic)
    })?;
    let start = place + VIN_DID.len();
    Some(start..start + VIN_LENGTH)
}

/// Where an answer announces it.
fn vin_bit(request: &[u8], response: &[u8]) -> Option<usize> {
    match (request, response) {
        ([0x09, 0x00, ..], [0x49, 0x00, _, ..]) => Some(2),
        ([0x22, ..], [0x62, range, number, _, ..]) if [*range, *number] == MASK_DID => Some(3),
        _ => None,
    }
}

/// Neither announced nor told.
fn leave_out_vin(asked: Asked<'_>, answer: Answer, response: &mut ResponseBuffer) -> Answer {
    if let Some(place) = vin_bit(asked.request, response.as_slice()) {
        response.set(place, response[place] & !VIN_BIT);
    }
    let Some(vin) = vin_in(asked.request, response.as_slice()) else {
        return answer;
    };
    match asked.dialect {
        Dialect::Classic => {
            response.clear();
            return Answer::Silence;
        }
        Dialect::OnUds => remove(response, vin.start - VIN_DID.len()..vin.end),
    }
    if response.len() > 1 {
        return answer;
    }
    response.clear();
    match asked.addressing {
        Addressing::Functional => Answer::Silence,
        Addressing::Physical => refuse(asked.request, ResponseCode::RequestOutOfRange, response),
    }
}

/// Takes bytes out of an answer.
fn remove(response: &mut ResponseBuffer, bytes: Range<usize>) {
    let (count, end) = (bytes.len(), response.len());
    for place in bytes.end..end {
        response.set(place - count, response[place]);
    }
    response.truncate(end.saturating_sub(count));
}

/// Where the bits of the first mask in an answer are: behind the number of the range, in service $02 behind the number of the
/// frame too.
fn mask_at(response: &[u8]) -> Option<usize> {
    let start = match response {
        [0x41 | 0x46 | 0x48 | 0x49, number, ..] if number % 0x20 == 0 => 2,
        [0x42, number, _, ..] if number % 0x20 == 0 => 3,
        [0x62, range, number, ..] if Did::from_bytes([*range, *number]).is_mask() => 3,
        _ => return None,
    };
    (response.len() >= start + 4).then_some(start)
}

/// Announces the first parameters that are not there. The last bit announces a mask, no parameter.
fn lie(response: &mut ResponseBuffer) {
    let Some(start) = mask_at(response.as_slice()) else {
        return;
    };
    let absent = (0..31).filter(|bit| response[start + bit / 8] & (0x80 >> (bit % 8)) == 0);
    let mut lies = [None; LIES];
    for (lie, bit) in lies.iter_mut().zip(absent) {
        *lie = Some(bit);
    }
    for bit in lies.into_iter().flatten() {
        let place = start + bit / 8;
        response.set(place, response[place] | 0x80 >> (bit % 8));
    }
}
