//! The car and the plain tester on an in-memory bus, under simulated time. Shared with the program's own walkthrough; no part
//! of the stable interface.

use core::time::Duration;

use twotrip_can::{
    Frame,
    memory_bus::{Direction, MemoryBus, NodeConfig, NodeId, Pacing, Passed, QueueFull},
    timing::BusLoad,
};
use twotrip_sim::Simulator;
use twotrip_tester::{EcuNumber, Event, RequestError, Target, Tester, TesterConfig};
use twotrip_units::BusInstant;

/// A car as the bus sees it: the simulator, or one whose calls are put down.
pub trait OnBus {
    /// See [`Simulator::handle_frame`].
    fn handle_frame(&mut self, now: BusInstant, frame: &Frame);
    /// See [`Simulator::handle_transmitted`].
    fn handle_transmitted(&mut self, now: BusInstant);
    /// See [`Simulator::handle_timeout`].
    fn handle_timeout(&mut self, now: BusInstant);
    /// See [`Simulator::poll_frame`].
    fn poll_frame(&mut self, now: BusInstant) -> Option<Frame>;
    /// See [`Simulator::poll_timeout`].
    fn poll_timeout(&self) -> Option<BusInstant>;
    /// See [`Simulator::stand`]; `now` is the end of the span.
    fn stand(&mut self, now: BusInstant, span: Duration);
}

impl OnBus for Simulator {
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
        self.poll_timeout()
    }
    fn stand(&mut self, _: BusInstant, span: Duration) {
        self.stand(span);
    }
}

/// Who hears what happens in [`World::turn`].
pub trait Onlooker<C> {
    /// A frame was on the wire, whole or not.
    fn passed(&mut self, car: &mut C, passed: &Passed, from_car: bool);
    /// The tester has an answer.
    fn answered(&mut self, ecu: EcuNumber, payload: &[u8]);
}

/// A tester that knows the identifiers of this car.
#[must_use]
pub fn tester_for(car: &Simulator) -> TesterConfig {
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

/// Car, tester, the bus between them, and whoever else sends on it.
#[derive(Clone, Debug)]
pub struct World<C> {
    /// The car.
    pub car: C,
    tester: Tester,
    bus: MemoryBus,
    car_node: NodeId,
    tester_node: NodeId,
    /// Sends what it is given, and does not listen: the tap does.
    tool_node: NodeId,
    /// Whether it has sent: from then on the tester hears only what comes while it asks, and pays no flow control for another.
    has_tool: bool,
    now: BusInstant,
}

impl<C: OnBus> World<C> {
    /// Puts a car and a tester on a bus on which frames take their bit times, or none.
    #[must_use]
    pub fn new(car: C, pacing: Pacing, tester: TesterConfig) -> Self {
        let mut bus = MemoryBus::new(pacing);
        let config = NodeConfig {
            receives_own: true,
            ..NodeConfig::default()
        };
        let (car_node, tester_node) = (bus.attach(config), bus.attach(config));
        let tool_node = bus.attach(NodeConfig {
            inbox: 0,
            ..NodeConfig::default()
        });
        Self {
            car,
            tester: Tester::new(tester),
            bus,
            car_node,
            tester_node,
            tool_node,
            has_tool: false,
            now: BusInstant::ZERO,
        }
    }

    /// Bus time.
    #[must_use]
    pub const fn now(&self) -> BusInstant {
        self.now
    }

    /// How the tester asks.
    #[must_use]
    pub const fn tester(&self) -> &TesterConfig {
        self.tester.config()
    }

    /// How busy the bus has been, where its frames take time.
    #[must_use]
    pub const fn load(&self) -> Option<&BusLoad> {
        self.bus.load()
    }

    /// Hands in a frame of somebody else's.
    ///
    /// # Errors
    /// [`QueueFull`] if too many wait already.
    pub fn send(&mut self, frame: Frame) -> Result<(), QueueFull> {
        self.has_tool = true;
        self.bus.send(self.now, self.tool_node, frame)
    }

    /// Lets the tester ask, and waits until the exchange is over.
    ///
    /// # Errors
    /// [`RequestError`] if the tester refuses the request: too long, or empty.
    pub fn ask(
        &mut self,
        target: Target,
        request: &[u8],
        onlooker: &mut impl Onlooker<C>,
    ) -> Result<(), RequestError> {
        self.tester.request(self.now, target, request)?;
        while !self.turn(onlooker)
            && let Some(next) = self.deadline()
        {
            self.stand(next);
        }
        Ok(())
    }

    /// Lets time pass; what is under way takes its course meanwhile.
    pub fn advance(&mut self, until: BusInstant, onlooker: &mut impl Onlooker<C>) {
        while let Some(next) = self.deadline().filter(|next| *next <= until) {
            self.stand(next);
            self.turn(onlooker);
        }
        self.stand(until);
    }

    /// When something is to be done next.
    #[must_use]
    pub fn deadline(&self) -> Option<BusInstant> {
        let deadlines = [
            self.bus.poll_timeout(),
            self.tester.poll_timeout(),
            self.car.poll_timeout(),
        ];
        deadlines.into_iter().flatten().min()
    }

    /// Time passes, for the car too.
    fn stand(&mut self, until: BusInstant) {
        let span = until.saturating_since(self.now);
        self.now += span;
        self.car.stand(self.now, span);
    }

    /// Everything that happens at this instant; says whether no exchange of the tester is under way.
    fn turn(&mut self, onlooker: &mut impl Onlooker<C>) -> bool {
        let now = self.now;
        self.car.handle_timeout(now);
        self.tester.handle_timeout(now);
        loop {
            self.hand_over();
            let Some(passed) = self.bus.advance(now) else {
                break;
            };
            onlooker.passed(&mut self.car, &passed, passed.from == self.car_node);
            self.receive();
            self.take_answers(onlooker);
        }
        self.receive();
        self.take_answers(onlooker)
    }

    /// Hands to the bus what car and tester have to send, as far as it takes it.
    fn hand_over(&mut self) {
        while self.bus.has_room(self.car_node)
            && let Some(frame) = self.car.poll_frame(self.now)
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
                Direction::Own => self.car.handle_transmitted(received.at),
                Direction::Other => self.car.handle_frame(received.at, &received.frame),
            }
        }
        while let Some(received) = self.bus.receive(self.tester_node) {
            match received.direction {
                Direction::Own => self.tester.handle_transmitted(received.at),
                Direction::Other if self.has_tool && !self.tester.is_busy() => {}
                Direction::Other => self.tester.handle_frame(received.at, &received.frame),
            }
        }
    }

    /// Hands on answers; says whether no exchange is under way.
    fn take_answers(&mut self, onlooker: &mut impl Onlooker<C>) -> bool {
        while let Some(event) = self.tester.poll_event() {
            if let Event::Answer { ecu, .. } = event {
                onlooker.answered(ecu, self.tester.answer(ecu));
            }
        }
        !self.tester.is_busy()
    }
}
