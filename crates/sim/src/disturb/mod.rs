//! The disturbances of a run: which are on, how often each still acts, and the dice of each.
//!
//! Whoever can be disturbed asks [`Disturbances::acts`] at each opportunity, a frame or an answer, and does what the row says
//! if it gives a size. What is done to frames between car and bus is in [`line`]; what an ECU does wrong is asked where
//! it answers. Nothing here is asked while no disturbance was ever on.

pub(crate) mod line;

use std::collections::VecDeque;

use rand_chacha::{ChaCha8Rng, rand_core::Rng as _};
use twotrip_can::CanId;
use twotrip_scenario::disturbance::{Disturbance, Identifier, Kind, Occurrence};
use twotrip_units::BusInstant;

use crate::endpoint;

/// Disturbances that are on at once, at the most.
const MOST: usize = 64;
/// What it did, and nobody has asked for yet, at the most; the oldest go first.
const HITS: usize = 1024;
/// Purpose of their dice; the number of the disturbance is added to it.
const DICE: u64 = 0x6469_7374_0000_0000;

/// A disturbance did something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hit {
    /// Which one, as counted in [`Event::Disturbance`](crate::Event::Disturbance).
    pub number: u64,
    /// When.
    pub at: BusInstant,
    /// The identifier of the frame, or of the ECU's answers.
    pub id: Option<CanId>,
}

/// One that is on.
#[derive(Clone, Debug)]
struct Running {
    number: u64,
    what: Disturbance,
    /// How often it acts still; `None` where that is not counted.
    left: Option<u32>,
    /// How often it has acted.
    acted: u64,
    dice: ChaCha8Rng,
}

/// Of a disturbance that begins or ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Change {
    pub(crate) number: u64,
    pub(crate) what: Disturbance,
    pub(crate) begins: bool,
    pub(crate) acted: u64,
}

/// All of a run.
#[derive(Clone, Debug)]
pub(crate) struct Disturbances {
    seed: u64,
    begun: u64,
    running: Vec<Running>,
    /// Not told yet.
    changes: VecDeque<Change>,
    hits: VecDeque<Hit>,
}

impl Disturbances {
    /// None yet.
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            seed,
            begun: 0,
            running: Vec::new(),
            changes: VecDeque::new(),
            hits: VecDeque::with_capacity(HITS),
        }
    }

    /// Switches one on, in place of one of its kind for the same frames or ECU. Says whether there was room.
    pub(crate) fn start(&mut self, what: Disturbance) -> bool {
        self.end_those(|running| running.what.kind == what.kind && running.what.on == what.on);
        if self.running.len() == MOST {
            return false;
        }
        self.begun += 1;
        let number = self.begun;
        let running = Running {
            number,
            what,
            left: match what.occurrence {
                Occurrence::Times(times) => Some(times),
                Occurrence::Always | Occurrence::Chance(_) => None,
            },
            acted: 0,
            dice: endpoint::dice(self.seed, DICE + number),
        };
        self.changes.push_back(running.change(true));
        self.running.push(running);
        true
    }

    /// Switches off those of a kind, or all; says how many.
    pub(crate) fn stop(&mut self, kind: Option<Kind>) -> usize {
        self.end_those(|running| kind.is_none_or(|kind| running.what.kind == kind))
    }

    fn end_those(&mut self, over: impl Fn(&Running) -> bool) -> usize {
        let before = self.running.len();
        let changes = &mut self.changes;
        self.running.retain(|running| {
            let ends = over(running);
            if ends {
                changes.push_back(running.change(false));
            }
            !ends
        });
        before - self.running.len()
    }

    /// Whether any of these is on.
    pub(crate) fn is_on(&self, kind: Kind) -> bool {
        self.running.iter().any(|running| running.what.kind == kind)
    }

    /// The size of one that lasts, while it is on.
    pub(crate) fn lasting(&self, kind: Kind) -> Option<f64> {
        let running = self.running.iter().find(|running| running.what.kind == kind);
        running.map(|running| running.what.size)
    }

    /// Asks whether one of this kind acts on this frame or ECU now; if so, its size. Each call is one opportunity.
    pub(crate) fn acts(&mut self, now: BusInstant, kind: Kind, id: CanId) -> Option<f64> {
        let mut found = None;
        for running in &mut self.running {
            let fits = running.what.kind == kind && running.what.on.is_none_or(|on| is_same(on, id));
            if fits && running.acts() {
                running.acted += 1;
                found = Some((running.number, running.what.size));
                break;
            }
        }
        let (number, size) = found?;
        self.note(Hit {
            number,
            at: now,
            id: Some(id),
        });
        self.end_those(|running| running.left == Some(0));
        Some(size)
    }

    /// Something that one of this kind does by itself, or did to all that was sent.
    pub(crate) fn did(&mut self, now: BusInstant, kind: Kind, id: Option<CanId>) {
        if let Some(running) = self.running.iter_mut().find(|running| running.what.kind == kind) {
            running.acted += 1;
            let number = running.number;
            self.note(Hit { number, at: now, id });
        }
    }

    fn note(&mut self, hit: Hit) {
        if self.hits.len() == HITS {
            self.hits.pop_front();
        }
        self.hits.push_back(hit);
    }

    /// Those that are on.
    pub(crate) fn running(&self) -> impl Iterator<Item = (u64, Disturbance)> {
        self.running.iter().map(|running| (running.number, running.what))
    }

    /// The next that began or ended.
    pub(crate) fn poll_change(&mut self) -> Option<Change> {
        self.changes.pop_front()
    }

    /// The next thing that one did.
    pub(crate) fn poll_hit(&mut self) -> Option<Hit> {
        self.hits.pop_front()
    }
}

impl Running {
    const fn change(&self, begins: bool) -> Change {
        Change {
            number: self.number,
            what: self.what,
            begins,
            acted: self.acted,
        }
    }

    fn acts(&mut self) -> bool {
        match self.what.occurrence {
            Occurrence::Always => true,
            Occurrence::Times(_) => match &mut self.left {
                Some(left @ 1..) => {
                    *left -= 1;
                    true
                }
                Some(0) | None => false,
            },
            Occurrence::Chance(share) => {
                f64::from(self.dice.next_u32()) < share.fraction() * 4_294_967_296.0
            }
        }
    }
}

fn is_same(on: Identifier, id: CanId) -> bool {
    match (on, id) {
        (Identifier::Standard(on), CanId::Standard(id)) => on == id,
        (Identifier::Extended(on), CanId::Extended(id)) => on == id,
        _ => false,
    }
}

#[cfg(test)]
mod tests;
