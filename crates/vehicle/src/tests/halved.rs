//! Half the step gives the same car: what a part makes of a trace does not hang on how finely it is stepped.
//!
//! Each part that takes a `dt` runs its trace twice, at its own step and at half of it; the tolerances are ours.

use core::f64::consts::PI;

use twotrip_harness::BANKS;

use crate::{
    DT, Loads, air, cooling, driveline, electrical, exhaust, knobs::Knobs, mixture, phaser, recirculation,
    tank,
};

/// Greatest distance, at whole steps, between a trace stepped at `dt` and one at half of it; `step` gets state, time and
/// span, `look` takes what is compared.
fn apart<S: Copy>(
    start: S,
    seconds: f64,
    dt: f64,
    step: impl Fn(&S, f64, f64) -> S,
    look: impl Fn(&S) -> f64,
) -> Apart {
    let (mut whole, mut half) = (start, start);
    let mut found = Apart {
        most: 0.0,
        mean: 0.0,
        low: f64::MAX,
        high: f64::MIN,
    };
    let mut at = 0.0;
    let mut count = 0.0;
    while at < seconds {
        whole = step(&whole, at, dt);
        // Both see what the whole step sees.
        half = step(&step(&half, at, 0.5 * dt), at, 0.5 * dt);
        let gap = (look(&whole) - look(&half)).abs();
        found.most = found.most.max(gap);
        found.mean += gap;
        found.low = found.low.min(look(&half));
        found.high = found.high.max(look(&half));
        at += dt;
        count += 1.0;
    }
    found.mean /= count;
    found
}

#[derive(Debug)]
struct Apart {
    most: f64,
    mean: f64,
    low: f64,
    high: f64,
}

impl Apart {
    /// The greatest and the mean distance, each at most so much, on a trace that moves by at least `swing`.
    #[track_caller]
    fn within(&self, what: &str, swing: f64, most: f64, mean: f64) {
        assert!(self.high - self.low >= swing, "{what} hardly moves: {self:?}");
        assert!(self.most <= most && self.mean <= mean, "{what}: {self:?}");
    }
}

/// Up and down, 0..1.
fn wave(at: f64, period: f64) -> f64 {
    0.5 - 0.5 * libm::cos(2.0 * PI * at / period)
}

/// Every 4 s on for 2.
fn pulse(at: f64) -> bool {
    at % 4.0 >= 2.0
}

#[test]
fn air_hardly_depends_on_the_step() {
    let (params, knobs) = (air::Params::compact_2_0(), Knobs::default());
    let step = |state: &air::State, at: f64, dt: f64| {
        let inputs = air::Inputs {
            throttle_target: Some(if pulse(at) { 25.0 } else { 12.0 }),
            engine_rpm: 1000.0 + 2000.0 * wave(at, 10.0),
            purge_flow: 0.1,
            intake: air::Intake::new(&params, 101.3, 30.0),
            coolant_celsius: 90.0,
            knobs: &knobs,
            recirculation_m2: 5e-6,
            burns: 1.0,
            cam_degrees: [10.0; 2],
            cams_apart: false,
        };
        air::step(&params, state, &inputs, dt)
    };
    let start = air::State::at_rest(&params, 101.3);
    // Of an opening throttle the pressure moves 4 kPa a step.
    apart(start, 20.0, DT, step, |state| state.manifold_kpa).within("manifold, kPa", 40.0, 2.5, 0.25);
    apart(start, 20.0, DT, step, |state| state.cylinder_flow).within("flow, g/s", 10.0, 0.8, 0.1);
    apart(start, 20.0, DT, step, |state| 100.0 * state.burnt_share).within("burnt share, %", 2.0, 0.7, 0.1);
}

#[test]
fn recirculation_valve_and_cam_hardly_depend_on_the_step() {
    let knobs = Knobs::default();
    let valve = recirculation::Params::compact_2_0();
    let step = |state: &recirculation::State, at: f64, dt: f64| {
        recirculation::step(&valve, state, wave(at, 2.0), &knobs, dt)
    };
    apart(recirculation::State::default(), 10.0, DT, step, |state| {
        state.lift
    })
    .within("lift", 0.5, 0.02, 0.01);
    let cam = phaser::Params::compact_2_0();
    let rate = phaser::rate(&cam, 90.0, &knobs, 0);
    let step = |state: &phaser::State, at: f64, dt: f64| {
        phaser::step(&cam, state, wave(at, 4.0), rate, 2000.0, None, dt)
    };
    apart(phaser::State::default(), 10.0, DT, step, |state| state.advance).within(
        "cam, degrees",
        20.0,
        1.0,
        0.5,
    );
}

