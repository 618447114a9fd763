//! A car and a tester in one process, on an in-memory bus that takes its bit times: the walkthrough, and tests.
//!
//! Nothing here waits: time jumps from one deadline to the next.

use std::time::Duration;

use twotrip_can::{
    CanId, Frame,
    memory_bus::{Direction, Fate, MemoryBus, NodeConfig, NodeId, Pacing},
    timing::BusLoad,
};
use twotrip_scenario::{Cue, Phrase};
use twotrip_sim::{EcuOnBus, Event, Simulator};
use twotrip_tester::{EcuNumber, Event as TesterEvent, RequestError, Target, Tester, TesterConfig};
use twotrip_units::BusInstant;

use crate::{
    journal::Journaled,
    recording::{Counts, RecordingError, Writer},
    session::Answer,
    story::SLICE,
    verdicts::{Judged, Verdicts},
};

/// Time between two questions of a person at a tester.
const PAUSE: Duration = Duration::from_millis(500);

/// A frame as it passed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seen {
    /// When its last bit had passed.
    pub at: BusInstant,
    /// Whether the car sent it.
    pub from_car: bool,
    /// The frame.
    pub frame: Frame,
}

/// A question with everything that came of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Exchange {
    /// All frames, request and flow control included.
    pub frames: Vec<Seen>,
    /// The answers, in the order in which they were complete.
    pub answers: Vec<Answer>,
    /// What happened inside the car meanwhile.
    pub events: Vec<Event>,
}

impl Exchange {
    /// The payload of the first answer.
    #[must_use]
    pub fn first_answer(&self) -> Option<&[u8]> {
        self.answers.first().map(|answer| &answer.payload[..])
    }

    /// The payload of an ECU's first answer.
    #[must_use]
    pub fn answer_of(&self, ecu: EcuNumber) -> Option<&[u8]> {
        let mut answers = self.answers.iter();
        answers
            .find(|answer| answer.ecu == ecu)
            .map(|answer| &answer.payload[..])
    }
}

/// Car, tester, and the bus between them.
#[derive(Debug)]
pub struct Rig {
    simulator: Journaled,
    tester: Tester,
    bus: MemoryBus,
    car_node: NodeId,
    tester_node: NodeId,
    now: BusInstant,
    /// Time in which an exchange was under way.
    busy: Duration,
    recording: Option<Writer>,
    verdicts: Verdicts,
}

impl Rig {
    /// Puts a car and a tester on a bus on which frames take their bit times, or none.
    #[must_use]
    pub fn new(simulator: Simulator, pacing: Pacing) -> Self {
        let mut bus = MemoryBus::new(pacing);
        let config = NodeConfig {
            receives_own: true,
            ..NodeConfig::default()
        };
        let (car_node, tester_node) = (bus.attach(config), bus.attach(config));
        let tester = Tester::new(tester_for(&simulator));
        Self {
            simulator: Journaled::new(simulator),
            tester,
            bus,
            car_node,
            tester_node,
            now: BusInstant::ZERO,
            busy: Duration::ZERO,
            recording: None,
            verdicts: Verdicts::default(),
        }
    }

    /// Records from now on: the car has just gone live.
    pub fn record(&mut self, recording: Writer) {
        self.simulator.keep(self.now, "live");
        self.recording = Some(recording);
    }

    /// Ends the recording.
    ///
    /// # Errors
    /// [`RecordingError`] if its end could not be written.
    pub fn finish(&mut self) -> Result<Option<Counts>, RecordingError> {
        let Some(mut recording) = self.recording.take() else {
            return Ok(None);
        };
        recording.note(self.simulator.take_last_notes());
        recording.finish().map(Some)
    }

    /// The car.
    #[must_use]
    pub fn simulator(&self) -> &Simulator {
        &self.simulator
    }

    /// What the tester did about disturbances so far.
    pub fn judged(&mut self) -> Vec<Judged> {
        self.verdicts.findings(&mut self.simulator, self.now)
    }

