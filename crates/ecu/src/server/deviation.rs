//! Misbehaviour on purpose: what a server can do wrong with a request, for testing who asked.
//!
//! A [`Deviation`] is handed in with a request, and is empty by default: [`Deviation::before`] may take the place of the
//! server, [`Deviation::after`] falsifies what that has said. The services themselves know nothing of it.

use twotrip_obd::{Request, ResponseBuffer, ResponseCode, Service};

use super::Answer;

/// What the server does wrong with one request. Nothing by default.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Deviation {
    /// It does not do what is asked, and says so with this code, or says nothing.
    pub unserved: Option<Unserved>,
    /// What it says in the end is not what it should say.
    pub falsified: Option<Falsified>,
}

/// What takes the place of serving a request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unserved {
    /// Nothing is said.
    Silently,
    /// A refusal with this code, even to a request that went to all ECUs.
    Refused(ResponseCode),
}

/// What becomes of an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Falsified {
    /// A refusal (`7F xx 12`, to a request of an unknown service `7F xx 11`) where silence is due.
    RefusalForSilence,
    /// Silence where a refusal is due.
    SilenceForRefusal,
    /// The last code of the list of service $03 is left out.
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
/// Bytes that are no characters of ASCII: beyond it, erased memory, and a control character.
const NO_ASCII: [u8; 3] = [0x9C, 0xFF, 0x07];
/// Parameters that a lying mask announces.
const LIES: usize = 3;

impl Deviation {
    /// What takes the place of serving the request, if anything does.
    pub fn before(&self, request: &[u8], response: &mut ResponseBuffer) -> Option<Answer> {
        let unserved = self.unserved?;
        response.clear();
        let code = match unserved {
            Unserved::Silently => return Some(Answer::Silence),
            Unserved::Refused(code) => code,
        };
        Some(refuse(request, code, response))
    }

    /// Falsifies what the server has answered.
    pub fn after(&self, request: &[u8], answer: Answer, response: &mut ResponseBuffer) -> Answer {
        match self.falsified {
            Some(falsified) if falsified.fits(request, answer, response.as_slice()) => {
                falsified.apply(request, answer, response)
            }
            _ => answer,
        }
    }
}

impl Falsified {
    /// Whether this can be done to an answer: only then there is an opportunity for it.
    #[must_use]
    pub fn fits(self, request: &[u8], answer: Answer, response: &[u8]) -> bool {
        let is_request = Request::parse(request).is_ok() && request[0] & 0x40 == 0;
        match self {
            Self::RefusalForSilence => is_request && answer == Answer::Silence,
            Self::SilenceForRefusal => matches!(answer, Answer::Negative(_)),
            Self::CodeLeftOut => answer.is_positive() && matches!(response, [0x43, 1..=u8::MAX, _, _, ..]),
            Self::VinMissing => answer.is_positive() && matches!(request, [0x09, 0x00 | 0x02]),
            Self::VinCut(_) | Self::VinGarbled => {
                answer.is_positive() && request == VIN && response.len() > VIN_HEADER + NO_ASCII.len()
            }
            Self::MaskLies => answer.is_positive() && mask_at(response).is_some(),
        }
    }

    fn apply(self, request: &[u8], answer: Answer, response: &mut ResponseBuffer) -> Answer {
        match self {
            Self::RefusalForSilence => {
                let known = super::SERVICES.contains(&Service::from_byte(request[0]));
                let code = if known {
                    ResponseCode::SubFunctionNotSupported
                } else {
                    ResponseCode::ServiceNotSupported
                };
                return refuse(request, code, response);
            }
            Self::SilenceForRefusal => {
                response.clear();
                return Answer::Silence;
            }
            Self::CodeLeftOut => {
                let kept = response.len() - 2;
                response.truncate(kept);
                response.set(1, response[1] - 1);
            }
            Self::VinMissing if request == VIN => {
                response.clear();
                return Answer::Silence;
            }
            // Bit of InfoType $02 in the mask.
            Self::VinMissing => {
                if let Some(&bits) = response.as_slice().get(2) {
                    response.set(2, bits & !0x40);
                }
            }
            Self::VinCut(characters) => response.truncate(VIN_HEADER + usize::from(characters)),
            Self::VinGarbled => {
                for (place, byte) in (VIN_HEADER..).step_by(2).zip(NO_ASCII) {
                    if place < response.len() {
                        response.set(place, byte);
                    }
                }
            }
            Self::MaskLies => lie(response),
        }
        answer
    }
}

fn refuse(request: &[u8], code: ResponseCode, response: &mut ResponseBuffer) -> Answer {
    let service = Service::from_byte(request.first().copied().unwrap_or_default());
    if response.refuse(service, code).is_err() {
        response.clear();
        return Answer::Silence;
    }
    Answer::Negative(code)
}

