//! Crank, torque converter, gearbox, wheels: engine speed and road speed are found together.
//!
//! Mass, road load and tyre of a compact sedan (from memory, middle of EPA's test-car
//! lists), gearbox and converter calibrated. No grade, no wheel slip. The lock-up clutch is a stiff damper, solved
//! implicitly with both speeds, so that it needs no second set of equations.

use twotrip_harness::{ShiftSchedule, gearbox};
use twotrip_units::{Limit, Ratio, Speed};

use crate::{Divisor, Lag};

/// Gears.
pub(crate) const GEARS: usize = gearbox::GEARS;

/// Car, gearbox and converter.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Test mass, kg.
    pub(crate) mass_kg: f64,
    /// What turns with the wheels, as a share of the mass.
    pub(crate) rotating_share: f64,
    /// Road load: N, N s/m, N s²/m².
    pub(crate) road_load: (f64, f64, f64),
    /// Gear ratios, first to sixth.
    pub(crate) ratios: [f64; GEARS],
    /// Final drive by rolling radius of the tyres, 1/m: rad/s at the gearbox for each m/s in a gear of ratio 1.
    pub(crate) final_by_tyre: f64,
    pub(crate) efficiency: f64,
    /// When it shifts.
    pub(crate) schedule: ShiftSchedule,
    /// The wheel force that counts as full there, N.
    pub(crate) full_force: Divisor,
    /// Smoothing of the wheel force (calibrated).
    pub(crate) force_lag: Lag,
    /// Duration of a shift, s.
    pub(crate) shift_s: Divisor,
    /// The gearbox rests this long after a shift, s (calibrated).
    pub(crate) settle_s: f64,
    /// Converter pump torque at a standing turbine, N m s²: 1 N m at 190 rpm.
    pub(crate) converter: f64,
    /// Torque ratio at a standing turbine, and its fall with the speed ratio.
    pub(crate) torque_ratio: (f64, f64),
    /// First gear of the lock-up, 0 is first (third: as six-speed automatics do it, common practice, no source).
    pub(crate) lock_up_gear: usize,
    /// Lock-up above this speed, m/s: while coasting, and with [`Params::full_force`] at the wheels; once closed the clutch
    /// stays so down to the lower one (calibrated).
    pub(crate) lock_up_speed: (f64, f64),
    /// Lock-up above this oil temperature, °C.
    pub(crate) lock_up_celsius: f64,
    /// Damping of the closed lock-up clutch, N m s/rad: about 4 rpm of slip at 40 N m (calibrated).
    pub(crate) clutch: f64,
    /// Time in which it closes, s (calibrated).
    pub(crate) clutch_s: Divisor,
    /// Brake force at the full pedal, N (calibrated).
    pub(crate) brake_force: f64,
    /// Inertia at the crank, kg m².
    pub(crate) inertia: f64,
}

impl Params {
    pub(crate) const fn compact_2_0() -> Self {
        const KMH: f64 = 1.0 / 3.6;
        const TYRE_M: f64 = 0.307;
        const FINAL_DRIVE: f64 = 3.40;
        const ROOT_OF_CONVERTER: f64 = 30.0 / core::f64::consts::PI / 190.0;
        Self {
            mass_kg: 1417.0,
            rotating_share: 0.03,
            road_load: (115.7, 1.99, 0.3895),
            ratios: [4.15, 2.37, 1.56, 1.16, 0.86, 0.69],
            final_by_tyre: FINAL_DRIVE / TYRE_M,
            efficiency: 0.92,
            schedule: ShiftSchedule::USUAL,
            full_force: Divisor::new(3000.0),
            force_lag: Lag::new(0.3),
            shift_s: Divisor::new(0.4),
            settle_s: 1.0,
            converter: ROOT_OF_CONVERTER * ROOT_OF_CONVERTER,
            torque_ratio: (1.9, 1.03),
            lock_up_gear: 2,
            lock_up_speed: (30.0 * KMH, 45.0 * KMH),
            lock_up_celsius: 50.0,
            clutch: 100.0,
            clutch_s: Divisor::new(0.5),
            brake_force: 10_000.0,
            inertia: crate::engine::Params::compact_2_0().inertia,
        }
    }