#[test]
fn the_mixture_hardly_depends_on_the_step() {
    let (params, knobs) = (mixture::Params::compact_2_0(), Knobs::default());
    let supply = mixture::Supply::new(&params, &knobs);
    let step = |state: &mixture::State, at: f64, dt: f64| {
        let inputs = mixture::Inputs {
            pump_on: at % 30.0 < 25.0,
            pulse_s: [if pulse(at) { 4.5e-3 } else { 3.5e-3 }; BANKS],
            supply_volts: 14.0,
            engine_rpm: 2000.0,
            ambient_kpa: 101.3,
            manifold_kpa: 40.0,
            coolant_celsius: 50.0,
            cylinder_flow: 10.0,
            bank_air: [1.0; 2],
            purge_vapour: if pulse(at + 1.0) { 0.1 } else { 0.0 },
            fuel_in_tank: true,
            error: 1.0,
            injectors: [1.0; BANKS],
        };
        mixture::step(&params, &supply, state, &inputs, dt)
    };
    let start = mixture::State {
        rail_kpa: 350.0,
        ..mixture::State::at_rest()
    };
    apart(start, 20.0, DT, step, |state| state.banks[0].equivalence).within("1 / lambda", 0.2, 0.005, 0.001);
    apart(start, 20.0, DT, step, |state| state.banks[0].film_g).within("film, g", 0.05, 0.002, 0.0005);
}

#[test]
fn driveline_hardly_depends_on_the_step() {
    let params = driveline::Params::compact_2_0();
    let step = |state: &driveline::State, at: f64, dt: f64| {
        let stops = at % 60.0 > 40.0;
        let inputs = driveline::Inputs {
            torque: if stops { -5.0 } else { 40.0 + 60.0 * wave(at, 20.0) },
            pedal: if stops { 0.0 } else { 0.3 },
            brake: if stops { 0.15 } else { 0.0 },
            in_drive: true,
            oil_celsius: 90.0,
            air: 1.0,
            shifts: driveline::Shifts::Smooth,
            clutches: &driveline::Clutches::GOOD,
        };
        driveline::step(&params, state, &inputs, dt)
    };
    let start = driveline::State {
        omega: 100.0,
        ..driveline::State::parked()
    };
    // A shift that begins a step later costs its part, and so does the lock-up, which closes at more slip in third gear.
    apart(start, 60.0, DT, step, |state| state.speed).within("speed, m/s", 20.0, 0.1, 0.03);
    apart(start, 60.0, DT, step, |state| state.omega).within("crank, rad/s", 150.0, 12.0, 1.0);
    apart(start, 60.0, DT, step, |state| state.distance_m).within("distance, m", 500.0, 1.0, 0.5);
}

#[test]
fn electrical_system_hardly_depends_on_the_step() {
    let params = electrical::Params::compact_2_0();
    let step = |state: &electrical::State, at: f64, dt: f64| {
        let cranking = at < 1.0;
        let inputs = electrical::Inputs {
            key_on: true,
            starter: cranking,
            pump: true,
            heater_amperes: 2.0,
            fan: pulse(at),
            set_point_volts: if cranking { 0.0 } else { 14.3 },
            engine_rpm: if cranking { 200.0 } else { 900.0 },
            coolant_celsius: 20.0,
            loads: Loads::default(),
            alternator: 1.0,
            regulator_volts: None,
            charging_cable_ohms: 0.0,
        };
        electrical::step(&params, state, &inputs, dt)
    };
    let start = electrical::State::at_rest(&params, 20.0);
    apart(start, 20.0, DT, step, |state| state.supply_volts).within("supply, V", 3.0, 0.15, 0.01);
    apart(start, 20.0, DT, step, |state| state.alternator_amperes).within("alternator, A", 20.0, 1.5, 0.1);
    apart(start, 20.0, DT, step, |state| 1e4 * state.charge).within("charge, 0.01 %", 2.0, 0.05, 0.03);
}

