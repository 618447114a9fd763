//! Idle speed: the air that holds the engine at its target, and the timing that helps at once
//! (figures calibrated).

use twotrip_units::{Angle, AngularSpeed, Limit, Ratio, Speed, Table};

use crate::{
    Calibration,
    control::{air_conditioning::AirConditioning, learned::held, measured::Measured},
};

/// Target speed in Park over coolant temperature, rpm.
const TARGET: Table<7> = Table::new([
    (-30.0, 1500.0),
    (-10.0, 1350.0),
    (0.0, 1300.0),
    (20.0, 1200.0),
    (40.0, 1050.0),
    (60.0, 880.0),
    (80.0, 700.0),
]);
/// Less in a driving position, rpm.
const IN_GEAR_LESS: f64 = 50.0;

/// More with air conditioning, rpm.
const AIR_CONDITIONING_MORE: f64 = 70.0;

/// Air that a new engine needs at its target speed, g/s over coolant temperature.
const NEEDED: Table<7> = Table::new([
    (-30.0, 8.0),
    (-10.0, 6.8),
    (0.0, 6.3),
    (20.0, 5.8),
    (40.0, 4.6),
    (60.0, 3.5),
    (85.0, 2.5),
]);
/// More in a driving position against the converter, g/s.
const IN_GEAR_MORE: f64 = 0.6;
/// More for the faster idle with air conditioning, and for the load of the compressor, g/s.
const IDLE_UP_AIR: f64 = 0.3;
const COMPRESSOR_AIR: f64 = 0.8;
/// More for what the alternator takes to feed headlamps, blower, heater of the rear screen, g/s: at idle a gram of air
/// turns the crank with 14 N m, and the alternator asks 2.3 N m for 100 W (common practice, no source; calibrated).
const LIGHTS_AIR: f64 = 0.24;
const BLOWER_AIR: f64 = 0.28;
const REAR_SCREEN_AIR: f64 = 0.32;
/// Authority: from the plate's leak up, g/s.
const LEAST: f64 = 0.6;
const MOST: f64 = 12.6;

/// Most that a warm engine's learned air adds to [`NEEDED`], g/s: a healthy one needs 0.2, one with a dead cylinder 0.7
/// (calibrated). A throttle body that wants more is dirty, and its idle is low.
const LEARNED_WARM: f64 = 0.9;
/// Coolant from which the engine counts as warm, °C.
const WARM: f64 = 70.0;

/// Air for a speed error, g/s per rpm (0.8 g/s per 100 rpm).
const PROPORTIONAL: f64 = 0.008;
/// Integral time, s.
const INTEGRAL_SECONDS: f64 = 3.0;
/// Timing for a speed error, degrees per rpm, and its limit.
const TIMING_PROPORTIONAL: f64 = 0.1;
const TIMING_LIMIT: f64 = 8.0;

/// Air on the overrun, and least air of a standing engine that falls, g/s per rpm.
const OVERRUN: f64 = 0.0022;
const FALLING: f64 = 0.0030;

/// How far above its target the speed of a standing car, from a pressed pedal or the first firings, has to fall with care, and
/// how near to it it is caught, rpm.
const FALLS: f64 = 200.0;
const CAUGHT: f64 = 60.0;

/// Pedal below which the driver asks for nothing.
const PEDAL_RELEASED: Ratio = Ratio::from_fraction(0.015);

/// The idle speed controller.
#[derive(Clone, Debug, Default)]
pub(crate) struct Idle {
    /// Size of the engine against the calibrated one: all air goes with it.
    size: f64,
    /// Learned air beside [`NEEDED`], g/s; survives the key.
    integral: f64,
    /// Most that it may be now, g/s.
    most_learned: f64,
    target_rpm: f64,
    /// Air by table, g/s.
    needed: f64,
    /// Air for what is switched on, g/s: a load stays whatever the speed, so that no speed error takes it away.
    loaded: f64,
    released: bool,
    /// The speed falls from far above its target, and has not been caught yet.
    falling: bool,
    timing: f64,
    /// The throttle does not follow: nothing is learned.
    held: bool,
}

impl Idle {
    /// Of an engine.
    pub(crate) fn new(calibration: &Calibration) -> Self {
        Self {
            size: calibration.size(),
            ..Self::default()
        }
    }

    /// Target speed of the moment.
    pub(crate) const fn target(&self) -> AngularSpeed {
        AngularSpeed::from_rpm(self.target_rpm)
    }

    /// Whether the pedal is released.
    pub(crate) const fn pedal_released(&self) -> bool {
        self.released
    }

    /// What timing adds for the speed.
    pub(crate) const fn timing(&self) -> Angle {
        Angle::from_degrees(self.timing)
    }

    /// Learned air, g/s.
    pub(crate) const fn learned(&self) -> f64 {
        self.integral
    }

    /// Puts back the learned air, g/s.
    pub(crate) fn put_back(&mut self, learned: f64) {
        self.integral = held(learned, MOST * self.size);
    }

