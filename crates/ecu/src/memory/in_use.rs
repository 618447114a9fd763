//! In-use performance: how often monitors could have found a fault, and how often the car was driven as if
//! they should (13 CCR 1968.2(d)(4) and (5), (g)(5), mostly from memory). Nothing here is reset by service
//! $04.

use alloc::vec::Vec;
use core::time::Duration;

use serde::{Deserialize, Serialize};
use twotrip_obd::{InUseItem, InUsePerformance};

use super::{Catalogue, Denominator, MonitorId, MonitorSet, Profile};

/// Numerator and denominator of one monitor.
#[derive(Clone, Copy, Debug, Default)]
struct Pair {
    numerator: u16,
    denominator: u16,
    numerator_counted: bool,
    denominator_counted: bool,
    output: Output,
}

/// What an output was commanded in this driving cycle.
#[derive(Clone, Copy, Debug, Default)]
struct Output {
    on: bool,
    commands: u8,
    time: Duration,
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
    /// Some output is commanded on.
    any_output: bool,
    /// What the engine has nothing for: its pairs stay 0 (13 CCR 1968.2(g)(5.2), from memory).
    absent: MonitorSet,
    /// Monitors that are tracked, and how many of them have not counted their denominator in this driving cycle.
    tracked: usize,
    left: usize,
}

impl InUse {
    pub(super) fn new(catalogue: &Catalogue, absent: MonitorSet) -> Self {
        let tracked = (0..=u8::MAX).zip(catalogue.monitors);
        let tracked = tracked
            .filter(|&(place, monitor)| monitor.in_use.is_some() && !absent.contains(MonitorId(place)))
            .count();
        Self {
            general: 0,
            ignition_cycles: 0,
            general_counted: false,
            ignition_counted: false,
            pairs: catalogue.monitors.iter().map(|_| Pair::default()).collect(),
            any_output: false,
            absent,
            tracked,
            left: tracked,
        }
    }

    pub(super) fn begin_cycle(&mut self) {
        self.general_counted = false;
        self.ignition_counted = false;
        self.left = self.tracked;
        for pair in &mut self.pairs {
            pair.numerator_counted = false;
            pair.denominator_counted = false;
            pair.output.commands = pair.output.on.into();
            pair.output.time = Duration::ZERO;
        }
    }

    /// The driving cycle goes on from one that was cut: no engine start, so no ignition cycle.
    pub(super) const fn go_on(&mut self) {
        self.ignition_counted = true;
    }

    /// The output behind a monitor is commanded on or off.
    pub(super) fn command(&mut self, monitor: MonitorId, on: bool) {
        if let Some(pair) = self.pairs.get_mut(usize::from(monitor.0)) {
            let output = &mut pair.output;
            output.commands = output.commands.saturating_add((on && !output.on).into());
            output.on = on;
        }
        self.any_output = self.pairs.iter().any(|pair| pair.output.on);
    }

    /// Time passes with the engine running.
    pub(super) fn step(&mut self, span: Duration) {
        if self.any_output {
            for pair in self.pairs.iter_mut().filter(|pair| pair.output.on) {
                pair.output.time = pair.output.time.saturating_add(span);
            }
        }
    }

    /// Whether a monitor's denominator has what it asks beyond the general one.
    pub(super) fn is_met(
        &self,
        monitor: MonitorId,
        denominator: Denominator,
        evap_drive: bool,
        profile: &Profile,
    ) -> bool {
        let output = self
            .pairs
            .get(usize::from(monitor.0))
            .map_or_else(Output::default, |pair| pair.output);
        let long = output.time >= profile.output_denominator.time;
        match denominator {
            Denominator::General => true,
            Denominator::Evap => evap_drive,
            Denominator::SecondaryAir => long,
            Denominator::Output => long || output.commands >= profile.output_denominator.commands,
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

    /// Whether a drive could count a denominator that it has not counted in this driving cycle.
    pub(super) const fn is_waiting(&self) -> bool {
        !self.general_counted || self.left > 0
    }

    /// Counts a numerator, once per driving cycle; returns whether it did.
    pub(super) fn count_numerator(&mut self, monitor: MonitorId) -> bool {
        if self.absent.contains(monitor) {
            return false;
        }
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

    /// Numerator and denominator of a monitor.
    pub(super) fn pair(&self, monitor: MonitorId) -> (u16, u16) {
        let pair = self.pairs.get(usize::from(monitor.0));
        pair.map_or((0, 0), |pair| (pair.numerator, pair.denominator))
    }

    pub(super) fn is_denominator_counted(&self, monitor: MonitorId) -> bool {
        let pair = self.pairs.get(usize::from(monitor.0));
        self.absent.contains(monitor) || pair.is_none_or(|pair| pair.denominator_counted)
    }

    /// Counts a denominator.
    pub(super) fn count_denominator(&mut self, monitor: MonitorId) {
        if let Some(pair) = self.pairs.get_mut(usize::from(monitor.0)) {
            pair.make_room();
            pair.denominator_counted = true;
            pair.denominator += 1;
            self.left = self.left.saturating_sub(1);
        }
    }

    /// The counters as reported: of several monitors of an item the pair with the lowest ratio.
    pub(super) fn report(&self, catalogue: &Catalogue) -> InUsePerformance {
        let mut report = InUsePerformance::default().with_general(self.general, self.ignition_cycles);
        for item in InUseItem::ALL {
            let members = (0..=u8::MAX).zip(catalogue.monitors).zip(&self.pairs);
            let lowest = members
                .filter(|((_, monitor), _)| monitor.in_use.is_some_and(|tracking| tracking.item == item))
                .filter(|((place, _), _)| !self.absent.contains(MonitorId(*place)))
                .map(|(_, pair)| pair)
                .reduce(|lowest, pair| if pair.reports_before(lowest) { pair } else { lowest });
            if let Some(pair) = lowest {
                report = report.with_item(item, pair.numerator, pair.denominator);
            }
        }
        report
    }
}

/// What is kept of a monitor's pair without power.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct StoredPair {
    pub(super) numerator: u16,
    pub(super) denominator: u16,
}

/// What is kept beside the pairs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct StoredInUse {
    general_denominator: u16,
    ignition_cycles: u16,
}

impl Pair {
    const fn store(self) -> StoredPair {
        StoredPair {
            numerator: self.numerator,
            denominator: self.denominator,
        }
    }
}

impl InUse {
    pub(super) const fn store(&self) -> StoredInUse {
        StoredInUse {
            general_denominator: self.general,
            ignition_cycles: self.ignition_cycles,
        }
    }

    pub(super) fn stored_pair(&self, monitor: MonitorId) -> StoredPair {
        let pair = self.pairs.get(usize::from(monitor.0)).copied();
        pair.unwrap_or_default().store()
    }

    pub(super) const fn restore(&mut self, stored: &StoredInUse) {
        self.general = stored.general_denominator;
        self.ignition_cycles = stored.ignition_cycles;
    }

    pub(super) fn restore_pair(&mut self, monitor: MonitorId, stored: StoredPair) {
        if let Some(pair) = self.pairs.get_mut(usize::from(monitor.0)) {
            pair.numerator = stored.numerator;
            pair.denominator = stored.denominator;
        }
    }

    /// Whether both would be stored alike.
    pub(super) fn keeps_the_same_as(&self, other: &Self) -> bool {
        let mut pairs = self.pairs.iter().zip(&other.pairs);
        self.store() == other.store() && pairs.all(|(mine, theirs)| mine.store() == theirs.store())
    }
}
