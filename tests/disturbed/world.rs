//! A car and a tool on one line under simulated time, and the judge who looks on. A frame is there as soon as it is sent.

use std::time::Duration;

use twotrip_can::{CanId, Frame, FrameKind, address::EcuAddress};
use twotrip_dialogue::verdict::{Finding, Hit, Judge};
use twotrip_scenario::parse_phrase;
use twotrip_sim::{Event, Settings, Simulator, Timing, Trace};
use twotrip_tester::{EcuNumber, Event as Told, Target, Tester, TesterConfig};
use twotrip_units::BusInstant;

/// Steps without an end mean that something waits for itself.
const STEPS: usize = 2_000_000;

/// What asks.
pub trait Tool {
    fn handle_frame(&mut self, now: BusInstant, frame: &Frame);
    fn handle_timeout(&mut self, now: BusInstant);
    fn poll_frame(&mut self, now: BusInstant) -> Option<Frame>;
    fn handle_transmitted(&mut self, now: BusInstant);
    fn poll_timeout(&self) -> Option<BusInstant>;
}

/// A tool around a tester: only what it does when something has happened is its own.
pub trait Asks {
    fn tester(&mut self) -> &mut Tester;
    /// Whether it still takes in what it hears.
    fn listens(&self, _: BusInstant) -> bool {
        true
    }
    /// Something has happened: looks at what it is, and asks what is to be asked next.
    fn settle(&mut self, now: BusInstant);
    fn waits_for(&self) -> Option<BusInstant>;
}

impl<T: Asks> Tool for T {
    fn handle_frame(&mut self, now: BusInstant, frame: &Frame) {
        if self.listens(now) {
            self.tester().handle_frame(now, frame);
            self.settle(now);
        }
    }

    fn handle_timeout(&mut self, now: BusInstant) {
        self.tester().handle_timeout(now);
        self.settle(now);
    }

    fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        self.tester().poll_frame(now)
    }

    fn handle_transmitted(&mut self, now: BusInstant) {
        self.tester().handle_transmitted(now);
        self.settle(now);
    }

    fn poll_timeout(&self) -> Option<BusInstant> {
        self.waits_for()
    }
}

/// A frame as it passed.
#[derive(Clone, Copy, Debug)]
pub struct Passed {
    pub at: BusInstant,
    pub from_car: bool,
    pub frame: Frame,
}

pub struct World {
    pub now: BusInstant,
    pub car: Simulator,
    pub judge: Judge,
    pub passed: Vec<Passed>,
}

impl World {
    /// A car with the key on and some codes, so that answers are long.
    pub fn new(seed: u64) -> Self {
        Self::with(Settings::compact(seed, Timing::REAL))
    }

    /// The same with these settings.
    pub fn with(settings: Settings) -> Self {
        let mut world = Self {
            now: BusInstant::ZERO,
            car: Simulator::new(settings),
            judge: Judge::new(),
            passed: Vec::new(),
        };
        world.tell("key on");
        world.tell("preload confirmed P0301 P0302 P0171 P0420 P0455");
        world
    }

    /// Tells the car something that takes no time on the bus.
    pub fn tell(&mut self, text: &str) -> Vec<Event> {
        self.car
            .tell(parse_phrase(text).unwrap_or_else(|problem| panic!("{text}: {problem}")));
        while self.car.is_busy() {
            self.car.work(Duration::from_secs(1));
        }
        std::iter::from_fn(|| self.car.poll_event()).collect()
    }

    /// Lets time pass.
    pub fn run(&mut self, tool: &mut dyn Tool, span: Duration) {
        let end = self.now + span;
        for _ in 0..STEPS {
            self.turn(tool);
            let next = [self.car.poll_timeout(), tool.poll_timeout()]
                .into_iter()
                .flatten()
                .min();
            match next.filter(|&next| next <= end) {
                Some(next) => {
                    let span = next.saturating_since(self.now);
                    self.car.stand(span);
                    self.now += span;
                }
                None => {
                    self.car.stand(end.saturating_since(self.now));
                    self.now = end;
                    return;
                }
            }
        }
        panic!("no end after {STEPS} steps at {}", self.now);
    }

    fn turn(&mut self, tool: &mut dyn Tool) {
        let now = self.now;
        self.car.handle_timeout(now);
        tool.handle_timeout(now);
        loop {
            if let Some(frame) = self.car.poll_frame(now) {
                self.pass(true, frame);
                self.car.handle_transmitted(now);
                tool.handle_frame(now, &frame);
            } else if let Some(frame) = tool.poll_frame(now) {
                self.pass(false, frame);
                tool.handle_transmitted(now);
                self.car.handle_frame(now, &frame);
            } else {
                return;
            }
        }
    }

    fn pass(&mut self, from_car: bool, frame: Frame) {
        self.take_traces();
        self.judge.on_frame(self.now, &frame);
        self.passed.push(Passed {
            at: self.now,
            from_car,
            frame,
        });
    }

