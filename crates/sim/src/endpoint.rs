//! An ECU's end of the bus: transport, the queue of requests, and how long an answer takes.
//!
//! ISO 15765-4: an answer begins within P2 (50 ms) of its request. A real ECU takes a few milliseconds, and its
//! consecutive frames follow each other at the bit rate of the bus; both are [`Timing`]. A request that would
//! be late is dropped and counted, so that a flood costs bounded memory and no lie about P2.

use std::{collections::VecDeque, time::Duration};

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};
use twotrip_can::{
    Frame,
    address::Addressing,
    timing::{self, BitRate},
};
use twotrip_ecu::server;
use twotrip_isotp::{Channel, Config, Deviation, Event, Grant};
use twotrip_units::BusInstant;

use crate::misbehaviour::{Misbehaviour, Sending};

/// The longest time between a request and the start of its answer (ISO 15765-4, P2CAN).
pub const P2: Duration = Duration::from_millis(50);
/// What is kept free of P2 for the bus and the computer.
const P2_RESERVE: Duration = Duration::from_millis(10);
/// Requests that wait at the most.
const QUEUE: usize = 16;
/// Legislated requests have at most 7 bytes; what is longer is only told apart by its first ones.
const REQUEST_ROOM: usize = 8;

/// How long the ECU takes to answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Timing {
    /// Least and greatest delay of an answer, drawn anew for each; `None` answers at once.
    pub reply: Option<(Duration, Duration)>,
    /// Bit rate at which our own frames follow each other where the bus itself does not pace them.
    pub spacing: Option<BitRate>,
}

impl Timing {
    /// As cars do, on a bus that has no bit rate of its own (vcan, `local:`).
    pub const REAL: Self = Self {
        reply: Some((Duration::from_millis(2), Duration::from_millis(8))),
        spacing: Some(BitRate::Kbit500),
    };
    /// As cars do, on a bus that paces the frames.
    pub const REAL_ON_PACED_BUS: Self = Self {
        spacing: None,
        ..Self::REAL
    };
    /// The same on a bus of this bit rate, where it matters.
    pub(crate) fn at(self, bit_rate: BitRate) -> Self {
        Self {
            spacing: self.spacing.map(|_| bit_rate),
            ..self
        }
    }

    /// At once.
    pub const FAST: Self = Self {
        reply: None,
        spacing: None,
    };
}

/// A request as it waits for its answer.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Request {
    pub(crate) addressing: Addressing,
    bytes: [u8; REQUEST_ROOM],
    len: usize,
    due: BusInstant,
    /// When its answer has to have begun.
    latest: BusInstant,
}

impl Request {
    pub(crate) fn bytes(&self) -> &[u8] {
        &self.bytes[..self.len]
    }

    /// To whom, as a server knows it.
    pub(crate) const fn for_server(&self) -> server::Addressing {
        match self.addressing {
            Addressing::Functional => server::Addressing::Functional,
            Addressing::Physical => server::Addressing::Physical,
        }
    }
}

/// What the endpoint has counted since the start.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct EndpointCounts {
    /// Requests taken from the bus.
    pub requests: u64,
    /// Requests dropped, because an answer was still being sent, too many waited, or P2 was over.
    pub dropped: u64,
}

/// An ECU's endpoint.
#[derive(Clone, Debug)]
pub(crate) struct Endpoint {
    channel: Channel,
    timing: Timing,
    dice: ChaCha8Rng,
    waiting: VecDeque<Request>,
    /// When our last frame has left the wire, as far as we pace it ourselves.
    leaves: Option<BusInstant>,
    /// How long the frame last polled is on the wire.
    last_frame: Duration,
    counts: EndpointCounts,
    /// From the first disturbance of its ECU on.
    misbehaviour: Option<Box<Misbehaviour>>,
}

impl Endpoint {
    pub(crate) fn new(transport: Config, timing: Timing, dice: ChaCha8Rng) -> Self {
        Self {
            channel: Channel::new(transport),
            timing,
            dice,
            waiting: VecDeque::with_capacity(QUEUE),
            leaves: None,
            last_frame: Duration::ZERO,
            counts: EndpointCounts::default(),
            misbehaviour: None,
        }
    }

    pub(crate) const fn counts(&self) -> EndpointCounts {
        self.counts
    }

    /// A frame came in. Says whether a request was completed by it.
    pub(crate) fn handle_frame(&mut self, now: BusInstant, frame: &Frame) -> bool {
        let misbehaviour = self.misbehaviour.as_ref();
        if misbehaviour.is_some_and(|misbehaviour| misbehaviour.is_gone(now)) {
            return false;
        }
        self.channel.handle_frame(now, frame);
        self.take_events(now)
    }

    /// The bus took our last frame.
    pub(crate) fn handle_transmitted(&mut self, now: BusInstant) {
        if self.timing.spacing.is_some() {
            self.leaves = Some(now + self.last_frame);
        } else {
            self.on_left(now);
        }
    }

    /// Our last frame has left the wire.
    fn on_left(&mut self, now: BusInstant) {
        self.channel.handle_transmitted(now);
        let misbehaviour = self.misbehaviour.as_mut();
        if misbehaviour.is_some_and(|misbehaviour| misbehaviour.on_frame_left(now)) {
            self.reset();
        }
    }

    /// Runs the deadlines up to `now`.
    pub(crate) fn handle_timeout(&mut self, now: BusInstant) {
        if let Some(leaves) = self.leaves.filter(|&leaves| leaves <= now) {
            self.leaves = None;
            self.on_left(leaves);
        }
        self.channel.handle_timeout(now);
        self.take_events(now);
    }

