//! A bus without a wire: any number of nodes, one frame at a time, the lowest identifier first.
//!
//! The bus is a value that is told the time. A node hands a frame in with [`MemoryBus::send`]; from the next idle
//! instant on the frame takes part in arbitration (ISO 11898-1: the lower arbitration field wins, a frame that has
//! begun is never pre-empted). Between nodes arbitration decides, within a node the order of its queue, as with a
//! driver's. [`MemoryBus::advance`] reports what was on the wire, frame by frame: a tap. What a node hears of it comes
//! from [`MemoryBus::receive`], by the rules of SocketCAN (Linux Documentation/networking/can.rst): frames of others
//! always, its own only if it asked for them, each with its direction; a full inbox loses the newest and counts it.
//!
//! A [`Link`] between a node and the wire may delay, lose or destroy frames. The tap is outside: it shows what was on the
//! wire, and a destroyed frame as destroyed. Errors are confined as ISO 11898-1 has it for a transmitter (from memory):
//! 8 for each destroyed frame, 1 off for each that passes; above 255 the node is off the bus, loses what it had queued,
//! and is back after 128 x 11 bits.
//!
//! Left out: every frame is acknowledged, also on a bus with one node, as on a vcan; receivers count no errors; an
//! error-passive node waits no longer than others; two nodes that send the same identifier at once are told apart by their
//! number instead of colliding.

mod node;
#[cfg(test)]
mod tests;
mod traffic;

use alloc::vec::Vec;
use core::time::Duration;

use twotrip_units::BusInstant;

use self::node::{Node, Waiting};
pub use self::traffic::{Direction, Fate, NodeConfig, NodeId, Pacing, Passed, QueueFull, Received};
use crate::{
    Frame,
    link::{Link, Verdict, Way},
    timing::{BusLoad, FrameBits, INTERMISSION},
};

#[derive(Clone, Copy, Debug)]
struct OnWire {
    node: usize,
    start: BusInstant,
    /// The end of the last bit of the frame, or of its error frame.
    ends: BusInstant,
    bits: FrameBits,
    destroyed: bool,
}

/// Bits after the end of frame that a CRC error takes, the intermission apart (ISO 11898-1, from memory): the receivers
/// signal it by 6 dominant bits after the acknowledge delimiter, the sender finds the end of frame broken a bit later and
/// answers by 6 of its own, then come 8 recessive ones. The 7 bits of the end of frame are not sent.
const ERROR_FRAME: u32 = 7 + 8;
const END_OF_FRAME: u32 = 7;
/// How long a node stays off the bus: 128 times 11 recessive bits (ISO 11898-1, from memory).
const BUS_OFF: u32 = 128 * 11;
/// Windows in which the load's peak is sought.
const LOAD_WINDOW: Duration = Duration::from_millis(10);

/// The bus.
///
/// Nodes are known to the bus that they were attached to, and to its clones: methods that take one panic for a node of
/// another bus.
#[derive(Clone, Debug)]
pub struct MemoryBus {
    pacing: Pacing,
    nodes: Vec<Node>,
    on_wire: Option<OnWire>,
    idle_since: BusInstant,
    /// How far the bus was told the time.
    now: BusInstant,
    load: Option<BusLoad>,
    has_links: bool,
}

impl MemoryBus {
    /// A silent bus without nodes.
    #[must_use]
    pub fn new(pacing: Pacing) -> Self {
        let load = match pacing {
            Pacing::Rate(rate) => Some(BusLoad::new(rate, LOAD_WINDOW)),
            Pacing::Instant => None,
        };
        Self {
            pacing,
            nodes: Vec::new(),
            on_wire: None,
            idle_since: BusInstant::ZERO,
            now: BusInstant::ZERO,
            load,
            has_links: false,
        }
    }

    /// A new node. All its memory is taken here.
    pub fn attach(&mut self, config: NodeConfig) -> NodeId {
        self.nodes.push(Node::new(config));
        NodeId(self.nodes.len() - 1)
    }

    /// Puts rules between a node and the wire, in place of those before; `None` takes them away. Frames on their way
    /// stay as they are.
    pub fn set_link(&mut self, node: NodeId, link: Option<Link>) {
        self.nodes[node.0].link = link;
        self.has_links = self.nodes.iter().any(|node| node.link.is_some());
    }

    /// Hands a frame to the bus at `now`.
    ///
    /// # Errors
    /// [`QueueFull`] if as many frames wait already as the node's queue holds.
    pub fn send(&mut self, now: BusInstant, node: NodeId, frame: Frame) -> Result<(), QueueFull> {
        let Node {
            queue,
            link,
            config,
            off_until,
            ..
        } = &mut self.nodes[node.0];
        if queue.len() >= config.queue {
            return Err(QueueFull { queue: config.queue });
        }
        let verdict = link
            .as_mut()
            .map_or(Verdict::Pass, |link| link.on_frame(Way::Sent, &frame));
        let since = match verdict {
            Verdict::Delay(span) => now + span,
            Verdict::Pass | Verdict::Drop => now,
        };
        let is_lost = verdict == Verdict::Drop;
        queue.push_back(Waiting::new(since.max(*off_until), frame, is_lost));
        Ok(())
    }

    /// Whether the node's queue takes another frame.
    #[must_use]
    pub fn has_room(&self, node: NodeId) -> bool {
        let node = &self.nodes[node.0];
        node.queue.len() < node.config.queue
    }