    /// The number that an ECU of the car has for the tester; that of the first if the tester knows no such answers.
    #[must_use]
    pub fn number(&self, response: CanId) -> EcuNumber {
        self.tester.config().ecu_of(response).unwrap_or(EcuNumber::ENGINE)
    }

    /// The ECU of the car that has this number for the tester.
    #[must_use]
    pub fn ecu(&self, number: EcuNumber) -> Option<EcuOnBus> {
        let response = self.tester.config().address(number).response;
        self.simulator.ecus().find(|ecu| ecu.address.response == response)
    }

    /// How busy the bus has been, and the time in which exchanges were under way: from a request until it was known
    /// that nobody answers any more.
    #[must_use]
    pub const fn load(&self) -> (Option<&BusLoad>, Duration) {
        (self.bus.load(), self.busy)
    }

    /// The story is over: cues wait for their events from now on.
    pub fn go_live(&mut self, cues: &[Cue]) {
        self.simulator.go_live(self.now, cues, []);
    }

    /// Lets the car live through a phrase of its story; what happened, in order.
    pub fn live_through(&mut self, phrase: Phrase) -> Vec<Event> {
        let mut events = Vec::new();
        self.simulator
            .carry_out(phrase, |event| events.push(event.clone()));
        events
    }

    /// Gives the car a phrase and lets it be carried out; what happened, in order.
    pub fn tell(&mut self, phrase: Phrase) -> Vec<Event> {
        self.simulator.tell_phrase(self.now, phrase);
        let mut events = Vec::new();
        while self.simulator.is_busy() {
            self.simulator.work(self.now, SLICE);
            events.extend(std::iter::from_fn(|| self.simulator.poll_event()));
        }
        events
    }

    /// Asks all ECUs, half a second after whatever was before, and waits until the exchange is over.
    ///
    /// # Errors
    /// [`RequestError`] if the tester refuses the request: too long, or empty.
    pub fn ask(&mut self, request: &[u8]) -> Result<Exchange, RequestError> {
        let mut exchange = Exchange::default();
        // What was under way takes its course meanwhile.
        let begins = self.now + PAUSE;
        while let Some(next) = self.next().filter(|next| *next <= begins) {
            self.stand(next);
            self.turn(&mut exchange);
        }
        self.stand(begins);
        self.tester.request(self.now, Target::Functional, request)?;
        let begun = self.now;
        while !self.turn(&mut exchange)
            && let Some(next) = self.next()
        {
            self.stand(next);
        }
        self.busy += self.now.saturating_since(begun);
        exchange
            .events
            .extend(std::iter::from_fn(|| self.simulator.poll_event()));
        Ok(exchange)
    }

    /// When something is to be done next.
    fn next(&self) -> Option<BusInstant> {
        let deadlines = [
            self.bus.poll_timeout(),
            self.tester.poll_timeout(),
            self.simulator.poll_timeout(),
        ];
        deadlines.into_iter().flatten().min()
    }

    /// Time passes, for the car too.
    fn stand(&mut self, until: BusInstant) {
        let span = until.saturating_since(self.now);
        self.now += span;
        self.simulator.stand(self.now, span);
    }

    /// Everything that happens at this instant; says whether the exchange is over.
    fn turn(&mut self, exchange: &mut Exchange) -> bool {
        let now = self.now;
        self.simulator.handle_timeout(now);
        self.tester.handle_timeout(now);
        loop {
            self.send();
            let Some(passed) = self.bus.advance(now) else {
                break;
            };
            if let Some(recording) = &mut self.recording
                && passed.fate == Fate::Whole
            {
                recording.note(self.simulator.take_notes());
                recording.frame(passed.at, passed.from == self.car_node, &passed.frame);
            }
            if passed.fate == Fate::Whole {
                self.verdicts.feed(&mut self.simulator, passed.at, &passed.frame);
                exchange.frames.push(Seen {
                    at: passed.at,
                    from_car: passed.from == self.car_node,
                    frame: passed.frame,
                });
            }
            self.receive();
            self.take_answers(exchange);
        }
        self.receive();
        self.take_answers(exchange)
    }