    /// Road load at a speed, N.
    #[inline]
    pub(crate) fn road_load_at(&self, speed: f64) -> f64 {
        let (a, b, c) = self.road_load;
        a + (b + c * speed) * speed
    }

    /// Mass with what turns, kg.
    #[inline]
    pub(crate) fn inertial_mass(&self) -> f64 {
        self.mass_kg * (1.0 + self.rotating_share)
    }
}

/// Crank, gearbox and car.
#[derive(Clone, Copy, Debug)]
pub(crate) struct State {
    /// Crank speed, rad/s.
    pub(crate) omega: f64,
    /// Road speed, m/s.
    pub(crate) speed: f64,
    /// Acceleration of the last step, m/s².
    pub(crate) acceleration: f64,
    /// Distance since the car was made, m.
    pub(crate) distance_m: f64,
    /// Gear, 0 is first.
    pub(crate) gear: usize,
    /// The gear before the shift under way.
    pub(crate) previous_gear: usize,
    /// Time since the last shift began, s.
    pub(crate) since_shift_s: f64,
    /// How far the lock-up clutch is closed, 0..1.
    pub(crate) lock_up: f64,
    /// Wheel force, N, smoothed.
    pub(crate) wheel_force: f64,
    /// How much faster the turbine turns than the gear asks, where a clutch of the gearbox slips, rad/s.
    pub(crate) slip: f64,
}

impl State {
    /// A parked car.
    pub(crate) const fn parked() -> Self {
        Self {
            omega: 0.0,
            speed: 0.0,
            acceleration: 0.0,
            distance_m: 0.0,
            gear: 0,
            previous_gear: 0,
            since_shift_s: 10.0,
            lock_up: 0.0,
            wheel_force: 0.0,
            slip: 0.0,
        }
    }
}

/// What the clutches of gearbox and converter hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Clutches {
    /// Damping of the closed lock-up clutch against a good one's.
    pub(crate) lock_up: f64,
    /// The lock-up clutch is closed whatever is commanded, from second gear on: in first its feed is shut off.
    pub(crate) lock_up_shut: bool,
    /// Some gear holds less than it should.
    pub(crate) worn: bool,
    /// Torque at the gearbox's input that each gear holds, N m; read where [`Self::worn`].
    pub(crate) holds: [f64; GEARS],
}

impl Clutches {
    /// Good ones.
    pub(crate) const GOOD: Self = Self {
        lock_up: 1.0,
        lock_up_shut: false,
        worn: false,
        holds: [f64::INFINITY; GEARS],
    };
}

/// What moves the car.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Inputs<'a> {
    /// Engine and starter at the flywheel, N m.
    pub(crate) torque: f64,
    pub(crate) pedal: f64,
    pub(crate) brake: f64,
    pub(crate) in_drive: bool,
    pub(crate) oil_celsius: f64,
    /// Ambient pressure against that at the sea: the drag of the air goes with it.
    pub(crate) air: f64,
    pub(crate) shifts: Shifts,
    pub(crate) clutches: &'a Clutches,
}

/// How the gearbox shifts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Shifts {
    /// As it should.
    Smooth,
    /// Without word of the engine: hard.
    Harsh,
    /// Not at all: the hydraulics hold [`HYDRAULIC_GEAR`].
    None,
    /// As the solenoids have it.
    Commanded {
        /// 0 is first.
        gear: usize,
        /// The lock-up clutch is fed.
        lock_up: bool,
        /// Without word of the engine: hard.
        hard: bool,
    },
}

impl Shifts {
    /// Duration of a shift, s, and how far it has come by now.
    #[inline]
    fn progress(self, params: &Params, since_shift_s: f64) -> (f64, f64) {
        if matches!(self, Self::Smooth | Self::Commanded { hard: false, .. }) {
            (params.shift_s.figure, since_shift_s / params.shift_s)
        } else {
            (HARD_SHIFT_S, since_shift_s * (1.0 / HARD_SHIFT_S))
        }
    }
}

