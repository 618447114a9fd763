//! The driver: follows a plan of schedules, cruises and idles with pedal and brake.
//!
//! Calibrated: wanted acceleration is that of the schedule half a second ahead and 0.8/s
//! by speed error, limited to +3.8 and -4 m/s²; 0.3 s of pedal lag. What a pedal position gives is for the car's
//! engine management to say, so a slow correction by speed error is added, as a driver's foot does.

extern crate alloc;

use alloc::vec::Vec;
use core::time::Duration;

use twotrip_harness::KeyPosition;
use twotrip_units::{AngularSpeed, Limit, Ratio, Speed};

use crate::{DriverControls, STEP, Selector, Vehicle, driveline, schedule::Schedule};

/// One leg of a drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Leg {
    /// A published speed trace.
    Schedule(&'static Schedule),
    /// At rest in Drive, foot on the brake.
    Idle {
        /// For so long, from standstill.
        span: Duration,
    },
    /// At a steady speed.
    Cruise {
        /// Which.
        speed: Speed,
        /// For so long, from reaching it.
        span: Duration,
    },
    /// At rest in Park, the engine held at a speed.
    Rev {
        /// Which.
        speed: AngularSpeed,
        /// For so long, from standstill.
        span: Duration,
    },
    /// The pedal on the floor.
    FullThrottle {
        /// Until this speed is reached.
        speed: Speed,
    },
    /// Off both pedals, in Drive.
    Coast {
        /// Until the car has slowed down to this speed.
        speed: Speed,
    },
    /// To a standstill.
    Stop,
}

/// Legs in order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    legs: Vec<Leg>,
}

impl Plan {
    /// A drive of these legs.
    #[must_use]
    pub const fn new(legs: Vec<Leg>) -> Self {
        Self { legs }
    }

    /// One published schedule.
    #[must_use]
    pub fn schedule(schedule: &'static Schedule) -> Self {
        Self::new(alloc::vec![Leg::Schedule(schedule)])
    }

    /// The legs.
    #[must_use]
    pub fn legs(&self) -> &[Leg] {
        &self.legs
    }

    /// About how long it takes: speed changes between legs at the driver's usual rates are counted in.
    #[must_use]
    pub fn duration(&self) -> Duration {
        let mut speed = Speed::ZERO;
        let mut total = Duration::ZERO;
        for leg in &self.legs {
            let (change, span, end) = match *leg {
                Leg::Schedule(schedule) => (
                    approach(speed, schedule.sample(0)),
                    schedule.duration(),
                    schedule.sample(schedule.samples() - 1),
                ),
                Leg::Idle { span } | Leg::Rev { span, .. } => {
                    (approach(speed, Speed::ZERO), span, Speed::ZERO)
                }
                Leg::Cruise { speed: target, span } => (approach(speed, target), span, target),
                Leg::FullThrottle { speed: target } => (approach(speed, target) / 2, Duration::ZERO, target),
                Leg::Coast { speed: target } => (approach(speed, target) * 4, Duration::ZERO, target),
                Leg::Stop => (approach(speed, Speed::ZERO), Duration::ZERO, Speed::ZERO),
            };
            total = total.saturating_add(change).saturating_add(span);
            speed = end;
        }
        total
    }
}

/// Usual acceleration and braking between legs, m/s² (calibrated: brisk but gentle).
const USUAL: (f64, f64) = (1.2, 1.5);

/// Time to change speed at the usual rates.
fn approach(from: Speed, to: Speed) -> Duration {
    let change = (to - from).metres_per_second();
    let seconds = if change > 0.0 {
        change / USUAL.0
    } else {
        -change / USUAL.1
    };
    Duration::try_from_secs_f64(seconds).unwrap_or(Duration::MAX)
}

