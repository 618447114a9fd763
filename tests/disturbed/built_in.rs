//! Tools for ECUs that misbehave: the built-in one as `twotrip scan` uses it, and some that do one thing wrong.

use std::{collections::VecDeque, time::Duration};

use twotrip_can::{CanId, Frame, address::EcuAddress};
use twotrip_tester::{EcuNumber, Event, Ignored, Survey, Target, Tester, TesterConfig, Topic};
use twotrip_units::BusInstant;

use crate::world::{Asks, Tool};

/// Tester and survey together; after the survey some requests as they are.
pub struct Scan {
    tester: Tester,
    pub survey: Survey,
    more: VecDeque<(Target, &'static [u8])>,
    /// A question of the survey is on its way.
    is_of_the_survey: bool,
    put_off: Option<EcuNumber>,
    waiting: Option<(BusInstant, Target, Vec<u8>)>,
}

impl Scan {
    /// One that knows these ECUs.
    pub fn new(config: TesterConfig, topics: &[Topic], more: &[(Target, &'static [u8])]) -> Self {
        Self {
            tester: Tester::new(TesterConfig {
                longest_exchange: Duration::from_secs(25),
                ..config
            }),
            survey: Survey::new(topics),
            more: more.iter().copied().collect(),
            is_of_the_survey: false,
            put_off: None,
            waiting: None,
        }
    }

    /// Whether nothing is left to do.
    pub fn is_over(&self) -> bool {
        !self.tester.is_busy() && self.waiting.is_none()
    }
}

impl Asks for Scan {
    fn tester(&mut self) -> &mut Tester {
        &mut self.tester
    }

    fn settle(&mut self, now: BusInstant) {
        while let Some(event) = self.tester.poll_event() {
            match event {
                Event::Answer { ecu, .. } if self.is_of_the_survey => {
                    self.put_off = None;
                    let answer = self.tester.answer(ecu).to_vec();
                    self.survey.on_answer(ecu, &answer);
                }
                Event::Pending { ecu } => self.put_off = Some(ecu),
                Event::Finished { .. } if self.is_of_the_survey => {
                    if let Some(ecu) = self.put_off.take() {
                        self.survey.on_put_off(ecu);
                    }
                    self.survey.on_finished();
                }
                Event::Ignored {
                    ecu,
                    reason: Ignored::Unasked | Ignored::OtherService { .. },
                } => self.survey.hear_of(ecu),
                _ => {}
            }
        }
        if self.tester.is_busy() {
            return;
        }
        if self.waiting.is_none() {
            self.is_of_the_survey = false;
            if let Some(question) = self.survey.next_question() {
                self.is_of_the_survey = true;
                self.waiting = Some((
                    now + question.pause(),
                    question.target,
                    question.request().to_vec(),
                ));
            } else if let Some((target, request)) = self.more.pop_front() {
                self.waiting = Some((now, target, request.to_vec()));
            }
        }
        if let Some((_, target, request)) = self.waiting.take_if(|(due, ..)| *due <= now) {
            self.tester.request(now, target, &request).expect("idle");
        }
    }

    fn waits_for(&self) -> Option<BusInstant> {
        if self.tester.is_busy() {
            return self.tester.poll_timeout();
        }
        self.waiting.as_ref().map(|(due, ..)| *due)
    }
}

/// Sends frames at their milliseconds whatever it hears; it steers long answers.
pub struct Script {
    address: EcuAddress,
    left: VecDeque<(u64, Frame)>,
    begins: Option<BusInstant>,
    steer: bool,
}

impl Script {
    /// One that steers the answers of this ECU.
    pub fn new(address: EcuAddress, frames: impl IntoIterator<Item = (u64, CanId, Vec<u8>)>) -> Self {
        let frame = |(millis, id, data): (u64, CanId, Vec<u8>)| (millis, Frame::padded(id, &data, 0));
        Self {
            address,
            left: frames.into_iter().map(frame).collect(),
            begins: None,
            steer: false,
        }
    }

    /// The same request over and over.
    pub fn hammer(address: EcuAddress, id: CanId, request: &[u8]) -> Self {
        let length = u8::try_from(request.len()).expect("short");
        let data = [&[length], request].concat();
        Self::new(address, (0..10).map(|turn| (turn * 80, id, data.clone())))
    }

    fn due(&self) -> Option<BusInstant> {
        let (millis, _) = self.left.front()?;
        Some(self.begins? + Duration::from_millis(*millis))
    }
}

impl Tool for Script {
    fn handle_frame(&mut self, _: BusInstant, frame: &Frame) {
        self.steer |= frame.id() == self.address.response && frame.data()[0] >> 4 == 1;
    }

    fn handle_timeout(&mut self, now: BusInstant) {
        self.begins.get_or_insert(now);
    }

    fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        if std::mem::take(&mut self.steer) {
            return Some(Frame::padded(self.address.request, &[0x30, 0, 0], 0));
        }
        if self.due()? > now {
            return None;
        }
        self.left.pop_front().map(|(_, frame)| frame)
    }

    fn handle_transmitted(&mut self, _: BusInstant) {}

    fn poll_timeout(&self) -> Option<BusInstant> {
        self.due()
    }
}
