//! The driving cycle: what one run of the engine has shown so far (13 CCR 1968.2(c), from memory).
//!
//! It begins with the engine start and ends when the engine stops or the key goes off, whichever is first: a
//! stall or a restart without key-off is a new one, a car that rolls on with the key off has ended its own. An
//! uninterrupted run is cut after [`Profile::driving_cycle_limit`]; the piece that follows is a driving cycle,
//! but no ignition cycle, because no engine start began it.

use core::time::Duration;

use twotrip_units::Temperature;

use super::{Conditions, DrivePattern, Profile};

/// Progress towards a [`DrivePattern`].
#[derive(Clone, Copy, Debug, Default)]
struct Progress {
    run_time: Duration,
    fast_time: Duration,
    idle_time: Duration,
    longest_idle: Duration,
}

impl Progress {
    fn step(&mut self, pattern: &DrivePattern, conditions: &Conditions) {
        self.run_time += conditions.span;
        if conditions.vehicle_speed >= pattern.fast {
            self.fast_time += conditions.span;
        }
        if conditions.pedal_released && conditions.vehicle_speed <= pattern.standing {
            self.idle_time += conditions.span;
            self.longest_idle = self.longest_idle.max(self.idle_time);
        } else {
            self.idle_time = Duration::ZERO;
        }
    }

    fn met(&self, pattern: &DrivePattern) -> bool {
        self.run_time >= pattern.run_time
            && self.fast_time >= pattern.fast_time
            && self.longest_idle >= pattern.idle_time
    }
}

/// One driving cycle, from engine start to engine stop.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct DrivingCycle {
    begun: bool,
    /// As measured; `None` where nothing was.
    coolant_at_start: Option<Temperature>,
    cold_start: bool,
    warmed_up: bool,
    /// As last told.
    coolant: Option<Temperature>,
    run: Progress,
    /// Only the time at low altitude and in no great cold.
    general: Progress,
    evap_time: Duration,
}

impl DrivingCycle {
    /// One span with the engine running. Returns whether the warm-up cycle was reached in it: by the coolant as measured,
    /// from a measured start on. What the ECU works out for a sensor that it does not believe is no temperature that was
    /// reached (reading of 1968.2(c)).
    pub(super) fn step(&mut self, profile: &Profile, conditions: &Conditions) -> bool {
        let evap = &profile.evap_denominator;
        let mild = |temperature| temperature >= evap.minimum && temperature <= evap.maximum;
        let coolant = conditions.coolant_temperature;
        self.coolant = Some(coolant);
        let measured = conditions.coolant_is_measured;
        if !self.begun {
            self.begun = true;
            self.coolant_at_start = measured.then_some(coolant);
            self.cold_start = measured
                && mild(coolant)
                && coolant - conditions.ambient_temperature <= evap.coolant_over_ambient;
        }
        self.run.step(&profile.permanent_drive, conditions);
        if conditions.ambient_temperature >= profile.general_ambient_minimum
            && conditions.barometric_pressure > profile.general_barometer_minimum
        {
            self.general.step(&profile.general_denominator, conditions);
        } else {
            self.general.idle_time = Duration::ZERO;
        }
        if mild(conditions.ambient_temperature) {
            self.evap_time += conditions.span;
        }
        let rose = |start: Temperature| coolant - start >= profile.warm_up_rise;
        let warm = measured && coolant >= profile.warm_up_minimum && self.coolant_at_start.is_some_and(rose);
        let reached = warm && !self.warmed_up;
        self.warmed_up |= warm;
        reached
    }

    /// An uninterrupted run has become too long for one driving cycle.
    pub(super) fn is_full(&self, profile: &Profile) -> bool {
        profile
            .driving_cycle_limit
            .is_some_and(|limit| self.run.run_time >= limit)
    }

    /// Coolant temperature as last told.
    pub(super) const fn coolant(&self) -> Option<Temperature> {
        self.coolant
    }

    pub(super) const fn run_time(&self) -> Duration {
        self.run.run_time
    }

    /// The coolant has risen far enough and become warm enough.
    pub(super) const fn warmed_up(&self) -> bool {
        self.warmed_up
    }

    /// The drive that a cleared permanent code may wait for.
    pub(super) fn permanent_drive(&self, profile: &Profile) -> bool {
        self.run.met(&profile.permanent_drive)
    }

    /// The drive that counts for the general denominator.
    pub(super) fn general_drive(&self, profile: &Profile) -> bool {
        self.general.met(&profile.general_denominator)
    }

    /// What the evaporative system's denominator asks beyond the general one.
    pub(super) fn evap_drive(&self, profile: &Profile) -> bool {
        self.cold_start && self.evap_time >= profile.evap_denominator.run_time
    }
}
