//! What misfire and fuel system have beyond the standard logic: similar conditions and counted exceedances (13
//! CCR 1968.2(e)(3.4) and (6.4), mostly from memory).
//!
//! A pending code of theirs is confirmed by a recurrence in the very next driving cycle whatever the
//! conditions, or in a later one that meets conditions similar to those of the first event; it goes when such a
//! cycle shows none, or after so many cycles without similar conditions; the MIL goes out after passing cycles
//! with similar conditions. Order inside a driving cycle does not matter: conditions met after the recurrence
//! count as well. Misfire reports exceedances and the memory counts them; the fuel system reports failures.
//!
//! A pending code is one, whichever threshold stored it.

use serde::{Deserialize, Serialize};
use twotrip_units::{AngularSpeed, Ratio, Temperature};

use super::{Conditions, MisfireCounts, Profile};
use crate::data::LiveData;

/// Conditions of the engine that can be similar to others.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct OperatingPoint {
    /// Engine speed.
    pub engine_speed: AngularSpeed,
    /// Calculated load, PID $04.
    pub load: Ratio,
    /// Warmed up: "hot" instead of "cold".
    pub warm: bool,
}

impl OperatingPoint {
    /// That of a freeze frame.
    #[must_use]
    pub fn of(live: &LiveData, profile: &Profile) -> Self {
        Self::new(
            live.engine_speed,
            live.calculated_load,
            live.coolant_temperature,
            profile,
        )
    }

    pub(super) fn of_conditions(conditions: &Conditions, profile: &Profile) -> Self {
        Self::new(
            conditions.engine_speed,
            conditions.load,
            conditions.coolant_temperature,
            profile,
        )
    }

    fn new(engine_speed: AngularSpeed, load: Ratio, coolant: Temperature, profile: &Profile) -> Self {
        Self {
            engine_speed,
            load,
            warm: coolant >= profile.warm_up_minimum,
        }
    }

    /// The same with the coolant at this temperature.
    pub(super) fn at_coolant(self, coolant: Temperature, profile: &Profile) -> Self {
        Self {
            warm: coolant >= profile.warm_up_minimum,
            ..self
        }
    }

    /// Whether both count as similar.
    #[must_use]
    pub fn is_similar(&self, other: &Self, profile: &Profile) -> bool {
        self.warm == other.warm
            && (self.engine_speed - other.engine_speed).abs() <= profile.similar.engine_speed
            && (self.load - other.load).abs() <= profile.similar.load
    }
}

/// A span of revolutions in which too many misfired.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MisfireWindow {
    /// 200 revolutions: enough to endanger the catalyst.
    Catalyst {
        /// Inside the speeds and loads of the test.
        in_test_area: bool,
    },
    /// 1000 revolutions, the first after the start: enough to raise emissions.
    EmissionAtStart,
    /// 1000 revolutions, later.
    EmissionLater,
}

/// Whether misfire endangers the catalyst at this moment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum CatalystMisfire {
    /// No.
    #[default]
    Gone,
    /// Yes: the lamp blinks once a code is pending for it.
    Present,
    /// It would, but its cylinder gets no fuel and the mixture is controlled by default: the lamp may be steady
    /// instead (1968.2(e)(3.4.1)(D), from memory).
    CutOff,
}

/// Exceedances of one driving cycle.
#[derive(Clone, Copy, Debug, Default)]
struct Exceedances {
    catalyst_in_test_area: u8,
    catalyst_elsewhere: u8,
    emission_at_start: u8,
    emission_later: u8,
}

impl Exceedances {
    fn add(&mut self, window: MisfireWindow) {
        let count = match window {
            MisfireWindow::Catalyst { in_test_area: true } => &mut self.catalyst_in_test_area,
            MisfireWindow::Catalyst { in_test_area: false } => &mut self.catalyst_elsewhere,
            MisfireWindow::EmissionAtStart => &mut self.emission_at_start,
            MisfireWindow::EmissionLater => &mut self.emission_later,
        };
        *count = count.saturating_add(1);
    }

    const fn any(&self) -> bool {
        self.any_catalyst() || self.emission_at_start > 0 || self.emission_later > 0
    }

    const fn any_catalyst(&self) -> bool {
        self.catalyst_in_test_area > 0 || self.catalyst_elsewhere > 0
    }

    const fn catalyst_decided(&self, counts: MisfireCounts) -> bool {
        self.catalyst_in_test_area >= counts.catalyst_in_test_area
            || self.catalyst_elsewhere >= counts.catalyst_elsewhere
    }

    const fn at_start_decided(&self, counts: MisfireCounts) -> bool {
        self.emission_at_start >= counts.emission_at_start
    }

    const fn later_decided(&self, counts: MisfireCounts) -> bool {
        self.emission_later >= counts.emission_later
    }
}

