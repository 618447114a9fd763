//! The tester: a channel for each ECU, one for the functional identifier, one exchange at a time.

use alloc::{collections::VecDeque, vec::Vec};

use twotrip_can::{Frame, address::Addressing};
use twotrip_isotp::{Channel, Config, Direction, NResult, SendError};
use twotrip_units::BusInstant;

use crate::{
    EcuNumber, Event, Ignored, Outcome, Target, TesterConfig,
    exchange::{Exchange, KnownEcus, Next, Verdict},
};

/// Why a request was not made; the caller's own slip.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RequestError {
    /// The exchange before has not finished.
    #[error("the exchange before has not finished")]
    Unfinished,
    /// Functional requests fit a single frame (ISO 15765-4).
    #[error("functional request of `{length}` bytes, allowed up to 7")]
    TooLongForAll {
        /// Length of the request, bytes.
        length: usize,
    },
    /// The transport cannot send it.
    #[error(transparent)]
    Transport(#[from] SendError),
}

/// The channel behind the eight of the ECUs: requests to all.
const FUNCTIONAL: usize = EcuNumber::COUNT;
/// Room for events between two polls. A frame makes four at most.
const EVENTS: usize = 16;
/// Room that ignored frames may take of it.
const IGNORED_EVENTS: usize = 8;

/// A tester without IO, in the shape of [`twotrip_isotp::Channel`]: after every `handle_*` and every
/// [`request`](Self::request), [`poll_frame`](Self::poll_frame) and [`poll_event`](Self::poll_event) until `None`, then
/// [`poll_timeout`](Self::poll_timeout). Frames are handed to the bus in order, and [`handle_transmitted`](Self::handle_transmitted) is called once for
/// each, in that order.
///
/// An exchange ends when the ECU that was asked has answered, or all known ones have; else when P2 is over, and
/// whoever has begun to answer (or has said 7F xx 78) is done. The known ECUs are those that have answered to a
/// functional 01 00, or to 22 F8 10 in SAE J1979-2; before the first, every request to all waits for the whole of P2.
///
/// ```
/// use twotrip_can::{CanId, Frame};
/// use twotrip_tester::{EcuNumber, Event, Target, Tester, TesterConfig};
/// use twotrip_units::BusInstant;
///
/// let mut tester = Tester::new(TesterConfig::default());
/// tester.request(BusInstant::ZERO, Target::Ecu(EcuNumber::ENGINE), &[0x03])?;
/// assert_eq!(tester.poll_frame(BusInstant::ZERO), Some(Frame::padded(CanId::Standard(0x7E0), &[0x01, 0x03], 0)));
/// tester.handle_transmitted(BusInstant::from_millis(1));
///
/// let answer = Frame::padded(CanId::Standard(0x7E8), &[0x02, 0x43, 0x00], 0);
/// tester.handle_frame(BusInstant::from_millis(9), &answer);
/// assert!(matches!(tester.poll_event(), Some(Event::Answer { ecu, .. }) if tester.answer(ecu) == [0x43, 0x00]));
/// assert!(matches!(tester.poll_event(), Some(Event::Finished { answers: 1, .. })));
/// # Ok::<(), twotrip_tester::RequestError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Tester {
    config: TesterConfig,
    /// One for each ECU, then the functional one.
    channels: Vec<Channel>,
    /// Channels whose frames are on their way to the bus, oldest first.
    in_flight: VecDeque<usize>,
    exchange: Option<Exchange>,
    request: Vec<u8>,
    known: KnownEcus,
    events: VecDeque<Event>,
    lost_events: u64,
}

impl Tester {
    /// A tester that knows no ECU yet.
    #[must_use]
    pub fn new(config: TesterConfig) -> Self {
        let channel = |base: Config, receive_limit| {
            Channel::new(Config {
                profile: config.transport,
                receive_limit,
                ..base
            })
        };
        let functional = config.ecus[0].functional;
        let channels = EcuNumber::all()
            .map(|ecu| channel(Config::tester(config.address(ecu)), Config::LONGEST))
            .chain([channel(Config::new(functional, functional), 0)])
            .collect();
        Self {
            config,
            channels,
            in_flight: VecDeque::with_capacity(FUNCTIONAL + 1),
            exchange: None,
            request: Vec::with_capacity(Config::LONGEST),
            known: KnownEcus::default(),
            events: VecDeque::with_capacity(EVENTS),
            lost_events: 0,
        }
    }

