//! What the tool on the bus has done since `ready`: which questions were answered, and when first.

use twotrip_obd::{
    InfoType,
    uds::{Did, Request, Status, Subject},
};
use twotrip_scenario::phrase::Deed;
use twotrip_units::BusInstant;

/// First answers by deed, and questions by service.
#[derive(Clone, Debug, Default)]
pub(crate) struct Deeds {
    first: [Option<BusInstant>; Deed::COUNT],
    /// Questions of services $00 to $0F, and of all others.
    asked: [u32; 17],
}

/// PIDs, MIDs and InfoTypes that only list which others there are.
const fn lists_others(number: u8) -> bool {
    number.is_multiple_of(0x20)
}

impl Deeds {
    /// A question came in.
    pub(crate) fn note_asked(&mut self, request: &[u8]) {
        let service = request
            .first()
            .map_or(16, |service| usize::from(*service).min(16));
        self.asked[service] = self.asked[service].saturating_add(1);
    }

    /// A question was answered positively.
    pub(crate) fn note_answered(&mut self, now: BusInstant, request: &[u8]) {
        match *request {
            [0x01, ref pids @ ..] => {
                for pid in pids.iter().filter(|pid| !lists_others(**pid)) {
                    self.did(
                        now,
                        match pid {
                            0x01 | 0x41 => Deed::ReadReadiness,
                            _ => Deed::ReadLive,
                        },
                    );
                }
            }
            [0x02, ref pairs @ ..] if pairs.chunks(2).any(|pair| !lists_others(pair[0])) => {
                self.did(now, Deed::ReadFreezeFrame);
            }
            [0x03, ..] => self.did(now, Deed::ReadConfirmed),
            [0x04, ..] => self.did(now, Deed::Cleared),
            [0x06, ref tests @ ..] if tests.iter().any(|test| !lists_others(*test)) => {
                self.did(now, Deed::ReadTests);
            }
            [0x07, ..] => self.did(now, Deed::ReadPending),
            [0x09, 0x02, ..] => self.did(now, Deed::ReadVin),
            [0x0A, ..] => self.did(now, Deed::ReadPermanent),
            _ => self.note_uds(now, request),
        }
    }

    /// The same in SAE J1979-2.
    fn note_uds(&mut self, now: BusInstant, request: &[u8]) {
        match Request::parse(request) {
            Ok(Request::Clear(_)) => self.did(now, Deed::Cleared),
            Ok(Request::CodesByMask { status, .. }) => {
                for (bit, deed) in [
                    (Status::CONFIRMED, Deed::ReadConfirmed),
                    (Status::PENDING, Deed::ReadPending),
                ] {
                    if status.has(bit) {
                        self.did(now, deed);
                    }
                }
            }
            Ok(Request::PermanentCodes { .. }) => self.did(now, Deed::ReadPermanent),
            Ok(Request::CodesByReadiness { .. }) => self.did(now, Deed::ReadReadiness),
            Ok(Request::FreezeFrame { .. }) => self.did(now, Deed::ReadFreezeFrame),
            Ok(Request::ReadData(dids)) => {
                for did in dids.iter().map(|&did| Did::from_bytes(did)) {
                    match did.subject() {
                        _ if did.is_mask() => {}
                        Subject::Parameter(pid) if matches!(pid.number(), 0x01 | 0x41) => {
                            self.did(now, Deed::ReadReadiness);
                        }
                        Subject::Parameter(_) => self.did(now, Deed::ReadLive),
                        Subject::Monitor(_) => self.did(now, Deed::ReadTests),
                        Subject::Information(InfoType::VIN) => self.did(now, Deed::ReadVin),
                        _ => {}
                    }
                }
            }
            _ => {}
        }
    }

    fn did(&mut self, now: BusInstant, deed: Deed) {
        self.first[deed as usize].get_or_insert(now);
    }

    /// When the tool did this first.
    pub(crate) const fn first(&self, deed: Deed) -> Option<BusInstant> {
        self.first[deed as usize]
    }

