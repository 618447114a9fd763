//! A bus without a wire: any number of nodes, one frame at a time, the lowest identifier first.
//!
//! The bus is a value that is told the time. A node hands a frame in with [`MemoryBus::send`]; it is on the
//! wire from the next idle instant on and arrives at every other node when its last bit has passed, which
//! [`MemoryBus::advance`] reports. Within one node frames keep their order (the queue of a driver), between
//! nodes arbitration decides (ISO 11898-1). With [`Pacing::Instant`] a frame takes no time.

use alloc::{collections::VecDeque, vec::Vec};
use core::time::Duration;

use twotrip_units::BusInstant;

use crate::{
    Frame, FrameKind,
    timing::{self, BitRate},
};

/// How long a frame is on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pacing {
    /// No time at all.
    Instant,
    /// Its exact bits at a bit rate.
    Rate(BitRate),
}

/// A node of the bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NodeId(usize);

/// A frame that has passed: who sent it, and the instant of its last bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Passed {
    /// The sender; everyone else receives it.
    pub from: NodeId,
    /// The frame.
    pub frame: Frame,
    /// When its last bit had passed.
    pub at: BusInstant,
}

#[derive(Clone, Copy, Debug)]
struct Waiting {
    since: BusInstant,
    frame: Frame,
}

#[derive(Clone, Copy, Debug)]
struct OnWire {
    node: usize,
    frame: Frame,
    ends: BusInstant,
}

/// The bus.
#[derive(Clone, Debug)]
pub struct MemoryBus {
    pacing: Pacing,
    queues: Vec<VecDeque<Waiting>>,
    on_wire: Option<OnWire>,
    idle_since: BusInstant,
}

impl MemoryBus {
    /// A silent bus without nodes.
    #[must_use]
    pub const fn new(pacing: Pacing) -> Self {
        Self {
            pacing,
            queues: Vec::new(),
            on_wire: None,
            idle_since: BusInstant::ZERO,
        }
    }

    /// A new node.
    pub fn attach(&mut self) -> NodeId {
        self.queues.push(VecDeque::new());
        NodeId(self.queues.len() - 1)
    }

    /// Hands a frame to the bus at `now`.
    pub fn send(&mut self, now: BusInstant, node: NodeId, frame: Frame) {
        self.queues[node.0].push_back(Waiting { since: now, frame });
    }

    /// When something happens next, if nobody sends.
    #[must_use]
    pub fn poll_timeout(&self) -> Option<BusInstant> {
        if let Some(on_wire) = &self.on_wire {
            return Some(on_wire.ends);
        }
        self.next_start()
            .map(|(start, node)| start + self.duration(&self.queues[node][0].frame))
    }

    /// The next frame that has passed by `now`; call again until `None`.
    pub fn advance(&mut self, now: BusInstant) -> Option<Passed> {
        if self.on_wire.is_none() {
            let (start, node) = self.next_start().filter(|&(start, _)| start <= now)?;
            let waiting = self.queues[node].pop_front()?;
            let ends = start + self.duration(&waiting.frame);
            self.on_wire = Some(OnWire {
                node,
                frame: waiting.frame,
                ends,
            });
        }
        let OnWire { node, frame, ends } = self.on_wire.filter(|on_wire| on_wire.ends <= now)?;
        self.on_wire = None;
        self.idle_since = ends;
        Some(Passed {
            from: NodeId(node),
            frame,
            at: ends,
        })
    }

    fn duration(&self, frame: &Frame) -> Duration {
        match self.pacing {
            Pacing::Instant => Duration::ZERO,
            Pacing::Rate(rate) => timing::frame_time(frame, rate),
        }
    }

    /// The instant of the next start of frame, and the node that wins it.
    fn next_start(&self) -> Option<(BusInstant, usize)> {
        let heads = || {
            self.queues
                .iter()
                .enumerate()
                .filter_map(|(node, queue)| Some((node, queue.front()?)))
        };
        let start = heads().map(|(_, head)| head.since.max(self.idle_since)).min()?;
        let winner = heads()
            .filter(|(_, head)| head.since <= start)
            .min_by_key(|(_, head)| {
                head.frame
                    .id()
                    .arbitration_key(matches!(head.frame.kind(), FrameKind::Remote))
            })?;
        Some((start, winner.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::CanId;

    fn frame(id: u16) -> Frame {
        Frame::padded(CanId::Standard(id), &[], 0x55)
    }

    #[test]
    fn lowest_identifier_wins_when_the_bus_falls_idle() {
        let mut bus = MemoryBus::new(Pacing::Rate(BitRate::Kbit500));
        let (a, b, c) = (bus.attach(), bus.attach(), bus.attach());
        bus.send(BusInstant::ZERO, a, frame(0x7EF));
        bus.send(BusInstant::from_micros(1), b, frame(0x7E9));
        bus.send(BusInstant::from_micros(2), c, frame(0x7E8));
        let end = BusInstant::from_millis(10);
        let order: [_; 3] = core::array::from_fn(|_| bus.advance(end).map(|passed| passed.frame.id().raw()));
        assert_eq!(order, [Some(0x7EF), Some(0x7E8), Some(0x7E9)]);
        assert_eq!(bus.advance(end), None);
    }

    #[test]
    fn frames_take_their_bit_time_and_never_overlap() {
        let mut bus = MemoryBus::new(Pacing::Rate(BitRate::Kbit500));
        let a = bus.attach();
        let request = Frame::padded(CanId::Standard(0x7DF), &[2, 1, 0], 0);
        bus.send(BusInstant::ZERO, a, request);
        bus.send(BusInstant::ZERO, a, request);
        assert_eq!(bus.poll_timeout(), Some(BusInstant::from_micros(252)));
        assert_eq!(bus.advance(BusInstant::from_micros(251)), None);
        assert_eq!(
            bus.advance(BusInstant::from_micros(252)).map(|p| p.at),
            Some(BusInstant::from_micros(252))
        );
        assert_eq!(bus.poll_timeout(), Some(BusInstant::from_micros(504)));
    }

    #[test]
    fn one_node_keeps_its_own_order() {
        let mut bus = MemoryBus::new(Pacing::Instant);
        let a = bus.attach();
        bus.send(BusInstant::ZERO, a, frame(0x7EF));
        bus.send(BusInstant::ZERO, a, frame(0x001));
        assert_eq!(
            bus.advance(BusInstant::ZERO).map(|p| p.frame.id().raw()),
            Some(0x7EF)
        );
    }
}
