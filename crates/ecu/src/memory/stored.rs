//! What a fault memory keeps without power, and putting it back.
//!
//! Kept: codes with their counts, permanent codes (1968.2(g)(4.4.6), from memory: no loss of power erases them),
//! freeze frame, readiness since the clear, distances and warm-ups, in-use counters (1968.2(g)(5.2), from memory).
//! Of the choice that 1968.2 and SAE J1979 leave to the maker between memory that needs the battery and memory that
//! does not, this ECU takes the second for all of them.
//!
//! Lost: key, bulb check, and the driving cycle under way, which ends unsettled, as when the battery is taken off:
//! neither healing nor ageing counts it, PID $41 begins anew. What was stored in it stays.
//!
//! Codes go by their number and monitors by their name, so that a program with another catalogue finds its own.

use alloc::{string::String, vec::Vec};
use core::ops::RangeInclusive;

use serde::{Deserialize, Serialize};
use thiserror::Error;
use twotrip_obd::Dtc;

use super::{
    Catalogue, Companion, Effects, FaultMemory, FreezeFrame, MonitorId, Record,
    code::StoredCode,
    counters::Odometers,
    cycle::DrivingCycle,
    detail::Detail,
    in_use::{StoredInUse, StoredPair},
};

/// Numbers that entries can have in the order in which they were stored: more than a car can ever use up.
const ORDER: RangeInclusive<u64> = 1..=1 << 53;

/// The content of a fault memory.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StoredMemory {
    codes: Vec<StoredCode>,
    freeze_frame: Option<FreezeFrame>,
    monitors: Vec<StoredMonitor>,
    in_use: StoredInUse,
    driven: Odometers,
    /// Of an ECU that tells of each code by itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    detail: Option<Detail>,
}

/// What is kept of a monitor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct StoredMonitor {
    name: String,
    /// Counts as run since the clear.
    decided: bool,
    in_use: StoredPair,
}

/// Why a content is none that a fault memory can have.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum StoredError {
    /// A code has more than one entry.
    #[error("`{dtc}` has two entries")]
    Twice {
        /// The code.
        dtc: Dtc,
    },
    /// An entry has no place of its own in the order of entries.
    #[error("the entry `{number}` of `{dtc}` is out of order")]
    Order {
        /// The code.
        dtc: Dtc,
        /// Its number.
        number: u64,
    },
    /// More codes without a monitor than there is room for.
    #[error(
        "`{count}` codes have no monitor, at most `{}` can be held",
        FaultMemory::GUESTS
    )]
    Guests {
        /// How many.
        count: usize,
    },
    /// A distance that nobody can have driven.
    #[error("a distance is below zero or no number")]
    Distance,
}

impl FaultMemory {
    /// What it keeps without power.
    #[must_use]
    pub fn store(&self) -> StoredMemory {
        // Named one by one, so that a new part has to be sorted into kept and lost.
        let Self {
            profile,
            catalogue,
            records,
            companions: _,
            order: _,
            frame,
            key: _,
            cycle: _,
            after_cycle: _,
            readiness,
            odometers,
            in_use,
            lamp_requested: _,
            mil_commanded: _,
            catalyst_misfire: _,
            misfire_lamp: _,
            watches_conditions: _,
            in_use_frozen: _,
            disabled: _,
            shows_readiness: _,
            absent: _,
            second_bank: _,
            detail,
        } = self;
        let monitors = monitors(catalogue).map(|(id, definition)| StoredMonitor {
            name: definition.name.into(),
            decided: readiness.is_monitor_decided(id),
            in_use: in_use.stored_pair(id),
        });
        let stored = records.iter().filter(|record| record.is_stored());
        StoredMemory {
            codes: stored.map(|record| record.store(profile)).collect(),
            freeze_frame: frame.frame().copied(),
            monitors: monitors.collect(),
            in_use: in_use.store(),
            driven: *odometers,
            detail: detail.as_deref().cloned(),
        }
    }

