//! In-use performance counters of service $09 InfoType $08, spark ignition: number after the
//! public source of the SAE J1699-3 conformance test, order after SAE J1979 (from memory).

use crate::Group;

/// The 20 counters in the order of the standard: general denominator, ignition cycles, then completions and
/// conditions of each group.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct InUsePerformance {
    counters: [u16; Self::LEN],
}

impl InUsePerformance {
    /// How many counters there are.
    pub const LEN: usize = 20;

    /// From the counters in the order of the standard.
    #[must_use]
    pub const fn from_counters(counters: [u16; Self::LEN]) -> Self {
        Self { counters }
    }

    /// The counters in the order of the standard.
    #[must_use]
    pub const fn counters(&self) -> &[u16; Self::LEN] {
        &self.counters
    }

    /// Sets the general denominator and the ignition-cycle counter.
    #[must_use]
    pub const fn with_general(mut self, denominator: u16, ignition_cycles: u16) -> Self {
        self.counters[0] = denominator;
        self.counters[1] = ignition_cycles;
        self
    }

    /// Sets the pair of a group, bank 1; groups without a pair are left out.
    #[must_use]
    pub const fn with_group(mut self, group: Group, completions: u16, conditions: u16) -> Self {
        if let Some(index) = Self::index(group) {
            self.counters[index] = completions;
            self.counters[index + 1] = conditions;
        }
        self
    }

    /// Completions and conditions of a group, bank 1.
    #[must_use]
    pub const fn group(&self, group: Group) -> Option<(u16, u16)> {
        match Self::index(group) {
            Some(index) => Some((self.counters[index], self.counters[index + 1])),
            None => None,
        }
    }

    /// Where the pair of a group begins.
    const fn index(group: Group) -> Option<usize> {
        match group {
            Group::Catalyst => Some(2),
            Group::ExhaustSensor => Some(6),
            Group::Egr => Some(10),
            Group::SecondaryAir => Some(12),
            Group::Evap => Some(14),
            _ => None,
        }
    }
}
