//! Stands in for the ECUs of a recording: a tester asks, and gets what was answered then, as late as then.
//!
//! Each question is looked up by whom it was put to and by its bytes; the n-th time it is asked it gets what came the n-th
//! time in the recording, silence too. Nothing else is ever answered. The transport is that of ISO 15765-2, alive: the
//! tester's flow control is obeyed, and missed.

mod node;
mod question;
mod settings;
mod tell;

#[cfg(test)]
mod tests;

use alloc::{collections::VecDeque, vec, vec::Vec};
use core::time::Duration;

use twotrip_can::{Frame, address::Addressing, timing};
use twotrip_isotp::{Direction, Dlc, Event as TransportEvent, Ignored, Profile};
use twotrip_units::BusInstant;

use self::node::Node;
pub use self::{
    settings::{AfterLast, Settings},
    tell::{Counts, Found, Head, StandInEvent, Unknown},
};
use crate::{Answers, QuestionId, Role};

/// Events that wait to be told.
const EVENTS: usize = 256;

/// The ECUs of a recording, on a bus.
///
/// Used like an [`isotp::Channel`](twotrip_isotp::Channel): after each `handle_*` ask for frames, events and the timeout.
/// One frame is on its way at a time, whoever sends it; of several ECUs the one whose reply was due first goes first, then, as by
/// arbitration, the one with the lower identifier. Memory is bounded whatever a tester sends, and nothing is allocated for a question that is known.
#[derive(Clone, Debug)]
pub struct StandIn {
    answers: Answers,
    settings: Settings,
    dlc: Dlc,
    /// In the order of arbitration.
    nodes: Vec<Node>,
    /// The node of each of [`Answers::ecus`].
    places: Vec<usize>,
    /// How often each question was asked.
    asked: Vec<u64>,
    unknown: Vec<Unknown>,
    counts: Counts,
    events: VecDeque<StandInEvent>,
    /// Whose frame was polled last, until it is on the wire or given up.
    sending: Option<usize>,
    /// How long that frame is on the wire.
    frame_time: Duration,
    /// When it has left the wire, as far as we pace it ourselves.
    leaves: Option<BusInstant>,
    latest: BusInstant,
}

impl StandIn {
    /// Answers from now on.
    #[must_use]
    pub fn new(answers: Answers, settings: Settings) -> Self {
        let dlc = if answers.takes_short_frames() {
            Dlc::Lenient
        } else {
            settings.dlc
        };
        let mut ecus: Vec<usize> = (0..answers.ecus().len()).collect();
        ecus.sort_by_key(|&ecu| answers.ecus()[ecu].ecu.response().arbitration_key(false));
        let mut places = vec![0; ecus.len()];
        for (place, &ecu) in ecus.iter().enumerate() {
            places[ecu] = place;
        }
        let nodes = ecus.iter().map(|&ecu| {
            let manner = answers.ecus()[ecu];
            let pad = manner.pad.unwrap_or(settings.pad);
            let timers = settings.timers;
            // Eight with 11 bits and 255 with 29.
            let number = u16::try_from(ecu).unwrap_or(u16::MAX);
            let profile = Profile {
                timers,
                pad,
                dlc,
                frames: answers.frames(),
            };
            Node::new(manner.ecu, number, profile)
        });
        Self {
            nodes: nodes.collect(),
            places,
            asked: vec![
                0;
                answers
                    .questions()
                    .map(|question| question.id.index() + 1)
                    .max()
                    .unwrap_or(0)
            ],
            answers,
            settings,
            dlc,
            unknown: Vec::new(),
            counts: Counts::default(),
            events: VecDeque::with_capacity(EVENTS),
            sending: None,
            frame_time: Duration::ZERO,
            leaves: None,
            latest: BusInstant::ZERO,
        }
    }

    /// What is answered from.
    #[must_use]
    pub const fn answers(&self) -> &Answers {
        &self.answers
    }

    /// How often a question was asked so far.
    #[must_use]
    pub fn asked(&self, question: QuestionId) -> u64 {
        self.asked.get(question.index()).copied().unwrap_or(0)
    }

    /// Questions that the recording does not hold, in the order of first asking. Beyond the first 256 different ones they
    /// are only counted.
    #[must_use]
    pub fn unknown(&self) -> &[Unknown] {
        &self.unknown
    }

    /// What has been counted so far.
    #[must_use]
    pub const fn counts(&self) -> Counts {
        self.counts
    }

    /// A frame came in; frames for others may be passed in too.
    pub fn handle_frame(&mut self, now: BusInstant, frame: &Frame) {
        self.handle_timeout(now);
        let Some(role) = Role::of(frame.id()).filter(|_| self.answers.frames().include(frame)) else {
            return;
        };
        match role {
            Role::AskAll { .. } => self.on_single(now, role, frame),
            Role::Ask(ecu) => match self.nodes.iter().position(|node| node.ecu == ecu) {
                Some(place) => {
                    self.nodes[place].channel.handle_frame(now, frame);
                    self.take_events(now, place);
                }
                // Nobody there speaks in the recording: nobody sends flow control either.
                None => self.on_single(now, role, frame),
            },
            Role::Answer(_) => {}
        }
        self.send_due(now);
    }

