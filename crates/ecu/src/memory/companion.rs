//! Codes of a maker's own (P1xxx, P30xx ...) that say more of a fault than the standard's code, and are set beside it.
//!
//! They have no row in the catalogue, which is the ECU's; a vehicle names them. Each lives by the rule of the code that
//! it goes with and is told of every pass and failure of that one. Misfire and fuel system have none: what similar
//! conditions make of those is counted code by code.

use twotrip_obd::Dtc;

use super::{Effects, FaultMemory, code::Record};
use crate::data::LiveData;

/// A code of a maker's own, and the code of the catalogue that it goes with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Companion {
    /// The maker's.
    pub dtc: Dtc,
    /// The standard's.
    pub with: Dtc,
}

impl FaultMemory {
    /// The same, and these codes beside those of the catalogue. One that goes with no code of it, or with one that
    /// waits for similar conditions, is left out; the reader of vehicle files refuses it before.
    #[must_use]
    pub fn with_companions(mut self, companions: &[Companion]) -> Self {
        for &companion in companions {
            let known = self.records.iter().any(|record| record.dtc() == companion.dtc);
            let with = self.records.iter().find(|record| record.dtc() == companion.with);
            if let Some(with) = with
                && !known
                && !with.is_guest()
                && !with.rule().logic.is_similar_conditions()
            {
                let record = Record::companion(companion.dtc, with);
                self.records.push(record);
                self.companions.push(companion);
            }
        }
        self
    }

    /// The codes of the maker's own that go with one of the catalogue.
    #[must_use]
    pub fn companions(&self) -> &[Companion] {
        &self.companions
    }

    pub(super) fn companions_passed(&mut self, with: Dtc, effects: &mut Effects) {
        for place in 0..self.companions.len() {
            let companion = self.companions[place];
            if companion.with == with {
                self.on_passed(companion.dtc, effects);
            }
        }
    }

    pub(super) fn companions_failed(&mut self, with: Dtc, live: &LiveData, effects: &mut Effects) {
        for place in 0..self.companions.len() {
            let companion = self.companions[place];
            if companion.with == with {
                self.on_failed(companion.dtc, live, effects);
            }
        }
    }
}
