//! A tester at work on a bus, in wall time: one question, all its answers.
//!
//! Its clock is the kernel's where there is one: a frame counts from when it came in, and a request from when it had passed on
//! the wire.
//!
//! [`Session::ask`] is for whoever wants the answers; [`Session::exchange`] tells more of them, and of what else ECUs said.

use std::time::{Duration, Instant};

use tokio::time::sleep_until;
use twotrip_can::{CanId, Frame, FrameKind, address::EcuAddress, error_frame::ErrorFrame};
use twotrip_isotp::Ignored as TransportIgnored;
use twotrip_tester::{
    EcuNumber, Event, Ignored, NResult, Outcome, RequestError, Target, Tester, TesterConfig,
};
use twotrip_units::BusInstant;

pub use twotrip::Answer;

use crate::{
    bench::{self, BenchError},
    bus::{Bus, BusError, BusEvent, Filter, Received, Sent},
    wall::Wall,
};

/// One question and what came of it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Exchange {
    /// The answers, in the order in which they were complete.
    pub answers: Vec<Told>,
    /// Answers that broke off, and why.
    pub broken: Vec<(EcuNumber, NResult)>,
    /// ECUs that asked for time (7F xx 78) and then gave no answer, and how often they did.
    pub pending: Vec<(EcuNumber, u32)>,
    /// Why the ECU did not take a question of several frames.
    pub refused: Option<NResult>,
}

/// An answer with what is known of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// Who.
    pub ecu: EcuNumber,
    /// The message without transport bytes.
    pub payload: Vec<u8>,
    /// From the end of the request to the end of the answer's first frame.
    pub after: Duration,
    /// How often the ECU asked for time before it (7F xx 78).
    pub waits: u32,
    /// When it was complete.
    pub at: Instant,
}

