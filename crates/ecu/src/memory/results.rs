//! What monitors report: passes, failures, misfire, ends of runs.
//!
//! Results count inside a driving cycle. A monitor that needs the engine off gives its own after it, once, until
//! the next start: they belong to the driving cycle that has ended, and are settled at once (13 CCR 1968.2(c),
//! from memory).

use twotrip_obd::Dtc;

use super::{
    DrivingCycle, Effect, Effects, FaultMemory, MisfireWindow, MonitorId, OperatingPoint, Record, readiness,
    settle::FrameFate,
};
use crate::data::LiveData;

/// What a result is about.
#[derive(Clone, Copy)]
struct Judged {
    /// Of the record.
    place: usize,
    monitor: MonitorId,
    /// After the driving cycle that it belongs to.
    late: bool,
}

impl FaultMemory {
    pub(super) fn on_could_detect(&mut self, id: MonitorId, effects: &mut Effects) {
        if let Some(monitor) = self.catalogue.monitor(id)
            && monitor.in_use.is_some()
            && self.takes_results(id)
            && !self.is_disabled(id)
            && !self.in_use_frozen
            && self.in_use.count_numerator(id)
        {
            effects.push(Effect::NumeratorCounted(id));
        }
    }

    pub(super) fn on_passed(&mut self, dtc: Dtc, effects: &mut Effects) {
        let Some(judged) = self.judged(dtc) else {
            return;
        };
        let first = self.records[judged.place].pass();
        if let Some(detail) = &mut self.detail {
            detail.passed(dtc);
        }
        if first {
            self.on_judged(judged.monitor, effects);
            if judged.late {
                self.settle_late(judged.place, effects);
            }
        }
    }

    pub(super) fn on_failed(&mut self, dtc: Dtc, live: &LiveData, effects: &mut Effects) {
        let Some(judged) = self.judged(dtc) else {
            return;
        };
        let at = self.point(live);
        let record = &mut self.records[judged.place];
        let first = !record.has_failed();
        let new = record.fail(at, self.profile, &mut self.order, effects);
        self.establish(judged, new, live, effects);
        self.note_failure(judged.place, first.then_some(live));
    }

    /// Where the engine runs. Warm or cold goes by what similar conditions go by, not by what a failed circuit shows.
    pub(crate) fn point(&self, live: &LiveData) -> OperatingPoint {
        let at = OperatingPoint::of(live, self.profile);
        match self.cycle.as_ref().and_then(DrivingCycle::coolant) {
            Some(coolant) => at.at_coolant(coolant, self.profile),
            None => at,
        }
    }

    pub(super) fn on_misfire(
        &mut self,
        dtc: Dtc,
        window: MisfireWindow,
        at: OperatingPoint,
        live: &LiveData,
        effects: &mut Effects,
    ) {
        let Some(judged) = self.judged(dtc) else {
            return;
        };
        let record = &mut self.records[judged.place];
        if record.is_misfire() {
            let first = !record.has_failed();
            let new = record.exceed(window, at, self.profile, &mut self.order, effects);
            if record.has_failed() {
                self.establish(judged, new, live, effects);
                self.note_failure(judged.place, first.then_some(live));
            }
        }
    }

    /// Similar conditions were met: what was not enough before may be now.
    pub(super) fn reconsider(&mut self, place: usize, at: OperatingPoint, effects: &mut Effects) {
        let record = &mut self.records[place];
        let Some(monitor) = record.monitor() else {
            return;
        };
        if record.has_recurred(self.profile) {
            record.fail(at, self.profile, &mut self.order, effects);
            if record.establish(self.profile, &mut self.order, effects) {
                self.note_readiness(monitor, effects, |readiness| readiness.confirmed(monitor));
            }
            self.readiness.failed(monitor);
            self.on_judged(monitor, effects);
            self.note_failure(place, None);
        }
    }