    /// The settings.
    #[must_use]
    pub const fn config(&self) -> &TesterConfig {
        &self.config
    }

    /// Whether an exchange is under way.
    #[must_use]
    pub const fn is_busy(&self) -> bool {
        self.exchange.is_some()
    }

    /// The ECUs that have answered to 01 00 or 22 F8 10.
    pub fn known_ecus(&self) -> impl Iterator<Item = EcuNumber> {
        let known = self.known;
        EcuNumber::all().filter(move |&ecu| known.contains(ecu))
    }

    /// The message that the ECU has sent last; empty once a new one has begun.
    #[must_use]
    pub fn answer(&self, ecu: EcuNumber) -> &[u8] {
        self.channels[ecu.index()].message(Addressing::Physical)
    }

    /// Events that found no room because nobody polled.
    #[must_use]
    pub const fn lost_events(&self) -> u64 {
        self.lost_events
    }

    /// Asks. What is left of the exchange before is forgotten.
    ///
    /// # Errors
    /// [`RequestError`]; nothing is sent then.
    pub fn request(&mut self, now: BusInstant, target: Target, request: &[u8]) -> Result<(), RequestError> {
        self.handle_timeout(now);
        if self.is_busy() {
            return Err(RequestError::Unfinished);
        }
        let length = request.len();
        if target == Target::Functional && length > 7 {
            return Err(RequestError::TooLongForAll { length });
        }
        let &service = request.first().ok_or(SendError::Empty)?;
        for channel in &mut self.channels {
            channel.reset();
        }
        self.in_flight.clear();
        self.channels[channel_of(target)].send(now, request)?;
        self.request.clear();
        self.request.extend_from_slice(request);
        self.exchange = Some(Exchange::new(now, target, service, &self.config));
        Ok(())
    }

    /// A frame came in; frames of others than ECUs may be passed in too.
    pub fn handle_frame(&mut self, now: BusInstant, frame: &Frame) {
        self.handle_timeout(now);
        let Some(ecu) = self.config.ecu_of(frame.id()) else {
            return;
        };
        if self.exchange.is_some_and(|exchange| exchange.listens_to(ecu)) {
            self.channels[ecu.index()].handle_frame(now, frame);
            self.settle(now);
        } else {
            // Not even flow control: the frame may belong to the exchange of another tester.
            let reason = Ignored::Unasked;
            self.push(Event::Ignored { ecu, reason });
        }
    }

    /// The bus has taken the oldest of the frames that were polled; `now` is the end of that frame.
    pub fn handle_transmitted(&mut self, now: BusInstant) {
        self.handle_timeout(now);
        if let Some(channel) = self.in_flight.pop_front() {
            self.channels[channel].handle_transmitted(now);
            self.settle(now);
        }
    }

    /// Time has passed.
    pub fn handle_timeout(&mut self, now: BusInstant) {
        for channel in &mut self.channels {
            channel.handle_timeout(now);
        }
        self.settle(now);
        let channels = &self.channels;
        self.in_flight
            .retain(|&channel| channels[channel].has_frame_in_flight());
    }

