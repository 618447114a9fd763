//! The freeze frame of service $02: the conditions of the first fault.
//!
//! First fault wins, except that misfire and fuel system take the place of any other and then stay (13 CCR
//! 1968.2(e)(3.4.3) and (6.4.4), from memory). Erased with its code; the slot then waits for the next new
//! detection.

use twotrip_obd::{Dtc, Group};

use super::{Catalogue, Effect, Effects};
use crate::data::LiveData;

/// Conditions stored at the detection of a fault.
#[derive(Clone, Copy, Debug, PartialEq)]
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

/// Misfire and fuel system: known by the monitor's group, else by the ranges of SAE J2012, P0300 to P0312 and
/// P0170 to P0175.
fn outranks(catalogue: &Catalogue, dtc: Dtc) -> bool {
    match catalogue
        .code(dtc)
        .and_then(|code| catalogue.monitor(code.monitor))
    {
        Some(monitor) => matches!(monitor.group, Group::Misfire | Group::FuelSystem),
        None => matches!(u16::from_be_bytes(dtc.to_bytes()), 0x0300..=0x0312 | 0x0170..=0x0175),
    }
}