/// Limits of the wanted acceleration, m/s².
const ACCELERATION_LIMITS: (f64, f64) = (-4.0, 3.8);
/// How far ahead the driver looks.
const LOOK_AHEAD: Duration = Duration::from_millis(500);
/// Wanted acceleration by speed error, 1/s.
const BY_ERROR: f64 = 0.8;
/// Lag of the foot, s.
const PEDAL_LAG_S: f64 = 0.3;
/// Slow correction, 1/s² (calibrated).
const CORRECTION: f64 = 0.12;
/// Greatest slow correction, m/s².
const CORRECTION_LIMIT: f64 = 0.8;
/// Force the driver expects from the full pedal, N, and the power, W (calibrated on the 2.0-litre).
const FULL_PEDAL: (f64, f64) = (4500.0, 82_000.0);
/// Brake pedal that holds the car against creep.
const HOLD: f64 = 0.5;
/// What the converter pushes with at a standstill, N, fading to nothing at this speed, m/s (calibrated, warm engine).
const CREEP_FORCE: f64 = 2200.0;
const CREEP_SPEED: f64 = 6.0;
/// A speed not reached within this time is given up, and the leg driven as fast as the car goes: one without power
/// would keep its driver waiting for ever (our choice).
const PATIENCE: Duration = Duration::from_secs(120);
/// Pedal that holds an engine speed in Park: by the error now, and by its sum; a rpm each (calibrated).
const HOLD_AT_ONCE: f64 = 0.00004;
const HOLD_SLOWLY: f64 = 0.000_008;
/// Decisions every so many steps: ten a second.
const DECIDE_EVERY: u64 = 10;

/// A driver with a plan.
#[derive(Clone, Debug)]
pub struct Driver {
    plan: Plan,
    road: driveline::Params,
    leg: usize,
    /// Size of the engine against the calibrated one.
    size: f64,
    /// Steps in the present leg that count for it.
    elapsed: u64,
    /// Steps since the start.
    steps: u64,
    /// Speed that a change between legs has come to.
    ramp: Option<Speed>,
    /// Steps spent on that change.
    changing: u64,
    correction: f64,
    /// What the tachometer showed last, rpm.
    tachometer: f64,
    /// Slow part of the pedal that holds an engine speed.
    hold: f64,
    wanted_pedal: f64,
    wanted_brake: f64,
    pedal: f64,
    brake: f64,
}

impl Driver {
    /// A driver who knows the compact car's road load and sits in it at rest, engine running.
    #[must_use]
    pub const fn new(plan: Plan) -> Self {
        Self::with_road(plan, driveline::Params::compact_2_0(), 1.0)
    }

    /// A driver who knows this car.
    #[must_use]
    pub fn of(vehicle: &Vehicle, plan: Plan) -> Self {
        let params = vehicle.params();
        let size = params.cooling.per_size.recip();
        Self::with_road(plan, params.driveline.clone(), size)
    }

    const fn with_road(plan: Plan, road: driveline::Params, size: f64) -> Self {
        Self {
            plan,
            road,
            size,
            leg: 0,
            elapsed: 0,
            steps: 0,
            ramp: None,
            changing: 0,
            correction: 0.0,
            tachometer: 0.0,
            hold: 0.0,
            wanted_pedal: 0.0,
            wanted_brake: HOLD,
            pedal: 0.0,
            brake: HOLD,
        }
    }

    /// The plan is done; the car stands in Drive with the foot on the brake, or rolls if its last leg did.
    #[must_use]
    pub fn finished(&self) -> bool {
        self.leg >= self.plan.legs.len()
    }

    /// Whether the plan leaves the car in Park: its last leg held an engine speed there.
    #[must_use]
    pub fn ends_in_park(&self) -> bool {
        matches!(self.plan.legs.last(), Some(Leg::Rev { .. }))
    }

    /// How much of the plan's time has gone.
    #[must_use]
    pub fn progress(&self) -> Ratio {
        if self.finished() {
            return Ratio::from_fraction(1.0);
        }
        let total = self.plan.duration().as_secs_f64().max(STEP.as_secs_f64());
        Ratio::from_fraction((self.time(self.steps).as_secs_f64() / total).min(1.0))
    }

    /// The speed the plan asks for now.
    #[must_use]
    pub fn target_speed(&self) -> Speed {
        match self.plan.legs.get(self.leg) {
            Some(Leg::Schedule(schedule)) if self.ramp.is_none() => schedule.speed(self.time(self.elapsed)),
            Some(Leg::Cruise { speed, .. }) if self.ramp.is_none() => *speed,
            Some(_) => self.ramp.unwrap_or(Speed::ZERO),
            None => Speed::ZERO,
        }
    }