    /// The next frame for the bus.
    #[must_use]
    pub fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        let (number, frame) = self
            .channels
            .iter_mut()
            .enumerate()
            .find_map(|(number, channel)| Some((number, channel.poll_frame(now)?)))?;
        self.in_flight.push_back(number);
        Some(frame)
    }

    /// Whether frames that were polled still wait for the bus; those whose transfer was given up (N_As, N_Ar of ISO
    /// 15765-2) do not.
    #[must_use]
    pub fn has_frame_in_flight(&self) -> bool {
        !self.in_flight.is_empty()
    }

    /// What happened.
    #[must_use]
    pub fn poll_event(&mut self) -> Option<Event> {
        self.events.pop_front()
    }

    /// When to call [`handle_timeout`](Self::handle_timeout), and [`poll_frame`](Self::poll_frame) after it, at the
    /// latest. May lie in the past if a frame waits to be polled.
    #[must_use]
    pub fn poll_timeout(&self) -> Option<BusInstant> {
        let channels = self.channels.iter().map(Channel::poll_timeout);
        let exchange = self.exchange.as_ref().map(Exchange::deadline);
        channels.chain([exchange]).flatten().min()
    }

    /// Takes what the channels report and finds out whether the exchange is over.
    fn settle(&mut self, now: BusInstant) {
        for number in 0..self.channels.len() {
            while let Some(event) = self.channels[number].poll_event() {
                self.on_channel_event(now, number, event);
            }
        }
        let Some(exchange) = &mut self.exchange else {
            return;
        };
        match exchange.next(now, self.known, &self.config) {
            Next::Wait => {}
            Next::AskAgain => {
                let channel = channel_of(exchange.target);
                if self.channels[channel].send(now, &self.request).is_err() {
                    self.finish(0, Outcome::NotSent);
                }
            }
            Next::Finish { answers, outcome } => self.finish(answers, outcome),
        }
    }

    fn on_channel_event(&mut self, now: BusInstant, number: usize, event: twotrip_isotp::Event) {
        use twotrip_isotp::Event as Transport;
        let Some(exchange) = &mut self.exchange else {
            return;
        };
        // The functional channel only sends, so it stands for no ECU.
        let ecu = u8::try_from(number).ok().and_then(EcuNumber::new);
        match (event, ecu) {
            (Transport::Sent, _) => exchange.on_asked(now, &self.config),
            (
                Transport::Failed {
                    direction: Direction::Transmit,
                    result,
                },
                _,
            ) => {
                self.push(Event::Failed { ecu: None, result });
                self.finish(0, Outcome::NotSent);
            }
            (Transport::Started { .. }, Some(ecu)) => exchange.on_started(now, ecu),
            (Transport::Failed { result, .. }, Some(ecu)) => {
                // The ECU may still be sending the rest, and would not hear another request.
                let rest = match result {
                    NResult::WrongSn { .. } => Some(now + self.config.transport.timers.n_cr),
                    _ => None,
                };
                exchange.on_broken(ecu, rest);
                self.push(Event::Failed {
                    ecu: Some(ecu),
                    result,
                });
            }
            (Transport::Received { .. }, Some(ecu)) => self.on_message(now, ecu),
            (Transport::Ignored { reason }, Some(ecu)) => {
                let reason = Ignored::Transport(reason);
                self.push(Event::Ignored { ecu, reason });
            }
            (_, None) => {}
        }
    }

    fn on_message(&mut self, now: BusInstant, ecu: EcuNumber) {
        let Some(exchange) = &mut self.exchange else {
            return;
        };
        // An answer that overtakes the acknowledgement of its request: the request has been on the bus.
        if exchange.is_asking() && self.channels[channel_of(exchange.target)].has_frame_in_flight() {
            exchange.on_asked(now, &self.config);
        }
        let message = self.channels[ecu.index()].message(Addressing::Physical);
        let verdict = exchange.on_message(now, ecu, &self.request, message, &self.config);
        self.push(match verdict {
            Verdict::Answer { after } => Event::Answer { ecu, after },
            Verdict::Pending => Event::Pending { ecu },
            Verdict::Busy => Event::Busy { ecu },
            Verdict::Ignored(reason) => Event::Ignored { ecu, reason },
        });
    }

    fn finish(&mut self, answers: u8, outcome: Outcome) {
        let Some(exchange) = self.exchange.take() else {
            return;
        };
        let who_is_there = self.request == [0x01, 0x00] || self.request == [0x22, 0xF8, 0x10];
        if exchange.target == Target::Functional && who_is_there {
            for ecu in EcuNumber::all().filter(|&ecu| exchange.has_answered(ecu)) {
                self.known.insert(ecu);
            }
        }
        self.push(Event::Finished { answers, outcome });
    }

    fn push(&mut self, event: Event) {
        let room = match event {
            Event::Ignored { .. } => IGNORED_EVENTS,
            _ => EVENTS,
        };
        if self.events.len() < room {
            self.events.push_back(event);
        } else {
            self.lost_events = self.lost_events.saturating_add(1);
        }
    }
}

fn channel_of(target: Target) -> usize {
    match target {
        Target::Functional => FUNCTIONAL,
        Target::Ecu(ecu) => ecu.index(),
    }
}

#[cfg(test)]
mod tests;
