//! A listed ECU in SAE J1979-2: the services of ISO 14229-1 over the same list.
//!
//! Nothing says how its codes failed or how bad that is, beyond that the vehicle wants to be looked at; it has neither
//! freeze frames nor extended data, and no monitor that could run, so that bit 6 of the status (not run in this driving
//! cycle) is always set. It controls nothing: no $31.

use twotrip_obd::{
    BufferFull, Dtc, ResponseBuffer, ResponseCode, Service,
    uds::{
        ALL_RECORDS, Did, EMISSIONS, FIRST_FRAME, FailureType, FullDtc, LATEST_FRAME, OBD_RECORDS,
        PROTOCOL_ON_UDS, Request, Severity, Status, Subject, answer as write, readiness_group,
    },
};

use super::{INFORMATION, ListedEcu, STATUS};
use crate::server::{Addressing, Answer, uds};

/// Of every code: what the engine ECU says of one that it has no definition for.
const SEVERITY: Severity = Severity::NEXT_HALT.and(Severity::NO_CLASS);

impl ListedEcu {
    pub(super) fn answer_on_uds(
        &self,
        engine_or_wheels_turn: bool,
        addressing: Addressing,
        request: &[u8],
        response: &mut ResponseBuffer,
    ) -> Answer {
        uds::answer_by(
            |service| self.listing.services.contains(&service),
            addressing,
            request,
            response,
            |request, response| match request {
                Request::ReadData(dids) => self.data(dids, response),
                Request::Clear(group) => uds::clear(engine_or_wheels_turn, group, response),
                Request::Session(session) => uds::session(session, response),
                Request::TesterPresent(_) => uds::tester_present(response),
                codes => self.codes(codes, response),
            },
        )
    }

    fn data(&self, dids: &[[u8; 2]], response: &mut ResponseBuffer) -> Result<Answer, BufferFull> {
        if dids.len() > uds::data::AT_ONCE {
            return Ok(Answer::Negative(ResponseCode::IncorrectLength));
        }
        response.begin(Service::ReadData)?;
        for &did in dids {
            self.write_data(Did::from_bytes(did), response)?;
        }
        Ok(if response.len() > 1 {
            Answer::Positive
        } else {
            Answer::Negative(ResponseCode::RequestOutOfRange)
        })
    }

    /// Appends an identifier with its data; nothing if it is not supported.
    fn write_data(&self, did: Did, response: &mut ResponseBuffer) -> Result<(), BufferFull> {
        let [_, number] = did.to_bytes();
        let mut put = |data: &[u8]| {
            write::push_data(response, did)?;
            response.extend(data)
        };
        match did.subject() {
            Subject::Parameter(_) => match self.current.range(number) {
                Some(mask) => put(&mask),
                None if number == STATUS => put(&self.status()),
                None => self.listed_data(number).map_or(Ok(()), put),
            },
            Subject::Information(_) if did == Did::PROTOCOL => put(&[PROTOCOL_ON_UDS]),
            Subject::Information(info_type) => {
                let [_, protocol] = Did::PROTOCOL.to_bytes();
                match INFORMATION.with(protocol).range(number) {
                    Some(mask) => put(&mask),
                    // Without a number of items (uncertain).
                    None => self
                        .with_information(info_type, |information| put(information.bytes()))
                        .unwrap_or(Ok(())),
                }
            }
            Subject::Monitor(_) | Subject::HighParameter(_) | Subject::Other => Ok(()),
        }
    }

    fn codes(&self, request: Request<'_>, response: &mut ResponseBuffer) -> Result<Answer, BufferFull> {
        let written = match request {
            Request::CodesByMask {
                group: EMISSIONS,
                status: wanted,
                severity,
                ..
            } => {
                write::begin_codes_by_mask(response, EMISSIONS, (Status::ALL, SEVERITY))?;
                for code in self.all_codes() {
                    let status = self.status_of(code);
                    if status.has(wanted) && SEVERITY.has(severity) {
                        write::push_graded(response, SEVERITY, full(code), status)?;
                    }
                }
                true
            }
            Request::PermanentCodes { group: EMISSIONS, .. } => {
                write::begin_permanent_codes(response, EMISSIONS, Status::ALL)?;
                for &code in &self.listing.permanent {
                    write::push_code(response, full(code), self.status_of(code))?;
                }
                true
            }
            // Of no group has it a monitor.
            Request::CodesByReadiness {
                group: EMISSIONS,
                readiness,
                ..
            } if readiness_group(readiness).is_some() => {
                write::begin_codes_by_readiness(response, EMISSIONS, Status::ALL, readiness)?;
                true
            }
            Request::FreezeFrame {
                code,
                record: FIRST_FRAME | LATEST_FRAME | ALL_RECORDS,
                ..
            } if self.has(code) => {
                write::begin_records(response, 0x04, code, self.status_of(code.code))?;
                true
            }
            Request::ExtendedData {
                code,
                record: OBD_RECORDS | ALL_RECORDS,
                ..
            } if self.has(code) => {
                write::begin_records(response, 0x06, code, self.status_of(code.code))?;
                true
            }
            _ => false,
        };
        Ok(if written {
            Answer::Positive
        } else {
            Answer::Negative(ResponseCode::RequestOutOfRange)
        })
    }

