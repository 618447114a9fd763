//! What the services read of a fault memory.

use twotrip_obd::{Dtc, Group, InUsePerformance, Readiness};
use twotrip_units::CarInstant;

use super::{Catalogue, CodeStatus, Counters, FaultMemory, FreezeFrame, Lamp, Profile, Record};

impl FaultMemory {
    /// Confirmed codes, service $03, oldest entry first.
    pub fn confirmed(&self) -> impl Iterator<Item = Dtc> + '_ {
        self.in_order(Record::confirmed_since)
    }

    /// Pending codes, service $07, oldest entry first.
    pub fn pending(&self) -> impl Iterator<Item = Dtc> + '_ {
        self.in_order(Record::pending_since)
    }

    /// Permanent codes, service $0A, oldest entry first.
    pub fn permanent(&self) -> impl Iterator<Item = Dtc> + '_ {
        self.in_order(Record::permanent_since)
    }

    /// How many codes are confirmed, at most 127 (PID $01 byte A bits 0 to 6).
    #[must_use]
    pub fn confirmed_count(&self) -> u8 {
        let count = self.confirmed().take(127).count();
        u8::try_from(count).unwrap_or(127)
    }

    /// Whether the MIL is commanded on (PID $01 byte A bit 7): by a confirmed code, for another ECU that asks for it, or by misfire that blinks
    /// with it (the rule does not say: our choice). The bulb check does not.
    #[must_use]
    pub const fn mil_commanded(&self) -> bool {
        self.mil_commanded || !matches!(self.misfire_lamp, Lamp::Off)
    }

    /// Whether another ECU asks for the MIL.
    #[must_use]
    pub const fn lamp_requested(&self) -> bool {
        self.lamp_requested
    }

    /// What the lamp shows: dark with the key off; lit by a fault, or for its check; after it, readiness, if it is
    /// to show that.
    #[must_use]
    pub fn lamp(&self, now: CarInstant) -> Lamp {
        let commanded = match self.misfire_lamp {
            Lamp::Off if self.mil_commanded => Lamp::On,
            lamp => lamp,
        };
        self.key.lamp(self.profile, now, commanded, || {
            let readiness = self.readiness_since_clear();
            self.shows_readiness
                .then(|| Group::ALL.into_iter().all(|group| readiness.is_complete(group)))
        })
    }

    /// Frame 0 of service $02.
    #[must_use]
    pub const fn freeze_frame(&self) -> Option<&FreezeFrame> {
        self.frame.frame()
    }

    /// Bytes B, C, D of PID $01.
    #[must_use]
    pub fn readiness_since_clear(&self) -> Readiness {
        self.readiness.since_clear(self.profile, self.catalogue)
    }

    /// Bytes B, C, D of PID $41; with the engine off, of the driving cycle that has ended.
    #[must_use]
    pub fn readiness_this_cycle(&self) -> Readiness {
        self.readiness
            .this_cycle(self.catalogue, |monitor| self.is_disabled(monitor))
    }

    /// PIDs $21, $30, $31, $4D, $4E.
    #[must_use]
    pub fn counters(&self) -> Counters {
        self.odometers.counters()
    }

    /// Service $09 InfoType $08.
    #[must_use]
    pub fn in_use(&self) -> InUsePerformance {
        self.in_use.report(self.catalogue)
    }

    /// Whether a driving cycle is under way.
    #[must_use]
    pub const fn is_driving_cycle(&self) -> bool {
        self.cycle.is_some()
    }

    /// What is stored of a code: nothing if the ECU neither watches for it nor holds it.
    #[must_use]
    pub fn status(&self, dtc: Dtc) -> Option<CodeStatus> {
        self.record(dtc).map(Record::status)
    }

    /// The numbers it follows.
    #[must_use]
    pub const fn profile(&self) -> &'static Profile {
        self.profile
    }

    /// The monitors and codes it watches over.
    #[must_use]
    pub const fn catalogue(&self) -> &'static Catalogue {
        self.catalogue
    }
}
