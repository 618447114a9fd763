//! Channels and a bus under one simulated clock, which jumps to the next deadline.

use twotrip_can::{
    Frame,
    link::Link,
    memory_bus::{Direction, MemoryBus, NodeConfig, NodeId, Pacing, Passed},
};
use twotrip_isotp::{Channel, Event};
use twotrip_units::BusInstant;

/// Steps without an end mean that something waits for itself.
const STEPS: usize = 1_000_000;
/// Frames that a case may send in one go.
const BARE_QUEUE: usize = 10_000;

/// What sits above the channels.
pub trait Application {
    /// Channel `node` reports something.
    fn on_event(&mut self, now: BusInstant, node: usize, channel: &mut Channel, event: Event);
}

/// A bus, channels on it, and one node that sends bare frames.
pub struct World {
    pub now: BusInstant,
    pub channels: Vec<Channel>,
    bus: MemoryBus,
    nodes: Vec<NodeId>,
    bare: NodeId,
    /// Until then the bus takes no frame of a channel.
    refused_until: BusInstant,
    /// Frames of the channels that it did not take.
    held: Vec<Option<Frame>>,
    is_down: bool,
}

impl World {
    pub fn new(pacing: Pacing, channels: Vec<Channel>) -> Self {
        let mut bus = MemoryBus::new(pacing);
        // Channels count from the confirmation of their frames; the bare node only sends.
        let confirmed = NodeConfig {
            receives_own: true,
            ..NodeConfig::default()
        };
        let mute = NodeConfig {
            queue: BARE_QUEUE,
            inbox: 0,
            ..NodeConfig::default()
        };
        Self {
            now: BusInstant::ZERO,
            nodes: channels.iter().map(|_| bus.attach(confirmed)).collect(),
            bare: bus.attach(mute),
            refused_until: BusInstant::ZERO,
            held: vec![None; channels.len()],
            is_down: false,
            channels,
            bus,
        }
    }

    /// The bare node hands a frame to the bus.
    pub fn send_bare(&mut self, frame: Frame) {
        self.bus
            .send(self.now, self.bare, frame)
            .expect("a burst of a case fits");
    }

    /// Until `end` the bus takes no frame of a channel, as a driver whose queue is full.
    pub fn refuse_until(&mut self, end: BusInstant) {
        self.refused_until = end;
    }

    /// Takes the interface down or up. Down, it swallows what the channels send.
    pub fn set_link(&mut self, up: bool) {
        self.is_down = !up;
    }

    /// Puts rules of delay, loss and bus errors between a channel and the bus.
    pub fn disturb(&mut self, node: usize, link: Option<Link>) {
        self.bus.set_link(self.nodes[node], link);
    }

    /// Whether a bare frame has passed.
    pub fn is_bare(&self, passed: &Passed) -> bool {
        passed.from == self.bare
    }

    /// Lets time pass until the next frame has passed, or until `until`.
    pub fn next(&mut self, until: BusInstant, application: &mut dyn Application) -> Option<Passed> {
        for _ in 0..STEPS {
            self.flush(application);
            let deadlines = self.channels.iter().map(Channel::poll_timeout);
            let retry = self
                .held
                .iter()
                .any(Option::is_some)
                .then_some(self.refused_until);
            let next = deadlines.chain([self.bus.poll_timeout(), retry]).flatten().min();
            let Some(next) = next.filter(|&next| next <= until) else {
                self.now = until.max(self.now);
                return None;
            };
            self.now = next.max(self.now);
            for channel in &mut self.channels {
                channel.handle_timeout(self.now);
            }
            self.flush(application);
            let passed = self.bus.advance(self.now);
            self.deliver();
            if passed.is_some() {
                self.flush(application);
                return passed;
            }
        }
        panic!("no end after {STEPS} steps at {}", self.now);
    }

    /// Gives the channels what has reached them.
    fn deliver(&mut self) {
        for (channel, &node) in self.channels.iter_mut().zip(&self.nodes) {
            while let Some(received) = self.bus.receive(node) {
                match received.direction {
                    Direction::Own => channel.handle_transmitted(received.at),
                    Direction::Other => channel.handle_frame(received.at, &received.frame),
                }
            }
        }
    }

    fn flush(&mut self, application: &mut dyn Application) {
        for (node, channel) in self.channels.iter_mut().enumerate() {
            loop {
                // A frame that was refused is tried again as long as its channel waits for it, before any other.
                let held = &mut self.held[node];
                *held = held.filter(|_| channel.has_frame_in_flight());
                while let Some(frame) = held.take().or_else(|| channel.poll_frame(self.now)) {
                    if self.is_down {
                        channel.handle_transmitted(self.now);
                    } else if self.now < self.refused_until {
                        *held = Some(frame);
                        break;
                    } else {
                        let sent = self.bus.send(self.now, self.nodes[node], frame);
                        sent.expect("a channel has one frame under way");
                    }
                }
                let Some(event) = channel.poll_event() else { break };
                application.on_event(self.now, node, channel, event);
            }
        }
    }
}