    /// Every code of any list, each once.
    fn all_codes(&self) -> impl Iterator<Item = Dtc> + '_ {
        let listing = &self.listing;
        let (confirmed, pending) = (&listing.confirmed, &listing.pending);
        let only_pending = pending.iter().filter(|code| !confirmed.contains(code));
        let permanent = listing.permanent.iter();
        let only_permanent = permanent.filter(|code| !confirmed.contains(code) && !pending.contains(code));
        confirmed
            .iter()
            .chain(only_pending)
            .chain(only_permanent)
            .copied()
    }

    fn has(&self, asked: FullDtc) -> bool {
        self.all_codes().any(|code| full(code) == asked)
    }

    fn status_of(&self, code: Dtc) -> Status {
        let confirmed = self.listing.confirmed.contains(&code);
        let pending = self.listing.pending.contains(&code);
        Status::NOT_RUN_THIS_CYCLE
            .with(Status::PENDING, pending)
            .with(Status::CONFIRMED, confirmed)
            .with(Status::FAILED_SINCE_CLEAR, confirmed || pending)
            // A permanent code alone is what a clear has left.
            .with(Status::NOT_RUN_SINCE_CLEAR, !(confirmed || pending))
    }
}

const fn full(code: Dtc) -> FullDtc {
    FullDtc {
        code,
        failure: FailureType::NONE,
    }
}

#[cfg(test)]
mod tests {
    use alloc::{boxed::Box, vec, vec::Vec};

    use twotrip_obd::Dialect;

    use super::*;
    use crate::listed::{Listing, SERVICES_ON_UDS};

    fn ecu(services: &[Service]) -> ListedEcu {
        ListedEcu::new(Listing {
            dialect: Dialect::OnUds,
            services: services.to_vec(),
            data: vec![(0x42, Box::from([0x35, 0xE8])), (0x5B, Box::from([0x8A]))],
            name: *b"HPCM-HybridPtCtrl\0\0\0",
            calibration_id: *b"TWOTRIP-HYB-0001",
            confirmed: vec![Dtc::from_bytes([0xC2, 0x93])],
            pending: vec![Dtc::from_bytes([0x0A, 0x7F])],
            permanent: vec![Dtc::from_bytes([0xC2, 0x93]), Dtc::from_bytes([0x0A, 0x80])],
        })
    }

    fn ask(ecu: &mut ListedEcu, addressing: Addressing, request: &[u8]) -> Vec<u8> {
        let mut response = ResponseBuffer::new();
        let answer = ecu.answer(false, addressing, request, &mut response);
        assert_eq!(answer.is_sent(), !response.is_empty());
        response.to_vec()
    }

