//! One request and what has come of it: which ECU is still due, until when.

use core::{fmt, time::Duration};

use twotrip_can::address::EcuAddress;
use twotrip_units::BusInstant;

use crate::{Ignored, Outcome, TesterConfig};

/// The number of an ECU by its identifiers: 0 answers on 7E8, 7 on 7EF.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EcuNumber(u8);

impl EcuNumber {
    /// ISO 15765-4: at most eight ECUs (from memory).
    pub const COUNT: usize = 8;
    /// The identifiers of all eight on 11 bits.
    pub(crate) const STANDARD: [EcuAddress; Self::COUNT] = {
        let mut addresses = [EcuAddress::ENGINE; Self::COUNT];
        let mut number: u8 = 0;
        while (number as usize) < Self::COUNT {
            if let Some(address) = EcuAddress::standard(number) {
                addresses[number as usize] = address;
            }
            number += 1;
        }
        addresses
    };
    /// The engine ECU, 7E0 and 7E8 (by recommendation, from memory).
    pub const ENGINE: Self = Self(0);

    /// Number `n`, or `None` above 7.
    #[must_use]
    pub const fn new(n: u8) -> Option<Self> {
        if n < 8 { Some(Self(n)) } else { None }
    }

    /// All eight.
    pub fn all() -> impl Iterator<Item = Self> {
        (0..8).map(Self)
    }

    /// The number, 0 to 7.
    #[must_use]
    pub const fn number(self) -> u8 {
        self.0
    }

    /// Its identifiers of 11 bits; a [`TesterConfig`] may have others.
    #[must_use]
    pub fn address(self) -> EcuAddress {
        EcuAddress::standard(self.0).expect("constructed only up to 7")
    }

    pub(crate) fn index(self) -> usize {
        usize::from(self.0)
    }
}

impl fmt::Display for EcuNumber {
    /// By the identifier of its answers: `7E8`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.address().response, f)
    }
}

/// Whom a request is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Target {
    /// All ECUs at once, on 7DF.
    Functional,
    /// One ECU, on 7E0 to 7E7.
    Ecu(EcuNumber),
}

impl Target {
    pub(crate) fn includes(self, ecu: EcuNumber) -> bool {
        match self {
            Self::Functional => true,
            Self::Ecu(asked) => asked == ecu,
        }
    }
}

/// How far one ECU is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Progress {
    /// Nothing yet: it has until P2 is over.
    Due,
    /// P2 is over and it has not begun to answer.
    Silent,
    /// It has put off its answer until then (7F xx 78).
    Pending { until: BusInstant },
    /// It is busy (7F xx 21).
    Busy,
    /// It has answered.
    Answered,
    /// Its answer broke off, or never came after it was announced. What is left of it may go on until then.
    Broken { until: Option<BusInstant> },
}

#[derive(Clone, Copy, Debug)]
struct Ecu {
    progress: Progress,
    /// A message of several frames is arriving, since its first frame.
    arriving: Option<BusInstant>,
}

const DUE: Ecu = Ecu {
    progress: Progress::Due,
    arriving: None,
};

#[derive(Clone, Copy, Debug)]
enum State {
    /// The request is on its way.
    Asking,
    /// It has passed; answers may begin until `p2`.
    Waiting { asked: BusInstant, p2: BusInstant },
    /// An ECU is busy: the request goes out again then.
    Pausing { until: BusInstant },
}

/// What a message of an ECU is to the exchange.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Verdict {
    Answer { after: Duration },
    Pending,
    Busy,
    Ignored(Ignored),
}

/// What to do next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Next {
    Wait,
    AskAgain,
    Finish { answers: u8, outcome: Outcome },
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct Exchange {
    pub(crate) target: Target,
    service: u8,
    state: State,
    ecus: [Ecu; EcuNumber::COUNT],
    repeats_left: u8,
    end: BusInstant,
}

impl Exchange {
    pub(crate) fn new(now: BusInstant, target: Target, service: u8, config: &TesterConfig) -> Self {
        Self {
            target,
            service,
            state: State::Asking,
            ecus: [DUE; EcuNumber::COUNT],
            repeats_left: config.busy_repeats,
            end: now + config.longest_exchange,
        }
    }