    /// The bus has taken the frame last polled; where it paces frames itself: it has passed.
    pub fn handle_transmitted(&mut self, now: BusInstant) {
        self.handle_timeout(now);
        if self.settings.spacing.is_some() {
            self.leaves = Some(now + self.frame_time);
        } else {
            self.on_left(now);
        }
        self.send_due(now);
    }

    /// Runs the deadlines up to `now`.
    pub fn handle_timeout(&mut self, now: BusInstant) {
        self.latest = now;
        if let Some(leaves) = self.leaves.filter(|&leaves| leaves <= now) {
            self.leaves = None;
            self.on_left(leaves);
        }
        for place in 0..self.nodes.len() {
            self.nodes[place].channel.handle_timeout(now);
            self.take_events(now, place);
        }
        if !self.has_frame_in_flight() {
            self.sending = None;
            self.leaves = None;
        }
        self.send_due(now);
    }

    /// Whether the frame last polled still waits for the bus: it has neither passed nor been given up.
    #[must_use]
    pub fn has_frame_in_flight(&self) -> bool {
        self.sending
            .is_some_and(|place| self.nodes[place].channel.has_frame_in_flight())
    }

    /// The next frame for the bus.
    #[must_use]
    pub fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        if self.has_frame_in_flight() {
            return None;
        }
        // Who is late as a whole computer is late keeps the order of then.
        let earliest = self.nodes.iter().filter_map(|node| node.waiting).min();
        let mut nodes = self.nodes.iter_mut().enumerate();
        let (place, frame) = nodes.find_map(|(place, node)| {
            if node.waiting > earliest {
                return None;
            }
            let frame = node.channel.poll_frame(now)?;
            node.waiting = None;
            Some((place, frame))
        })?;
        self.sending = Some(place);
        if let Some(rate) = self.settings.spacing {
            self.frame_time = timing::frame_time(&frame, rate);
        }
        Some(frame)
    }

    /// What happened.
    #[must_use]
    pub fn poll_event(&mut self) -> Option<StandInEvent> {
        self.events.pop_front()
    }

    /// When to call [`Self::handle_timeout`] at the latest, and to poll for frames after it.
    #[must_use]
    pub fn poll_timeout(&self) -> Option<BusInstant> {
        let busy = self.has_frame_in_flight();
        let transport = self.nodes.iter().filter_map(|node| node.channel.poll_timeout());
        // A frame that waits for another one to pass is no reason to wake up.
        let transport = transport.filter(|&at| !busy || at > self.latest);
        let due = self.nodes.iter().filter_map(Node::due);
        transport.chain(due).chain(self.leaves).min()
    }

    fn on_left(&mut self, at: BusInstant) {
        if let Some(place) = self.sending.take() {
            self.nodes[place].channel.handle_transmitted(at);
            self.take_events(at, place);
        }
    }

    fn take_events(&mut self, now: BusInstant, place: usize) {
        while let Some(event) = self.nodes[place].channel.poll_event() {
            let ecu = self.nodes[place].ecu;
            match event {
                TransportEvent::Received { .. } => {
                    let role = Role::Ask(ecu);
                    let request = self.nodes[place].channel.message(Addressing::Physical);
                    match self.answers.find(role, request) {
                        Some(question) => {
                            let head = Head::of(request);
                            self.on_known(now, role, question, head);
                        }
                        None => {
                            let request = request.to_vec();
                            self.on_question(now, role, None, &request);
                        }
                    }
                }
                TransportEvent::Failed { direction, result } => {
                    match direction {
                        Direction::Transmit => self.counts.broken_off += 1,
                        Direction::Receive => self.counts.incomplete += 1,
                    }
                    self.tell(StandInEvent::Failed {
                        at: now,
                        ecu,
                        direction,
                        result,
                    });
                }
                TransportEvent::Ignored { reason } => match reason {
                    Ignored::DlcNotEight { .. } => self.counts.short_frames += 1,
                    _ => self.counts.ignored += 1,
                },
                TransportEvent::Started { .. } | TransportEvent::Sent => {}
            }
        }
    }

    /// Hands over what is due.
    fn send_due(&mut self, now: BusInstant) {
        for place in 0..self.nodes.len() {
            let late = self.nodes[place].send_due(now, &self.answers);
            for _ in 0..late {
                self.counts.late += 1;
                let ecu = self.nodes[place].ecu;
                self.tell(StandInEvent::Late { at: now, ecu });
            }
        }
    }

    fn tell(&mut self, event: StandInEvent) {
        if self.events.len() == EVENTS {
            self.events.pop_front();
        }
        self.events.push_back(event);
    }
}
