//! What outlives the run: the ECU's memory, stored and put back.

use serde::{Deserialize, Serialize};
use twotrip_ecu::{
    Nonvolatile, RestoreError,
    memory::{FaultMemory, StoredMemory},
    monitors::frame::Results,
    transmission::Transmission,
};

use super::Simulator;

/// What a car's ECU keeps without power, and whether anything in it came from elsewhere than the car's physics.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stored {
    not_physical: bool,
    ecu: Nonvolatile,
    /// The transmission ECU's part, in a car that has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    transmission: Option<StoredMemory>,
    /// Listed ECUs whose codes have been cleared, a bit for each by its number.
    #[serde(default, skip_serializing_if = "is_none")]
    cleared: u8,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands a reference")]
const fn is_none(cleared: &u8) -> bool {
    *cleared == 0
}

/// What was kept at an instant, to be compared with what would be kept now.
#[derive(Clone, Debug)]
pub struct Mark {
    not_physical: bool,
    memory: FaultMemory,
    results: Results,
    transmission: Option<FaultMemory>,
    cleared: u8,
}

impl Stored {
    /// The ECU's part.
    #[must_use]
    pub const fn ecu(&self) -> &Nonvolatile {
        &self.ecu
    }
}

impl Simulator {
    /// What the ECU keeps without power.
    #[must_use]
    pub fn store(&self) -> Stored {
        Stored {
            not_physical: self.not_physical,
            ecu: self.car.ecu.nonvolatile(),
            transmission: self.car.transmission().map(Transmission::store),
            cleared: self.nodes.cleared(),
        }
    }

    /// The ECU's power was off and is back, with this content; the car stays as it is, and the ECU's memory of what it
    /// has lived through here is gone. Answers under way are not sent.
    ///
    /// # Errors
    /// [`RestoreError`] if the content is another car's, or none that an ECU can have; then nothing changes.
    pub fn restore(&mut self, stored: &Stored) -> Result<(), RestoreError> {
        let now = self.car.now();
        let before = self.car.ecu.clone();
        self.car.ecu.restore(now, &stored.ecu)?;
        if let (Some(transmission), Some(content)) = (&mut self.car.transmission, &stored.transmission)
            && let Err(error) = transmission.restore(now, content)
        {
            self.car.ecu = before;
            return Err(error.into());
        }
        self.nodes.clear(stored.cleared);
        self.moments += 1;
        self.not_physical |= stored.not_physical;
        self.withhold_answers();
        if !self.is_resting() {
            // The lamp follows in the next step.
            self.step();
        }
        Ok(())
    }

    /// What is kept now, for [`Self::keeps_the_same_as`].
    #[must_use]
    pub fn mark(&self) -> Mark {
        Mark {
            not_physical: self.not_physical,
            memory: self.car.ecu.memory().clone(),
            results: *self.car.ecu.monitors().results(),
            transmission: self.car.transmission().map(|ecu| ecu.memory().clone()),
            cleared: self.nodes.cleared(),
        }
    }

    /// Whether the memory would tell the same after the power was off as at the mark: before an answer leaves that may
    /// report what has changed since, it has to be stored. Learned values of engine management are not compared: they
    /// change all the time, and no service reports them as memory. Does not allocate.
    #[must_use]
    pub fn keeps_the_same_as(&self, mark: &Mark) -> bool {
        let ecu = &self.car.ecu;
        self.not_physical == mark.not_physical
            && self.nodes.cleared() == mark.cleared
            && match (self.car.transmission(), &mark.transmission) {
                (Some(ecu), Some(memory)) => ecu.memory().keeps_the_same_as(memory),
                (one, other) => one.is_none() && other.is_none(),
            }
            && *ecu.monitors().results() == mark.results
            && ecu.memory().keeps_the_same_as(&mark.memory)
    }

    /// How often anything has happened to this car that can change what is kept: the same number again means that
    /// nothing has.
    #[must_use]
    pub const fn moments(&self) -> u64 {
        self.moments
    }

    /// Forgets the answers under way and the requests that wait: what they would report could not be stored.
    pub fn withhold_answers(&mut self) {
        self.nodes.reset();
        if let Some(line) = &mut self.line {
            line.reset();
        }
    }
}