/// Where the bits of the first mask in an answer are: behind the number of the range, in service $02 behind the number of the
/// frame too.
fn mask_at(response: &[u8]) -> Option<usize> {
    let start = match response {
        [0x41 | 0x46 | 0x48 | 0x49, number, ..] if number % 0x20 == 0 => 2,
        [0x42, number, _, ..] if number % 0x20 == 0 => 3,
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

#[cfg(test)]
mod tests {
    use super::*;

    fn written(bytes: &[u8]) -> ResponseBuffer {
        let mut response = ResponseBuffer::new();
        response.extend(bytes).expect("it fits");
        response
    }

    const VIN_ANSWER: &[u8] = b"\x49\x02\x010TW00TRP3A0000042";

    /// What is done, request, answer, what becomes of it.
    type Row = (Falsified, &'static [u8], &'static [u8], &'static [u8]);

    #[test]
    fn each_falsification_by_its_bytes() {
        let rows: &[Row] = &[
            (
                Falsified::RefusalForSilence,
                &[0x01, 0xFF],
                &[],
                &[0x7F, 0x01, 0x12],
            ),
            (
                Falsified::RefusalForSilence,
                &[0x05, 0x00],
                &[],
                &[0x7F, 0x05, 0x11],
            ),
            (Falsified::RefusalForSilence, &[0x41, 0x00], &[], &[]),
            (Falsified::SilenceForRefusal, &[0x05], &[0x7F, 0x05, 0x11], &[]),
            (
                Falsified::SilenceForRefusal,
                &[0x03],
                &[0x43, 0x00],
                &[0x43, 0x00],
            ),
            (
                Falsified::CodeLeftOut,
                &[0x03],
                &[0x43, 0x02, 0x03, 0x01, 0x04, 0x55],
                &[0x43, 0x01, 0x03, 0x01],
            ),
            (Falsified::CodeLeftOut, &[0x07], &[0x47, 0x00], &[0x47, 0x00]),
            (Falsified::VinMissing, &[0x09, 0x02], VIN_ANSWER, &[]),
            (
                Falsified::VinMissing,
                &[0x09, 0x00],
                &[0x49, 0x00, 0x55, 0x40, 0x00, 0x00],
                &[0x49, 0x00, 0x15, 0x40, 0x00, 0x00],
            ),
            (
                Falsified::VinCut(5),
                &[0x09, 0x02],
                VIN_ANSWER,
                b"\x49\x02\x010TW00",
            ),
            (
                Falsified::VinGarbled,
                &[0x09, 0x02],
                VIN_ANSWER,
                b"\x49\x02\x01\x9CT\xFF0\x07TRP3A0000042",
            ),
            (
                Falsified::MaskLies,
                &[0x01, 0x00],
                &[0x41, 0x00, 0xBE, 0x3F, 0xA8, 0x13],
                &[0x41, 0x00, 0xFF, 0xBF, 0xA8, 0x13],
            ),
            (
                Falsified::MaskLies,
                &[0x02, 0x20, 0x00],
                &[0x42, 0x20, 0x00, 0xFF, 0xFF, 0xFF, 0xFE],
                &[0x42, 0x20, 0x00, 0xFF, 0xFF, 0xFF, 0xFE],
            ),
            (
                Falsified::MaskLies,
                &[0x01, 0x0C],
                &[0x41, 0x0C, 1, 2],
                &[0x41, 0x0C, 1, 2],
            ),
        ];
        for &(falsified, request, answer, expected) in rows {
            let mut response = written(answer);
            let given = match answer {
                [] => Answer::Silence,
                [0x7F, ..] => Answer::Negative(ResponseCode::ServiceNotSupported),
                _ => Answer::Positive,
            };
            let deviation = Deviation {
                falsified: Some(falsified),
                ..Deviation::default()
            };
            let found = deviation.after(request, given, &mut response);
            assert_eq!(response.as_slice(), expected, "{falsified:?} {request:02X?}");
            assert_eq!(
                found.is_sent(),
                !expected.is_empty(),
                "{falsified:?} {request:02X?}"
            );
        }
    }

    #[test]
    fn a_request_is_not_served_and_refused_or_passed_over() {
        let mut response = written(&[0x43, 0x00]);
        let busy = Deviation {
            unserved: Some(Unserved::Refused(ResponseCode::BusyRepeatRequest)),
            ..Deviation::default()
        };
        let answer = busy.before(&[0x04], &mut response);
        assert_eq!(answer, Some(Answer::Negative(ResponseCode::BusyRepeatRequest)));
        assert_eq!(response.as_slice(), [0x7F, 0x04, 0x21]);
        let silent = Deviation {
            unserved: Some(Unserved::Silently),
            ..Deviation::default()
        };
        assert_eq!(silent.before(&[0x04], &mut response), Some(Answer::Silence));
        assert!(response.is_empty());
    }

    #[test]
    fn an_empty_deviation_changes_nothing() {
        let mut response = written(VIN_ANSWER);
        let nothing = Deviation::default();
        assert_eq!(nothing.before(&VIN, &mut response), None);
        let answer = nothing.after(&VIN, Answer::Positive, &mut response);
        assert_eq!((answer, response.as_slice()), (Answer::Positive, VIN_ANSWER));
    }

    /// Any answer at all: no panic.
    #[test]
    fn falsifying_anything_does_no_harm() {
        let all = [
            Falsified::RefusalForSilence,
            Falsified::SilenceForRefusal,
            Falsified::CodeLeftOut,
            Falsified::VinMissing,
            Falsified::VinCut(17),
            Falsified::VinGarbled,
            Falsified::MaskLies,
        ];
        for falsified in all {
            let deviation = Deviation {
                falsified: Some(falsified),
                ..Deviation::default()
            };
            for service in 0..=u8::MAX {
                for len in 0..10 {
                    let bytes = [service | 0x40, 0x00, 3, 0, 0, 0, 0, 0, 0, 0];
                    let request = [service, 0x00, 0];
                    for answer in [Answer::Silence, Answer::Positive] {
                        let mut response = written(&bytes[..len]);
                        let _ = deviation.after(&request[..len.min(3)], answer, &mut response);
                    }
                }
            }
        }
    }
}
