//! What the requests of testers tell over time: whether a busy ECU is asked again, a sleeping one let alone, and the size
//! of identifiers kept that was answered.

use alloc::vec::Vec;
use core::time::Duration;

use twotrip_units::BusInstant;

use crate::{Breach, Ecu, Role};

/// Least time until a busy ECU is asked again (ISO 15765-4, from memory).
const BUSY_PAUSE: Duration = Duration::from_millis(200);
/// Most times that it is (as above).
const BUSY_REPEATS: u32 = 6;
/// A busy ECU that was not asked again within this time is not going to be. Our choice.
const FORGOTTEN: Duration = Duration::from_secs(2);
/// The same where nothing more comes: the pause, and some time for it.
const FORGOTTEN_AT_END: Duration = Duration::from_millis(250);
/// Busy ECUs remembered: as many as may be on a bus (ISO 15765-4, from memory).
const BUSY: usize = 8;
/// Requests without an answer that are no polling of a sleeping ECU yet. Our choice.
const PATIENCE: u32 = 10;
/// Requests further apart than this leave an ECU asleep. Our choice.
const SLEEPY: Duration = Duration::from_secs(1);
/// Requests with an answer that are remembered.
const ANSWERED: usize = 16;
/// Requests without an answer after which identifiers of a size are known to be nobody's. Our choice.
const TRIES: u32 = 3;

/// A request in short: its length and its first seven bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Short([u8; 8]);

impl Short {
    pub(crate) fn of(request: &[u8]) -> Self {
        let mut short = [0; 8];
        short[0] = u8::try_from(request.len()).unwrap_or(u8::MAX);
        let len = request.len().min(7);
        short[1..=len].copy_from_slice(&request[..len]);
        Self(short)
    }

    /// Whether any ECU that is awake answers it: who is there (services $01 and $22), and codes (SAE J1979, J1979-2).
    const fn is_for_all(self) -> bool {
        matches!(
            self.0,
            [2, 0x01, 0x00, ..]
                | [1, 0x03 | 0x07, ..]
                | [3, 0x22, 0xF8, 0x10, ..]
                | [5, 0x19, 0x42, 0x33, ..]
        )
    }

    /// Whether it is there to find out who is there (ISO 15765-4, initialisation; SAE J1979-2).
    const fn is_probe(self) -> bool {
        matches!(self.0, [2, 0x01, 0x00, ..] | [3, 0x22, 0xF8, 0x10, ..])
    }

    /// Whether it only says that a tester is there and wants no answer (ISO 14229-1, service $3E).
    pub(crate) const fn wants_no_answer(self) -> bool {
        matches!(self.0, [2, 0x3E, 0x80, ..])
    }

    /// Whether no positive answer is wanted: bit 7 of a sub-function (ISO 14229-1, services $10, $19, $31, $3E).
    pub(crate) const fn is_quiet(self) -> bool {
        let [length, service, sub, ..] = self.0;
        length > 1 && sub & 0x80 != 0 && matches!(service, 0x10 | 0x19 | 0x31 | 0x3E)
    }

    /// Whether it only says that a tester is there.
    pub(crate) const fn is_presence(self) -> bool {
        matches!(self.0, [2, 0x3E, ..])
    }
}

#[derive(Clone, Copy, Debug)]
struct Busy {
    ecu: Ecu,
    request: Short,
    /// When it said so last.
    at: BusInstant,
    repeats: u32,
    /// It was asked again since.
    asked: bool,
}

/// Of one size of identifiers.
#[derive(Clone, Copy, Debug, Default)]
struct Size {
    answered: bool,
    unanswered: u32,
}

#[derive(Clone, Debug, Default)]
pub(crate) struct Manners {
    busy: Vec<Busy>,
    answered: [Short; ANSWERED],
    next: usize,
    silent: u32,
    last: BusInstant,
    sizes: [Size; 2],
}

