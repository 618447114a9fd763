//! Purge of the canister: how far the valve opens, and how much vapour the air through it carries.
//!
//! The vapour share is learned from what closed loop has to correct while the valve flows, so that a loaded canister
//! does not end in the long-term trim. Short pauses let the trims be learned without it.

use twotrip_units::{MassFlow, Ratio, Table};

use crate::control::measured::Measured;

/// No purge in this first time after start, s (60-120 s is usual).
const FIRST_SECONDS: f64 = 90.0;
/// Wanted duty over metered air, g/s.
const DUTY: Table<7> = Table::new([
    (1.5, 0.04),
    (2.5, 0.08),
    (5.0, 0.16),
    (7.8, 0.29),
    (17.7, 0.45),
    (40.0, 0.45),
    (80.0, 0.20),
]);
/// Opening, per second.
const RAMP_PER_SECOND: f64 = 0.02;
/// Flow of the open valve, g/s, and its share over manifold / barometric pressure.
const OPEN_FLOW: f64 = 1.07;
const FLOW_SHARE: Table<6> = Table::new([
    (0.528, 1.0),
    (0.69, 0.935),
    (0.80, 0.82),
    (0.89, 0.645),
    (0.95, 0.45),
    (1.0, 0.0),
]);
/// A purge of this length is followed by a pause, both in s.
const PURGE_SECONDS: f64 = 180.0;
const PAUSE_SECONDS: f64 = 20.0;
/// Vacuum in the tank at which purging stops: the vent gives no air, Pa gauge. Deeper than what calls the vent blocked.
const TANK_LIMIT_PASCALS: f64 = -3000.0;
/// Where a monitor opens the valve, the fuel held back for the vapour that comes grows by this share of all fuel a second
/// at the most: the loop takes up 3 % a second and a jump, should the vapour believed in not be there (calibrated).
const REQUESTED_VAPOUR_PER_SECOND: f64 = 0.05;
/// Opening for a monitor where little vapour is believed in, per second (calibrated).
const REQUESTED_PER_SECOND: f64 = 2.0;
/// Learning of the vapour share, per second and unit of mixture error.
const LEARN_PER_SECOND: f64 = 0.25;
/// Most vapour the estimate believes in.
const MOST_VAPOUR: f64 = 0.6;

/// What purge control needs to know.
pub(crate) struct Conditions {
    pub(crate) run_seconds: f64,
    pub(crate) closed_loop: bool,
    pub(crate) has_been_closed: bool,
    pub(crate) fuel_cut: bool,
    pub(crate) metered: MassFlow,
    pub(crate) mean_short_term: f64,
    /// Its driver has lost the valve.
    pub(crate) lost: bool,
    /// Duty that a monitor asks for instead.
    pub(crate) requested: Option<Ratio>,
}

/// Purge control.
#[derive(Clone, Debug, Default)]
pub(crate) struct Purge {
    duty: f64,
    flow: f64,
    vapour: f64,
    purged_seconds: f64,
    paused_seconds: f64,
    closed_seconds: f64,
    settled_seconds: f64,
    requested: bool,
}

impl Purge {
    /// Duty given to the valve.
    pub(crate) const fn duty(&self) -> Ratio {
        Ratio::from_fraction(self.duty)
    }

    /// Fuel that comes with the purge air, g/s.
    pub(crate) const fn fuel_flow(&self) -> f64 {
        self.flow * self.vapour
    }

    /// Air that comes with it, g/s.
    pub(crate) const fn air_flow(&self) -> f64 {
        self.flow * (1.0 - self.vapour)
    }

    /// Whether long-term learning may believe the short-term trim: nothing flows, or what flows is known, or the
    /// mixture is leaner than any vapour can explain.
    pub(crate) fn vapour_known(&self, mean_short_term: f64) -> bool {
        if self.requested {
            return false;
        }
        self.closed_seconds > 3.0
            || self.duty > 0.0 && self.settled_seconds > 15.0
            || self.vapour <= 0.0 && mean_short_term > 0.0
    }

    /// A new engine start: valve shut, the canister believed as loaded as it was.
    pub(crate) fn restart(&mut self) {
        *self = Self {
            vapour: self.vapour,
            ..Self::default()
        };
    }

