//! Frames in and out, through what disturbs them: the calls that whoever has the bus makes.

use twotrip_can::Frame;
use twotrip_scenario::disturbance::{Disturbance, Kind};
use twotrip_units::BusInstant;

use super::Simulator;
use crate::{
    Event, Outcome,
    disturb::{
        Disturbances, Hit,
        line::{Fate, Line},
    },
};

impl Simulator {
    /// A frame came in. Deadlines up to `now` run first. A sleeping ECU hears nothing.
    pub fn handle_frame(&mut self, now: BusInstant, frame: &Frame) {
        if self.line.is_none() {
            return self.hear(now, frame);
        }
        self.handle_timeout(now);
        let fate = self.line.as_mut().map_or(Fate::Passes, |line| line.fate(now, frame));
        self.note_disturbances();
        match fate {
            Fate::Passes => self.hear(now, frame),
            Fate::Lost => {}
        }
    }

    /// The bus took our last frame.
    pub fn handle_transmitted(&mut self, now: BusInstant) {
        self.transmitted(now);
    }

    /// A deadline has passed; an extra call is harmless.
    pub fn handle_timeout(&mut self, now: BusInstant) {
        self.serve(now);
    }

    /// A frame to put on the bus: one at a time.
    #[must_use]
    pub fn poll_frame(&mut self, now: BusInstant) -> Option<Frame> {
        loop {
            let frame = self.next_frame(now)?;
            let Some(line) = &mut self.line else {
                return Some(frame);
            };
            let fate = line.fate(now, &frame);
            self.note_disturbances();
            match fate {
                Fate::Passes => return Some(frame),
                // The ECU is told that it is on its way.
                Fate::Lost => self.transmitted(now),
            }
        }
    }

    /// The line, from the first disturbance on.
    fn line(&mut self) -> &mut Line {
        let seed = self.seed;
        self.line
            .get_or_insert_with(|| Box::new(Line::new(Disturbances::new(seed))))
    }

    /// Whether a disturbance of this kind acts on the ECU that answers by the identifier, at this opportunity; if so, its
    /// size. A frame or an answer is one opportunity.
    pub(super) fn disturbed(&mut self, now: BusInstant, kind: Kind, ecu: twotrip_can::CanId) -> Option<f64> {
        let size = self.line.as_mut()?.disturbances.acts(now, kind, ecu);
        self.note_disturbances();
        size
    }

    /// Switches a disturbance on.
    pub(super) fn disturb(&mut self, what: Disturbance) -> Outcome {
        let begun = self.line().disturbances.start(what);
        self.note_disturbances();
        if begun {
            Outcome::done(format!("{what}: on"))
        } else {
            Outcome::refused("too many disturbances are on already").with_detail("first: disturb off")
        }
    }

    /// Switches off those of a kind, or all.
    pub(super) fn disturb_off(&mut self, kind: Option<Kind>) -> Outcome {
        let ended = self
            .line
            .as_mut()
            .map_or(0, |line| line.disturbances.stop(kind));
        self.note_disturbances();
        Outcome::done(match (ended, kind) {
            (0, Some(kind)) => format!("{} was not on", kind.name()),
            (0, None) => "nothing was on".to_owned(),
            (1, _) => "one disturbance is off".to_owned(),
            (ended, _) => format!("{ended} disturbances are off"),
        })
    }

    /// Tells which have begun and ended.
    fn note_disturbances(&mut self) {
        while let Some(change) = self
            .line
            .as_mut()
            .and_then(|line| line.disturbances.poll_change())
        {
            self.note(Event::Disturbance {
                at: self.car.now(),
                number: change.number,
                disturbance: change.what,
                begins: change.begins,
                acted: change.acted,
            });
        }
    }

    /// The disturbances that are on, with their numbers.
    pub fn disturbances(&self) -> impl Iterator<Item = (u64, Disturbance)> {
        self.line.iter().flat_map(|line| line.disturbances.running())
    }

    /// The next thing that a disturbance has done.
    #[must_use]
    pub fn poll_hit(&mut self) -> Option<Hit> {
        self.line.as_mut()?.disturbances.poll_hit()
    }
}