    /// When something happens next, if nobody sends: a frame has passed, or a delayed one reaches its node.
    #[must_use]
    pub fn poll_timeout(&self) -> Option<BusInstant> {
        let wire = self.on_wire.map_or_else(
            || {
                let (start, node) = self.next_start()?;
                let bits = self.nodes[node].queue.front()?.bits.at_most();
                Some(start + self.span(bits.saturating_sub(INTERMISSION)))
            },
            |on_wire| Some(on_wire.ends),
        );
        // What is there already was announced before.
        let inboxes = self.nodes.iter().filter_map(|node| node.inbox.front());
        let arrivals = inboxes.map(|received| received.at).filter(|&at| at > self.now);
        wire.into_iter().chain(arrivals).min()
    }

    /// What was on the wire next, up to `now`; call again until `None`, and [`Self::receive`] for each node after
    /// each call.
    pub fn advance(&mut self, now: BusInstant) -> Option<Passed> {
        self.now = self.now.max(now);
        loop {
            if self.on_wire.is_none() {
                let (start, node) = self.next_start().filter(|&(start, _)| start <= now)?;
                self.begin(start, node);
            }
            let on_wire = self.on_wire.filter(|on_wire| on_wire.ends <= now)?;
            self.on_wire = None;
            if let Some(passed) = self.end(&on_wire) {
                return Some(passed);
            }
        }
    }

    /// The next frame that has reached the node by the instant of the last [`Self::advance`].
    pub fn receive(&mut self, node: NodeId) -> Option<Received> {
        let inbox = &mut self.nodes[node.0].inbox;
        if inbox.front()?.at > self.now {
            return None;
        }
        inbox.pop_front()
    }

    /// Frames that the node lost: its inbox was full, or it went off the bus with frames waiting.
    #[must_use]
    pub fn lost(&self, node: NodeId) -> u64 {
        self.nodes[node.0].lost
    }

    /// How busy the wire has been so far, with windows of 10 ms; `None` with [`Pacing::Instant`], where nothing takes
    /// time.
    #[must_use]
    pub const fn load(&self) -> Option<&BusLoad> {
        self.load.as_ref()
    }

    fn span(&self, bits: u32) -> Duration {
        match self.pacing {
            Pacing::Instant => Duration::ZERO,
            Pacing::Rate(rate) => rate.span(bits),
        }
    }

    /// The instant of the next start of frame, and the node that wins it.
    fn next_start(&self) -> Option<(BusInstant, usize)> {
        let heads = || {
            self.nodes
                .iter()
                .enumerate()
                .filter_map(|(node, state)| Some((node, state.queue.front()?)))
        };
        let start = heads().map(|(_, head)| head.since.max(self.idle_since)).min()?;
        let (winner, _) = heads()
            .filter(|(_, head)| head.since <= start)
            .min_by_key(|(_, head)| head.key)?;
        Some((start, winner))
    }

    /// Puts the first frame of a node on the wire.
    fn begin(&mut self, start: BusInstant, node: usize) {
        let Some(&head) = self.nodes[node].queue.front() else {
            return;
        };
        let destroyed = self.has_links && !head.is_lost && self.is_destroyed(node, &head.frame);
        let mut bits = head.bits.at_most().saturating_sub(INTERMISSION);
        if destroyed {
            bits = bits.saturating_sub(END_OF_FRAME) + ERROR_FRAME;
        }
        let ends = start + self.span(bits);
        self.on_wire = Some(OnWire {
            node,
            start,
            ends,
            bits: head.bits,
            destroyed,
        });
    }

    /// Whether some node's link destroys this attempt.
    fn is_destroyed(&mut self, sender: usize, frame: &Frame) -> bool {
        let mut destroyed = false;
        for (i, node) in self.nodes.iter_mut().enumerate() {
            let way = if i == sender { Way::Sent } else { Way::Received };
            let link = node.link.as_mut();
            destroyed |= link.is_some_and(|link| link.on_attempt(way, frame));
        }
        destroyed
    }

    /// What comes of a frame whose last bit has passed; `None` for one that was lost before it came to the wire.
    fn end(&mut self, on_wire: &OnWire) -> Option<Passed> {
        let OnWire {
            node, start, ends, ..
        } = *on_wire;
        let head = *self.nodes[node].queue.front()?;
        let passed = |fate| {
            Some(Passed {
                from: NodeId(node),
                frame: head.frame,
                start,
                at: ends,
                fate,
            })
        };
        if head.is_lost {
            self.nodes[node].confirm(ends);
            return None;
        }
        self.idle_since = if on_wire.bits == FrameBits::NotOnTheWire {
            ends
        } else {
            ends + self.span(INTERMISSION)
        };
        if on_wire.destroyed {
            if let Some(load) = &mut self.load {
                let bits = on_wire.bits.at_most().saturating_sub(END_OF_FRAME) + ERROR_FRAME;
                load.on_bits(start, bits);
            }
            let back = self.idle_since + self.span(BUS_OFF);
            return passed(self.nodes[node].count_error(back));
        }
        if let Some(load) = &mut self.load {
            load.on_frame(start, on_wire.bits);
        }
        for (i, receiver) in self.nodes.iter_mut().enumerate() {
            if i == node {
                receiver.confirm(ends);
            } else {
                receiver.hear(ends, &head.frame);
            }
        }
        passed(Fate::Whole)
    }
}
