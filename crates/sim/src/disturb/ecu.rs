//! What an ECU does wrong while it is disturbed: which rows act on a request, on an answer, on the way of an answer, and which
//! deviation of the server and of the transport each is.

use std::time::Duration;

use twotrip_can::CanId;
use twotrip_ecu::server::{self, Falsified, Unserved};
use twotrip_isotp::{ConsecutiveFault, Deviation, Fault, Grant, Heed, StMin};
use twotrip_obd::{Dialect, ResponseCode};
use twotrip_scenario::disturbance::Kind;
use twotrip_units::BusInstant;

use super::{Act, Disturbances};
use crate::misbehaviour::{Delay, Sending};

/// From one 7F xx 78 to the next: within P2*, 5 s.
const PENDING_EVERY: Duration = Duration::from_secs(4);
/// From one WAIT to the next: within N_Bs, 75 ms.
const WAIT_EVERY: Duration = Duration::from_millis(50);
/// Padding that nobody expects.
const ODD_PADDING: u8 = 0xAA;
/// A reserved STmin (ISO 15765-2).
const RESERVED: StMin = StMin::from_byte(0xF0);
/// Messages above this go in several frames on classic CAN.
const SINGLE_FRAME: usize = 7;

/// What becomes of an answer by which disturbance, given its size.
type Row = (Kind, fn(f64) -> Falsified);

/// One ECU at the moment of a request.
pub(crate) struct Asked<'a> {
    pub(crate) disturbances: &'a mut Disturbances,
    pub(crate) now: BusInstant,
    /// By which it answers.
    pub(crate) ecu: CanId,
}

impl Asked<'_> {
    fn acts(&mut self, kind: Kind) -> Option<Act> {
        self.disturbances.acts(self.now, kind, self.ecu)
    }

    /// What takes the place of serving a request; nothing of one in a dialect that the ECU is silent to anyway.
    pub(crate) fn unserved(&mut self, dialect: Dialect, request: &[u8]) -> Option<Unserved> {
        if dialect == Dialect::OnUds && matches!(request, [..=0x0A, ..]) {
            return None;
        }
        if self.acts(Kind::Silent).is_some() {
            return Some(Unserved::Silently);
        }
        if self.acts(Kind::Busy).is_some() {
            return Some(Unserved::Refused(ResponseCode::BusyRepeatRequest));
        }
        let is_clear = matches!(request, [0x04] | [0x14, ..]);
        let refuses = is_clear && self.acts(Kind::RefuseClear).is_some();
        refuses.then_some(Unserved::Refused(ResponseCode::ConditionsNotCorrect))
    }

    /// What becomes of an answer.
    pub(crate) fn falsified(
        &mut self,
        request: &[u8],
        answer: server::Answer,
        response: &[u8],
    ) -> Option<Falsified> {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "the row's range is that of a byte"
        )]
        const ROWS: [Row; 7] = [
            (Kind::RefusalForSilence, |_| Falsified::RefusalForSilence),
            (Kind::SilentRefusal, |_| Falsified::SilenceForRefusal),
            (Kind::CodeLeftOut, |_| Falsified::CodeLeftOut),
            (Kind::VinMissing, |_| Falsified::VinMissing),
            (Kind::VinShort, |size| Falsified::VinCut(size as u8)),
            (Kind::VinGarbled, |_| Falsified::VinGarbled),
            (Kind::MaskLies, |_| Falsified::MaskLies),
        ];
        ROWS.into_iter().find_map(|(kind, falsified)| {
            // Only what can be falsified is an opportunity.
            if !falsified(0.0).fits(request, answer, response) {
                return None;
            }
            self.acts(kind).map(|act| falsified(act.size))
        })
    }

    /// How an answer of so many bytes is sent.
    pub(crate) fn sending(&mut self, length: usize) -> Sending {
        let is_long = length > SINGLE_FRAME;
        let mut deviation = Deviation {
            pad: self.acts(Kind::Padding).map(|_| ODD_PADDING),
            unpadded: self.acts(Kind::ShortFrames).is_some(),
            transmit_id: self.acts(Kind::OtherIdentifier).map(|_| nobodys(self.ecu)),
            ..Deviation::default()
        };
        if let Some(act) = self.acts(Kind::Truncated) {
            deviation.excess = -whole(act.size);
        } else if let Some(act) = self.acts(Kind::OverLong) {
            deviation.excess = whole(act.size);
        }
        let mut reset = None;
        if is_long {
            if let Some(act) = self.acts(Kind::WrongLength) {
                deviation.announced = whole(act.size);
            }
            let faults = [
                (Kind::WrongSequence, Fault::WrongNumber),
                (Kind::MissingFrame, Fault::Missing),
                (Kind::RepeatedFrame, Fault::Repeated),
            ];
            deviation.consecutive = faults.into_iter().find_map(|(kind, fault)| {
                let before = self.acts(kind)?.size;
                let number = whole(before).unsigned_abs() + 1;
                Some(ConsecutiveFault { number, fault })
            });
            if self.acts(Kind::DeafToFlowControl).is_some() {
                deviation.heeds = Heed::Deaf;
            } else if self.acts(Kind::Impatient).is_some() {
                deviation.heeds = Heed::Impatient;
            }
            reset = self.acts(Kind::Reset).map(|act| millis(act.size));
        }
        Sending {
            deviation,
            delay: self.delay(),
            reset,
        }
    }

    fn delay(&mut self) -> Option<Delay> {
        if self.acts(Kind::PendingForever).is_some() {
            return Some(Delay {
                after: None,
                pending_every: Some(PENDING_EVERY),
            });
        }
        if let Some(act) = self.acts(Kind::ResponsePending) {
            return Some(Delay {
                after: Some(millis(act.size * 1000.0)),
                pending_every: Some(PENDING_EVERY),
            });
        }
        self.acts(Kind::LateAnswer).map(|act| Delay {
            after: Some(millis(act.size)),
            pending_every: None,
        })
    }

    /// What flow control the first frame of a longer request gets.
    pub(crate) fn grant(&mut self) -> Grant {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "the row's range is that of a byte"
        )]
        if let Some(act) = self.acts(Kind::FlowWait) {
            return Grant::Wait {
                count: act.size as u8,
                every: WAIT_EVERY,
            };
        }
        if self.acts(Kind::FlowOverflow).is_some() {
            return Grant::Overflow;
        }
        if self.acts(Kind::NoFlowControl).is_some() {
            return Grant::Nothing;
        }
        if self.acts(Kind::ReservedStMin).is_some() {
            return Grant::StMin(RESERVED);
        }
        Grant::Right
    }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "ranges of rows end at some thousands"
)]
fn whole(size: f64) -> i32 {
    size.round() as i32
}

fn millis(size: f64) -> Duration {
    Duration::try_from_secs_f64(size / 1000.0).unwrap_or_default()
}

/// An identifier by which no ECU answers this tester: beyond 7EF, or to another tester's address.
fn nobodys(ecu: CanId) -> CanId {
    match ecu {
        CanId::Standard(id) => CanId::Standard(id | 0x7F0),
        CanId::Extended(id) => CanId::Extended(id ^ 0x0800),
    }
}