/// What is kept beside a code of misfire or fuel system; nothing of it is used for others.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Similar {
    /// Of the first event that stored the pending code.
    first: Option<OperatingPoint>,
    /// Similar conditions were met in this driving cycle.
    met: bool,
    /// In this driving cycle.
    exceeded: Exceedances,
    /// What earlier driving cycles decided since the pending code was stored.
    before: Before,
    /// Driving cycles without similar conditions, in sequence, since the one that stored the pending code.
    cycles_without: u8,
}

/// Decisions of earlier driving cycles.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
struct Before {
    catalyst: bool,
    at_start: bool,
    later: bool,
}

impl Similar {
    pub(super) fn begin_cycle(&mut self) {
        self.met = false;
        self.exceeded = Exceedances::default();
    }

    /// A pending code was stored: these are its conditions.
    pub(super) fn store(&mut self, at: OperatingPoint) {
        self.first = Some(at);
        self.before = Before::default();
        self.cycles_without = 0;
    }

    /// Nothing is stored of the code any more.
    pub(super) fn forget(&mut self) {
        self.first = None;
        self.before = Before::default();
        self.cycles_without = 0;
    }

    pub(super) const fn first(&self) -> Option<&OperatingPoint> {
        self.first.as_ref()
    }

    pub(super) const fn met(&self) -> bool {
        self.met
    }

    /// Whether the engine's conditions need to be looked at.
    pub(super) const fn watches(&self) -> bool {
        self.first.is_some() && !self.met
    }

    /// The engine runs at this point; returns whether that met similar conditions for the first time.
    pub(super) fn visit(&mut self, at: &OperatingPoint, profile: &Profile) -> bool {
        let meets = !self.met && self.first.is_some_and(|first| first.is_similar(at, profile));
        self.met |= meets;
        meets
    }

    pub(super) fn exceed(&mut self, window: MisfireWindow) {
        self.exceeded.add(window);
    }

    /// A monitor that has counted by itself says that emissions are raised.
    pub(super) fn assume(&mut self, profile: &Profile) {
        self.exceeded.emission_later = self.exceeded.emission_later.max(profile.misfire.emission_later);
    }

    pub(super) const fn exceeded(&self) -> bool {
        self.exceeded.any()
    }

    /// Enough exceedances in this driving cycle to store a pending code.
    pub(super) const fn decided(&self, profile: &Profile) -> bool {
        let counts = profile.misfire;
        self.exceeded.catalyst_decided(counts)
            || self.exceeded.at_start_decided(counts)
            || self.exceeded.later_decided(counts)
    }

    /// Misfire that had stored a pending code in an earlier driving cycle is there again. `next`: this is the
    /// driving cycle right after that one.
    pub(super) const fn misfire_recurred(&self, profile: &Profile, next: bool) -> bool {
        let here = next || self.met;
        let emission_before = self.before.at_start || self.before.later;
        self.exceeded.any_catalyst() && (emission_before || here)
            || self.exceeded.at_start_decided(profile.misfire) && self.before.at_start
            || self.exceeded.later_decided(profile.misfire) && here
    }

    /// Whether the pending code stands for misfire that endangers the catalyst.
    pub(super) const fn endangers_catalyst(&self, profile: &Profile) -> bool {
        self.before.catalyst || self.exceeded.catalyst_decided(profile.misfire)
    }

    /// A pending code was put in by hand: as if an earlier driving cycle had found raised emissions.
    pub(super) const fn preload(&mut self) {
        self.before.later = true;
    }

    /// The driving cycle is over, a pending code stays. `old`: it was not stored in this one. Returns whether it
    /// has waited too long for similar conditions.
    pub(super) fn settle_pending(&mut self, profile: &Profile, old: bool) -> bool {
        self.before = self.decided_until_now(profile);
        if self.met {
            self.cycles_without = 0;
        } else if old {
            self.cycles_without = self.cycles_without.saturating_add(1);
        }
        self.cycles_without >= profile.similar.cycles_to_expire
    }

    pub(super) const fn cycles_without(&self) -> u8 {
        self.cycles_without
    }

    /// Decisions of earlier driving cycles, and of this one.
    const fn decided_until_now(&self, profile: &Profile) -> Before {
        Before {
            catalyst: self.before.catalyst || self.exceeded.catalyst_decided(profile.misfire),
            at_start: self.before.at_start || self.exceeded.at_start_decided(profile.misfire),
            later: self.before.later || self.exceeded.later_decided(profile.misfire),
        }
    }

    /// What is kept without power: the driving cycle ends with it.
    pub(super) const fn stored(&self, profile: &Profile) -> StoredSimilar {
        StoredSimilar {
            first: self.first,
            before: self.decided_until_now(profile),
            cycles_without: self.cycles_without,
        }
    }

    pub(super) fn restored(stored: StoredSimilar) -> Self {
        let StoredSimilar {
            first,
            before,
            cycles_without,
        } = stored;
        Self {
            first,
            before,
            cycles_without,
            ..Self::default()
        }
    }
}

/// What is kept of it without power.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct StoredSimilar {
    first: Option<OperatingPoint>,
    before: Before,
    cycles_without: u8,
}
