//! The freeze frame of service $02: the conditions of the first fault.
//!
//! First fault wins, except that misfire and fuel system take the place of any other and then stay (13 CCR
//! 1968.2(e)(3.4.3) and (6.4.4), from memory). Erased with its code; the slot then waits for the next new
//! detection.

use serde::{Deserialize, Serialize};
use twotrip_obd::Dtc;

use super::{Catalogue, Effect, Effects, Logic};
use crate::data::LiveData;

/// Conditions stored at the detection of a fault.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FreezeFrame {
    /// The code that stored it (PID $02 of service $02).
    pub dtc: Dtc,
    /// What the ECU measured then.
    pub data: LiveData,
}

/// Room for one frame.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Slot(Option<FreezeFrame>);

impl Slot {
    pub(super) const fn frame(&self) -> Option<&FreezeFrame> {
        self.0.as_ref()
    }

    /// Puts back what was kept.
    pub(super) const fn restore(&mut self, frame: Option<FreezeFrame>) {
        self.0 = frame;
    }

    /// A new detection: stored if the slot is free, or held by a frame of lower rank.
    pub(super) fn offer(&mut self, catalogue: &Catalogue, dtc: Dtc, live: &LiveData, effects: &mut Effects) {
        let free = match &self.0 {
            None => true,
            Some(held) => outranks(catalogue, dtc) && !outranks(catalogue, held.dtc),
        };
        if free {
            self.0 = Some(FreezeFrame { dtc, data: *live });
            effects.push(Effect::FreezeFrameStored(dtc));
        }
    }

    /// The code is gone, and its frame with it.
    pub(super) fn erase(&mut self, dtc: Dtc, effects: &mut Effects) {
        if self.0.take_if(|frame| frame.dtc == dtc).is_some() {
            effects.push(Effect::FreezeFrameErased(dtc));
        }
    }
}

/// Misfire and fuel system, imbalance left out: 1968.2(e)(3.4.3), (6.4.4).
pub(super) fn outranks(catalogue: &Catalogue, dtc: Dtc) -> bool {
    catalogue
        .code(dtc)
        .map_or_else(|| Logic::assumed(dtc), |code| code.logic)
        .is_similar_conditions()
}
