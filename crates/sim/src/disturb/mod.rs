//! The disturbances of a run: which are on, how often each still acts, and the dice of each.
//!
//! Whoever can be disturbed asks [`Disturbances::acts`] at each opportunity, a frame or an answer, and does what the row says
//! if it gives a size. What is done to frames between car and bus is in [`mod@line`]; what an ECU does wrong is asked where
//! it answers. Nothing here is asked while no disturbance was ever on.

mod background;
mod controller;
pub(crate) mod ecu;
mod lane;
pub(crate) mod line;
mod other_tester;

use std::collections::VecDeque;

use rand_chacha::{ChaCha8Rng, rand_core::Rng as _};
use twotrip_can::CanId;
use twotrip_scenario::disturbance::{Disturbance, Identifier, Kind, Occurrence};
use twotrip_units::BusInstant;

use crate::endpoint;

/// Disturbances that are on at once, at the most.
const MOST: usize = 64;
/// Hits that wait for [`Disturbances::poll_trace`] at the most; more are not kept. Of beginnings and ends so many more are.
const HITS: usize = 1024;
const TRACES: usize = 4 * HITS;
/// Purpose of their dice; the number of the disturbance is added to it.
const DICE: u64 = 0x6469_7374_0000_0000;
/// The same of dice for frames that nobody sent.
const INVENTIONS: u64 = 0x696E_7600_0000_0000;

/// What disturbances did, in order, for whoever judges the tool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trace {
    /// One begins.
    Begins {
        /// Disturbances are counted from 1.
        number: u64,
        /// Which.
        what: Disturbance,
    },
    /// One did something.
    Hit {
        /// Its number.
        number: u64,
        /// When.
        at: BusInstant,
        /// The identifier of the frame, or of the ECU's answers.
        id: Option<CanId>,
    },
    /// One ends.
    Ends {
        /// Its number.
        number: u64,
        /// When the time was told last.
        at: BusInstant,
    },
}

/// What one does this time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Act {
    /// Its number.
    pub(crate) number: u64,
    /// How much, in the unit of its row.
    pub(crate) size: f64,
    /// From its dice, 0 to 1, for what differs from time to time.
    pub(crate) draw: f64,
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
    traces: VecDeque<Trace>,
    now: BusInstant,
}

impl Disturbances {
    /// None yet.
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            seed,
            begun: 0,
            running: Vec::new(),
            changes: VecDeque::new(),
            traces: VecDeque::new(),
            now: BusInstant::ZERO,
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
        self.trace(Trace::Begins { number, what });
        true
    }

    /// Switches off those of a kind, or all; says how many.
    pub(crate) fn stop(&mut self, kind: Option<Kind>) -> usize {
        self.end_those(|running| kind.is_none_or(|kind| running.what.kind == kind))
    }

    fn end_those(&mut self, over: impl Fn(&Running) -> bool) -> usize {
        let mut ended = 0;
        while let Some(place) = self.running.iter().position(&over) {
            let running = self.running.remove(place);
            self.changes.push_back(running.change(false));
            self.trace(Trace::Ends {
                number: running.number,
                at: self.now,
            });
            ended += 1;
        }
        ended
    }

    /// Whether any of these is on.
    pub(crate) fn is_on(&self, kind: Kind) -> bool {
        self.running.iter().any(|running| running.what.kind == kind)
    }

    /// Number and size of one that lasts, while it is on.
    pub(crate) fn lasting(&self, kind: Kind) -> Option<(u64, f64)> {
        let running = self.running.iter().find(|running| running.what.kind == kind);
        running.map(|running| (running.number, running.what.size))
    }

    /// Switches one off.
    pub(crate) fn end(&mut self, number: u64) {
        self.end_those(|running| running.number == number);
    }

    /// Dice for what one makes up.
    pub(crate) fn dice_of(&self, number: u64) -> ChaCha8Rng {
        endpoint::dice(self.seed, INVENTIONS + number)
    }

    /// Asks whether one of this kind acts on this frame or ECU now. Each call is one opportunity.
    pub(crate) fn acts(&mut self, now: BusInstant, kind: Kind, id: CanId) -> Option<Act> {
        let act = self.running.iter_mut().find_map(|running| {
            let fits = running.what.kind == kind && running.what.on.is_none_or(|on| is_same(on, id));
            fits.then(|| running.act())?
        })?;
        self.hit(act.number, now, Some(id));
        if self.running.iter().any(|running| running.left == Some(0)) {
            self.end_those(|running| running.left == Some(0));
        }
        Some(act)
    }

    /// One did something.
    pub(crate) fn hit(&mut self, number: u64, at: BusInstant, id: Option<CanId>) {
        self.trace(Trace::Hit { number, at, id });
    }

    /// The time.
    pub(crate) const fn pass(&mut self, now: BusInstant) {
        self.now = now;
    }

    fn trace(&mut self, trace: Trace) {
        let most = if matches!(trace, Trace::Hit { .. }) {
            HITS
        } else {
            TRACES
        };
        if self.traces.len() < most {
            self.traces.push_back(trace);
        }
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
    pub(crate) fn poll_trace(&mut self) -> Option<Trace> {
        self.traces.pop_front()
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

    fn act(&mut self) -> Option<Act> {
        let mut draw = || f64::from(self.dice.next_u32()) / 4_294_967_296.0;
        let acts = match self.what.occurrence {
            Occurrence::Always => true,
            Occurrence::Times(_) => match &mut self.left {
                Some(left @ 1..) => {
                    *left -= 1;
                    true
                }
                Some(0) | None => false,
            },
            Occurrence::Chance(share) => draw() < share.fraction(),
        };
        let draw = draw();
        acts.then(|| {
            self.acted += 1;
            Act {
                number: self.number,
                size: self.what.size,
                draw,
            }
        })
    }
}

/// Whether an identifier of a phrase is this one of the bus.
pub(crate) fn is_same(on: Identifier, id: CanId) -> bool {
    match (on, id) {
        (Identifier::Standard(on), CanId::Standard(id)) => on == id,
        (Identifier::Extended(on), CanId::Extended(id)) => on == id,
        _ => false,
    }
}

#[cfg(test)]
mod tests;
