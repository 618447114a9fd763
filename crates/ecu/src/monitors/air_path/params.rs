//! Limits and times of the air path's monitors, and their rules in words.

use core::time::Duration;

use twotrip_units::{Angle, AngularSpeed, Pressure};

/// Limits and times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Params {
    /// Views beyond this are apart, within [`Self::together`] together.
    pub apart: f64,
    /// See [`Self::apart`].
    pub together: f64,
    /// Time constant of the errors, s of steady running.
    pub filter_seconds: f64,
    /// Closed loop that adds less than this sees no air that comes in behind the meter.
    pub trim_at_rest: f64,
    /// Plate above which the car does not idle.
    pub off_idle: Angle,
    /// Steady seconds below and above that plate after which a sensor passes.
    pub pass_seconds: f64,
    /// Time that the manifold takes to fill after the engine stopped, s.
    pub fill_seconds: f64,
    /// Pressure sensor against the barometer with the engine off, and for how long, s.
    pub standing: (Pressure, f64),
    /// Run time from which that is said.
    pub standing_said_after: Duration,
    /// Pressure sensor below both models by this, and for how long, s: it lags, or reads low. (A leak lifts the
    /// pressure above both models, never below.)
    pub lagging: (Pressure, f64),
    /// Engine speed from which the next rule looks.
    pub running_above: AngularSpeed,
    /// Nearly atmosphere, as a share of the barometer, with both models below the other share, and for how long, s:
    /// the hose is off. (No leak lifts a closed throttle's manifold so far.)
    pub atmosphere: (f64, f64, f64),
    /// Density's view below this share of the meter's, with the throttle's beside the meter's, and for how long, s.
    pub pressure_far: (f64, f64),
    /// And the pressure sensor below the throttle's view by more than this.
    pub filling: Pressure,
    /// Meter and plate within this share pass the same flow.
    pub same_flow: f64,
    /// Shown pressure and that of the throttle's view within this: both mean the same manifold.
    pub same_pressure: Pressure,
    /// Meter below or above these shares of the density's view, with the throttle's beside that, and for how long, s.
    pub meter_far: (f64, f64, f64),
    /// Large opening: plate from which, by how much the meter may differ there, for how long, s. Where throttle and
    /// pressure agree it is the meter; else throttle and air do not fit each other.
    pub large: (Angle, f64, f64),
    /// Engine speed from which that counts.
    pub large_above: AngularSpeed,
    /// Pressure behind the plate, as a share of the barometer, below which the plate meters the air.
    pub throttled: f64,
}

/// This car's: 18 and 10 %, 30 % for half a second at large opening as makers publish such monitors; the sensor
/// against the barometer (common practice, no source, is 2 kPa at the bench); the others calibrated.
pub const PARAMS: Params = Params {
    apart: 0.18,
    together: 0.10,
    filter_seconds: 10.0,
    trim_at_rest: 0.08,
    off_idle: Angle::from_degrees(11.0),
    pass_seconds: 20.0,
    fill_seconds: 1.2,
    standing: (Pressure::from_kilopascals(6.0), 0.4),
    standing_said_after: Duration::from_secs(8),
    lagging: (Pressure::from_kilopascals(15.0), 1.0),
    running_above: AngularSpeed::from_rpm(500.0),
    atmosphere: (0.96, 0.60, 0.4),
    pressure_far: (0.62, 0.7),
    filling: Pressure::from_kilopascals(3.0),
    same_flow: 0.12,
    same_pressure: Pressure::from_kilopascals(6.0),
    meter_far: (0.60, 1.60, 1.0),
    large: (Angle::from_degrees(45.0), 0.30, 0.5),
    large_above: AngularSpeed::from_rpm(1200.0),
    throttled: 0.75,
};
