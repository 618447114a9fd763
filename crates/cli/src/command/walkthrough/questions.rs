//! What the tester of a walkthrough asks, in the dialect of the car, and what it takes from the answers.

use twotrip_obd::{
    Dialect, Dtc, Readiness, Response,
    uds::{self, ALL_EMISSION_CODES, Did, EMISSIONS, FIRST_FRAME, FullDtc, Severity, Status},
};

/// As many codes as have frames at least (an article on SAE J1979-2).
const FRAMES: usize = 5;

/// The questions of one dialect.
#[derive(Clone, Copy, Debug)]
pub(super) struct Questions(pub(super) Dialect);

/// A code as it was told, and how a tester names it in SAE J1979-2.
pub(super) type Code = (Dtc, Option<FullDtc>);

impl Questions {
    /// One of each dialect.
    fn either(self, classic: &[u8], on_uds: uds::Request<'_>) -> Vec<u8> {
        match self.0 {
            Dialect::Classic => classic.to_vec(),
            Dialect::OnUds => {
                let mut request = Vec::new();
                on_uds.emit(&mut request);
                request
            }
        }
    }

    /// Who is there.
    pub(super) fn who_is_there(self) -> Vec<u8> {
        let protocol = [Did::PROTOCOL.to_bytes()];
        self.either(&[0x01, 0x00], uds::Request::ReadData(&protocol))
    }

    /// The vehicle identification number.
    pub(super) fn vin(self) -> Vec<u8> {
        self.either(&[0x09, 0x02], uds::Request::ReadData(&[[Did::INFORMATION, 0x02]]))
    }

    /// Lamp and readiness.
    pub(super) fn status(self) -> Vec<u8> {
        let status = [Did::parameter(0x01).to_bytes()];
        self.either(&[0x01, 0x01], uds::Request::ReadData(&status))
    }

    /// Confirmed codes.
    pub(super) fn confirmed(self) -> Vec<u8> {
        self.either(&[0x03], by_status(Status::CONFIRMED))
    }

    /// Pending codes.
    pub(super) fn pending(self) -> Vec<u8> {
        self.either(&[0x07], by_status(Status::PENDING))
    }

    /// Permanent codes.
    pub(super) fn permanent(self) -> Vec<u8> {
        let (quiet, group) = (false, EMISSIONS);
        self.either(&[0x0A], uds::Request::PermanentCodes { quiet, group })
    }

    /// The clear.
    pub(super) fn clear(self) -> Vec<u8> {
        self.either(&[0x04], uds::Request::Clear(ALL_EMISSION_CODES))
    }

    /// The freeze frame: these parameters of the one that there is, or the first frame of each of these codes, which its ECU alone
    /// has.
    pub(super) fn freeze_frame(self, parameters: &[u8], codes: &[Code]) -> Vec<Vec<u8>> {
        match self.0 {
            Dialect::Classic => parameters.iter().map(|&pid| vec![0x02, pid, 0x00]).collect(),
            Dialect::OnUds => {
                let (quiet, record) = (false, FIRST_FRAME);
                let mut asked: Vec<FullDtc> = Vec::new();
                for code in codes.iter().filter_map(|&(_, full)| full) {
                    if asked.len() < FRAMES && !asked.contains(&code) {
                        asked.push(code);
                    }
                }
                let request = |code| uds::Request::FreezeFrame { quiet, code, record };
                let requests = asked.into_iter().map(request);
                requests.map(|request| self.either(&[], request)).collect()
            }
        }
    }
}

const fn by_status(status: Status) -> uds::Request<'static> {
    uds::Request::CodesByMask {
        quiet: false,
        group: EMISSIONS,
        status,
        severity: Severity::ALL,
    }
}

/// Whether the lamp is commanded on, and readiness, in an answer that tells them.
pub(super) fn status_in(answer: &[u8]) -> Option<(bool, Readiness)> {
    match *answer {
        [0x41, 0x01, a, b, c, d] | [0x62, Did::PARAMETERS, 0x01, a, b, c, d] => {
            Some((a & 0x80 != 0, Readiness::from_bytes([b, c, d])))
        }
        _ => None,
    }
}

/// The codes of an answer.
pub(super) fn codes_in(answer: &[u8]) -> Vec<Code> {
    let full = |code: FullDtc| (code.code, Some(code));
    match (Response::parse(answer), uds::Response::parse(answer)) {
        (Ok(Response::Codes(_, codes)), _) => codes.iter().map(|code| (code, None)).collect(),
        (_, Ok(uds::Response::CodesByMask { codes, .. })) => {
            codes.iter().map(|(_, code, _)| full(code)).collect()
        }
        (_, Ok(uds::Response::PermanentCodes { codes, .. })) => {
            codes.iter().map(|(code, _)| full(code)).collect()
        }
        _ => Vec::new(),
    }
}