    /// Works out the duty; every 100 ms.
    pub(crate) fn step(&mut self, measured: &Measured, conditions: &Conditions, seconds: f64) {
        self.requested = conditions.requested.is_some();
        if let Some(duty) = conditions.requested {
            self.duty = if conditions.fuel_cut || conditions.lost {
                0.0
            } else {
                let fuel = conditions.metered.grams_per_second() / 14.7;
                let vapour_at_full_duty = OPEN_FLOW * self.vapour;
                let rate = (REQUESTED_VAPOUR_PER_SECOND * fuel / vapour_at_full_duty.max(1e-3))
                    .min(REQUESTED_PER_SECOND);
                duty.fraction().min(self.duty + rate * seconds)
            };
            self.settled_seconds = 0.0;
        } else {
            self.follow_strategy(measured, conditions, seconds);
        }
        self.closed_seconds = if self.duty > 0.0 {
            0.0
        } else {
            self.closed_seconds + seconds
        };
        let ratio = measured.manifold_pressure.pascals() / measured.barometer.pascals().max(40_000.0);
        self.flow = OPEN_FLOW * self.duty * FLOW_SHARE.at(ratio) * measured.barometer.kilopascals() / 101.325;
        self.learn(conditions, seconds);
    }

    fn follow_strategy(&mut self, measured: &Measured, conditions: &Conditions, seconds: f64) {
        let vent_blocked = measured.tank_pressure.pascals() < TANK_LIMIT_PASCALS;
        let allowed = conditions.run_seconds >= FIRST_SECONDS
            && conditions.has_been_closed
            && !conditions.fuel_cut
            && !conditions.lost
            && !vent_blocked;
        if !allowed {
            self.duty = 0.0;
            return;
        }
        if self.paused_seconds > 0.0 {
            self.paused_seconds -= seconds;
            self.duty = 0.0;
            return;
        }
        self.purged_seconds += seconds;
        if self.purged_seconds > PURGE_SECONDS {
            self.purged_seconds = 0.0;
            self.paused_seconds = PAUSE_SECONDS;
        }
        let wanted = DUTY.at(conditions.metered.grams_per_second());
        // The valve opens only as fast as the vapour estimate follows.
        let rate = if conditions.mean_short_term < -0.05 {
            0.0
        } else {
            RAMP_PER_SECOND
        };
        self.duty = wanted.min(self.duty + rate * seconds);
    }

    fn learn(&mut self, conditions: &Conditions, seconds: f64) {
        if self.requested || !conditions.closed_loop || self.duty < 0.03 {
            self.settled_seconds = 0.0;
            return;
        }
        let error = conditions.mean_short_term;
        let fuel = conditions.metered.grams_per_second() / 14.7;
        let change = -LEARN_PER_SECOND * error * (fuel / self.flow.max(0.02)).min(3.0) * seconds;
        self.vapour = (self.vapour + change).clamp(0.0, MOST_VAPOUR);
        if error.abs() < 0.015 {
            self.settled_seconds += seconds;
        } else {
            self.settled_seconds = 0.0;
        }
    }
}

#[cfg(test)]
mod tests {
    use alloc::vec::Vec;

    use twotrip_units::Pressure;

    use super::*;

    /// A warm idle with the valve opened by half for a monitor; fuel held back for vapour, as a share of all fuel, over
    /// 100 ms steps.
    fn requested(vapour: f64, seconds: u32) -> Vec<f64> {
        let mut purge = Purge {
            vapour,
            ..Purge::default()
        };
        let measured = Measured {
            manifold_pressure: Pressure::from_kilopascals(37.0),
            barometer: Pressure::from_kilopascals(101.3),
            ..Measured::default()
        };
        let conditions = Conditions {
            run_seconds: 300.0,
            closed_loop: true,
            has_been_closed: true,
            fuel_cut: false,
            metered: MassFlow::from_grams_per_second(3.3),
            mean_short_term: 0.0,
            lost: false,
            requested: Some(Ratio::from_percent(50.0)),
        };
        (0..10 * seconds)
            .map(|_| {
                purge.step(&measured, &conditions, 0.1);
                purge.fuel_flow() / (3.3 / 14.7)
            })
            .collect()
    }

    /// Vapour that was believed in wrongly must not stall the engine before the loop has taken the error up.
    #[test]
    fn a_monitor_that_opens_the_valve_takes_fuel_away_slowly() {
        for vapour in [0.05, 0.2, 0.6] {
            let held_back = requested(vapour, 4);
            let steepest = held_back
                .windows(2)
                .map(|pair| pair[1] - pair[0])
                .fold(held_back[0], f64::max);
            assert!(steepest < 0.006, "{steepest} of the fuel in 100 ms at {vapour}");
        }
        let clean = requested(0.0, 1);
        assert!(clean.iter().all(|share| share.abs() < 1e-9));
    }
}