    /// The driver looks at the tachometer, which legs in Park go by.
    pub const fn read_tachometer(&mut self, shown: AngularSpeed) {
        self.tachometer = shown.rpm();
    }

    /// What the driver does in this step, at this road speed.
    pub fn controls(&mut self, speed: Speed) -> DriverControls {
        if self.steps.is_multiple_of(DECIDE_EVERY) {
            // A speedometer may show anything; the driver believes what a car can do.
            let shown = speed.metres_per_second();
            let shown = if shown.is_finite() {
                shown.clamp(0.0, 100.0)
            } else {
                0.0
            };
            self.decide(Speed::from_metres_per_second(shown));
        }
        self.steps += 1;
        let follow = STEP.as_secs_f64() / (PEDAL_LAG_S + STEP.as_secs_f64());
        self.pedal += (self.wanted_pedal - self.pedal) * follow;
        self.brake += (self.wanted_brake - self.brake) * follow;
        // The foot is on one pedal or the other.
        let braking = self.wanted_brake > 0.0;
        DriverControls {
            key: KeyPosition::On,
            pedal: Ratio::from_fraction(if braking { 0.0 } else { self.pedal }),
            brake: Ratio::from_fraction(if braking { self.brake } else { 0.0 }),
            selector: if self.revs() {
                Selector::Park
            } else {
                Selector::Drive
            },
        }
    }

    /// Whether the car stands in Park for a leg that wants an engine speed.
    fn revs(&self) -> bool {
        self.elapsed > 0 && matches!(self.plan.legs.get(self.leg), Some(Leg::Rev { .. }))
    }

    /// The pedal for an engine speed, by what the tachometer shows; nothing but a number moves it.
    fn hold_engine_speed(&mut self, wanted: AngularSpeed) {
        let off = (wanted.rpm() - self.tachometer).within(-2000.0, 2000.0);
        self.hold = (self.hold + HOLD_SLOWLY * off).within(0.0, 1.0);
        self.set((self.hold + HOLD_AT_ONCE * off).within(0.0, 1.0), 0.0);
    }

    fn time(&self, steps: u64) -> Duration {
        Duration::from_nanos(steps.saturating_mul(STEP_NANOS))
    }

    /// Moves on in the plan and sets the pedals wanted for the next tenth of a second.
    fn decide(&mut self, speed: Speed) {
        let (target, acceleration) = self.follow_plan(speed);
        match self.plan.legs.get(self.leg) {
            Some(&Leg::Rev { speed: wanted, .. }) if self.elapsed > 0 => {
                return self.hold_engine_speed(wanted);
            }
            Some(Leg::FullThrottle { .. }) => return self.set(1.0, 0.0),
            Some(Leg::Coast { .. }) => return self.set(0.0, 0.0),
            _ => self.hold = 0.0,
        }
        let stopping = target.metres_per_second() < 0.1 && acceleration <= 0.0;
        if stopping && speed.metres_per_second() < 1.5 {
            self.correction = 0.0;
            self.set(0.0, HOLD);
            return;
        }
        let error = (target - speed).metres_per_second();
        let limit = CORRECTION_LIMIT;
        let step = STEP.as_secs_f64() * 10.0;
        self.correction = (self.correction + CORRECTION * error * step).clamp(-limit, limit);
        let wanted = (acceleration + BY_ERROR * error).clamp(ACCELERATION_LIMITS.0, ACCELERATION_LIMITS.1);
        let v = speed.metres_per_second().max(0.0);
        let force = self.road.inertial_mass() * (wanted + self.correction) + self.road.road_load_at(v);
        // Lifting the foot already brakes a little: only beyond that the other pedal is wanted.
        let engine_drag = 60.0 + 8.0 * v;
        if force > 0.0 {
            let full = self.size * FULL_PEDAL.0.min(FULL_PEDAL.1 / v.max(1.0));
            let share = (force / full).min(1.0);
            let root = libm::sqrt(share);
            self.set(root * libm::sqrt(root), 0.0);
        } else if force > -engine_drag {
            self.set(0.0, 0.0);
        } else {
            // Close to a stop the converter pushes, and the brake must hold against it.
            let creep = CREEP_FORCE * (1.0 - v / CREEP_SPEED).max(0.0);
            self.set(
                0.0,
                ((-force - engine_drag + creep) / self.road.brake_force).clamp(0.01, 1.0),
            );
        }
    }