    /// What the tool asked, in words.
    pub(crate) fn say(&self) -> String {
        let times = |count| {
            if count == 1 {
                "once".to_owned()
            } else {
                format!("{count} times")
            }
        };
        let mut asked: Vec<String> = (0_u8..)
            .zip(&self.asked[..16])
            .filter(|(_, count)| **count > 0)
            .map(|(service, count)| format!("service ${service:02X} {}", times(*count)))
            .collect();
        if self.asked[16] > 0 {
            asked.push(format!("other services {}", times(self.asked[16])));
        }
        if asked.is_empty() {
            "it asked nothing".to_owned()
        } else {
            format!("it asked {}", asked.join(", "))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn deeds_follow_from_the_questions_answered() {
        let all = Deed::ALL;
        for (request, deeds) in [
            (&[0x01, 0x00][..], &[][..]),
            (&[0x01, 0x20, 0x40, 0x60], &[]),
            (&[0x01, 0x01], &[Deed::ReadReadiness]),
            (&[0x01, 0x0C, 0x41], &[Deed::ReadReadiness, Deed::ReadLive]),
            (&[0x02, 0x00, 0x00], &[]),
            (&[0x02, 0x02, 0x00], &[Deed::ReadFreezeFrame]),
            (&[0x02, 0x00, 0x00, 0x0C, 0x00], &[Deed::ReadFreezeFrame]),
            (&[0x03], &[Deed::ReadConfirmed]),
            (&[0x04], &[Deed::Cleared]),
            (&[0x06, 0x00], &[]),
            (&[0x06, 0x3B], &[Deed::ReadTests]),
            (&[0x07], &[Deed::ReadPending]),
            (&[0x09, 0x00], &[]),
            (&[0x09, 0x02], &[Deed::ReadVin]),
            (&[0x0A], &[Deed::ReadPermanent]),
            (&[0x22, 0xF1, 0x90], &[]),
            (&[0x22, 0xF4, 0x00], &[]),
            (
                &[0x22, 0xF4, 0x01, 0xF4, 0x0C],
                &[Deed::ReadReadiness, Deed::ReadLive],
            ),
            (&[0x22, 0xF6, 0x3B], &[Deed::ReadTests]),
            (&[0x22, 0xF8, 0x02], &[Deed::ReadVin]),
            (&[0x19, 0x42, 0x33, 0x08, 0xFF], &[Deed::ReadConfirmed]),
            (&[0x19, 0x42, 0x33, 0x04, 0xFF], &[Deed::ReadPending]),
            (&[0x19, 0x55, 0x33], &[Deed::ReadPermanent]),
            (&[0x19, 0x04, 0x04, 0x55, 0x7A, 0xFF], &[Deed::ReadFreezeFrame]),
            (&[0x14, 0xFF, 0xFF, 0x33], &[Deed::Cleared]),
            (&[], &[]),
        ] {
            let mut record = Deeds::default();
            record.note_asked(request);
            record.note_answered(BusInstant::from_secs(5), request);
            record.note_answered(BusInstant::from_secs(9), request);
            let done: Vec<Deed> = all
                .into_iter()
                .filter(|deed| record.first(*deed) == Some(BusInstant::from_secs(5)))
                .collect();
            assert!(
                done.iter().all(|deed| deeds.contains(deed)) && done.len() == deeds.len(),
                "{request:02X?}: {done:?}"
            );
        }
    }

    #[test]
    fn what_was_asked_is_counted_by_service() {
        let mut record = Deeds::default();
        assert_eq!(record.say(), "it asked nothing");
        for request in [&[0x01, 0x0C][..], &[0x01, 0x0D], &[0x03], &[0x22, 1], &[]] {
            record.note_asked(request);
        }
        assert_eq!(
            record.say(),
            "it asked service $01 2 times, service $03 once, other services 2 times"
        );
    }
}
