//! What is between the car and its bus while it is disturbed.
//!
//! The simulator asks about every frame, in both directions. It is here and not at some bus, so that it is the same on any
//! of them, and so that a journal of what was heard and told repeats it.

use twotrip_can::Frame;
use twotrip_scenario::disturbance::Kind;
use twotrip_units::BusInstant;

use super::Disturbances;

/// What becomes of a frame of the car.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fate {
    /// It goes on its way.
    Passes,
    /// It is lost.
    Lost,
}

/// The line.
#[derive(Clone, Debug)]
pub(crate) struct Line {
    pub(crate) disturbances: Disturbances,
}

impl Line {
    pub(crate) const fn new(disturbances: Disturbances) -> Self {
        Self { disturbances }
    }

    /// What becomes of a frame, on its way in or out.
    pub(crate) fn fate(&mut self, now: BusInstant, frame: &Frame) -> Fate {
        if self.disturbances.acts(now, Kind::Drop, frame.id()).is_some() {
            return Fate::Lost;
        }
        Fate::Passes
    }
}
