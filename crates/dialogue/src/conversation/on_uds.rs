//! What requests and answers of SAE J1979-2 tell (layouts of ISO 14229-1): what is supported, and what a tester should not ask.
//!
//! Makers use the same services for data and codes of their own, on cars of either dialect: identifiers outside of $F4xx to
//! $F8xx, sub-functions that SAE J1979-2 does not use, and sessions are none of its business.

use alloc::vec::Vec;

use twotrip_obd::{
    Service,
    uds::{Data, Datum, Did, Request, RequestError, Response, ResponseError, Subject},
};

use super::Dialogue;
use crate::{Breach, Ecu, Role, known::Numbers};

/// Data identifiers in one request: as many as fit one frame to all. No published source has more for one ECU alone.
const AT_ONCE: usize = 3;

/// Whether it is one of on-board diagnostics.
const fn is_of_obd(did: Did) -> bool {
    !matches!(did.subject(), Subject::Other)
}

/// One that masks speak of: neither a mask, nor the question for the dialect, which comes before any mask.
fn is_masked(did: Did) -> bool {
    is_of_obd(did) && !did.is_mask() && did != Did::PROTOCOL
}

impl Dialogue {
    /// A request; a busy ECU is not asked again by it.
    pub(super) fn judge_on_uds(&self, role: Role, request: &[u8], breaches: &mut Vec<Breach>) {
        match Request::parse(request) {
            Ok(Request::ReadData(dids)) => {
                let dids = dids.iter().map(|&did| Did::from_bytes(did));
                let found = dids.clone().filter(|&did| is_of_obd(did)).count();
                if found > AT_ONCE {
                    breaches.push(Breach::TooManyIdentifiers { found });
                }
                let ruled_out = dids.filter(|&did| is_masked(did)).find(|did| {
                    let [range, number] = did.to_bytes();
                    self.all_known_say(role, |known| known.rules_out(Numbers::From(range), number))
                });
                breaches.extend(ruled_out.map(|did| Breach::AskedUnsupported {
                    service: Service::ReadData.to_byte(),
                    number: u16::from_be_bytes(did.to_bytes()),
                }));
            }
            Err(error @ RequestError::Length { .. }) => breaches.push(Breach::RequestOnUds(error)),
            Ok(_) | Err(RequestError::Service | RequestError::SubFunction { .. }) => {}
        }
    }

    /// What a positive answer tells of its ECU, and of the tester's conduct.
    pub(super) fn learn_on_uds(&mut self, ecu: Ecu, answer: &[u8], breaches: &mut Vec<Breach>) {
        self.codes_read |= answer.first() == Some(&Service::ReadCodes.to_answer_byte());
        match Response::parse(answer) {
            Ok(Response::Data(data)) => self.learn_data(ecu, data, breaches),
            Err(
                error @ (ResponseError::Format(_)
                | ResponseError::Length {
                    service: Service::ReadCodes | Service::ReadData | Service::ClearByGroup,
                    ..
                }),
            ) => breaches.push(Breach::AnswerOnUds(error)),
            _ => {}
        }
    }

    fn learn_data(&mut self, ecu: Ecu, data: Data<'_>, breaches: &mut Vec<Breach>) {
        let known = self.known.entry(ecu);
        for did in data.flatten().map(Datum::did).filter(|&did| is_masked(did)) {
            let [range, number] = did.to_bytes();
            if known.leaves_out(Numbers::From(range), number) {
                breaches.push(Breach::NotSupported {
                    service: Service::ReadData.to_byte(),
                    number: u16::from_be_bytes(did.to_bytes()),
                });
            }
        }
        // They count from the next answer on.
        for datum in data.flatten() {
            if let Some(mask) = datum.mask() {
                let [range, base] = datum.did().to_bytes();
                known.add(Numbers::From(range), base, mask);
            }
        }
    }
}
