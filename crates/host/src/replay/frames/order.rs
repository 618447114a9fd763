//! Frames of several buses in the order of their times.
//!
//! A recorder writes what it has read of one bus, then what it has read of the next: times in a file are in order for each
//! bus, not across buses (draft-ietf-opsawg-pcapng asks for none). So some frames are looked at ahead. The order of one
//! bus is never changed, whatever its times say.

use std::{cmp::Reverse, collections::BinaryHeap};

use twotrip_units::BusInstant;

use super::Due;

/// Frames looked at ahead where there are several buses: more than a recorder reads of one at a time.
const AHEAD: usize = 1024;

/// Frames that wait for their turn.
#[derive(Debug)]
pub struct Order {
    waiting: BinaryHeap<Reverse<Waiting>>,
    room: usize,
    /// The time of the last frame of each lane.
    last: Vec<BusInstant>,
    number: u64,
}

#[derive(Debug, PartialEq, Eq)]
struct Waiting {
    due: Due,
    number: u64,
}

impl Ord for Waiting {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        (self.due.at, self.number).cmp(&(other.due.at, other.number))
    }
}

impl PartialOrd for Waiting {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Order {
    /// For so many lanes.
    #[must_use]
    pub fn new(lanes: usize) -> Self {
        let room = if lanes > 1 { AHEAD } else { 1 };
        Self {
            waiting: BinaryHeap::with_capacity(room),
            room,
            last: vec![BusInstant::ZERO; lanes],
            number: 0,
        }
    }

    /// Whether another one is wanted before the next is taken.
    #[must_use]
    pub fn has_room(&self) -> bool {
        self.waiting.len() < self.room
    }

    /// Takes the next frame of the file.
    pub fn push(&mut self, mut due: Due) {
        if let Some(last) = self.last.get_mut(due.lane) {
            // A clock that was set back while it was recorded.
            due.at = due.at.max(*last);
            *last = due.at;
        }
        let number = self.number;
        self.number += 1;
        self.waiting.push(Reverse(Waiting { due, number }));
    }

    /// The frame that is due first.
    pub fn pop(&mut self) -> Option<Due> {
        self.waiting.pop().map(|Reverse(waiting)| waiting.due)
    }
}
