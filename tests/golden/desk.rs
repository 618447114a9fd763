//! A tester's desk: the whole car with a bus of raw frames on it, without a tester that behaves.

use std::{iter, time::Duration};

use twotrip_can::{CanId, Frame, address::EcuAddress};
use twotrip_ecu::{memory::FaultMemory, transmission::Transmission};
use twotrip_obd::Dtc;
use twotrip_scenario::parse_phrase;
use twotrip_sim::{Event, Outcome, Settings, Simulator, Timing};
use twotrip_units::BusInstant;

/// Functional requests, to all.
pub(crate) const FUNCTIONAL: CanId = CanId::Standard(0x7DF);
/// Physical requests and flow control to the engine ECU.
pub(crate) const PHYSICAL: CanId = CanId::Standard(0x7E0);

/// A frame from the car and when its last bit had passed.
pub(crate) type Sent = (BusInstant, Frame);

/// The car and its bus.
#[derive(Clone)]
pub(crate) struct Desk {
    pub(crate) car: Simulator,
    pub(crate) now: BusInstant,
}

impl Desk {
    pub(crate) fn new(seed: u64, timing: Timing) -> Self {
        Self::of(Simulator::new(Settings::compact(seed, timing)))
    }

    /// With this car on the bus.
    pub(crate) const fn of(car: Simulator) -> Self {
        Self {
            car,
            now: BusInstant::ZERO,
        }
    }

    /// Gives phrases, lets them be carried out, and hands back what came of them.
    pub(crate) fn outcomes(&mut self, phrases: &[&str]) -> Vec<Outcome> {
        for phrase in phrases {
            let parsed = parse_phrase(phrase).unwrap_or_else(|problem| panic!("{phrase}: {problem}"));
            self.car.tell(parsed);
        }
        let mut outcomes = Vec::new();
        while self.car.is_busy() {
            self.car.work(Duration::from_secs(3600));
            outcomes.extend(
                iter::from_fn(|| self.car.poll_event()).filter_map(|event| match event {
                    Event::Finished { outcome, .. } => Some(outcome),
                    _ => None,
                }),
            );
        }
        outcomes
    }

    /// Gives phrases that must succeed.
    pub(crate) fn tell(&mut self, phrases: &[&str]) {
        for (phrase, outcome) in phrases.iter().zip(self.outcomes(phrases)) {
            assert!(outcome.ok, "{phrase}: {}", outcome.text);
        }
    }

    /// A frame comes in now; nothing is polled.
    pub(crate) fn hears(&mut self, frame: &Frame) {
        self.car.handle_frame(self.now, frame);
    }

    /// What the car sends up to `until`; its frames take no time on the wire but what the car itself keeps.
    pub(crate) fn sends_until(&mut self, until: BusInstant) -> Vec<Sent> {
        let mut sent = Vec::new();
        loop {
            self.car.handle_timeout(self.now);
            while let Some(frame) = self.car.poll_frame(self.now) {
                sent.push((self.now, frame));
                self.car.handle_transmitted(self.now);
            }
            match self.car.poll_timeout().filter(|&at| at <= until) {
                Some(at) => self.now = at.max(self.now),
                None => {
                    self.now = until.max(self.now);
                    return sent;
                }
            }
        }
    }

    /// What the car sends within a span.
    pub(crate) fn sends(&mut self, span: Duration) -> Vec<Sent> {
        self.sends_until(self.now + span)
    }

    /// Asks with the bytes of one frame and lets flow control follow a first frame; the payload, if any came.
    pub(crate) fn ask_at(&mut self, id: CanId, request: &[u8]) -> Option<Vec<u8>> {
        let mut bytes = vec![u8::try_from(request.len()).expect("short")];
        bytes.extend(request);
        self.hears(&Frame::padded(id, &bytes, 0));
        let engine = self.engine();
        let of_engine = |(_, frame): &Sent| frame.id() == engine.response;
        let mut frames = self.sends(Duration::from_millis(60));
        frames.retain(of_engine);
        if frames.first().is_some_and(|(_, frame)| frame.data()[0] >> 4 == 1) {
            self.hears(&Frame::padded(engine.request, &[0x30, 0, 0], 0));
            frames.extend(self.sends(Duration::from_millis(60)));
            frames.retain(of_engine);
        }
        assemble_from(engine.response, &frames)
    }

