//! In-use performance counters of service $09 InfoType $08, spark ignition: number after the
//! public source of the SAE J1699-3 conformance test, order after SAE J1979 (from memory).

use crate::Group;

/// What has a pair of counters of its own, in the order of the standard (13 CCR 1968.2(d)(5.1)).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum InUseItem {
    /// Catalyst, bank 1.
    CatalystBank1,
    /// Catalyst, bank 2.
    CatalystBank2,
    /// Primary (front) exhaust sensor, bank 1.
    PrimarySensorBank1,
    /// Primary (front) exhaust sensor, bank 2.
    PrimarySensorBank2,
    /// Exhaust gas recirculation and variable valve timing.
    Egr,
    /// Secondary air.
    SecondaryAir,
    /// Evaporative system.
    Evap,
    /// Secondary (rear) exhaust sensor, bank 1.
    SecondarySensorBank1,
    /// Secondary (rear) exhaust sensor, bank 2.
    SecondarySensorBank2,
}

impl InUseItem {
    /// All of them, in the order of the standard.
    pub const ALL: [Self; 9] = [
        Self::CatalystBank1,
        Self::CatalystBank2,
        Self::PrimarySensorBank1,
        Self::PrimarySensorBank2,
        Self::Egr,
        Self::SecondaryAir,
        Self::Evap,
        Self::SecondarySensorBank1,
        Self::SecondarySensorBank2,
    ];

    /// The pair that a readiness group is known by: of bank 1, and of the primary sensor.
    #[must_use]
    pub const fn of_group(group: Group) -> Option<Self> {
        Some(match group {
            Group::Catalyst => Self::CatalystBank1,
            Group::ExhaustSensor => Self::PrimarySensorBank1,
            Group::Egr => Self::Egr,
            Group::SecondaryAir => Self::SecondaryAir,
            Group::Evap => Self::Evap,
            _ => return None,
        })
    }

    /// Where its pair begins: after the general denominator and the ignition cycles.
    const fn index(self) -> usize {
        2 + 2 * self as usize
    }
}

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

    /// Sets a pair.
    #[must_use]
    pub const fn with_item(mut self, item: InUseItem, completions: u16, conditions: u16) -> Self {
        self.counters[item.index()] = completions;
        self.counters[item.index() + 1] = conditions;
        self
    }

    /// Completions and conditions of an item.
    #[must_use]
    pub const fn item(&self, item: InUseItem) -> (u16, u16) {
        (self.counters[item.index()], self.counters[item.index() + 1])
    }

    /// Completions and conditions of a group: of bank 1, and of the primary sensor.
    #[must_use]
    pub const fn group(&self, group: Group) -> Option<(u16, u16)> {
        match InUseItem::of_group(group) {
            Some(item) => Some(self.item(item)),
            None => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Order: SAE J1979 (from memory); 20 counters of two bytes: public source of the J1699-3 conformance test.
    #[test]
    fn each_item_has_its_pair_in_the_order_of_the_standard() {
        let mut performance = InUsePerformance::default().with_general(1, 2);
        for (place, item) in (0_u16..).zip(InUseItem::ALL) {
            performance = performance.with_item(item, 10 + place, 100 + place);
            assert_eq!(performance.item(item), (10 + place, 100 + place));
        }
        let mut expected = [0; InUsePerformance::LEN];
        expected[..2].copy_from_slice(&[1, 2]);
        for place in 0..9 {
            expected[2 + 2 * place] = 10 + u16::try_from(place).unwrap();
            expected[3 + 2 * place] = 100 + u16::try_from(place).unwrap();
        }
        assert_eq!(performance.counters(), &expected);
        assert_eq!(performance.group(Group::Evap), Some((16, 106)));
        assert_eq!(performance.group(Group::Misfire), None);
    }
}
