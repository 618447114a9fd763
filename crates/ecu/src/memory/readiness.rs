//! Which monitors have run: since the clear (PID $01) and in this driving cycle (PID $41).
//!
//! 13 CCR 1968.2(g)(4.1) (from memory) and SAE J1979. Kept per monitor; a group is complete when all its
//! members are.

use twotrip_obd::{Group, Readiness};

use super::{Catalogue, MonitorId, Profile};

/// A set of monitors, by their place in the catalogue; places from 64 on are never in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MonitorSet(u64);

impl MonitorSet {
    fn bit(monitor: MonitorId) -> u64 {
        1_u64.checked_shl(u32::from(monitor.0)).unwrap_or(0)
    }

    /// With these in it.
    #[must_use]
    pub fn of(monitors: &[MonitorId]) -> Self {
        Self(monitors.iter().fold(0, |set, &monitor| set | Self::bit(monitor)))
    }

    /// With one more.
    #[must_use]
    pub fn with(self, monitor: MonitorId) -> Self {
        Self(self.0 | Self::bit(monitor))
    }

    /// With those of another.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    pub(super) fn insert(&mut self, monitor: MonitorId) {
        self.0 |= Self::bit(monitor);
    }

    fn remove(&mut self, monitor: MonitorId) {
        self.0 &= !Self::bit(monitor);
    }

    /// Whether a monitor is in it.
    #[must_use]
    pub fn contains(self, monitor: MonitorId) -> bool {
        self.0 & Self::bit(monitor) != 0
    }
}

/// The facts behind both readiness reports.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Progress {
    /// Ran to the end and passed, or failed often enough to confirm a code, since the clear.
    decided: MonitorSet,
    /// Ran to the end in this driving cycle.
    done: MonitorSet,
    /// Cannot run any more in this driving cycle.
    impossible: MonitorSet,
    /// Failed a code in its present run.
    failing: MonitorSet,
    /// What the engine has nothing for: no member of its group.
    absent: MonitorSet,
}

impl Progress {
    pub(super) fn without(absent: MonitorSet) -> Self {
        Self {
            absent,
            ..Self::default()
        }
    }

    /// The monitors of a group.
    fn members(&self, catalogue: &Catalogue, group: Group) -> impl Iterator<Item = MonitorId> + use<> {
        let absent = self.absent;
        (0..=u8::MAX)
            .zip(catalogue.monitors)
            .filter(move |&(place, monitor)| monitor.group == group && !absent.contains(MonitorId(place)))
            .map(|(place, _)| MonitorId(place))
    }

    pub(super) fn begin_cycle(&mut self) {
        self.done = MonitorSet::default();
        self.impossible = MonitorSet::default();
        self.failing = MonitorSet::default();
    }

    pub(super) fn clear(&mut self) {
        *self = Self {
            impossible: self.impossible,
            absent: self.absent,
            ..Self::default()
        };
    }

    pub(super) fn failed(&mut self, monitor: MonitorId) {
        self.failing.insert(monitor);
    }

    /// The monitor ran to its end. A single failure leaves it undecided.
    pub(super) fn completed(&mut self, monitor: MonitorId) {
        self.done.insert(monitor);
        if !self.failing.contains(monitor) {
            self.decided.insert(monitor);
        }
        self.failing.remove(monitor);
    }

    /// Its failures confirmed a code.
    pub(super) fn confirmed(&mut self, monitor: MonitorId) {
        self.decided.insert(monitor);
    }

    pub(super) fn possible(&mut self, monitor: MonitorId, possible: bool) {
        if possible {
            self.impossible.remove(monitor);
        } else {
            self.impossible.insert(monitor);
        }
    }

    pub(super) fn is_monitor_decided(&self, monitor: MonitorId) -> bool {
        self.decided.contains(monitor)
    }

    /// Whether both keep the same without power: what this driving cycle has shown is lost.
    pub(super) fn keeps_the_same_as(&self, other: &Self) -> bool {
        self.decided == other.decided
    }

    pub(super) fn is_done(&self, monitor: MonitorId) -> bool {
        self.done.contains(monitor)
    }

    /// Whether every member of the group is decided since the clear.
    pub(super) fn is_decided(&self, catalogue: &Catalogue, group: Group) -> bool {
        self.members(catalogue, group)
            .all(|monitor| self.decided.contains(monitor))
    }

    /// PID $01 bytes B, C, D.
    pub(super) fn since_clear(&self, profile: &Profile, catalogue: &Catalogue) -> Readiness {
        Group::ALL.into_iter().fold(Readiness::NONE, |readiness, group| {
            if self.members(catalogue, group).next().is_none() {
                return readiness;
            }
            let always = group == Group::Components
                || group.is_continuous() && profile.continuous_groups_always_complete;
            readiness.with(group, true, always || self.is_decided(catalogue, group))
        })
    }

    /// PID $41 bytes B, C, D: "supported" says that what is not done yet can still run. A monitor that a
    /// fault now present disables cannot.
    ///
    /// A group in bytes C and D is done by all its members, so it cannot be any more once one of them cannot. A
    /// continuous group goes on watching without the member that cannot run (a rationality check after a hot
    /// start): that member is left out of both bits.
    pub(super) fn this_cycle(
        &self,
        catalogue: &Catalogue,
        is_disabled: impl Fn(MonitorId) -> bool,
    ) -> Readiness {
        Group::ALL.into_iter().fold(Readiness::NONE, |readiness, group| {
            if self.members(catalogue, group).next().is_none() {
                return readiness;
            }
            let can_run = |monitor| {
                self.done.contains(monitor) || !self.impossible.contains(monitor) && !is_disabled(monitor)
            };
            let left = || {
                self.members(catalogue, group)
                    .filter(|&monitor| !group.is_continuous() || can_run(monitor))
            };
            let enabled = left().next().is_some() && left().all(can_run);
            let done = left().next().is_some() && left().all(|monitor| self.done.contains(monitor));
            readiness.with(group, enabled, done)
        })
    }
}