    /// Target speed and air by coolant temperature and selector; every 100 ms. `throttle_held`: it does not follow.
    pub(crate) fn step_slow(
        &mut self,
        measured: &Measured,
        air_conditioning: &AirConditioning,
        throttle_held: bool,
    ) {
        self.held = throttle_held;
        let coolant = measured.coolant.celsius();
        let in_gear = if measured.in_gear { 1.0 } else { 0.0 };
        self.target_rpm = TARGET.at(coolant) - IN_GEAR_LESS * in_gear;
        self.needed = (NEEDED.at(coolant) + IN_GEAR_MORE * in_gear) * self.size;
        if air_conditioning.idle_up() {
            self.target_rpm += AIR_CONDITIONING_MORE;
            self.needed += IDLE_UP_AIR * self.size;
        }
        // All of the car, not of the engine.
        self.loaded = [
            (air_conditioning.loads(), COMPRESSOR_AIR),
            (measured.lights, LIGHTS_AIR),
            (measured.blower, BLOWER_AIR),
            (measured.rear_screen, REAR_SCREEN_AIR),
        ]
        .into_iter()
        .map(|(on, air)| if on { air } else { 0.0 })
        .sum();
        self.most_learned = self.size * if coolant > WARM { LEARNED_WARM } else { MOST };
        self.integral = self.integral.at_most(self.most_learned);
    }

    /// One step of `seconds`: the air wanted through the throttle with the pedal released, g/s.
    pub(crate) fn step(&mut self, measured: &Measured, running: bool, seconds: f64) -> f64 {
        self.released = measured.pedal < PEDAL_RELEASED;
        let needed = self.needed;
        let size = self.size;
        let (least, most) = (LEAST * size, MOST * size);
        let proportional = PROPORTIONAL * size;
        if !running {
            self.timing = 0.0;
            self.falling = false;
            return (needed + self.integral.at_least(0.0)).within(least, most);
        }
        let rpm = measured.rpm;
        let error = self.target_rpm - rpm;
        let rolling = measured.vehicle_speed > Speed::from_kilometres_per_hour(4.0);
        let mut flow = needed + self.integral;
        if self.released {
            self.timing = (TIMING_PROPORTIONAL * error).within(-TIMING_LIMIT, TIMING_LIMIT);
            if self.held {
                // Nothing to aim at: the speed is what the plate's rest gives.
                self.timing = self.timing.at_least(0.0);
            }
            if rolling {
                // The road turns the engine: less air the faster it turns, down to what keeps the manifold near 20 kPa.
                self.timing = self.timing.at_least(0.0);
                let wanted = flow + (proportional * error).at_most(4.0 * size);
                flow = wanted.at_least(flow.at_most(OVERRUN * size * rpm));
            } else {
                let learned = flow;
                flow += (proportional * error).within(-2.5 * size, 6.0 * size);
                self.falling = error < if self.falling { -CAUGHT } else { -FALLS };
                // The dashpot: an engine that falls from high speed onto an empty manifold cannot be caught.
                if self.falling {
                    flow = flow.at_least(learned.at_most(FALLING * size * rpm));
                } else if self.loaded > 0.0 {
                    flow = flow.at_least(learned.at_most(OVERRUN * size * rpm));
                }
                if error.abs() < 250.0 && !self.held {
                    let may_rise = flow < most && self.integral < self.most_learned;
                    let room = flow > least && error < 0.0 || may_rise && error > 0.0;
                    if room {
                        self.integral += proportional * error * (seconds / INTEGRAL_SECONDS);
                    }
                }
            }
        } else {
            self.timing = 0.0;
            flow += (proportional * error).within(0.0, 4.0 * size);
        }
        flow.within(least, most) + self.loaded
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use twotrip_units::Temperature;

    /// Air at this speed of a warm engine that stands, with these switched on, g/s.
    fn air(rpm: f64, [lights, blower, rear_screen]: [bool; 3]) -> f64 {
        let measured = Measured {
            rpm,
            coolant: Temperature::from_celsius(90.0),
            lights,
            blower,
            rear_screen,
            ..Measured::default()
        };
        let mut idle = Idle::new(&Calibration::compact_2_0());
        idle.step_slow(&measured, &AirConditioning::default(), false);
        idle.step(&measured, true, 0.01)
    }

    /// Each load brings its air at once, at any speed, before the speed has fallen for it.
    #[test]
    fn each_load_brings_its_air() {
        for rpm in [500.0, 600.0, 700.0, 750.0] {
            let bare = air(rpm, [false; 3]);
            let all = air(rpm, [true; 3]);
            let each: f64 = (0..3)
                .map(|which| air(rpm, core::array::from_fn(|place| place == which)) - bare)
                .sum();
            assert!(
                (all - bare - each).abs() < 1e-9 && (0.6..1.1).contains(&each),
                "{rpm} rpm: {each} g/s"
            );
        }
    }

    /// An engine that comes from high speed keeps in its manifold the air that it needs at idle, loaded or not; just above
    /// idle it has none too much.
    #[test]
    fn an_engine_falls_onto_air() {
        let needed = air(700.0, [false; 3]);
        for loads in [[false; 3], [true; 3]] {
            let loaded = if loads[0] {
                LIGHTS_AIR + BLOWER_AIR + REAR_SCREEN_AIR
            } else {
                0.0
            };
            for rpm in [1000.0, 1500.0, 2500.0] {
                let kept = air(rpm, loads) - loaded;
                assert!(
                    kept > needed - 0.3,
                    "{rpm} rpm, {loads:?}: {kept} g/s of {needed}"
                );
            }
            let kept = air(850.0, loads) - loaded;
            assert!(kept < needed - 0.3, "850 rpm, {loads:?}: {kept} g/s of {needed}");
        }
    }
}
