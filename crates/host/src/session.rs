//! A tester at work on a bus, in wall time: one question, all its answers.

use std::time::Instant;

use tokio::time::sleep_until;
use twotrip_can::Frame;
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
    #[error(
        "the bus does not take the request: is anybody else on it?; a frame needs a second node to be acknowledged"
    )]
    NotSent,
}

/// A tester on a bus.
#[derive(Debug)]
pub struct Session {
    bus: Bus,
    tester: Tester,
    begun: Instant,
    /// A frame that the bus had no room for.
    blocked: Option<Frame>,
}

impl Session {
    /// A tester with these settings that hears the ECUs of a car on `bus`, and nothing else.
    ///
    /// # Errors
    /// [`BusError`] if the kernel refuses the filters.
    pub fn new(mut bus: Bus, config: TesterConfig) -> Result<Self, BusError> {
        let filters: Vec<Filter> = EcuNumber::all()
            .map(|ecu| Filter::exact(ecu.address().response))
            .collect();
        bus.set_filters(&filters)?;
        Ok(Self {
            bus,
            tester: Tester::new(config),
            begun: Instant::now(),
            blocked: None,
        })
    }

    fn now(&self) -> BusInstant {
        BusInstant::ZERO + self.begun.elapsed()
    }

    /// Asks, and waits until everybody asked has answered or had the time to.
    ///
    /// # Errors
    /// [`SessionError`]; nobody answering is no error.
    pub async fn ask(&mut self, target: Target, request: &[u8]) -> Result<Vec<Answer>, SessionError> {
        self.tester.request(self.now(), target, request)?;
        let mut answers = Vec::new();
        loop {
            let now = self.now();
            self.tester.handle_timeout(now);
            self.send_frames(now)?;
            if let Some(outcome) = self.take_events(&mut answers) {
                return if outcome == Outcome::NotSent {
                    Err(SessionError::NotSent)
                } else {
                    Ok(answers)
                };
            }
            let deadline = self
                .tester
                .poll_timeout()
                .map(|at| at.saturating_since(BusInstant::ZERO));
            let wake = tokio::time::Instant::from_std(self.begun) + deadline.unwrap_or_default();
            tokio::select! {
                biased;
                event = self.bus.recv() => match event? {
                    BusEvent::Frame(received) => {
                        let now = self.now();
                        self.tester.handle_frame(now, &received.frame);
                    }
                    BusEvent::Down => self.blocked = None,
                },
                () = sleep_until(wake) => {}
            }
        }
    }

    /// Collects answers; says how the exchange ended once it has.
    fn take_events(&mut self, answers: &mut Vec<Answer>) -> Option<Outcome> {
        let mut ended = None;
        while let Some(event) = self.tester.poll_event() {
            match event {
                Event::Answer { ecu, .. } => answers.push(Answer {
                    ecu,
                    payload: self.tester.answer(ecu).to_vec(),
                }),
                Event::Finished { outcome, .. } => ended = Some(outcome),
                _ => {}
            }
        }
        ended
    }

    fn send_frames(&mut self, now: BusInstant) -> Result<(), BusError> {
        while let Some(frame) = self.blocked.take().or_else(|| self.tester.poll_frame(now)) {
            match self.bus.try_send(&frame)? {
                Sent::Handed => self.tester.handle_transmitted(now),
                // The tester's own N_As ends the wait.
                Sent::Down => {}
                Sent::Later => {
                    self.blocked = Some(frame);
                    break;
                }
            }
        }
        Ok(())
    }
}
