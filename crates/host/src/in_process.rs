//! A car and a tester in one process, on an in-memory bus that takes its bit times: the walkthrough, and tests.
//!
//! Nothing here waits: time jumps from one deadline to the next.

use std::time::Duration;

pub use twotrip::Wired;
use twotrip::{
    Answer,
    world::{OnBus, Onlooker, World, tester_for},
};
use twotrip_can::{
    CanId, Frame,
    memory_bus::{Fate, Pacing, Passed},
    timing::BusLoad,
};
use twotrip_scenario::{Cue, Phrase};
use twotrip_sim::{EcuOnBus, Event, Simulator, story::SLICE};
use twotrip_tester::{EcuNumber, RequestError, Target};
use twotrip_units::BusInstant;

use crate::{
    journal::Journaled,
    recording::{Counts, RecordingError, Writer},
    verdicts::{Judged, Verdicts, judged},
};

/// Time between two questions of a person at a tester.
const PAUSE: Duration = Duration::from_millis(500);

/// A question with everything that came of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Exchange {
    /// All frames, request and flow control included.
    pub frames: Vec<Wired>,
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
    world: World<Journaled>,
    /// Time in which an exchange was under way.
    busy: Duration,
    recording: Option<Writer>,
    verdicts: Verdicts,
}

impl Rig {
    /// Puts a car and a tester on a bus on which frames take their bit times, or none.
    #[must_use]
    pub fn new(simulator: Simulator, pacing: Pacing) -> Self {
        let tester = tester_for(&simulator);
        Self {
            world: World::new(Journaled::new(simulator), pacing, tester),
            busy: Duration::ZERO,
            recording: None,
            verdicts: Verdicts::default(),
        }
    }

    /// Records from now on: the car has just gone live.
    pub fn record(&mut self, recording: Writer) {
        let now = self.world.now();
        self.world.car.keep(now, "live");
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
        recording.note(self.world.car.take_last_notes());
        recording.finish().map(Some)
    }

    /// The car.
    #[must_use]
    pub fn simulator(&self) -> &Simulator {
        &self.world.car
    }

    /// What the tester did about disturbances so far.
    pub fn judged(&mut self) -> Vec<Judged> {
        let now = self.world.now();
        judged(&mut self.verdicts, &mut self.world.car, now)
    }

    /// The number that an ECU of the car has for the tester; that of the first if the tester knows no such answers.
    #[must_use]
    pub fn number(&self, response: CanId) -> EcuNumber {
        self.world.tester().ecu_of(response).unwrap_or(EcuNumber::ENGINE)
    }

    /// The ECU of the car that has this number for the tester.
    #[must_use]
    pub fn ecu(&self, number: EcuNumber) -> Option<EcuOnBus> {
        let response = self.world.tester().address(number).response;
        self.simulator()
            .ecus()
            .find(|ecu| ecu.address.response == response)
    }

    /// How busy the bus has been, and the time in which exchanges were under way: from a request until it was known
    /// that nobody answers any more.
    #[must_use]
    pub const fn load(&self) -> (Option<&BusLoad>, Duration) {
        (self.world.load(), self.busy)
    }

    /// The story is over: cues wait for their events from now on.
    pub fn go_live(&mut self, cues: &[Cue]) {
        let now = self.world.now();
        self.world.car.go_live(now, cues, []);
    }

    /// Lets the car live through a phrase of its story; what happened, in order.
    pub fn live_through(&mut self, phrase: Phrase) -> Vec<Event> {
        let mut events = Vec::new();
        self.world
            .car
            .carry_out(phrase, |event| events.push(event.clone()));
        events
    }

    /// Gives the car a phrase and lets it be carried out; what happened, in order.
    pub fn tell(&mut self, phrase: Phrase) -> Vec<Event> {
        let now = self.world.now();
        let car = &mut self.world.car;
        car.tell_phrase(now, phrase);
        let mut events = Vec::new();
        while car.is_busy() {
            car.work(now, SLICE);
            events.extend(std::iter::from_fn(|| car.poll_event()));
        }
        events
    }

    /// Asks all ECUs, half a second after whatever was before, and waits until the exchange is over.
    ///
    /// # Errors
    /// [`RequestError`] if the tester refuses the request: too long, or empty.
    pub fn ask(&mut self, request: &[u8]) -> Result<Exchange, RequestError> {
        self.ask_after(PAUSE, Target::Functional, request)
    }

    /// Asks whom it may concern, so long after whatever was before.
    ///
    /// # Errors
    /// As [`Self::ask`].
    pub fn ask_after(
        &mut self,
        pause: Duration,
        target: Target,
        request: &[u8],
    ) -> Result<Exchange, RequestError> {
        let mut onlooker = Reporter {
            seen: twotrip::Exchange::default(),
            recording: self.recording.as_mut(),
            verdicts: &mut self.verdicts,
        };
        // What was under way takes its course meanwhile.
        self.world.advance(self.world.now() + pause, &mut onlooker);
        let begun = self.world.now();
        self.world.ask(target, request, &mut onlooker)?;
        let twotrip::Exchange { answers, frames } = onlooker.seen;
        self.busy += self.world.now().saturating_since(begun);
        let car = &mut self.world.car;
        Ok(Exchange {
            frames,
            answers,
            events: std::iter::from_fn(|| car.poll_event()).collect(),
        })
    }
}

impl OnBus for Journaled {
    fn handle_frame(&mut self, now: BusInstant, frame: &Frame) {
        self.handle_frame(now, frame);
    }
    fn handle_transmitted(&mut self, now: BusInstant) {
        self.handle_transmitted(now);
    }
    fn handle_timeout(&mut self, now: BusInstant) {
        self.handle_timeout(now);
    }
    fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        self.poll_frame(now)
    }
    fn poll_timeout(&self) -> Option<BusInstant> {
        Simulator::poll_timeout(self)
    }
    fn stand(&mut self, now: BusInstant, span: Duration) {
        self.stand(now, span);
    }
}

/// Puts down what happens, for the exchange and for the recording.
struct Reporter<'a> {
    seen: twotrip::Exchange,
    recording: Option<&'a mut Writer>,
    verdicts: &'a mut Verdicts,
}

impl Onlooker<Journaled> for Reporter<'_> {
    fn passed(&mut self, car: &mut Journaled, passed: &Passed, from_car: bool) {
        if passed.fate == Fate::Whole {
            if let Some(recording) = &mut self.recording {
                recording.note(car.take_notes());
                recording.frame(passed.at, from_car, &passed.frame);
            }
            self.verdicts.feed(car, passed.at, &passed.frame);
        }
        self.seen.passed(car, passed, from_car);
    }

    fn answered(&mut self, ecu: EcuNumber, payload: &[u8]) {
        Onlooker::<Journaled>::answered(&mut self.seen, ecu, payload);
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
