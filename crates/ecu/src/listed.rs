//! An ECU that only says what is listed of it: parameters with fixed values, a name, a calibration, stored codes.
//!
//! It stands for the control units of a vehicle that are not simulated (body, hybrid drive, brakes), so that a tester
//! meets more than one ECU (ISO 15765-4 knows up to eight). It has no sensors and no monitors: what it reports is never
//! found out, only cleared. Whoever gave it codes has to say that they are not physical.
//!
//! Silence and refusals follow the same rules as those of [`server`](crate::server). `on_uds` has the same in SAE J1979-2.

mod on_uds;

use alloc::{boxed::Box, vec::Vec};
use core::slice;

use twotrip_obd::{
    BufferFull, Dialect, Dtc, InfoType, Information, Parameters, Readiness, Request, Response,
    ResponseBuffer, ResponseCode, Service, SupportMask, mask::is_mask,
};

use crate::server::{self, Addressing, Answer};

/// The services that such an ECU can have.
pub const SERVICES: [Service; 6] = [
    Service::CurrentData,
    Service::ConfirmedCodes,
    Service::Clear,
    Service::PendingCodes,
    Service::VehicleInformation,
    Service::PermanentCodes,
];

/// The same in SAE J1979-2.
pub const SERVICES_ON_UDS: [Service; 5] = [
    Service::Session,
    Service::ClearByGroup,
    Service::ReadCodes,
    Service::ReadData,
    Service::TesterPresent,
];

/// The services that such an ECU can have in a dialect.
#[must_use]
pub const fn services(dialect: Dialect) -> &'static [Service] {
    match dialect {
        Dialect::Classic => &SERVICES,
        Dialect::OnUds => &SERVICES_ON_UDS,
    }
}

/// PID $01: lamp, number of codes, readiness. It follows from the codes.
const STATUS: u8 = 0x01;

/// The InfoTypes: calibration, its number, name. The VIN is for one ECU of a vehicle to tell.
const INFORMATION: SupportMask = SupportMask::NONE
    .with(InfoType::CALIBRATION_ID.number())
    .with(InfoType::VERIFICATION_NUMBER.number())
    .with(InfoType::ECU_NAME.number());

/// What is listed of an ECU.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listing {
    /// In which services it is asked: the dialect of its vehicle.
    pub dialect: Dialect,
    /// The services that it has, of those of [`services`].
    pub services: Vec<Service>,
    /// Parameters of service $01 with their data bytes, each once; neither a mask nor PID $01.
    pub data: Vec<(u8, Box<[u8]>)>,
    /// InfoType $0A: acronym, `-`, text.
    pub name: [u8; 20],
    /// InfoType $04.
    pub calibration_id: [u8; 16],
    /// Confirmed codes: not physical.
    pub confirmed: Vec<Dtc>,
    /// Pending codes: not physical.
    pub pending: Vec<Dtc>,
    /// Permanent codes: not physical.
    pub permanent: Vec<Dtc>,
}

impl Listing {
    /// What its name begins with: BCM, ABS ...
    #[must_use]
    pub fn acronym(&self) -> &str {
        let length = self.name.iter().take(4).take_while(|&&byte| byte != 0).count();
        core::str::from_utf8(&self.name[..length]).unwrap_or("?")
    }
}

/// The ECU.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ListedEcu {
    listing: Listing,
    current: SupportMask,
    verification_number: u32,
    cleared: bool,
}

impl ListedEcu {
    /// As listed.
    #[must_use]
    pub fn new(listing: Listing) -> Self {
        let data = listing.data.iter().map(|(number, _)| *number);
        Self {
            current: data.chain([STATUS]).collect(),
            // What a real one sums up is its memory; here that is its list.
            verification_number: server::checksum(format_args!(
                "{:?}{:?}{:?}",
                listing.services, listing.data, listing.calibration_id
            )),
            listing,
            cleared: false,
        }
    }

    /// Whether its codes have been cleared.
    #[must_use]
    pub const fn is_cleared(&self) -> bool {
        self.cleared
    }

    /// Clears all codes but the permanent ones.
    pub fn clear(&mut self) {
        self.listing.confirmed.clear();
        self.listing.pending.clear();
        self.cleared = true;
    }

    /// What is listed, but for the codes that have been cleared.
    #[must_use]
    pub const fn listing(&self) -> &Listing {
        &self.listing
    }

    /// Whether it has a code of any kind.
    #[must_use]
    pub const fn has_codes(&self) -> bool {
        let Listing {
            confirmed,
            pending,
            permanent,
            ..
        } = &self.listing;
        !(confirmed.is_empty() && pending.is_empty() && permanent.is_empty())
    }