    const fn set(&mut self, pedal: f64, brake: f64) {
        self.wanted_pedal = pedal;
        self.wanted_brake = brake;
        if brake > 0.0 {
            self.pedal = 0.0;
        } else {
            self.brake = 0.0;
        }
    }

    /// Target speed now and acceleration just ahead, m/s²; advances to the next leg when one is done.
    fn follow_plan(&mut self, speed: Speed) -> (Speed, f64) {
        let Some(&leg) = self.plan.legs.get(self.leg) else {
            return self.ramp_to(Speed::ZERO, speed);
        };
        let (start, span) = match leg {
            Leg::FullThrottle { speed: end } => return self.until(end, speed >= end),
            Leg::Coast { speed: end } => return self.until(end, speed <= end),
            Leg::Schedule(schedule) => (schedule.sample(0), schedule.duration()),
            Leg::Idle { span } | Leg::Rev { span, .. } => (Speed::ZERO, span),
            Leg::Cruise { speed, span } => (speed, span),
            Leg::Stop => (Speed::ZERO, Duration::ZERO),
        };
        let off = (speed - start).abs().metres_per_second() > 0.5;
        if self.elapsed == 0 && off && self.time(self.changing) < PATIENCE {
            self.changing += DECIDE_EVERY;
            return self.ramp_to(start, speed);
        }
        self.ramp = None;
        self.changing = 0;
        let now = self.time(self.elapsed);
        self.elapsed += DECIDE_EVERY;
        if now >= span {
            self.leg += 1;
            self.elapsed = 0;
        }
        match leg {
            Leg::Schedule(schedule) => (
                schedule.speed(now),
                schedule
                    .acceleration(now + LOOK_AHEAD)
                    .metres_per_second_squared(),
            ),
            Leg::Cruise { speed, .. } => (speed, 0.0),
            Leg::Idle { .. } | Leg::Rev { .. } | Leg::Stop | Leg::FullThrottle { .. } | Leg::Coast { .. } => {
                (Speed::ZERO, 0.0)
            }
        }
    }

    /// A leg that ends when a speed is reached, or the driver's patience.
    fn until(&mut self, end: Speed, reached: bool) -> (Speed, f64) {
        self.ramp = None;
        self.elapsed += DECIDE_EVERY;
        if reached || self.time(self.elapsed) > PATIENCE {
            self.leg += 1;
            self.elapsed = 0;
        }
        (end, 0.0)
    }

    /// A change of speed between legs at the usual rates.
    fn ramp_to(&mut self, end: Speed, speed: Speed) -> (Speed, f64) {
        let from = self.ramp.unwrap_or(speed);
        let rate = if end > from { USUAL.0 } else { -USUAL.1 };
        let moved = from + Speed::from_metres_per_second(rate * STEP.as_secs_f64() * 10.0);
        let (target, rate) = if (end > from) == (end > moved) && end != from {
            (moved, rate)
        } else {
            (end, 0.0)
        };
        self.ramp = Some(target);
        (target, rate)
    }
}