    /// Whether frames of this ECU belong to the exchange now.
    pub(crate) fn listens_to(&self, ecu: EcuNumber) -> bool {
        self.target.includes(ecu)
    }

    pub(crate) const fn is_asking(&self) -> bool {
        matches!(self.state, State::Asking)
    }

    pub(crate) fn has_answered(&self, ecu: EcuNumber) -> bool {
        self.ecus[ecu.index()].progress == Progress::Answered
    }

    /// The request has passed on the bus: P2 runs.
    pub(crate) fn on_asked(&mut self, now: BusInstant, config: &TesterConfig) {
        if self.is_asking() {
            self.state = State::Waiting {
                asked: now,
                p2: now + config.p2 + config.allowance,
            };
        }
    }

    /// A longer message of the ECU has begun.
    pub(crate) const fn on_started(&mut self, now: BusInstant, ecu: EcuNumber) {
        self.ecus[ecu.0 as usize].arriving = Some(now);
    }

    /// The message of the ECU broke off, and what is left of it may go on until then. If another takes its place, that one
    /// counts.
    pub(crate) fn on_broken(&mut self, ecu: EcuNumber, until: Option<BusInstant>) {
        let ecu = &mut self.ecus[ecu.index()];
        ecu.arriving = None;
        if ecu.progress != Progress::Answered {
            ecu.progress = Progress::Broken { until };
        }
    }

    /// A message of the ECU is complete.
    pub(crate) fn on_message(
        &mut self,
        now: BusInstant,
        ecu: EcuNumber,
        request: &[u8],
        message: &[u8],
        config: &TesterConfig,
    ) -> Verdict {
        let service = self.service;
        let ecu = &mut self.ecus[ecu.index()];
        let began = ecu.arriving.take().unwrap_or(now);
        let State::Waiting { asked, .. } = self.state else {
            return Verdict::Ignored(Ignored::Unasked);
        };
        if ecu.progress == Progress::Answered {
            return Verdict::Ignored(Ignored::Unasked);
        }
        match *message {
            [0x7F, refused, 0x78] if refused == service => {
                ecu.progress = Progress::Pending {
                    until: now + config.p2_star + config.allowance,
                };
                return Verdict::Pending;
            }
            [0x7F, refused, 0x21] if refused == service && self.repeats_left > 0 => {
                ecu.progress = Progress::Busy;
                return Verdict::Busy;
            }
            [0x7F, refused, _] if refused == service => {}
            [first, ..] if first == service.wrapping_add(0x40) => {
                if let Some(found) = other_parameter(request, message) {
                    return Verdict::Ignored(Ignored::OtherParameter { service, found });
                }
            }
            _ => {
                let found = message.first().copied().unwrap_or_default();
                return Verdict::Ignored(Ignored::OtherService { service, found });
            }
        }
        ecu.progress = Progress::Answered;
        Verdict::Answer {
            after: began.saturating_since(asked),
        }
    }

    /// When [`Self::next`] has to be asked again at the latest.
    pub(crate) fn deadline(&self) -> BusInstant {
        let own = match self.state {
            State::Asking => None,
            State::Pausing { until } => Some(until),
            // A message that arrives is watched by the transport.
            State::Waiting { p2, .. } => self
                .asked()
                .filter(|ecu| ecu.arriving.is_none())
                .filter_map(|ecu| match ecu.progress {
                    Progress::Due => Some(p2),
                    Progress::Pending { until } => Some(until),
                    Progress::Broken { until } => until,
                    Progress::Silent | Progress::Busy | Progress::Answered => None,
                })
                .min(),
        };
        own.map_or(self.end, |own| own.min(self.end))
    }

    fn asked(&self) -> impl Iterator<Item = &Ecu> {
        let of = |&(number, _): &(EcuNumber, _)| self.target.includes(number);
        EcuNumber::all().zip(&self.ecus).filter(of).map(|(_, ecu)| ecu)
    }