    /// Hands to the bus what car and tester have to send, as far as it takes it.
    fn send(&mut self) {
        while self.bus.has_room(self.car_node)
            && let Some(frame) = self.simulator.poll_frame(self.now)
        {
            let sent = self.bus.send(self.now, self.car_node, frame);
            debug_assert!(sent.is_ok(), "there was room");
        }
        while self.bus.has_room(self.tester_node)
            && let Some(frame) = self.tester.poll_frame(self.now)
        {
            let sent = self.bus.send(self.now, self.tester_node, frame);
            debug_assert!(sent.is_ok(), "there was room");
        }
    }

    /// Gives car and tester what has reached them.
    fn receive(&mut self) {
        while let Some(received) = self.bus.receive(self.car_node) {
            match received.direction {
                Direction::Own => self.simulator.handle_transmitted(received.at),
                Direction::Other => self.simulator.handle_frame(received.at, &received.frame),
            }
        }
        while let Some(received) = self.bus.receive(self.tester_node) {
            match received.direction {
                Direction::Own => self.tester.handle_transmitted(received.at),
                Direction::Other => self.tester.handle_frame(received.at, &received.frame),
            }
        }
    }

    /// Collects answers; says whether the exchange is over.
    fn take_answers(&mut self, exchange: &mut Exchange) -> bool {
        while let Some(event) = self.tester.poll_event() {
            if let TesterEvent::Answer { ecu, .. } = event {
                exchange.answers.push(Answer {
                    ecu,
                    payload: self.tester.answer(ecu).to_vec(),
                });
            }
        }
        !self.tester.is_busy()
    }
}

/// A tester that knows the identifiers of this car.
fn tester_for(car: &Simulator) -> TesterConfig {
    let addresses: Vec<u8> = car
        .ecus()
        .filter(|ecu| ecu.address.response.is_extended())
        .map(|ecu| ecu.address.response.raw().to_le_bytes()[0])
        .collect();
    let usual = TesterConfig::default();
    if addresses.is_empty() {
        usual
    } else {
        usual.extended(&addresses)
    }
}

#[cfg(test)]
mod tests {
    use twotrip_can::timing::BitRate;
    use twotrip_scenario::parse_phrase;
    use twotrip_sim::{Settings, Timing};

    use super::*;

    /// 124, 119, 126, 118 and 119 bits, intermissions included: computed by the rules of ISO 11898-1 (CRC-15, stuffing from
    /// start of frame to CRC) by another model, for the VIN 0TW00TRP3A0000042 and padding 00.
    #[test]
    fn reading_the_vin_takes_its_606_bits() {
        for (rate, micros) in [(BitRate::Kbit500, 1212), (BitRate::Kbit250, 2424)] {
            let simulator = Simulator::new(Settings::compact(1, Timing::REAL_ON_PACED_BUS));
            let mut rig = Rig::new(simulator, Pacing::Rate(rate));
            rig.tell(parse_phrase("key on").expect("a phrase"));
            let exchange = rig.ask(&[0x09, 0x02]).expect("a request");
            let answer = exchange.first_answer().expect("the car answers");
            assert_eq!(answer[3..], *b"0TW00TRP3A0000042");
            let (load, busy) = rig.load();
            let load = load.expect("paced");
            assert_eq!((load.frames(), load.bits()), (5, 606));
            assert_eq!(load.wire_time(), Duration::from_micros(micros));
            // Both consecutive frames follow each other at once (STmin 0): one intermission between them.
            let [.., first, second] = &exchange.frames[..] else {
                panic!("five frames")
            };
            assert_eq!(second.at.saturating_since(first.at), rate.span(119));
            assert!(busy > load.wire_time());
        }
    }
}