/// Ratio of the gear, or of the shift from one to the next, now.
#[inline]
pub(crate) fn ratio(params: &Params, state: &State, shifts: Shifts) -> f64 {
    let share = shifts.progress(params, state.since_shift_s).1.at_most(1.0);
    params.ratios[state.previous_gear] * (1.0 - share) + params.ratios[state.gear] * share
}

/// The gear of a gearbox without its controller: third (common practice, no source).
const HYDRAULIC_GEAR: usize = 2;
/// Duration of a hard shift, s (calibrated).
const HARD_SHIFT_S: f64 = 0.1;

/// What the torque converter does between crank and gearbox.
#[derive(Clone, Copy)]
struct Converter {
    /// Torque taken from the crank, N m.
    pump: f64,
    /// Torque given to the gearbox, N m.
    turbine: f64,
    /// Slope of the pump torque over crank speed, N m s/rad.
    damping: f64,
}

/// The converter at two speeds. Driven from the turbine side it works the same way round, without multiplication.
#[inline]
fn converter(params: &Params, omega: f64, turbine: f64) -> Converter {
    let coefficient = params.converter;
    if omega >= turbine {
        let ratio = if omega > 0.0 { turbine / omega } else { 0.0 };
        let fourth = ratio * ratio * ratio * ratio;
        let pump = coefficient * omega * omega * (1.0 - fourth);
        let gain = (params.torque_ratio.0 - params.torque_ratio.1 * ratio).at_least(1.0);
        Converter {
            pump,
            turbine: pump * gain,
            damping: 2.0 * coefficient * omega * (1.0 + fourth),
        }
    } else {
        let ratio = omega / turbine;
        let cube = ratio * ratio * ratio;
        let pump = -coefficient * turbine * turbine * (1.0 - cube * ratio);
        Converter {
            pump,
            turbine: pump,
            damping: 4.0 * coefficient * turbine * cube,
        }
    }
}

/// The gear wanted at this speed.
fn wanted_gear(params: &Params, state: &State, pedal: f64) -> usize {
    let gear = state.gear;
    let force = (state.wheel_force / params.full_force)
        .at_least((pedal - 0.4) * (1.0 / 0.6))
        .within(0.0, 1.0);
    let rpm_in = |gear: usize| {
        state.speed * params.ratios[gear] * params.final_by_tyre * (30.0 / core::f64::consts::PI)
    };
    let speed = Speed::from_metres_per_second(state.speed);
    params
        .schedule
        .gear(gear, speed, Ratio::from_fraction(force), pedal > 0.9, rpm_in)
}

/// Inertia of the converter's turbine with what turns with it, kg m² (calibrated).
const TURBINE_INERTIA: f64 = 0.05;

/// The same step with a gear that passes on no more than its clutches hold: speeds of crank and car, and what is left of
/// slip.
#[cold]
fn slipping(
    params: &Params,
    state: &State,
    inputs: &Inputs<'_>,
    (gearing, clutch): (f64, f64),
    (resistance, holds): (f64, f64),
    per_dt: f64,
) -> (f64, f64, f64) {
    let turbine = state.speed * gearing + state.slip;
    let taken = converter(params, state.omega, turbine);
    let crank = params.inertia * per_dt + taken.damping;
    let crank_right = crank * state.omega + inputs.torque - taken.pump;
    let wheel = TURBINE_INERTIA * per_dt;
    let wheel_right = wheel * turbine + taken.turbine - holds;
    let solved = 1.0 / ((crank + clutch) * (wheel + clutch) - clutch * clutch);
    let omega = (crank_right * (wheel + clutch) + clutch * wheel_right) * solved;
    let turbine = ((crank + clutch) * wheel_right + clutch * crank_right) * solved;
    let force = holds * gearing * params.efficiency - resistance;
    let speed = (state.speed + force / (params.inertial_mass() * per_dt)).at_least(0.0);
    (omega, speed, (turbine - speed * gearing).at_least(0.0))
}

