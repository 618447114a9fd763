//! One node of the in-memory bus: what it waits to send, what waits for it, and its standing.

use alloc::collections::VecDeque;

use twotrip_units::BusInstant;

use super::{Direction, Fate, NodeConfig, Received};
use crate::{
    Frame, FrameKind,
    link::{Link, Verdict, Way},
    timing::{FrameBits, frame_bits},
};

/// What the transmit error counter gains by a destroyed frame, and the most it may reach (ISO 11898-1, from memory).
const ERROR_STEP: u32 = 8;
const ERRORS_MAX: u32 = 255;

/// A frame that waits to be sent.
#[derive(Clone, Copy, Debug)]
pub(super) struct Waiting {
    pub(super) since: BusInstant,
    pub(super) frame: Frame,
    /// Its arbitration field as a number.
    pub(super) key: u64,
    pub(super) bits: FrameBits,
    /// It keeps its place in the queue, but never gets to the wire.
    pub(super) is_lost: bool,
}

impl Waiting {
    pub(super) fn new(since: BusInstant, frame: Frame, is_lost: bool) -> Self {
        let remote = matches!(frame.kind(), FrameKind::Remote);
        Self {
            since,
            frame,
            key: frame.id().arbitration_key(remote),
            bits: if is_lost {
                FrameBits::NotOnTheWire
            } else {
                frame_bits(&frame)
            },
            is_lost,
        }
    }
}

/// A node.
#[derive(Clone, Debug)]
pub(super) struct Node {
    pub(super) config: NodeConfig,
    pub(super) queue: VecDeque<Waiting>,
    /// In the order of the instants at which the frames reach the node.
    pub(super) inbox: VecDeque<Received>,
    pub(super) link: Option<Link>,
    pub(super) off_until: BusInstant,
    pub(super) lost: u64,
    transmit_errors: u32,
}

impl Node {
    pub(super) fn new(config: NodeConfig) -> Self {
        Self {
            config,
            queue: VecDeque::with_capacity(config.queue),
            inbox: VecDeque::with_capacity(config.inbox),
            link: None,
            off_until: BusInstant::ZERO,
            lost: 0,
            transmit_errors: 0,
        }
    }

    /// Its first frame has passed at `at`.
    pub(super) fn confirm(&mut self, at: BusInstant) {
        let Some(sent) = self.queue.pop_front() else {
            return;
        };
        self.transmit_errors = self.transmit_errors.saturating_sub(1);
        if self.config.receives_own {
            self.take(at, sent.frame, Direction::Own);
        }
    }

    /// Its first frame was destroyed; if that puts it off the bus, it is `back` then.
    pub(super) fn count_error(&mut self, back: BusInstant) -> Fate {
        self.transmit_errors += ERROR_STEP;
        if self.transmit_errors <= ERRORS_MAX {
            return Fate::Destroyed;
        }
        self.transmit_errors = 0;
        self.off_until = back;
        self.lost += u64::try_from(self.queue.len()).unwrap_or(u64::MAX);
        self.queue.clear();
        Fate::BusOff
    }

    /// Another node's frame has passed at `at`.
    pub(super) fn hear(&mut self, at: BusInstant, frame: &Frame) {
        if self.config.inbox == 0 || at < self.off_until {
            return;
        }
        let verdict = self
            .link
            .as_mut()
            .map_or(Verdict::Pass, |link| link.on_frame(Way::Received, frame));
        match verdict {
            Verdict::Pass => self.take(at, *frame, Direction::Other),
            Verdict::Delay(span) => self.take(at + span, *frame, Direction::Other),
            Verdict::Drop => {}
        }
    }

    fn take(&mut self, at: BusInstant, frame: Frame, direction: Direction) {
        if self.inbox.len() >= self.config.inbox {
            self.lost += 1;
            return;
        }
        let at = self.inbox.back().map_or(at, |last| at.max(last.at));
        self.inbox.push_back(Received { frame, at, direction });
    }
}