    /// After a failure. `new`: its conditions go into the freeze frame.
    fn establish(&mut self, judged: Judged, new: bool, live: &LiveData, effects: &mut Effects) {
        let Judged { place, monitor, .. } = judged;
        let record = &mut self.records[place];
        if new {
            self.frame.offer(self.catalogue, record.dtc(), live, effects);
        }
        let confirmed = record.establish(self.profile, &mut self.order, effects);
        if judged.late {
            record.outlive_cycle();
        }
        if confirmed {
            let dtc = self.records[place].dtc();
            self.note_readiness(monitor, effects, |readiness| readiness.confirmed(monitor));
            self.decide_for_blocked(monitor, dtc, effects);
        }
        if new || confirmed {
            self.renew(effects);
        }
        self.readiness.failed(monitor);
        self.on_judged(monitor, effects);
    }

    /// A fault that has lit the lamp decides for those of its readiness group that it keeps from running: else the group
    /// could not be complete though it has found what is to be found (reading of 1968.2(g)(4.1)).
    fn decide_for_blocked(&mut self, monitor: MonitorId, dtc: Dtc, effects: &mut Effects) {
        let Some(group) = self.catalogue.monitor(monitor).map(|monitor| monitor.group) else {
            return;
        };
        for (place, other) in (0..=u8::MAX).zip(self.catalogue.monitors) {
            let other_id = MonitorId(place);
            if other_id != monitor && other.group == group && self.disables(dtc, other) {
                self.note_readiness(other_id, effects, |readiness| readiness.confirmed(other_id));
            }
        }
    }

    /// A pass that came after its driving cycle: heal and prove, for this code alone. The warm-up of that driving
    /// cycle has been counted.
    fn settle_late(&mut self, place: usize, effects: &mut Effects) {
        let record = &mut self.records[place];
        if record.settle(self.profile, false, effects) == FrameFate::Erase {
            self.frame.erase(record.dtc(), effects);
            if let Some(detail) = &mut self.detail {
                detail.erase(record.dtc());
            }
        }
        self.renew(effects);
        // Whether the drive was driven, the end of the driving cycle has noted.
        self.records[place].prove(self.mil_commanded, false, effects);
    }

    /// Whether results of this monitor count now.
    fn takes_results(&self, id: MonitorId) -> bool {
        self.cycle.is_some() || self.is_late(id)
    }

    fn is_late(&self, id: MonitorId) -> bool {
        self.after_cycle
            && self
                .catalogue
                .monitor(id)
                .is_some_and(|monitor| monitor.engine_off)
    }

    /// What a result is about, if it counts; nothing judges a guest, and after a driving cycle the first result
    /// stands.
    fn judged(&self, dtc: Dtc) -> Option<Judged> {
        if self.cycle.is_none() && !self.after_cycle {
            return None;
        }
        let place = self.records.iter().position(|record| record.dtc() == dtc)?;
        let record = &self.records[place];
        let monitor = record.monitor()?;
        let late = self.cycle.is_none();
        if late && (!self.is_late(monitor) || record.is_judged()) {
            return None;
        }
        Some(Judged { place, monitor, late })
    }

    /// A continuous monitor is done for the driving cycle once each of its codes has been judged in it.
    fn on_judged(&mut self, id: MonitorId, effects: &mut Effects) {
        let continuous = self
            .catalogue
            .monitor(id)
            .is_some_and(|monitor| monitor.continuous);
        if continuous
            && !self.readiness.is_done(id)
            && self
                .records
                .iter()
                .filter(|record| record.monitor() == Some(id))
                .all(Record::is_judged)
        {
            self.on_completed(id, effects);
        }
    }

    pub(super) fn on_completed(&mut self, monitor: MonitorId, effects: &mut Effects) {
        if self.takes_results(monitor) && self.catalogue.monitor(monitor).is_some() {
            self.note_readiness(monitor, effects, |readiness| readiness.completed(monitor));
        }
    }

    /// Changes readiness, and tells if that completed the monitor's group.
    fn note_readiness(
        &mut self,
        id: MonitorId,
        effects: &mut Effects,
        change: impl FnOnce(&mut readiness::Progress),
    ) {
        let Some(monitor) = self.catalogue.monitor(id) else {
            return;
        };
        let before = self.readiness.is_decided(self.catalogue, monitor.group);
        change(&mut self.readiness);
        if !before && self.readiness.is_decided(self.catalogue, monitor.group) {
            effects.push(Effect::GroupCompleted(monitor.group));
        }
    }
}