/// One step.
#[inline]
pub(crate) fn step(params: &Params, state: &State, inputs: &Inputs<'_>, dt: f64) -> State {
    let mut next = *state;
    next.since_shift_s = (state.since_shift_s + dt).at_most(10.0);
    // The program that commands it gives the gearbox its time by itself.
    let settle_s = if matches!(inputs.shifts, Shifts::Commanded { .. }) {
        0.0
    } else {
        params.settle_s
    };
    if next.since_shift_s > params.shift_s.figure + settle_s {
        let wanted = match inputs.shifts {
            Shifts::None => HYDRAULIC_GEAR,
            Shifts::Commanded { gear, .. } => gear,
            Shifts::Smooth | Shifts::Harsh => wanted_gear(params, state, inputs.pedal),
        };
        if wanted != state.gear {
            next.previous_gear = state.gear;
            next.gear = wanted;
            next.since_shift_s = 0.0;
        }
    }
    let (shift_s, share) = inputs.shifts.progress(params, next.since_shift_s);
    let shifting = next.since_shift_s < shift_s;
    let share = share.at_most(1.0);
    let ratio = params.ratios[next.previous_gear] * (1.0 - share) + params.ratios[next.gear] * share;

    // The clutch opens at once below the limits and slips through a shift.
    let (low, high) = params.lock_up_speed;
    let closes_from = if state.lock_up > 0.0 {
        low
    } else {
        low + (high - low) * (state.wheel_force / params.full_force).within(0.0, 1.0)
    };
    let asked = match inputs.shifts {
        Shifts::Commanded { lock_up, .. } => lock_up,
        _ => {
            next.gear >= params.lock_up_gear
                && state.speed > closes_from
                && inputs.oil_celsius > params.lock_up_celsius
        }
    };
    let lock = inputs.in_drive && (asked || inputs.clutches.lock_up_shut && next.gear > 0);
    next.lock_up = if !lock || shifting {
        0.0
    } else {
        (state.lock_up + dt / params.clutch_s).at_most(1.0)
    };
    let clutch = params.clutch * next.lock_up * next.lock_up * inputs.clutches.lock_up;

    // rad/s at the turbine for each m/s
    let gearing = ratio * params.final_by_tyre;
    let taken = if inputs.in_drive {
        converter(params, state.omega, state.speed * gearing)
    } else {
        Converter {
            pump: 0.0,
            turbine: 0.0,
            damping: 0.0,
        }
    };
    let efficiency = if taken.turbine >= 0.0 {
        params.efficiency
    } else {
        1.0 / params.efficiency
    };
    let mass = params.inertial_mass();
    let thinner = params.road_load.2 * (1.0 - inputs.air) * state.speed * state.speed;
    let resistance = params.road_load_at(state.speed) - thinner + params.brake_force * inputs.brake;

    // Two equations for the two new speeds, linear in the clutch and the converter's damping.
    let per_dt = 1.0 / dt;
    let crank = params.inertia * per_dt + taken.damping;
    let crank_right = crank * state.omega + inputs.torque - taken.pump;
    let coupling = clutch * gearing;
    let car = mass * per_dt + coupling * gearing * efficiency;
    let car_right = mass * per_dt * state.speed + taken.turbine * gearing * efficiency - resistance;
    let determinant = (crank + clutch) * car - coupling * coupling * efficiency;
    let solved = 1.0 / determinant;
    let mut omega = (crank_right * car + coupling * car_right) * solved;
    let mut speed = ((crank + clutch) * car_right + coupling * efficiency * crank_right) * solved;
    next.slip = 0.0;
    if inputs.clutches.worn && inputs.in_drive {
        let through = taken.turbine + clutch * (omega - speed * gearing);
        let holds = inputs.clutches.holds[next.gear];
        if through > holds || state.slip > 0.0 {
            (omega, speed, next.slip) = slipping(
                params,
                state,
                inputs,
                (gearing, clutch),
                (resistance, holds),
                per_dt,
            );
        }
    }
    if speed < 0.0 || !inputs.in_drive && state.speed < 0.3 {
        // At rest; the park pawl holds as well.
        speed = 0.0;
        omega = crank_right / (crank + clutch);
    }
    next.omega = if omega < 0.5 { 0.0 } else { omega };
    next.speed = speed;
    next.acceleration = (speed - state.speed) * per_dt;
    next.distance_m += 0.5 * (speed + state.speed) * dt;
    let wheel_force = mass * next.acceleration + resistance;
    let wheel_force = if speed > 0.0 && inputs.brake <= 0.0 {
        wheel_force
    } else {
        0.0
    };
    next.wheel_force += (wheel_force - state.wheel_force) * params.force_lag.share(dt);
    next
}