#[test]
fn tank_pressure_hardly_depends_on_the_step() {
    let params = tank::Params::compact_2_0();
    // The moment the vent opens the pressure jumps, and half a step more sees a hundredth of it.
    for (holes_mm, swing) in [(0.5, 1500.0), (1.0, 1000.0), (3.0, 50.0)] {
        let hole = 0.25e-6 * PI * holes_mm * holes_mm;
        let knobs = Knobs {
            vapour_holes_m2: hole,
            ..Knobs::default()
        };
        let step = |state: &tank::State, at: f64, dt: f64| {
            let inputs = tank::Inputs {
                opening: params.opening(&knobs, at % 40.0 > 10.0),
                ambient_kpa: 101.3,
                fuel_flow: 0.3,
                purge_flow: if at % 40.0 > 20.0 { 0.0 } else { 0.1 },
            };
            tank::step(&params, state, &inputs, dt)
        };
        let start = tank::State::at_rest(&params, 0.5, 20.0);
        apart(start, 80.0, DT, step, |state| state.pressure_pa).within("tank, Pa", swing, 25.0, 0.5);
        apart(start, 80.0, DT, step, |state| state.fuel_l).within("fuel, L", 0.01, 1e-9, 1e-9);
    }
}

/// Slow parts, at the steps they have.
#[test]
fn heat_and_vapour_hardly_depend_on_the_step() {
    let knobs = Knobs::default();
    let params = cooling::Params::compact_2_0();
    let step = |state: &cooling::State, at: f64, dt: f64| {
        let inputs = cooling::Inputs {
            knobs: &knobs,
            engine_turns: at < 1500.0,
            fuel_watts: 20_000.0 + 20_000.0 * wave(at, 100.0),
            friction_watts: 1500.0,
            speed: 20.0 * wave(at, 100.0),
            fan: false,
            cabin_heater: false,
            block_heater: false,
            ambient_celsius: 10.0,
        };
        cooling::step(&params, state, &inputs, dt)
    };
    let cold = cooling::State::at_rest(10.0);
    apart(cold, 2000.0, 1.0, step, |state| state.coolant).within("coolant, K", 70.0, 0.2, 0.05);
    apart(cold, 2000.0, 1.0, step, |state| state.block).within("block, K", 70.0, 0.2, 0.05);
    apart(cold, 2000.0, 1.0, step, |state| state.intake).within("intake air, K", 2.0, 0.1, 0.03);

    let params = exhaust::Params::compact_2_0();
    let step = |state: &exhaust::State, at: f64, dt: f64| {
        let flow = 3.0 + 15.0 * wave(at, 20.0);
        let inputs = exhaust::Inputs {
            flow,
            fuel: flow / 14.7,
            unburnt: 0.0,
            late_degrees: if at < 30.0 { 20.0 } else { 5.0 },
            coolant_celsius: 80.0,
            ambient_celsius: 20.0,
            speed_kmh: 40.0,
            heater_front: true,
            heater_rear: at > 20.0,
        };
        exhaust::step(&params, state, &inputs, dt)
    };
    let cold = exhaust::State::at_rest(&params, 20.0);
    apart(cold, 300.0, 0.1, step, |state| state.brick).within("brick, K", 400.0, 3.0, 0.5);
    apart(cold, 300.0, 0.1, step, |state| state.wall).within("wall, K", 200.0, 2.0, 0.3);
    apart(cold, 300.0, 0.1, step, |state| state.front_tip).within("tip, K", 500.0, 3.0, 0.5);

    let params = tank::Params::compact_2_0();
    let step = |state: &tank::State, at: f64, dt: f64| {
        let inputs = tank::SlowInputs {
            driving: at < 1800.0,
            speed: 10.0,
            ambient_celsius: 25.0,
            exhaust_celsius: 500.0,
            vent_shut: false,
            ambient_kpa: 101.3,
        };
        tank::slow_step(&params, state, &inputs, dt)
    };
    let full = tank::State::at_rest(&params, 0.5, 20.0);
    let start = tank::State {
        vapour_g: 0.5 * full.vapour_g,
        ..full
    };
    apart(start, 3600.0, 1.0, step, |state| state.canister_g).within("canister, g", 0.5, 0.05, 0.05);
    apart(start, 3600.0, 1.0, step, |state| state.fuel_celsius).within("fuel, K", 3.0, 0.01, 0.01);
}