    /// Power comes back with this content: what was here is forgotten, an engine that runs begins a driving cycle.
    ///
    /// Monitors that this ECU does not have are left out; those that are missing have never run.
    ///
    /// # Errors
    /// [`StoredError`] if no fault memory can have this content; then nothing changes.
    pub fn restore(&mut self, stored: &StoredMemory) -> Result<(), StoredError> {
        let mut fresh = Self {
            key: self.key,
            cycle: self.cycle.map(|_| DrivingCycle::default()),
            shows_readiness: self.shows_readiness,
            lamp_requested: self.lamp_requested,
            ..Self::new(self.profile, self.catalogue)
                .without(self.absent)
                .with_second_bank(self.second_bank)
                .with_companions(&self.companions)
        };
        let guests = stored.codes.iter().filter(|code| {
            let own = |companion: &Companion| companion.dtc == code.dtc();
            self.catalogue.code(code.dtc()).is_none() && !self.companions.iter().any(own)
        });
        let count = guests.count();
        if count > Self::GUESTS {
            return Err(StoredError::Guests { count });
        }
        let mut numbers = Vec::new();
        for (place, code) in stored.codes.iter().enumerate() {
            let dtc = code.dtc();
            if stored.codes[..place].iter().any(|other| other.dtc() == dtc) {
                return Err(StoredError::Twice { dtc });
            }
            for number in code.numbers() {
                if numbers.contains(&number) || !ORDER.contains(&number) {
                    return Err(StoredError::Order { dtc, number });
                }
                numbers.push(number);
                fresh.order.pass(number);
            }
            match fresh.records.iter_mut().find(|record| record.dtc() == dtc) {
                Some(record) => record.restore(code),
                None => {
                    let mut guest = Record::guest(dtc);
                    guest.restore(code);
                    fresh.records.push(guest);
                }
            }
        }
        if !stored.driven.is_possible() {
            return Err(StoredError::Distance);
        }
        fresh.frame.restore(stored.freeze_frame);
        if self.detail.is_some() {
            let room = self.codes_at_most();
            let stored = stored.detail.as_ref();
            fresh.detail = Some(
                stored
                    .map_or_else(|| Detail::new(room), |stored| Detail::restored(stored, room))
                    .into(),
            );
        }
        fresh.odometers = stored.driven;
        fresh.in_use.restore(&stored.in_use);
        for (id, definition) in monitors(self.catalogue) {
            let found = stored
                .monitors
                .iter()
                .find(|monitor| monitor.name == definition.name);
            if let Some(monitor) = found {
                fresh.in_use.restore_pair(id, monitor.in_use);
                if monitor.decided {
                    fresh.readiness.confirmed(id);
                }
            }
        }
        // Nothing of it is news.
        let mut unheard = Effects::NONE;
        fresh.mil_commanded = fresh.lamp_requested || fresh.records.iter().any(Record::commands_mil);
        fresh.renew(&mut unheard);
        *self = fresh;
        Ok(())
    }

    /// Whether both would tell the same after the power was off: everything that is kept, distances and times in
    /// the whole kilometres and minutes that are reported. Does not allocate.
    #[must_use]
    pub fn keeps_the_same_as(&self, other: &Self) -> bool {
        let Self {
            profile,
            catalogue: _,
            records,
            companions: _,
            order: _,
            frame,
            key: _,
            cycle: _,
            after_cycle: _,
            readiness,
            odometers,
            in_use,
            lamp_requested: _,
            mil_commanded: _,
            catalyst_misfire: _,
            misfire_lamp: _,
            watches_conditions: _,
            in_use_frozen: _,
            disabled: _,
            shows_readiness: _,
            absent: _,
            second_bank: _,
            detail,
        } = self;
        records.len() == other.records.len()
            && records.iter().zip(&other.records).all(|(mine, theirs)| {
                // Of most codes nothing is stored.
                let nothing = !mine.is_stored() && !theirs.is_stored();
                mine.dtc() == theirs.dtc() && (nothing || mine.store(profile) == theirs.store(profile))
            })
            && frame.frame() == other.frame.frame()
            && *detail == other.detail
            && readiness.keeps_the_same_as(&other.readiness)
            && odometers.tell_the_same_as(&other.odometers)
            && in_use.keeps_the_same_as(&other.in_use)
    }
}

/// The monitors of a catalogue with their places.
fn monitors(
    catalogue: &'static Catalogue,
) -> impl Iterator<Item = (MonitorId, &'static super::MonitorDefinition)> {
    (0..=u8::MAX).map(MonitorId).zip(catalogue.monitors)
}