#[cfg(test)]
mod tests {
    use super::*;

    const DT: f64 = 0.01;

    fn drive(state: State, torque: f64, pedal: f64, brake: f64, seconds: f64) -> State {
        let params = Params::compact_2_0();
        let inputs = Inputs {
            torque,
            pedal,
            brake,
            in_drive: true,
            oil_celsius: 90.0,
            air: 1.0,
            shifts: Shifts::Smooth,
            clutches: &Clutches::GOOD,
        };
        let mut state = state;
        let mut at = 0.0;
        while at < seconds {
            state = step(&params, &state, &inputs, DT);
            at += DT;
        }
        state
    }

    fn rolling(kmh: f64) -> State {
        State {
            speed: kmh / 3.6,
            omega: 150.0,
            ..State::parked()
        }
    }

    /// The three terms of the road load, added by hand: 50 km/h 218 N, 80 352 N, 100 471 N, 120 615 N.
    #[test]
    fn road_load_is_that_of_the_table() {
        let params = Params::compact_2_0();
        for (kmh, newtons) in [(50.0, 218.0), (80.0, 352.0), (100.0, 471.0), (120.0, 615.0)] {
            assert!((params.road_load_at(kmh / 3.6) - newtons).abs() < 1.0);
        }
    }

    /// 12 N m of drag at 650 rpm in Drive at rest; the torque ratio 1.9 at rest, 1 from 0.87 on.
    #[test]
    fn the_converter_drags_and_multiplies() {
        let params = Params::compact_2_0();
        let idle = 650.0 * core::f64::consts::PI / 30.0;
        let stalled = converter(&params, idle, 0.0);
        assert!((stalled.pump - 11.7).abs() < 0.1 && (stalled.turbine / stalled.pump - 1.9).abs() < 1e-9);
        let coupled = converter(&params, 200.0, 180.0);
        assert!((coupled.turbine - coupled.pump).abs() < 1e-9 && coupled.pump > 0.0);
        let pushed = converter(&params, 150.0, 200.0);
        assert!(pushed.pump < 0.0 && (pushed.turbine - pushed.pump).abs() < 1e-9);
    }

    /// Light-throttle gears; rolling out from a speed the box finds the same gear.
    #[test]
    fn the_box_finds_its_gear_both_ways() {
        for (kmh, gear) in [
            (12.0, 1),
            (24.0, 2),
            (38.0, 3),
            (50.0, 4),
            (70.0, 5),
            (80.0, 6),
            (120.0, 6),
        ] {
            // From below: the engine gives what the road takes.
            let mut state = rolling(kmh);
            for _ in 0..2000 {
                state = drive(state, 12.0, 0.1, 0.0, DT);
                state.speed = kmh / 3.6;
            }
            assert_eq!(state.gear + 1, gear, "{kmh} km/h");
        }
        let stopped = drive(drive(rolling(100.0), 60.0, 0.2, 0.0, 12.0), 5.0, 0.0, 0.3, 20.0);
        assert_eq!(stopped.gear, 0, "back in first at rest");
        assert!(stopped.speed <= 0.0, "and held by the brake");
    }