    /// The request whose answer is due.
    pub(crate) fn poll_due(&mut self, now: BusInstant) -> Option<Request> {
        if self.channel.is_transmitting() {
            return None;
        }
        // What had to wait behind a long answer may be late by now.
        while self.waiting.front().is_some_and(|request| request.latest < now) {
            self.waiting.pop_front();
            self.counts.dropped += 1;
        }
        if let Some(misbehaviour) = &mut self.misbehaviour {
            let is_put_off = misbehaviour.serve(now, &mut self.channel, !self.waiting.is_empty());
            if is_put_off || self.channel.is_transmitting() {
                return None;
            }
        }
        let due = self.waiting.front().is_some_and(|request| request.due <= now);
        if due { self.waiting.pop_front() } else { None }
    }

    /// Sends an answer.
    pub(crate) fn reply(&mut self, now: BusInstant, answer: &[u8]) {
        // The channel is free here (`poll_due`) and an answer is never longer than it takes: nothing to report.
        let sent = self.channel.send(now, answer);
        debug_assert!(sent.is_ok(), "the channel refused an answer");
    }

    /// Sends an answer as an ECU does that misbehaves.
    pub(crate) fn reply_badly(&mut self, now: BusInstant, request: &[u8], answer: &[u8], sending: Sending) {
        if self.misbehaviour.is_none() && sending == Sending::default() {
            return self.reply(now, answer);
        }
        let misbehaviour = self.misbehaviour.get_or_insert_default();
        let service = request.first().copied().unwrap_or_default();
        misbehaviour.send(now, &mut self.channel, service, answer, sending);
    }

    /// What flow control longer requests get.
    pub(crate) fn grant(&mut self, grants: Grant) {
        let deviation = self.channel.deviation().copied().unwrap_or_default();
        if grants != deviation.grants {
            self.channel.deviate(Some(Deviation { grants, ..deviation }));
        }
    }

    pub(crate) fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        if self.leaves.is_some() {
            return None;
        }
        let frame = self.channel.poll_frame(now)?;
        if let Some(rate) = self.timing.spacing {
            self.last_frame = timing::frame_time(&frame, rate);
        }
        Some(frame)
    }

    /// Whether the frame last polled still waits for the bus: it is neither acknowledged nor given up.
    pub(crate) const fn has_frame_in_flight(&self) -> bool {
        self.channel.has_frame_in_flight()
    }

    /// Whether the frame last polled takes the wire, as far as we know.
    pub(crate) const fn is_on_the_wire(&self) -> bool {
        self.leaves.is_some() || self.channel.has_frame_in_flight()
    }

    /// When to call [`Self::handle_timeout`] at the latest. While a frame of another ECU takes the wire `until` then, the
    /// transport waits for it.
    pub(crate) fn poll_timeout(&self, until: Option<BusInstant>) -> Option<BusInstant> {
        let due = if self.channel.is_transmitting() {
            None
        } else {
            let put_off = self
                .misbehaviour
                .as_ref()
                .and_then(|misbehaviour| misbehaviour.deadline());
            put_off.or_else(|| self.waiting.front().map(|request| request.due))
        };
        let transport = self.transport_timeout();
        let transport = transport.map(|deadline| until.map_or(deadline, |until| until.max(deadline)));
        [due, transport].into_iter().flatten().min()
    }

    /// The same without requests whose answers are due.
    pub(crate) fn transport_timeout(&self) -> Option<BusInstant> {
        [self.leaves, self.channel.poll_timeout()]
            .into_iter()
            .flatten()
            .min()
    }

    /// Forgets everything under way: the ECU has gone to sleep.
    pub(crate) fn reset(&mut self) {
        self.channel.reset();
        self.waiting.clear();
        self.leaves = None;
        if let Some(misbehaviour) = &mut self.misbehaviour {
            misbehaviour.forget();
        }
    }

    fn take_events(&mut self, now: BusInstant) -> bool {
        let mut completed = false;
        while let Some(event) = self.channel.poll_event() {
            let Event::Received { addressing } = event else {
                continue;
            };
            completed = true;
            self.counts.requests += 1;
            let delay = self.draw_delay();
            let message = self.channel.message(addressing);
            let len = message.len().min(REQUEST_ROOM);
            let mut bytes = [0; REQUEST_ROOM];
            bytes[..len].copy_from_slice(&message[..len]);
            let due = self.waiting.back().map_or(now, |last| last.due).max(now + delay);
            let late = due > now + (P2 - P2_RESERVE);
            // An unfinished multi-frame answer goes on; a request that completes meanwhile is dropped (half-duplex
            // application above a full-duplex transport).
            if late || self.waiting.len() == QUEUE || self.channel.is_in_the_middle() {
                self.counts.dropped += 1;
                continue;
            }
            self.waiting.push_back(Request {
                addressing,
                bytes,
                len,
                due,
                latest: now + P2,
            });
        }
        completed
    }

    fn draw_delay(&mut self) -> Duration {
        let Some((least, greatest)) = self.timing.reply else {
            return Duration::ZERO;
        };
        let span = greatest.saturating_sub(least);
        least + span * u32::from(self.dice.next_u32().to_le_bytes()[0]) / 256
    }
}

/// A stream of dice for one purpose: `seed` is the run's, `stream` the purpose's.
pub(crate) fn dice(seed: u64, stream: u64) -> ChaCha8Rng {
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    dice.set_stream(stream);
    dice
}