    /// Answers one request; where it does, the bytes are in the buffer. A clear is carried out, unless `engine_or_wheels_turn`:
    /// then it is refused, as every other ECU of the vehicle refuses it.
    pub fn answer(
        &mut self,
        engine_or_wheels_turn: bool,
        addressing: Addressing,
        request: &[u8],
        response: &mut ResponseBuffer,
    ) -> Answer {
        let answer = match self.listing.dialect {
            Dialect::Classic => self.answer_classic(engine_or_wheels_turn, addressing, request, response),
            Dialect::OnUds => self.answer_on_uds(engine_or_wheels_turn, addressing, request, response),
        };
        if answer == Answer::PositiveAndClear {
            self.clear();
        }
        answer
    }

    fn answer_classic(
        &self,
        engine_or_wheels_turn: bool,
        addressing: Addressing,
        request: &[u8],
        response: &mut ResponseBuffer,
    ) -> Answer {
        response.clear();
        let Ok(request) = Request::parse(request) else {
            return Answer::Silence;
        };
        let answer = self.serve(engine_or_wheels_turn, request, response);
        let answer = answer.unwrap_or(Answer::Negative(ResponseCode::ResponseTooLong));
        server::settle(request.service(), answer, addressing, response)
    }

    fn serve(
        &self,
        engine_or_wheels_turn: bool,
        request: Request<'_>,
        response: &mut ResponseBuffer,
    ) -> Result<Answer, BufferFull> {
        let listing = &self.listing;
        if let Request::Other(service, _) = request
            && server::is_answer(service)
        {
            return Ok(Answer::Silence);
        }
        if !listing.services.contains(&request.service()) {
            return Ok(Answer::Negative(ResponseCode::ServiceNotSupported));
        }
        let codes = match request {
            Request::CurrentData(asked) => return self.current_data(asked, response),
            Request::VehicleInformation(asked) => return self.information(asked, response),
            Request::Clear if engine_or_wheels_turn => {
                return Ok(Answer::Negative(ResponseCode::ConditionsNotCorrect));
            }
            Request::Clear => {
                response.begin(Service::Clear)?;
                return Ok(Answer::PositiveAndClear);
            }
            Request::ConfirmedCodes => &listing.confirmed,
            Request::PendingCodes => &listing.pending,
            Request::PermanentCodes => &listing.permanent,
            _ => return Ok(Answer::Silence),
        };
        response.write_codes(request.service(), codes.iter().copied())?;
        Ok(Answer::Positive)
    }

    fn current_data(
        &self,
        asked: Parameters<'_>,
        response: &mut ResponseBuffer,
    ) -> Result<Answer, BufferFull> {
        response.begin(Service::CurrentData)?;
        for &number in asked.numbers() {
            if server::write_mask(&self.current, number, response)? {
                continue;
            }
            if number == STATUS {
                response.extend(&[STATUS])?;
                response.extend(&self.status())?;
            } else if let Some(data) = self.listed_data(number) {
                response.extend(&[number])?;
                response.extend(data)?;
            }
        }
        Ok(Answer::unless_empty(response))
    }

    /// The data of PID $01.
    fn status(&self) -> [u8; 4] {
        let count = u8::try_from(self.listing.confirmed.len())
            .unwrap_or(0x7F)
            .min(0x7F);
        // The lamp is the engine ECU's; there is no monitor that could be incomplete.
        let [b, c, d] = Readiness::default().to_bytes();
        [count, b, c, d]
    }

    /// The data of another PID.
    fn listed_data(&self, number: u8) -> Option<&[u8]> {
        let listed = self.listing.data.iter().find(|(listed, _)| *listed == number);
        listed.map(|(_, data)| &**data)
    }

    /// Hands out the data of an InfoType that it has.
    fn with_information<T>(&self, info_type: InfoType, put: impl FnOnce(Information<'_>) -> T) -> Option<T> {
        let verification = self.verification_number.to_be_bytes();
        Some(put(match info_type {
            InfoType::CALIBRATION_ID => {
                Information::CalibrationIds(slice::from_ref(&self.listing.calibration_id))
            }
            InfoType::VERIFICATION_NUMBER => Information::VerificationNumbers(slice::from_ref(&verification)),
            InfoType::ECU_NAME => Information::EcuName(&self.listing.name),
            _ => return None,
        }))
    }

    fn information(
        &self,
        asked: Parameters<'_>,
        response: &mut ResponseBuffer,
    ) -> Result<Answer, BufferFull> {
        let &[number] = asked.numbers() else {
            return self.information_masks(asked, response);
        };
        if is_mask(number) {
            return self.information_masks(asked, response);
        }
        let emit = |information: Information<'_>| Response::Information(information).emit(response);
        match self.with_information(InfoType::new(number), emit) {
            Some(emitted) => emitted.map(|()| Answer::Positive),
            None => Ok(Answer::Silence),
        }
    }

    fn information_masks(
        &self,
        asked: Parameters<'_>,
        response: &mut ResponseBuffer,
    ) -> Result<Answer, BufferFull> {
        response.begin(Service::VehicleInformation)?;
        for &number in asked.numbers() {
            server::write_mask(&INFORMATION, number, response)?;
        }
        Ok(Answer::unless_empty(response))
    }
}

#[cfg(test)]
mod tests {
    use alloc::vec;

