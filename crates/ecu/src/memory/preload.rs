//! Filling the memory without a fault, for authors of tools: not physical, and said to be so wherever it is
//! used.
//!
//! Codes that the ECU has no monitor for come in as guests: they command the MIL and live by the logic of their
//! range, but nothing ever judges them, so only service $04 takes them out (and a pending code of misfire or fuel
//! system goes after 80 driving cycles without similar conditions). Their permanent entry then
//! follows the rule for monitors without a minimum ratio, 13 CCR 1968.2(d)(2.5.2)(B) (from memory), as far as
//! it can: no monitor could pass or fail, so one driving cycle with the drive of that rule erases it.

use thiserror::Error;
use twotrip_obd::Dtc;

use super::{Effects, FaultMemory, OperatingPoint, code::Record};
use crate::data::LiveData;

/// Why a code was not preloaded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum PreloadError {
    /// No room for one more code without a monitor.
    #[error(
        "no room for `{dtc}`: at most {} codes without a monitor can be preloaded",
        FaultMemory::GUESTS
    )]
    NoRoom {
        /// The code.
        dtc: Dtc,
    },
}

impl FaultMemory {
    /// How many codes without a monitor it can hold at once.
    pub const GUESTS: usize = 32;

    /// Stores a confirmed code with MIL and permanent entry as its definition has them, and a freeze frame of
    /// `live` if the slot is free; readiness and counters of driving stay as they are.
    ///
    /// # Errors
    /// [`PreloadError::NoRoom`] if the code has no monitor and [`Self::GUESTS`] such codes are stored.
    pub fn preload_confirmed(&mut self, dtc: Dtc, live: &LiveData) -> Result<Effects, PreloadError> {
        let mut effects = Effects::NONE;
        let place = self.admit(dtc)?;
        let at = OperatingPoint::of(live, self.profile);
        let record = &mut self.records[place];
        if record.confirm(self.profile, &mut self.order, &mut effects) {
            record.preload_conditions(at);
            self.frame.offer(self.catalogue, dtc, live, &mut effects);
            self.note_failure(place, Some(live));
        }
        self.renew(&mut effects);
        Ok(effects)
    }

    /// Stores a pending code as if found in an earlier driving cycle, and a freeze frame of `live` if the
    /// slot is free. A monitor that passes in a driving cycle erases it, one that fails confirms it.
    ///
    /// # Errors
    /// [`PreloadError::NoRoom`] if the code has no monitor and [`Self::GUESTS`] such codes are stored.
    pub fn preload_pending(&mut self, dtc: Dtc, live: &LiveData) -> Result<Effects, PreloadError> {
        let mut effects = Effects::NONE;
        let place = self.admit(dtc)?;
        let at = OperatingPoint::of(live, self.profile);
        let record = &mut self.records[place];
        if record.pending_since().is_none() && record.preload(at, &mut self.order, &mut effects) {
            self.frame.offer(self.catalogue, dtc, live, &mut effects);
            self.note_failure(place, Some(live));
        }
        self.renew(&mut effects);
        Ok(effects)
    }

    /// The place of the code's record; makes room for a guest.
    fn admit(&mut self, dtc: Dtc) -> Result<usize, PreloadError> {
        if let Some(place) = self.records.iter().position(|record| record.dtc() == dtc) {
            return Ok(place);
        }
        if self.records.len() >= self.catalogue.codes.len() + self.companions.len() + Self::GUESTS {
            return Err(PreloadError::NoRoom { dtc });
        }
        self.records.push(Record::guest(dtc));
        Ok(self.records.len() - 1)
    }

    /// Forgets guests of whom nothing is stored.
    pub(super) fn dismiss_guests(&mut self) {
        self.records
            .retain(|record| !record.is_guest() || record.is_stored());
    }
}