    /// Full throttle holds the gear to 6000 rpm and kicks down.
    #[test]
    fn full_throttle_uses_the_revs() {
        let cruising = drive(rolling(70.0), 25.0, 0.15, 0.0, 15.0);
        let kicked = drive(cruising, 150.0, 1.0, 0.0, 4.0);
        assert!(
            kicked.gear < cruising.gear,
            "kick-down from {} to {}",
            cruising.gear + 1,
            kicked.gear + 1
        );
        let mut state = rolling(10.0);
        let mut fastest = 0.0_f64;
        for _ in 0..2000 {
            state = drive(state, 150.0, 1.0, 0.0, DT);
            fastest = fastest.max(state.omega * 30.0 / core::f64::consts::PI);
        }
        assert!((5800.0..6400.0).contains(&fastest), "{fastest} rpm");
    }

    /// Locked up, what the crank gives arrives at the wheels but for the gearbox's loss.
    #[test]
    fn power_at_the_wheels_is_power_at_the_crank_less_the_loss() {
        let params = Params::compact_2_0();
        let state = drive(rolling(95.0), 67.0, 0.2, 0.0, 400.0);
        let wheel = params.road_load_at(state.speed) * state.speed
            + params.inertial_mass() * state.acceleration * state.speed;
        let crank = 67.0 * state.omega;
        assert!(
            (wheel / crank - params.efficiency).abs() < 0.01,
            "{}",
            wheel / crank
        );
        assert!(
            (state.speed * 3.6 - 100.0).abs() < 1.0,
            "67 N m holds 100 km/h: {}",
            state.speed * 3.6
        );
    }

    /// Coasting in Park's place, neutral: the car loses the energy that the road takes.
    #[test]
    fn a_coasting_car_loses_what_the_road_takes() {
        let params = Params::compact_2_0();
        let inputs = Inputs {
            torque: 0.0,
            pedal: 0.0,
            brake: 0.0,
            in_drive: false,
            oil_celsius: 90.0,
            air: 1.0,
            shifts: Shifts::Smooth,
            clutches: &Clutches::GOOD,
        };
        let mut state = rolling(100.0);
        let mut taken = 0.0;
        let energy = |state: &State| 0.5 * params.inertial_mass() * state.speed * state.speed;
        let before = energy(&state);
        for _ in 0..3000 {
            taken += params.road_load_at(state.speed) * state.speed * DT;
            state = step(&params, &state, &inputs, DT);
        }
        assert!(((before - energy(&state)) / taken - 1.0).abs() < 0.002);
        assert!(state.distance_m > 100.0);
    }

    #[test]
    fn half_the_step_gives_nearly_the_same_launch() {
        let params = Params::compact_2_0();
        let inputs = Inputs {
            torque: 80.0,
            pedal: 0.3,
            brake: 0.0,
            in_drive: true,
            oil_celsius: 90.0,
            air: 1.0,
            shifts: Shifts::Smooth,
            clutches: &Clutches::GOOD,
        };
        let (mut whole, mut half) = (rolling(0.0), rolling(0.0));
        for _ in 0..150 {
            whole = step(&params, &whole, &inputs, DT);
            half = step(
                &params,
                &step(&params, &half, &inputs, DT / 2.0),
                &inputs,
                DT / 2.0,
            );
        }
        assert!(
            (whole.speed - half.speed).abs() < 0.05,
            "{} and {} m/s",
            whole.speed,
            half.speed
        );
    }

    /// Without its controller the box goes to third, whatever the speed; without word of the engine it shifts in a
    /// quarter of the time.
    #[test]
    fn a_gearbox_without_its_controller_holds_third() {
        let params = Params::compact_2_0();
        let follow = |shifts: Shifts, kmh: f64| {
            let mut state = rolling(kmh);
            let mut shifting = 0;
            for _ in 0..1500 {
                let inputs = Inputs {
                    torque: 12.0,
                    pedal: 0.1,
                    brake: 0.0,
                    in_drive: true,
                    oil_celsius: 90.0,
                    air: 1.0,
                    shifts,
                    clutches: &Clutches::GOOD,
                };
                let before = state.gear;
                state = step(&params, &state, &inputs, DT);
                state.speed = kmh / 3.6;
                shifting += usize::from(state.gear != before);
            }
            (state.gear + 1, shifting)
        };
        for kmh in [5.0, 40.0, 90.0] {
            assert_eq!(follow(Shifts::None, kmh).0, 3, "{kmh} km/h");
        }
        assert_eq!(follow(Shifts::Harsh, 90.0).0, follow(Shifts::Smooth, 90.0).0);
        let settled = follow(Shifts::None, 90.0);
        assert_eq!(settled.1, 1, "once to third, and no more");
    }

