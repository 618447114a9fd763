//! The ECU's memory goes to its file before anything is told of it: before a frame leaves, before an event is shown.
//!
//! If the file cannot be written, the car is silent: what it would answer is not kept. Each request tries again, and
//! so does, once a second, the car itself. Whoever gives it phrases is told with each outcome that it is not kept.

use std::time::Duration;

use twotrip_units::BusInstant;

use super::{Notice, Run};
use crate::memory_file::{MemoryFile, MemoryFileError};

/// How often a change that nobody has been told of is brought to the file.
const UNTOLD: Duration = Duration::from_secs(1);

/// The file, and how it fares.
#[derive(Debug, Default)]
pub(super) struct Keeper {
    file: Option<MemoryFile>,
    /// The last attempt failed.
    failing: bool,
    /// How that came, or that it is over, if nobody has been told yet.
    news: Option<Result<(), MemoryFileError>>,
    last_try: BusInstant,
    /// The car's [`moments`](twotrip_sim::Simulator::moments) when the file was last known to be up to date: most
    /// frames leave without anything having happened since the one before.
    up_to_date_at: Option<u64>,
}

impl Keeper {
    /// What to add to the outcome of a phrase.
    pub(super) fn remark(&self) -> Option<String> {
        self.failing
            .then(|| "not kept: the memory file cannot be written".to_owned())
    }

    /// Whether there is something to tell.
    pub(super) const fn has_news(&self) -> bool {
        self.news.is_some()
    }
}

impl Run {
    /// Keeps the ECU's memory in this file from now on.
    ///
    /// # Errors
    /// [`MemoryFileError`] if it cannot be written.
    pub fn keep_memory_in(&mut self, mut file: MemoryFile) -> Result<(), MemoryFileError> {
        file.write(&self.simulator)?;
        self.memory.file = Some(file);
        Ok(())
    }

    /// Writes the memory for the last time and lets go of the file.
    ///
    /// # Errors
    /// [`MemoryFileError`] if it cannot be written.
    pub fn let_go_of_memory(&mut self) -> Result<(), MemoryFileError> {
        let file = self.memory.file.take();
        file.map_or(Ok(()), |mut file| file.write(&self.simulator))
    }

    /// Whether what the car would tell now is in the file; brings it there if need be.
    pub(super) fn may_tell(&mut self) -> bool {
        let Keeper {
            file: Some(file),
            failing,
            news,
            last_try,
            up_to_date_at,
        } = &mut self.memory
        else {
            return true;
        };
        let moments = self.simulator.moments();
        if *up_to_date_at == Some(moments) {
            return true;
        }
        if file.is_up_to_date(&self.simulator) {
            *up_to_date_at = Some(moments);
            return true;
        }
        *last_try = BusInstant::ZERO + self.begun.elapsed();
        let written = file.write(&self.simulator);
        let well = written.is_ok();
        // Told once, and once more when it is over.
        if well == *failing {
            *news = Some(written);
        }
        *failing = !well;
        well
    }

    /// Does what nobody waits for: brings changes to the file that nobody has been told of, and says how it fares.
    pub(super) fn look_after_memory(&mut self, now: BusInstant, notice: &mut impl FnMut(Notice<'_>)) {
        if self.memory.file.is_some()
            && (self.simulator.has_events() || now.saturating_since(self.memory.last_try) >= UNTOLD)
        {
            self.may_tell();
        }
        match self.memory.news.take() {
            Some(Ok(())) => notice(Notice::MemoryKept),
            Some(Err(error)) => notice(Notice::MemoryNotKept(&error)),
            None => {}
        }
    }
}
