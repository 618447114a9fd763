//! In-use performance: how often monitors could have found a fault, and how often the car was driven as if
//! they should (13 CCR 1968.2(d)(4) and (5), (g)(5), mostly from memory). Nothing here is reset by service
//! $04.

use alloc::vec::Vec;

use twotrip_obd::{Group, InUsePerformance};

use super::{Catalogue, MonitorId};

/// Numerator and denominator of one monitor.
#[derive(Clone, Copy, Debug, Default)]
struct Pair {
    numerator: u16,
    denominator: u16,
    numerator_counted: bool,
    denominator_counted: bool,
}

impl Pair {
    /// At the end of the range both are halved before the next count: (g)(5.2.1)(B).
    const fn make_room(&mut self) {
        if self.numerator == u16::MAX || self.denominator == u16::MAX {
            self.numerator /= 2;
            self.denominator /= 2;
        }
    }

    /// Order of ratios, and of denominators where they are equal, for "lowest ratio, then highest
    /// denominator".
    fn reports_before(&self, other: &Self) -> bool {
        let mine = u32::from(self.numerator) * u32::from(other.denominator);
        let theirs = u32::from(other.numerator) * u32::from(self.denominator);
        mine < theirs || mine == theirs && self.denominator > other.denominator
    }
}

/// All counters of service $09 InfoType $08.
#[derive(Clone, Debug)]
pub(super) struct InUse {
    general: u16,
    ignition_cycles: u16,
    general_counted: bool,
    ignition_counted: bool,
    pairs: Vec<Pair>,
}

impl InUse {
    pub(super) fn new(catalogue: &Catalogue) -> Self {
        Self {
            general: 0,
            ignition_cycles: 0,
            general_counted: false,
            ignition_counted: false,
            pairs: catalogue.monitors.iter().map(|_| Pair::default()).collect(),
        }
    }

    pub(super) fn begin_cycle(&mut self) {
        self.general_counted = false;
        self.ignition_counted = false;
        for pair in &mut self.pairs {
            pair.numerator_counted = false;
            pair.denominator_counted = false;
        }
    }

    /// Counts the ignition cycle, once per driving cycle; rolls over at the end of its range: (g)(5.2.1)(C).
    pub(super) const fn count_ignition_cycle(&mut self) {
        if !self.ignition_counted {
            self.ignition_counted = true;
            self.ignition_cycles = self.ignition_cycles.wrapping_add(1);
        }
    }

    /// Counts the general denominator, once per driving cycle; returns whether it did. Rolls over:
    /// (g)(5.2.1)(D).
    pub(super) const fn count_general(&mut self) -> bool {
        let count = !self.general_counted;
        if count {
            self.general_counted = true;
            self.general = self.general.wrapping_add(1);
        }
        count
    }

    /// Counts a numerator, once per driving cycle; returns whether it did.
    pub(super) fn count_numerator(&mut self, monitor: MonitorId) -> bool {
        let Some(pair) = self.pairs.get_mut(usize::from(monitor.0)) else {
            return false;
        };
        let count = !pair.numerator_counted;
        if count {
            pair.make_room();
            pair.numerator_counted = true;
            pair.numerator += 1;
        }
        count
    }

    pub(super) fn is_denominator_counted(&self, monitor: MonitorId) -> bool {
        self.pairs
            .get(usize::from(monitor.0))
            .is_none_or(|pair| pair.denominator_counted)
    }

    /// Counts a denominator.
    pub(super) fn count_denominator(&mut self, monitor: MonitorId) {
        if let Some(pair) = self.pairs.get_mut(usize::from(monitor.0)) {
            pair.make_room();
            pair.denominator_counted = true;
            pair.denominator += 1;
        }
    }

    /// The counters as reported: of several monitors of a group the pair with the lowest ratio.
    pub(super) fn report(&self, catalogue: &Catalogue) -> InUsePerformance {
        let mut report = InUsePerformance::default().with_general(self.general, self.ignition_cycles);
        for group in Group::ALL {
            let members = catalogue.monitors.iter().zip(&self.pairs);
            let lowest = members
                .filter(|(monitor, _)| monitor.group == group && monitor.tracked_in_use)
                .map(|(_, pair)| pair)
                .reduce(|lowest, pair| if pair.reports_before(lowest) { pair } else { lowest });
            if let Some(pair) = lowest {
                report = report.with_group(group, pair.numerator, pair.denominator);
            }
        }
        report
    }
}