    use super::*;

    fn ecu() -> ListedEcu {
        ListedEcu::new(Listing {
            dialect: Dialect::Classic,
            services: SERVICES.to_vec(),
            data: vec![(0x42, Box::from([0x35, 0xE8])), (0x5B, Box::from([0x8A]))],
            name: *b"HPCM-HybridPtCtrl\0\0\0",
            calibration_id: *b"TWOTRIP-HYB-0001",
            confirmed: vec![Dtc::from_bytes([0xC2, 0x93])],
            pending: vec![Dtc::from_bytes([0x0A, 0x7F]), Dtc::from_bytes([0x0A, 0x80])],
            permanent: vec![Dtc::from_bytes([0xC2, 0x93])],
        })
    }

    fn ask(ecu: &mut ListedEcu, addressing: Addressing, request: &[u8]) -> Vec<u8> {
        let mut response = ResponseBuffer::new();
        let answer = ecu.answer(false, addressing, request, &mut response);
        assert_eq!(answer.is_sent(), !response.is_empty());
        response.to_vec()
    }

    #[test]
    fn it_says_what_is_listed_and_nothing_else() {
        let mut ecu = ecu();
        for (request, answer) in [
            // PIDs $01, then $42 and $5B.
            (&[0x01, 0x00][..], &[0x41, 0x00, 0x80, 0, 0, 0x01][..]),
            (&[0x01, 0x40, 0x60], &[0x41, 0x40, 0x40, 0, 0, 0x20]),
            (&[0x01, 0x5B, 0x0C, 0x42], &[0x41, 0x5B, 0x8A, 0x42, 0x35, 0xE8]),
            (&[0x01, 0x0C], &[]),
            (&[0x03], &[0x43, 1, 0xC2, 0x93]),
            (&[0x07], &[0x47, 2, 0x0A, 0x7F, 0x0A, 0x80]),
            (&[0x0A], &[0x4A, 1, 0xC2, 0x93]),
            // InfoTypes $04, $06, $0A.
            (&[0x09, 0x00], &[0x49, 0x00, 0x14, 0x40, 0, 0]),
            (&[0x09, 0x0A], b"\x49\x0A\x01HPCM-HybridPtCtrl\0\0\0"),
            (&[0x09, 0x04], b"\x49\x04\x01TWOTRIP-HYB-0001"),
            (&[0x09, 0x02], &[]),
            (&[0x06, 0x00], &[]),
            (&[0x43], &[]),
            (&[0x03, 0x00], &[]),
            (&[], &[]),
        ] {
            assert_eq!(
                ask(&mut ecu, Addressing::Functional, request),
                answer,
                "{request:02X?}"
            );
        }
        let alone = ask(&mut ecu, Addressing::Physical, &[0x06, 0x00]);
        assert_eq!(
            alone,
            [0x7F, 0x06, 0x11],
            "asked alone it refuses what it does not have"
        );
        assert!(ask(&mut ecu, Addressing::Physical, &[0x43]).is_empty());
    }

    #[test]
    fn a_clear_takes_all_but_the_permanent_codes_and_is_refused_while_anything_turns() {
        let mut ecu = ecu();
        let mut response = ResponseBuffer::new();
        let refused = ecu.answer(true, Addressing::Functional, &[0x04], &mut response);
        assert_eq!(refused, Answer::Negative(ResponseCode::ConditionsNotCorrect));
        assert_eq!(*response, [0x7F, 0x04, 0x22]);
        assert_eq!(ask(&mut ecu, Addressing::Functional, &[0x01, 0x01])[2], 1);
        assert_eq!(ask(&mut ecu, Addressing::Functional, &[0x04]), [0x44]);
        for (request, answer) in [
            (&[0x03][..], &[0x43, 0][..]),
            (&[0x07], &[0x47, 0]),
            (&[0x0A], &[0x4A, 1, 0xC2, 0x93]),
        ] {
            assert_eq!(ask(&mut ecu, Addressing::Functional, request), answer);
        }
        assert_eq!(ask(&mut ecu, Addressing::Functional, &[0x01, 0x01])[2], 0);
        assert!(ecu.has_codes(), "the permanent one");
    }

    #[test]
    fn a_service_that_is_not_listed_is_not_there() {
        let mut ecu = ListedEcu::new(Listing {
            services: vec![Service::VehicleInformation],
            ..ecu().listing
        });
        assert!(ask(&mut ecu, Addressing::Functional, &[0x01, 0x00]).is_empty());
        assert_eq!(ask(&mut ecu, Addressing::Physical, &[0x04]), [0x7F, 0x04, 0x11]);
        assert!(!ask(&mut ecu, Addressing::Functional, &[0x09, 0x00]).is_empty());
    }
}