/// Why a question could not be asked.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// The bus is gone, or down.
    #[error(transparent)]
    Bus(#[from] BusError),
    /// The tester refuses the question.
    #[error(transparent)]
    Request(#[from] RequestError),
    /// Somebody is on a bench who should not be.
    #[error(transparent)]
    Bench(#[from] BenchError),
    /// The ECU did not take a request of several frames.
    #[error("the ECU does not take the request: {result}")]
    NotTaken {
        /// How its transfer ended.
        result: NResult,
    },
    /// The bus did not take the request.
    #[error("the bus does not take the request{}; is anybody else on it? A frame needs a second node to be \
        acknowledged; is it wired, and at the right bit rate?", said(.controller))]
    NotSent {
        /// What the controller has reported last.
        controller: Option<ErrorFrame>,
    },
}

fn said(controller: &Option<ErrorFrame>) -> String {
    controller.map_or_else(String::new, |error| format!(" ({error})").replace("; ", ", "))
}

/// How long answers took, and what was lost.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Times {
    /// Answers, positive or negative.
    pub answers: u32,
    /// Least and greatest time from the end of a request to the end of its answer's first frame; ISO 15765-4 allows
    /// 50 ms (P2).
    pub first_frame: Option<(Duration, Duration)>,
    /// Answer frames that the kernel had to drop because this program did not read them in time.
    pub dropped: u32,
}

/// Wait for room after the bus had none: time is all there is to wait for (`bus::SocketCan`).
const RETRY: Duration = Duration::from_millis(1);

/// A tester on a bus.
#[derive(Debug)]
pub struct Session {
    bus: Bus,
    tester: Tester,
    /// The tester's time.
    wall: Wall,
    /// A frame that the bus had no room for.
    blocked: Option<Frame>,
    times: Times,
    /// What the controller has reported last.
    controller: Option<ErrorFrame>,
    /// On a bench: the identifiers of the ECUs that may answer.
    guard: Option<Vec<CanId>>,
    /// How often each ECU has asked for time, in this exchange.
    waits: [u32; EcuNumber::COUNT],
    exchange: Exchange,
    /// How it ended.
    ended: Option<Outcome>,
    /// Frames of ECUs that belong to no exchange.
    strays: Vec<Frame>,
    /// See [`Self::short_frames`].
    short_frames: u64,
}

/// Stray frames kept between two looks at them.
const STRAYS: usize = 64;
/// Answers of any ECU on 29 bits, 18DAF1xx (ISO 15765-4, from memory).
const EXTENDED_ANSWERS: Filter = Filter::exact(EcuAddress::extended(0).response).but_for(0xFF);

impl Session {
    /// A tester with these settings that hears the ECUs of a car on `bus`, and its own frames as they pass.
    ///
    /// # Errors
    /// [`BusError`] if the kernel refuses the filters.
    pub fn new(mut bus: Bus, config: TesterConfig) -> Result<Self, BusError> {
        bus.set_filters(&filters(&config))?;
        Self::open(bus, config, None)
    }

    /// Asks by other identifiers, or other ECUs, from now on; what was under way is over. Not on a bench, where the ECUs that may
    /// answer were named.
    ///
    /// # Errors
    /// [`BusError`] if the kernel refuses the filters.
    pub fn change(&mut self, config: TesterConfig) -> Result<(), BusError> {
        debug_assert!(self.guard.is_none(), "a bench has the ECUs that were named");
        self.bus.set_filters(&filters(&config))?;
        self.tester = Tester::new(config);
        self.strays.clear();
        Ok(())
    }

    /// How it asks.
    #[must_use]
    pub const fn config(&self) -> &TesterConfig {
        self.tester.config()
    }

    /// The same on a bench: it asks nothing more once anybody is heard but testers and the ECUs that answer by these identifiers.
    ///
    /// # Errors
    /// [`BusError`] if the kernel refuses.
    pub fn on_a_bench(bus: Bus, config: TesterConfig, expected: Vec<CanId>) -> Result<Self, BusError> {
        Self::open(bus, config, Some(expected))
    }

    fn open(mut bus: Bus, config: TesterConfig, guard: Option<Vec<CanId>>) -> Result<Self, BusError> {
        bus.want_detail()?;
        bus.want_confirmation()?;
        Ok(Self {
            bus,
            tester: Tester::new(config),
            wall: Wall::begin(),
            blocked: None,
            times: Times::default(),
            controller: None,
            guard,
            waits: [0; EcuNumber::COUNT],
            exchange: Exchange::default(),
            ended: None,
            strays: Vec::new(),
            short_frames: 0,
        })
    }

    /// How long answers have taken so far.
    #[must_use]
    pub const fn times(&self) -> Times {
        self.times
    }

    /// When the frame last received came in.
    fn arrival(&mut self) -> BusInstant {
        let detail = self.bus.detail().unwrap_or_default();
        self.times.dropped = self.times.dropped.max(detail.dropped);
        self.wall.arrival(detail.at)
    }

    /// Asks, and waits until everybody asked has answered or had the time to.
    ///
    /// # Errors
    /// [`SessionError`]; nobody answering is no error.
    pub async fn ask(&mut self, target: Target, request: &[u8]) -> Result<Vec<Answer>, SessionError> {
        let exchange = self.exchange(target, request).await?;
        if let Some(result) = exchange.refused {
            return Err(SessionError::NotTaken { result });
        }
        let bare = |Told { ecu, payload, .. }| Answer { ecu, payload };
        Ok(exchange.answers.into_iter().map(bare).collect())
    }

    /// The same, with all that is known of the answers.
    ///
    /// # Errors
    /// [`SessionError`]; nobody answering is no error, nor is an ECU that does not take the question.
    pub async fn exchange(&mut self, target: Target, request: &[u8]) -> Result<Exchange, SessionError> {
        let now = self.wall.now();
        self.tester.request(now, target, request)?;
        self.exchange = Exchange::default();
        self.ended = None;
        self.waits = [0; EcuNumber::COUNT];
        loop {
            let now = self.wall.now();
            self.tester.handle_timeout(now);
            self.send_frames(now)?;
            self.settle(None);
            if let Some(outcome) = self.ended.take() {
                let controller = self.controller;
                return match outcome {
                    Outcome::NotSent if self.exchange.refused.is_none() => {
                        Err(SessionError::NotSent { controller })
                    }
                    _ => Ok(self.finished()),
                };
            }
            let deadline = self.tester.poll_timeout().unwrap_or(now);
            let retry = self.blocked.map_or(BusInstant::MAX, |_| now + RETRY);
            let wake = self.wall.instant(deadline.min(retry));
            self.hear_once(wake).await?;
        }
    }

    fn finished(&mut self) -> Exchange {
        let mut exchange = std::mem::take(&mut self.exchange);
        let waits = EcuNumber::all().zip(self.waits);
        let unanswered = |&(ecu, waits): &(EcuNumber, u32)| {
            waits > 0 && !exchange.answers.iter().any(|told| told.ecu == ecu)
        };
        exchange.pending = waits.filter(unanswered).collect();
        exchange
    }

    /// Hears until then, without a question: see [`Self::take_strays`].
    ///
    /// # Errors
    /// [`SessionError`] if the bus is gone, or if somebody is heard who does not belong on a bench.
    pub async fn hear_until(&mut self, end: Instant) -> Result<(), SessionError> {
        while Instant::now() < end {
            self.hear_once(end).await?;
        }
        Ok(())
    }

    /// The ECU that answers by this identifier.
    #[must_use]
    pub fn ecu_of(&self, response: CanId) -> Option<EcuNumber> {
        self.tester.config().ecu_of(response)
    }

    /// Frames that ECUs sent and that belong to no exchange: of ECUs that were not asked, or had answered. A few are kept.
    pub fn take_strays(&mut self) -> Vec<Frame> {
        std::mem::take(&mut self.strays)
    }

    /// Frames of ECUs with fewer than eight bytes, which were ignored (`Dlc::Strict`).
    #[must_use]
    pub const fn short_frames(&self) -> u64 {
        self.short_frames
    }

    /// Takes what comes, or returns at that time.
    async fn hear_once(&mut self, end: Instant) -> Result<(), SessionError> {
        tokio::select! {
            biased;
            event = self.bus.recv() => {
                self.take(event?)?;
                // What has come in time counts before what has not.
                while let Some(event) = self.bus.take_read() {
                    self.take(event)?;
                }
            }
            () = sleep_until(end.into()) => {}
        }
        Ok(())
    }

    fn take(&mut self, event: BusEvent) -> Result<(), BenchError> {
        match event {
            BusEvent::Frame(received) if received.frame.kind() == FrameKind::Error => {
                self.controller = ErrorFrame::decode(&received.frame);
            }
            BusEvent::Frame(received) => {
                self.check(&received)?;
                let at = self.arrival();
                self.tester.handle_frame(at, &received.frame);
                self.settle(Some(&received.frame));
                // An ECU that the tester cannot address.
                let is_known = self.tester.config().ecu_of(received.frame.id()).is_some();
                if self.tester.config().ecus[0].response.is_extended()
                    && !is_known
                    && EXTENDED_ANSWERS.passes(&received.frame)
                    && self.strays.len() < STRAYS
                {
                    self.strays.push(received.frame);
                }
            }
            BusEvent::Passed(_) => {
                let at = self.arrival();
                self.tester.handle_transmitted(at);
            }
            BusEvent::Down => self.blocked = None,
            // Only who hosts a bus turns anybody away.
            BusEvent::TurnedAway(_) => {}
        }
        Ok(())
    }

    fn check(&self, received: &Received) -> Result<(), BenchError> {
        match &self.guard {
            Some(expected) => bench::check_for_tester(received, expected),
            None => Ok(()),
        }
    }

    /// Takes what the tester tells; `frame` is the one that has just come in.
    fn settle(&mut self, frame: Option<&Frame>) {
        while let Some(event) = self.tester.poll_event() {
            match event {
                Event::Answer { ecu, after } => {
                    self.times.answers += 1;
                    let (least, greatest) = self.times.first_frame.unwrap_or((after, after));
                    self.times.first_frame = Some((least.min(after), greatest.max(after)));
                    self.exchange.answers.push(Told {
                        ecu,
                        payload: self.tester.answer(ecu).to_vec(),
                        after,
                        waits: self.waits[usize::from(ecu.number())],
                        at: self.wall.instant(self.wall.latest()),
                    });
                }
                Event::Pending { ecu } => self.waits[usize::from(ecu.number())] += 1,
                Event::Failed {
                    ecu: Some(ecu),
                    result,
                } => self.exchange.broken.push((ecu, result)),
                // That the bus does not take it is another matter.
                Event::Failed { ecu: None, result } if result != NResult::TimeoutA => {
                    self.exchange.refused = Some(result);
                }
                Event::Ignored {
                    reason: Ignored::Unasked | Ignored::OtherService { .. } | Ignored::OtherParameter { .. },
                    ..
                } => self.strays.extend(frame.filter(|_| self.strays.len() < STRAYS)),
                Event::Ignored {
                    reason: Ignored::Transport(TransportIgnored::DlcNotEight { .. }),
                    ..
                } => self.short_frames += 1,
                Event::Finished { outcome, .. } => self.ended = Some(outcome),
                _ => {}
            }
        }
    }

    fn send_frames(&mut self, now: BusInstant) -> Result<(), BusError> {
        if !self.tester.has_frame_in_flight() {
            self.blocked = None;
        }
        while let Some(frame) = self.blocked.take().or_else(|| self.tester.poll_frame(now)) {
            match self.bus.try_send(&frame)? {
                Sent::Handed => self.tester.handle_transmitted(now),
                // Its passing is told, or the tester's own N_As ends the wait.
                Sent::Queued | Sent::Down => {}
                Sent::Later => {
                    self.blocked = Some(frame);
                    break;
                }
            }
        }
        Ok(())
    }
}

/// What a tester with these settings wants to hear.
fn filters(config: &TesterConfig) -> Vec<Filter> {
    let own = config.ecus.into_iter();
    let mut filters: Vec<Filter> = own
        .flat_map(|address| [address.response, address.request, address.functional])
        .map(Filter::exact)
        .collect();
    if config.ecus[0].response.is_extended() {
        filters.push(EXTENDED_ANSWERS);
    }
    filters
}

#[cfg(test)]
mod tests;