    fn take_traces(&mut self) {
        while let Some(trace) = self.car.poll_trace() {
            match trace {
                Trace::Begins { number, what } => self.judge.begin(number, what.kind.name()),
                Trace::Hit { number, at, id } => self.judge.hit(Hit { number, at, id }),
                Trace::Ends { number, at } => self.judge.end(number, at),
            }
        }
    }

    /// What is said of the only disturbance.
    pub fn finding(&mut self) -> Finding {
        self.take_traces();
        let findings = self.judge.findings(self.now);
        findings.into_iter().next().expect("there was one").1
    }

    /// Frames of the car with this identifier of 11 bits.
    pub fn of(&self, id: u16) -> Vec<Passed> {
        let is_of = |passed: &&Passed| {
            passed.from_car
                && passed.frame.kind() == FrameKind::Data
                && passed.frame.id() == CanId::Standard(id)
        };
        self.passed.iter().filter(is_of).copied().collect()
    }
}

/// What both tools ask: codes (a long answer), pending codes, the VIN (longer), engine speed.
pub const REQUESTS: [&[u8]; 4] = [&[0x03], &[0x07], &[0x09, 0x02], &[0x01, 0x0C]];
/// Between two questions.
const PAUSE: Duration = Duration::from_millis(100);

/// A tool that asks again until it is answered, some times.
pub struct Good {
    tester: Tester,
    ecu: EcuNumber,
    left: Vec<&'static [u8]>,
    tries: u32,
    next: BusInstant,
    answered: bool,
    pub answers: Vec<Vec<u8>>,
}

impl Good {
    /// One that asks the engine ECU on 11 bits.
    pub fn new(requests: &[&'static [u8]]) -> Self {
        Self::of(TesterConfig::default(), EcuNumber::ENGINE, requests)
    }

    /// One that asks this ECU.
    pub fn of(config: TesterConfig, ecu: EcuNumber, requests: &[&'static [u8]]) -> Self {
        Self {
            tester: Tester::new(config),
            ecu,
            left: requests.iter().rev().copied().collect(),
            tries: 0,
            next: BusInstant::ZERO,
            answered: false,
            answers: Vec::new(),
        }
    }
}

impl Asks for Good {
    fn tester(&mut self) -> &mut Tester {
        &mut self.tester
    }

    fn settle(&mut self, now: BusInstant) {
        while let Some(event) = self.tester.poll_event() {
            match event {
                Told::Answer { ecu, .. } => {
                    self.answers.push(self.tester.answer(ecu).to_vec());
                    self.answered = true;
                }
                Told::Finished { .. } => {
                    self.next = now + PAUSE;
                    if self.answered || self.tries == 60 {
                        self.left.pop();
                        self.tries = 0;
                    }
                }
                _ => {}
            }
        }
        if !self.tester.is_busy()
            && now >= self.next
            && let Some(request) = self.left.last()
        {
            self.answered = false;
            self.tries += 1;
            self.tester
                .request(now, Target::Ecu(self.ecu), request)
                .expect("idle");
        }
    }

    fn waits_for(&self) -> Option<BusInstant> {
        if self.tester.is_busy() {
            return self.tester.poll_timeout();
        }
        (!self.left.is_empty()).then_some(self.next)
    }
}

/// A tool that asks each question once, half a second apart, and never again.
pub struct Bad {
    address: EcuAddress,
    left: Vec<&'static [u8]>,
    next: BusInstant,
    /// Whether it steers long answers.
    pub steers: bool,
    steer: bool,
}

impl Bad {
    /// One that asks the engine ECU on 11 bits.
    pub fn new(requests: &[&'static [u8]], steers: bool) -> Self {
        Self::of(EcuAddress::ENGINE, requests, steers)
    }

    /// One that asks this ECU.
    pub fn of(address: EcuAddress, requests: &[&'static [u8]], steers: bool) -> Self {
        Self {
            address,
            left: requests.iter().rev().copied().collect(),
            next: BusInstant::ZERO,
            steers,
            steer: false,
        }
    }
}

impl Tool for Bad {
    fn handle_frame(&mut self, _: BusInstant, frame: &Frame) {
        let is_first = frame.id() == self.address.response && frame.data()[0] >> 4 == 1;
        self.steer |= self.steers && is_first;
    }

    fn handle_timeout(&mut self, _: BusInstant) {}

    fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        let id = self.address.request;
        if std::mem::take(&mut self.steer) {
            return Some(Frame::padded(id, &[0x30, 0, 0], 0));
        }
        if now < self.next {
            return None;
        }
        let request = self.left.pop()?;
        self.next = now + 5 * PAUSE;
        let length = u8::try_from(request.len()).expect("short");
        Some(Frame::padded(id, &[&[length], request].concat(), 0))
    }

    fn handle_transmitted(&mut self, _: BusInstant) {}

    fn poll_timeout(&self) -> Option<BusInstant> {
        (!self.left.is_empty()).then_some(self.next)
    }
}