impl Manners {
    /// A request that begins at this instant; says whether it asks a busy ECU again.
    pub(crate) fn on_request(
        &mut self,
        role: Role,
        request: Short,
        began: BusInstant,
        slack: Duration,
        breaches: &mut Vec<Breach>,
    ) -> bool {
        let repeats = !self.busy.is_empty() && self.on_repetition(role, request, began, slack, breaches);
        let extended = role.is_extended();
        let (size, other) = (
            self.sizes[usize::from(extended)],
            self.sizes[usize::from(!extended)],
        );
        if !size.answered && (other.answered || size.unanswered >= TRIES) && !request.is_probe() {
            breaches.push(Breach::SizeUnanswered { extended });
        }
        repeats
    }

    fn on_repetition(
        &mut self,
        role: Role,
        request: Short,
        began: BusInstant,
        slack: Duration,
        breaches: &mut Vec<Breach>,
    ) -> bool {
        let (mut soonest, mut most, mut repeats) = (BUSY_PAUSE, 0, false);
        self.busy.retain_mut(|busy| {
            let after = began.saturating_since(busy.at);
            if busy.request == request && role.reaches(busy.ecu) {
                if !busy.asked {
                    busy.repeats += 1;
                    soonest = soonest.min(after);
                    most = most.max(busy.repeats);
                }
                (busy.asked, repeats) = (true, true);
            } else if after > FORGOTTEN {
                breaches.extend((!busy.asked).then_some(Breach::NotRetried(busy.ecu)));
                return false;
            }
            true
        });
        if soonest + slack < BUSY_PAUSE {
            breaches.push(Breach::RetryTooSoon {
                after: soonest,
                limit: BUSY_PAUSE,
            });
        } else if most > BUSY_REPEATS {
            breaches.push(Breach::RetryTooOften { times: most });
        }
        repeats
    }

    /// An ECU answers a request; `is_first`: nobody has before.
    pub(crate) fn on_answer(
        &mut self,
        ecu: Ecu,
        request: Short,
        is_first: bool,
        is_busy: bool,
        at: BusInstant,
    ) {
        self.silent = 0;
        self.sizes[usize::from(ecu.response().is_extended())].answered = true;
        // One of a poll is there as often as it was asked: it stays known until sixteen others have been answered.
        if is_first {
            self.answered[self.next] = request;
            self.next = (self.next + 1) % ANSWERED;
        }
        if self.busy.is_empty() && !is_busy {
            return;
        }
        let known = |busy: &Busy| busy.ecu == ecu && busy.request == request;
        match self.busy.iter().position(known) {
            Some(place) if is_busy => {
                let busy = &mut self.busy[place];
                (busy.at, busy.asked) = (at, false);
            }
            Some(place) => {
                self.busy.swap_remove(place);
            }
            None if is_busy && self.busy.len() < BUSY => self.busy.push(Busy {
                ecu,
                request,
                at,
                repeats: 0,
                asked: false,
            }),
            None => {}
        }
    }

    /// Nobody answers a request that had been put at this instant.
    pub(crate) fn on_unanswered(&mut self, role: Role, request: Short, asked: BusInstant) -> Option<Breach> {
        let size = &mut self.sizes[usize::from(role.is_extended())];
        size.unanswered = size.unanswered.saturating_add(1);
        let pause = asked.saturating_since(core::mem::replace(&mut self.last, asked));
        if !request.is_for_all() && !self.answered.contains(&request) {
            return None;
        }
        self.silent = if pause < SLEEPY {
            self.silent.saturating_add(1)
        } else {
            1
        };
        (self.silent == PATIENCE).then_some(Breach::PollsSleeping {
            requests: self.silent,
        })
    }

    /// Nothing more comes, until this instant.
    pub(crate) fn on_end(&mut self, at: BusInstant) -> impl Iterator<Item = (Ecu, Breach)> {
        let forgotten = move |busy: &Busy| !busy.asked && at.saturating_since(busy.at) > FORGOTTEN_AT_END;
        let busy = core::mem::take(&mut self.busy);
        busy.into_iter()
            .filter(forgotten)
            .map(|busy| (busy.ecu, Breach::NotRetried(busy.ecu)))
    }
}