    /// Layouts of ISO 14229-1 and of SAE J1979 under data identifiers.
    #[test]
    fn it_says_what_is_listed_in_the_other_dialect() {
        let mut ecu = ecu(&SERVICES_ON_UDS);
        for (request, answer) in [
            (&[0x22, 0xF8, 0x10][..], &[0x62, 0xF8, 0x10, 0x01][..]),
            (&[0x22, 0xF4, 0x00], &[0x62, 0xF4, 0x00, 0x80, 0, 0, 0x01]),
            (
                &[0x22, 0xF4, 0x5B, 0xF4, 0x0C, 0xF4, 0x42],
                &[0x62, 0xF4, 0x5B, 0x8A, 0xF4, 0x42, 0x35, 0xE8],
            ),
            (&[0x22, 0xF4, 0x01], &[0x62, 0xF4, 0x01, 1, 0, 0, 0]),
            // InfoTypes $04, $06, $0A, $10.
            (&[0x22, 0xF8, 0x00], &[0x62, 0xF8, 0x00, 0x14, 0x41, 0, 0]),
            (&[0x22, 0xF8, 0x04], b"\x62\xF8\x04TWOTRIP-HYB-0001"),
            (&[0x22, 0xF4, 0x0C], &[0x7F, 0x22, 0x31]),
            (&[0x22, 0xF6, 0x00], &[0x7F, 0x22, 0x31]),
            (&[0x22, 0xF8, 0x02], &[0x7F, 0x22, 0x31]),
            (
                &[0x22, 0xF4, 0x01, 0xF4, 0x42, 0xF4, 0x5B, 0xF4, 0x00],
                &[0x7F, 0x22, 0x13],
            ),
            (
                &[0x19, 0x42, 0x33, 0x08, 0xFF],
                &[0x59, 0x42, 0x33, 0xFF, 0x41, 0x04, 0x41, 0xC2, 0x93, 0, 0x68],
            ),
            (
                &[0x19, 0x42, 0x33, 0x04, 0xFF],
                &[0x59, 0x42, 0x33, 0xFF, 0x41, 0x04, 0x41, 0x0A, 0x7F, 0, 0x64],
            ),
            // No code asks to be checked at once.
            (
                &[0x19, 0x42, 0x33, 0xFF, 0x80],
                &[0x59, 0x42, 0x33, 0xFF, 0x41, 0x04],
            ),
            (
                &[0x19, 0x55, 0x33],
                &[
                    0x59, 0x55, 0x33, 0xFF, 0x04, 0xC2, 0x93, 0, 0x68, 0x0A, 0x80, 0, 0x50,
                ],
            ),
            (&[0x19, 0x56, 0x33, 0x01], &[0x59, 0x56, 0x33, 0xFF, 0x04, 0x01]),
            (&[0x19, 0x56, 0x33, 0x77], &[0x7F, 0x19, 0x31]),
            (
                &[0x19, 0x04, 0xC2, 0x93, 0, 0xFF],
                &[0x59, 0x04, 0xC2, 0x93, 0, 0x68],
            ),
            (&[0x19, 0x04, 0xC2, 0x93, 0x11, 0xFF], &[0x7F, 0x19, 0x31]),
            (
                &[0x19, 0x06, 0x0A, 0x80, 0, 0xFE],
                &[0x59, 0x06, 0x0A, 0x80, 0, 0x50],
            ),
            (&[0x19, 0x06, 0x0A, 0x80, 0, 0x92], &[0x7F, 0x19, 0x31]),
            (&[0x19, 0x1A, 0x92], &[0x7F, 0x19, 0x31]),
            (&[0x19, 0x02, 0xFF], &[0x7F, 0x19, 0x12]),
            (&[0x10, 0x01], &[0x50, 0x01, 0x00, 0x32, 0x01, 0xF4]),
            (&[0x3E, 0x00], &[0x7E, 0x00]),
            (&[0x3E, 0x80], &[]),
            (&[0x31, 0x01, 0xE0, 0x01], &[0x7F, 0x31, 0x11]),
            (&[0x14, 0xFF, 0xFF, 0xFF], &[0x7F, 0x14, 0x31]),
            (&[0x03], &[]),
            (&[0x62, 0xF8, 0x10, 0x01], &[]),
            (&[], &[]),
        ] {
            let alone = ask(&mut ecu, Addressing::Physical, request);
            assert_eq!(alone, answer, "{request:02X?}");
            // With all ECUs asked, $11, $12 and $31 are kept quiet (AUTOSAR SWS_Dcm_00001).
            let quiet = matches!(answer, [0x7F, _, 0x11 | 0x12 | 0x31]);
            let with_all = ask(&mut ecu, Addressing::Functional, request);
            assert_eq!(with_all, if quiet { &[][..] } else { answer }, "{request:02X?}");
        }
    }

    #[test]
    fn a_clear_leaves_the_permanent_codes_and_is_refused_while_anything_turns() {
        let mut ecu = ecu(&SERVICES_ON_UDS);
        let clear = [0x14, 0xFF, 0xFF, 0x33];
        let mut response = ResponseBuffer::new();
        let refused = ecu.answer(true, Addressing::Functional, &clear, &mut response);
        assert_eq!(refused, Answer::Negative(ResponseCode::ConditionsNotCorrect));
        assert_eq!(*response, [0x7F, 0x14, 0x22]);
        assert!(!ecu.is_cleared());
        assert_eq!(ask(&mut ecu, Addressing::Functional, &clear), [0x54]);
        assert!(ecu.is_cleared());
        for (request, answer) in [
            (
                &[0x19, 0x42, 0x33, 0x0C, 0xFF][..],
                &[0x59, 0x42, 0x33, 0xFF, 0x41, 0x04][..],
            ),
            (
                &[0x19, 0x55, 0x33],
                &[
                    0x59, 0x55, 0x33, 0xFF, 0x04, 0xC2, 0x93, 0, 0x50, 0x0A, 0x80, 0, 0x50,
                ],
            ),
            (&[0x22, 0xF4, 0x01], &[0x62, 0xF4, 0x01, 0, 0, 0, 0]),
        ] {
            assert_eq!(ask(&mut ecu, Addressing::Functional, request), answer);
        }
    }

    /// A service that is not there is not looked into: a wrong length of it is nobody's business.
    #[test]
    fn a_service_that_is_not_listed_is_not_there() {
        let mut ecu = ecu(&[Service::ReadData]);
        for request in [&[0x19, 0x42, 0x33, 0x08, 0xFF][..], &[0x19], &[0x14, 0xFF]] {
            let refused = [0x7F, request[0], 0x11];
            assert_eq!(ask(&mut ecu, Addressing::Physical, request), refused);
            assert!(ask(&mut ecu, Addressing::Functional, request).is_empty());
        }
        assert!(!ask(&mut ecu, Addressing::Functional, &[0x22, 0xF8, 0x10]).is_empty());
    }
}