    /// What to do at `now`. `known` tells which ECUs there are; without any, all eight are waited for.
    pub(crate) fn next(&mut self, now: BusInstant, known: KnownEcus, config: &TesterConfig) -> Next {
        if now >= self.end {
            return self.finish(true);
        }
        let p2 = match self.state {
            State::Asking => return Next::Wait,
            State::Pausing { until } if until > now => return Next::Wait,
            State::Pausing { .. } => {
                self.state = State::Asking;
                return Next::AskAgain;
            }
            State::Waiting { p2, .. } => p2,
        };
        let mut open = false;
        for (number, ecu) in EcuNumber::all().zip(&mut self.ecus) {
            if !self.target.includes(number) {
                continue;
            }
            if ecu.arriving.is_some() {
                open = true;
                continue;
            }
            match ecu.progress {
                Progress::Due if p2 > now => open |= known.expects(self.target, number),
                Progress::Due => ecu.progress = Progress::Silent,
                Progress::Pending { until } | Progress::Broken { until: Some(until) } if until > now => {
                    open = true;
                }
                Progress::Pending { .. } | Progress::Broken { until: Some(_) } => {
                    ecu.progress = Progress::Broken { until: None };
                }
                Progress::Silent | Progress::Busy | Progress::Answered | Progress::Broken { .. } => {}
            }
        }
        if open {
            return Next::Wait;
        }
        if self.repeats_left > 0 && self.asked().any(|ecu| ecu.progress == Progress::Busy) {
            self.repeats_left -= 1;
            for ecu in &mut self.ecus {
                if ecu.progress != Progress::Answered {
                    *ecu = DUE;
                }
            }
            self.state = State::Pausing {
                until: now + config.busy_pause,
            };
            return Next::Wait;
        }
        self.finish(false)
    }

    fn finish(&self, given_up: bool) -> Next {
        let answered = self.asked().filter(|ecu| ecu.progress == Progress::Answered);
        let answers = u8::try_from(answered.count()).unwrap_or(u8::MAX);
        let is_broken = |ecu: &Ecu| matches!(ecu.progress, Progress::Broken { .. });
        let outcome = if given_up || self.asked().any(is_broken) {
            Outcome::Incomplete
        } else if answers == 0 {
            Outcome::Silent
        } else {
            Outcome::Answered
        };
        Next::Finish { answers, outcome }
    }
}

/// The parameter that a positive answer tells first, if it was not asked for: then the answer is that to another question, late
/// or of another tester. Services $01, $06, $08, $09 name parameters of a byte, $02 each with its frame (SAE J1979), $22 such of
/// two bytes (ISO 14229-1).
fn other_parameter(request: &[u8], message: &[u8]) -> Option<u16> {
    let (asked, found) = match (request, message) {
        ([0x01 | 0x06 | 0x09, asked @ ..], &[_, told, ..]) => (asked.contains(&told), u16::from(told)),
        ([0x08, asked, ..], &[_, told, ..]) => (*asked == told, u16::from(told)),
        ([0x02, asked @ ..], &[_, told, ..]) => {
            let is_it = |pair: &[u8]| pair[0] == told;
            (asked.chunks(2).any(is_it), u16::from(told))
        }
        ([0x22, asked @ ..], &[_, high, low, ..]) => {
            let told = [high, low];
            (
                asked.chunks(2).any(|number| number == told),
                u16::from_be_bytes(told),
            )
        }
        _ => return None,
    };
    (!asked).then_some(found)
}

/// The ECUs that have answered to 01 00 or 22 F8 10: who else is there need not be waited for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct KnownEcus(u8);

impl KnownEcus {
    pub(crate) const fn insert(&mut self, ecu: EcuNumber) {
        self.0 |= 1 << ecu.0;
    }

    pub(crate) const fn contains(self, ecu: EcuNumber) -> bool {
        self.0 & 1 << ecu.0 != 0
    }

    fn expects(self, target: Target, ecu: EcuNumber) -> bool {
        match target {
            Target::Functional => self == Self::default() || self.contains(ecu),
            Target::Ecu(_) => true,
        }
    }
}