    /// Commanded, the box is in the gear that its solenoids make, at any speed.
    #[test]
    fn a_commanded_gear_is_engaged() {
        let params = Params::compact_2_0();
        for gear in 0..GEARS {
            let inputs = Inputs {
                shifts: Shifts::Commanded {
                    gear,
                    lock_up: true,
                    hard: false,
                },
                ..cruise(&Clutches::GOOD)
            };
            let mut state = rolling(30.0);
            for _ in 0..300 {
                state = step(&params, &state, &inputs, DT);
                state.speed = 30.0 / 3.6;
            }
            assert_eq!(state.gear, gear);
            let turbine = state.speed * ratio(&params, &state, inputs.shifts) * params.final_by_tyre;
            assert!((state.omega - turbine).abs() < 2.0, "locked in gear {}", gear + 1);
        }
    }

    fn cruise(clutches: &Clutches) -> Inputs<'_> {
        Inputs {
            torque: 60.0,
            pedal: 0.15,
            brake: 0.0,
            in_drive: true,
            oil_celsius: 90.0,
            air: 1.0,
            shifts: Shifts::Smooth,
            clutches,
        }
    }

    /// A clutch that holds 40 N m lets the turbine run away under 60, passes on its 40, and grips again under less.
    #[test]
    fn a_worn_clutch_slips_and_grips_again() {
        let params = Params::compact_2_0();
        let worn = Clutches {
            worn: true,
            holds: [40.0; GEARS],
            ..Clutches::GOOD
        };
        let mut state = drive(rolling(80.0), 50.0, 0.15, 0.0, 10.0);
        for _ in 0..200 {
            state = step(&params, &state, &cruise(&worn), DT);
        }
        assert!(state.slip > 20.0, "{} rad/s", state.slip);
        let gearing = params.ratios[state.gear] * params.final_by_tyre;
        let force = params.inertial_mass() * state.acceleration + params.road_load_at(state.speed);
        assert!((force / (40.0 * gearing * params.efficiency) - 1.0).abs() < 0.01);
        let easier = Inputs {
            torque: 15.0,
            ..cruise(&worn)
        };
        for _ in 0..500 {
            state = step(&params, &state, &easier, DT);
        }
        assert!(state.slip <= 0.0);
    }

    /// A clutch that holds nothing leaves the converter its slip; one that is stuck shut leaves it none.
    #[test]
    fn the_lock_up_clutch_can_hold_nothing_or_not_let_go() {
        let slip = |clutches: &Clutches, lock_up: bool| {
            let params = Params::compact_2_0();
            let inputs = Inputs {
                shifts: Shifts::Commanded {
                    gear: 3,
                    lock_up,
                    hard: false,
                },
                torque: 40.0,
                ..cruise(clutches)
            };
            let mut state = rolling(55.0);
            for _ in 0..300 {
                state = step(&params, &state, &inputs, DT);
            }
            let turbine = state.speed * ratio(&params, &state, inputs.shifts) * params.final_by_tyre;
            (state.omega - turbine) * 30.0 / core::f64::consts::PI
        };
        let dead = Clutches {
            lock_up: 0.0,
            ..Clutches::GOOD
        };
        let shut = Clutches {
            lock_up_shut: true,
            ..Clutches::GOOD
        };
        assert!(slip(&Clutches::GOOD, true) < 10.0 && slip(&Clutches::GOOD, false) > 80.0);
        assert!(slip(&dead, true) > 80.0 && slip(&shut, false) < 10.0);
    }
}