const STEP_NANOS: u64 = 10_000_000;
const _: () = assert!(
    STEP.as_nanos() == STEP_NANOS as u128,
    "the driver counts steps of the car"
);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schedule::UDDS;

    /// A car that does at once what the driver wants: pedal and brake back to force, no engine between.
    fn follow(plan: Plan, mut seen: impl FnMut(&Driver, f64, DriverControls)) -> (f64, u64) {
        let mut driver = Driver::new(plan);
        let road = driveline::Params::compact_2_0();
        let mut speed = 0.0_f64;
        let mut steps = 0;
        while !driver.finished() {
            let controls = driver.controls(Speed::from_metres_per_second(speed));
            seen(&driver, speed, controls);
            let full = FULL_PEDAL.0.min(FULL_PEDAL.1 / speed.max(1.0));
            let pull = full * libm::pow(controls.pedal.fraction(), 4.0 / 3.0);
            let brake = road.brake_force * controls.brake.fraction();
            let resistance = brake + road.road_load_at(speed);
            speed = (speed + 0.01 * (pull - resistance) / road.inertial_mass()).max(0.0);
            steps += 1;
            assert!(steps < 1_000_000, "the plan ends");
        }
        (speed, steps)
    }

    #[test]
    fn legs_are_driven_in_order_and_take_about_the_time_foretold() {
        let span = Duration::from_secs(60);
        let fast = Speed::from_kilometres_per_hour(90.0);
        let plan = Plan::new(alloc::vec![
            Leg::Idle { span },
            Leg::Cruise { speed: fast, span },
            Leg::Cruise {
                speed: fast / 2.0,
                span
            },
            Leg::Stop,
        ]);
        let foretold = plan.duration();
        let mut top = 0.0_f64;
        let mut progress = 0.0;
        let mut steady: u32 = 0;
        let (end, steps) = follow(plan, |driver, speed, controls| {
            top = top.max(speed);
            steady += u32::from((speed - fast.metres_per_second()).abs() < 0.5);
            assert!(driver.progress().fraction() >= progress);
            progress = driver.progress().fraction();
            assert!(
                controls.pedal.fraction() <= 0.0 || controls.brake.fraction() <= 0.0,
                "one pedal at a time"
            );
        });
        assert!(end < 0.6, "it ends at rest: {end} m/s");
        assert!((top - fast.metres_per_second()).abs() < 1.0, "{top} m/s");
        assert!((5900..9000).contains(&steady), "{steady} steps at speed");
        let taken = Duration::from_millis(10 * steps);
        assert!(
            taken.abs_diff(foretold) < Duration::from_secs(15),
            "{taken:?}, foretold {foretold:?}"
        );
        assert!(progress > 0.9);
    }

    #[test]
    fn a_schedule_after_a_cruise_begins_at_rest() {
        let plan = Plan::new(alloc::vec![
            Leg::Cruise {
                speed: Speed::from_kilometres_per_hour(50.0),
                span: Duration::from_secs(5)
            },
            Leg::Schedule(&UDDS),
        ]);
        let mut braked = false;
        follow(plan, |driver, _, controls| {
            braked |= driver.leg == 1 && controls.brake.fraction() > 0.05
        });
        assert!(braked);
    }

    /// A car without power: the driver holds the pedal down for the time of the leg, and the drive ends.
    #[test]
    fn a_speed_out_of_reach_is_given_up() {
        let span = Duration::from_secs(30);
        let speed = Speed::from_kilometres_per_hour(60.0);
        let mut driver = Driver::new(Plan::new(alloc::vec![Leg::Cruise { speed, span }]));
        let mut steps = 0;
        while !driver.finished() {
            let controls = driver.controls(Speed::from_kilometres_per_hour(8.0));
            assert!(steps < 1000 || controls.pedal.fraction() > 0.9);
            steps += 1;
            assert!(steps < 100_000, "the drive ends");
        }
        let taken = Duration::from_millis(10 * steps);
        assert!(
            taken.abs_diff(PATIENCE + span) < Duration::from_secs(1),
            "{taken:?}"
        );
    }

    #[test]
    fn nothing_to_do_means_foot_on_the_brake() {
        let mut driver = Driver::new(Plan::default());
        assert!(driver.finished());
        assert!((driver.progress().fraction() - 1.0).abs() < 1e-12);
        let controls = driver.controls(Speed::ZERO);
        assert!(controls.brake.fraction() > 0.1 && controls.pedal.fraction() <= 0.0);
        assert_eq!(controls.selector, Selector::Drive);
    }

    /// Absurd speeds from outside do not break the driver.
    #[test]
    fn any_speed_gives_pedals_within_their_travel() {
        let mut driver = Driver::new(Plan::schedule(&UDDS));
        for speed in [f64::NAN, f64::INFINITY, -40.0, 1e9, 0.0, 20.0] {
            for _ in 0..50 {
                let controls = driver.controls(Speed::from_metres_per_second(speed));
                for pedal in [controls.pedal, controls.brake] {
                    assert!((0.0..=1.0).contains(&pedal.fraction()), "{speed} m/s: {pedal:?}");
                }
            }
        }
    }
}
