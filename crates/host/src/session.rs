//! A tester at work on a bus, in wall time: one question, all its answers.
//!
//! Its clock is the kernel's where there is one: a frame counts from when it came in, not from when this program got round to
//! reading it, and a request from when it had passed on the wire. A busy computer then makes no ECU late.

use std::time::{Duration, Instant, SystemTime};

use tokio::time::sleep_until;
use twotrip_can::{Frame, FrameKind, error_frame::ErrorFrame};
use twotrip_tester::{EcuNumber, Event, Outcome, RequestError, Target, Tester, TesterConfig};
use twotrip_units::BusInstant;

use crate::bus::{Bus, BusError, BusEvent, Filter, Sent};

/// What one ECU answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// Who.
    pub ecu: EcuNumber,
    /// The message without transport bytes.
    pub payload: Vec<u8>,
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
/// The oldest that a frame can be: more means that the real-time clock was set.
const MOST_AGE: Duration = Duration::from_secs(1);

/// A tester on a bus.
#[derive(Debug)]
pub struct Session {
    bus: Bus,
    tester: Tester,
    begun: Instant,
    /// The tester's time so far: it never goes back.
    latest: BusInstant,
    /// A frame that the bus had no room for.
    blocked: Option<Frame>,
    times: Times,
    /// What the controller has reported last.
    controller: Option<ErrorFrame>,
}

impl Session {
    /// A tester with these settings that hears the ECUs of a car on `bus`, and its own frames as they pass.
    ///
    /// # Errors
    /// [`BusError`] if the kernel refuses the filters.
    pub fn new(mut bus: Bus, config: TesterConfig) -> Result<Self, BusError> {
        let filters: Vec<Filter> = EcuNumber::all()
            .map(|ecu| ecu.address())
            .flat_map(|address| [address.response, address.request, address.functional])
            .map(Filter::exact)
            .collect();
        bus.set_filters(&filters)?;
        bus.want_detail()?;
        bus.want_confirmation()?;
        Ok(Self {
            bus,
            tester: Tester::new(config),
            begun: Instant::now(),
            latest: BusInstant::ZERO,
            blocked: None,
            times: Times::default(),
            controller: None,
        })
    }

    /// How long answers have taken so far.
    #[must_use]
    pub const fn times(&self) -> Times {
        self.times
    }

    fn now(&mut self) -> BusInstant {
        self.latest = self.latest.max(BusInstant::ZERO + self.begun.elapsed());
        self.latest
    }

    /// When the frame last received came in.
    fn arrival(&mut self) -> BusInstant {
        let now = BusInstant::ZERO + self.begun.elapsed();
        let detail = self.bus.detail().unwrap_or_default();
        self.times.dropped = self.times.dropped.max(detail.dropped);
        // The two clocks are read one after the other here; a step of the real-time clock in between would be odd luck.
        let age = detail
            .at
            .and_then(|at| SystemTime::now().duration_since(at).ok())
            .unwrap_or_default();
        self.latest = self.latest.max(now - age.min(MOST_AGE));
        self.latest
    }

    /// Asks, and waits until everybody asked has answered or had the time to.
    ///
    /// # Errors
    /// [`SessionError`]; nobody answering is no error.
    pub async fn ask(&mut self, target: Target, request: &[u8]) -> Result<Vec<Answer>, SessionError> {
        let now = self.now();
        self.tester.request(now, target, request)?;
        let mut answers = Vec::new();
        loop {
            let now = self.now();
            self.tester.handle_timeout(now);
            self.send_frames(now)?;
            if let Some(outcome) = self.take_events(&mut answers) {
                let controller = self.controller;
                return match outcome {
                    Outcome::NotSent => Err(SessionError::NotSent { controller }),
                    _ => Ok(answers),
                };
            }
            let deadline = self.tester.poll_timeout().unwrap_or(now);
            let retry = self.blocked.map_or(BusInstant::MAX, |_| now + RETRY);
            let wake = deadline.min(retry).saturating_since(BusInstant::ZERO);
            let wake = tokio::time::Instant::from_std(self.begun) + wake;
            tokio::select! {
                biased;
                event = self.bus.recv() => {
                    self.take(event?);
                    // What has come in time counts before what has not.
                    while let Some(event) = self.bus.take_read() {
                        self.take(event);
                    }
                }
                () = sleep_until(wake) => {}
            }
        }
    }

    fn take(&mut self, event: BusEvent) {
        match event {
            BusEvent::Frame(received) if received.frame.kind() == FrameKind::Error => {
                self.controller = ErrorFrame::decode(&received.frame);
            }
            BusEvent::Frame(received) => {
                let at = self.arrival();
                self.tester.handle_frame(at, &received.frame);
            }
            BusEvent::Passed(_) => {
                let at = self.arrival();
                self.tester.handle_transmitted(at);
            }
            BusEvent::Down => self.blocked = None,
            // Only who hosts a bus turns anybody away.
            BusEvent::TurnedAway(_) => {}
        }
    }

    /// Collects answers; says how the exchange ended once it has.
    fn take_events(&mut self, answers: &mut Vec<Answer>) -> Option<Outcome> {
        let mut ended = None;
        while let Some(event) = self.tester.poll_event() {
            match event {
                Event::Answer { ecu, after } => {
                    self.times.answers += 1;
                    let (least, greatest) = self.times.first_frame.unwrap_or((after, after));
                    self.times.first_frame = Some((least.min(after), greatest.max(after)));
                    answers.push(Answer {
                        ecu,
                        payload: self.tester.answer(ecu).to_vec(),
                    });
                }
                Event::Finished { outcome, .. } => ended = Some(outcome),
                _ => {}
            }
        }
        ended
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
