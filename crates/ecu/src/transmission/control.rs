//! Which gear, whether the converter's clutch is to close, and what is left where the controller cannot trust what it
//! sees: its default mode, third gear without lock-up, in which no solenoid has current.

use twotrip_harness::{
    ShiftSchedule, Solenoid, SolenoidSet,
    gearbox::{GEARS, pattern},
};
use twotrip_units::{Limit, Ratio};

use super::{Gearing, STEP_S, measured::Measured, monitors::Monitors};

/// From one shift to the next, s: the shift itself and a rest (calibrated).
const SHIFT_S: f64 = 0.4;
const SETTLE_S: f64 = 1.0;
/// First gear of the lock-up, 0 is first (third: as six-speed automatics do it, common practice, no source).
const LOCK_UP_GEAR: usize = 2;
/// It closes above this speed, km/h: without and with full wheel force; once closed it stays so down to the lower one
/// (calibrated).
const LOCK_UP_KMH: [f64; 2] = [30.0, 45.0];
/// Fluid from which on it closes, °C.
const LOCK_UP_CELSIUS: f64 = 50.0;
/// Time constant of the wheel force, s, and the efficiency of the gearbox (calibrated).
const FORCE_S: f64 = 0.3;
const EFFICIENCY: f64 = 0.92;
/// Turbine speed from which on an output shaft without pulses is not believed, rpm (calibrated).
const TURNS_RPM: f64 = 500.0;
/// The gear without current.
const DEFAULT_GEAR: usize = 2;

/// The program of the gearbox.
#[derive(Clone, Debug, Default)]
pub(super) struct Control {
    gear: usize,
    since_shift_s: f64,
    lock_up: bool,
    /// For so long it has been commanded as it is, through no shift, s.
    lock_up_for_s: f64,
    force: f64,
    default_mode: bool,
    /// The lock-up clutch is left open for the rest of the driving cycle.
    without_lock_up: bool,
}

impl Control {
    /// The key is switched on: what was a default mode is tried anew.
    pub(super) fn key_on(&mut self) {
        *self = Self::default();
    }

    /// Gear commanded, 0 is first.
    pub(super) const fn gear(&self) -> usize {
        self.gear
    }

    /// Time since the last shift, s.
    pub(super) const fn since_shift_s(&self) -> f64 {
        self.since_shift_s
    }

    /// Whether the lock-up clutch is commanded to close, and for how long that has been so, s.
    pub(super) const fn lock_up(&self) -> (bool, f64) {
        (self.lock_up, self.lock_up_for_s)
    }

    pub(super) const fn is_in_default_mode(&self) -> bool {
        self.default_mode
    }

    /// What the monitors found may leave nothing but the default mode, or no lock-up.
    pub(super) fn default_for(&mut self, monitors: &Monitors) {
        self.default_mode |= monitors.lose_the_gears();
        self.without_lock_up |= monitors.lose_the_lock_up();
    }

    /// One step: the solenoids that get current.
    pub(super) fn step(&mut self, gearing: &Gearing, measured: &Measured) -> SolenoidSet {
        self.since_shift_s = (self.since_shift_s + STEP_S).at_most(60.0);
        self.follow_force(gearing, measured);
        if self.default_mode {
            self.shift_to(DEFAULT_GEAR);
            self.set_lock_up(false);
            return SolenoidSet::NONE;
        }
        if !measured.in_drive {
            self.shift_to(0);
        } else if self.since_shift_s > SHIFT_S + SETTLE_S && is_plausible(measured) {
            let speed = measured.speed;
            let rpm_in = |gear: usize| measured.output.rpm() * gearing.ratios[gear];
            let force =
                Ratio::from_fraction(self.force.at_least((measured.pedal - 0.4) / 0.6).within(0.0, 1.0));
            let flat_out = measured.pedal > 0.9;
            self.shift_to(ShiftSchedule::USUAL.gear(self.gear, speed, force, flat_out, rpm_in));
        }
        let [low, high] = LOCK_UP_KMH;
        let from = if self.lock_up {
            low
        } else {
            low + (high - low) * self.force.within(0.0, 1.0)
        };
        let close = measured.in_drive
            && !self.without_lock_up
            && self.gear >= LOCK_UP_GEAR
            && measured.speed.kilometres_per_hour() > from
            && measured.fluid.celsius() > LOCK_UP_CELSIUS;
        self.set_lock_up(close);
        pattern(self.gear).with(Solenoid::ConverterClutch, self.lock_up)
    }

    fn shift_to(&mut self, gear: usize) {
        if gear != self.gear && gear < GEARS {
            self.gear = gear;
            (self.since_shift_s, self.lock_up_for_s) = (0.0, 0.0);
        }
    }

    fn set_lock_up(&mut self, close: bool) {
        self.lock_up_for_s = if close == self.lock_up {
            (self.lock_up_for_s + STEP_S).at_most(60.0)
        } else {
            0.0
        };
        self.lock_up = close;
    }

    /// Share of the full wheel force, from what the engine gives and the converter makes of it.
    fn follow_force(&mut self, gearing: &Gearing, measured: &Measured) {
        let ratio = gearing.ratios.get(self.gear).copied().unwrap_or(1.0);
        let engine = measured.engine_speed.rpm();
        let speeds = if engine > 1.0 {
            measured.turbine.rpm() / engine
        } else {
            1.0
        };
        let gain = (1.9 - 1.03 * speeds).within(1.0, 1.9);
        let force = measured.torque_nm * gain * ratio * gearing.output_per_speed * EFFICIENCY;
        let share = (force / gearing.full_force).at_least(0.0);
        self.force += (share - self.force) * (STEP_S / (FORCE_S + STEP_S));
    }
}

/// Whether the road speed can be believed: an output shaft does not stand while the turbine turns in a gear.
fn is_plausible(measured: &Measured) -> bool {
    measured.output.rpm() > 1.0 || measured.turbine.rpm() < TURNS_RPM
}