    /// Identifiers of the engine ECU.
    fn engine(&self) -> EcuAddress {
        let engine = self.car.ecus().find(|ecu| ecu.is_engine);
        engine.expect("every car has one").address
    }

    /// Asks all ECUs; what the engine ECU answers.
    pub(crate) fn ask(&mut self, request: &[u8]) -> Option<Vec<u8>> {
        self.ask_at(self.engine().functional, request)
    }

    /// The data of a PID of service $01.
    pub(crate) fn pid(&mut self, number: u8) -> Vec<u8> {
        let answer = self
            .ask(&[0x01, number])
            .unwrap_or_else(|| panic!("PID {number:02X} is silent"));
        assert_eq!(answer[..2], [0x41, number]);
        answer[2..].to_vec()
    }

    /// Codes of services $03, $07, $0A as hex numbers.
    pub(crate) fn codes(&mut self, service: u8) -> Vec<u16> {
        let answer = self.ask(&[service]).expect("it answers");
        assert_eq!(answer[0], service + 0x40);
        assert_eq!(answer.len(), 2 + 2 * usize::from(answer[1]), "{answer:02X?}");
        answer[2..]
            .chunks(2)
            .map(|pair| u16::from_be_bytes([pair[0], pair[1]]))
            .collect()
    }

    /// The memories of engine and transmission ECU, as far as they are there.
    pub(crate) fn memories(&self) -> impl Iterator<Item = &FaultMemory> {
        let car = self.car.car();
        let transmission = car.transmission().map(Transmission::memory);
        iter::once(car.ecu().memory()).chain(transmission)
    }

    /// Pending codes in the memories, sorted.
    pub(crate) fn pending(&self) -> Vec<String> {
        sorted(self.memories().flat_map(FaultMemory::pending))
    }

    /// Confirmed codes in the memories, sorted.
    pub(crate) fn confirmed(&self) -> Vec<String> {
        sorted(self.memories().flat_map(FaultMemory::confirmed))
    }

    /// InfoType $08, 20 counters.
    pub(crate) fn in_use(&mut self) -> Vec<u16> {
        let answer = self.ask(&[0x09, 0x08]).expect("it answers");
        assert_eq!(answer[..3], [0x49, 0x08, 20]);
        assert_eq!(answer.len(), 3 + 40);
        answer[3..]
            .chunks(2)
            .map(|pair| u16::from_be_bytes([pair[0], pair[1]]))
            .collect()
    }
}

fn sorted(codes: impl Iterator<Item = Dtc>) -> Vec<String> {
    let mut names: Vec<String> = codes.map(|dtc| dtc.to_string()).collect();
    names.sort();
    names
}

/// Puts one message together; every frame must be of eight bytes from the engine ECU on 11 bits.
pub(crate) fn assemble(frames: &[Sent]) -> Option<Vec<u8>> {
    assemble_from(CanId::Standard(0x7E8), frames)
}

/// The same from an ECU that answers by this identifier.
fn assemble_from(id: CanId, frames: &[Sent]) -> Option<Vec<u8>> {
    let (_, first) = frames.first()?;
    for (_, frame) in frames {
        assert_eq!((frame.id(), frame.len()), (id, 8));
    }
    let data = first.data();
    if data[0] >> 4 == 0 {
        assert_eq!(frames.len(), 1, "more than one answer: {frames:?}");
        return Some(data[1..=usize::from(data[0])].to_vec());
    }
    assert_eq!(data[0] >> 4, 1, "{frames:?}");
    let length = usize::from(data[0] & 0x0F) << 8 | usize::from(data[1]);
    let mut payload = data[2..].to_vec();
    for (number, (_, frame)) in (1_u8..).zip(&frames[1..]) {
        assert_eq!(frame.data()[0], 0x20 | number & 0x0F, "{frames:?}");
        payload.extend(&frame.data()[1..]);
    }
    assert!((length..length + 7).contains(&payload.len()), "{frames:?}");
    payload.truncate(length);
    Some(payload)
}
