//! Energy between crank and road: none is made, and what is lost is what converter, clutch and gears cost.

use core::f64::consts::PI;

use super::{
    physics::{drive, near},
    support::{Bench, specifications},
};
use crate::{DT, State, driveline};

/// What the crank gives is in the speed of engine and car, was taken by road and brake, or is lost between them.
#[derive(Default)]
struct Ledger {
    work: f64,
    kinetic: f64,
    road: f64,
    brake: f64,
    /// Loss by difference, and as converter, clutch and gears make it, of the steps where this is plain; J.
    plain: [f64; 2],
    locked: [f64; 2],
}

impl Ledger {
    fn loss(&self) -> f64 {
        self.work - self.kinetic - self.road - self.brake
    }
}

/// What one step takes: mean speeds, so that kinetic energy comes out to the last digit.
fn account(ledger: &mut Ledger, before: &State, bench: &Bench, brake: f64) {
    let (params, state) = (&bench.car.params.driveline, &bench.car.state);
    let firing = &bench.car.params.firing;
    let (old, new) = (&before.driveline, &state.driveline);
    let pass_on = if old.lock_up > 0.0 {
        firing.pass_on.1
    } else {
        firing.pass_on.0
    };
    let fired = firing.inertia.figure * state.firing.ripple * pass_on;
    let torque = state.engine.torque + fired + state.electrical.starter_torque;
    let (omega, speed) = (0.5 * (old.omega + new.omega), 0.5 * (old.speed + new.speed));
    let square = |new: f64, old: f64| 0.5 * (new * new - old * old);
    let crank = params.inertia * square(new.omega, old.omega);
    let car = params.mass_kg * (1.0 + params.rotating_share) * square(new.speed, old.speed);
    let (constant, linear, drag) = params.road_load;
    let air = state.ambient.pressure_kpa / 101.325;
    let road = constant + linear * old.speed + drag * air * old.speed * old.speed;
    let step = Ledger {
        work: torque * omega * DT,
        kinetic: crank + car,
        road: road * speed * DT,
        brake: params.brake_force * brake.clamp(0.0, 1.0) * speed * DT,
        ..Ledger::default()
    };
    ledger.work += step.work;
    ledger.kinetic += step.kinetic;
    ledger.road += step.road;
    ledger.brake += step.brake;

    let given = step.work - crank;
    let steady = new.since_shift_s > 1.0 && new.speed > 1.0 && given > 0.5;
    let turbine = speed * params.ratios[new.gear] * params.final_by_tyre;
    let slip_ratio = turbine / omega;
    if !steady || slip_ratio > 0.999 && new.lock_up <= 0.0 {
        return;
    }
    if new.lock_up <= 0.0 && old.lock_up > 0.0 {
        // The clutch has opened in this step.
        return;
    }
    let passed = if new.lock_up <= 0.0 {
        // Torque grows, speed falls.
        slip_ratio * (params.torque_ratio.0 - params.torque_ratio.1 * slip_ratio).max(1.0)
    } else if old.lock_up >= 1.0 {
        // Clutch: torque stays, speed falls.
        slip_ratio
    } else {
        return;
    };
    let expected = given * (1.0 - passed * params.efficiency);
    let pair = if new.lock_up > 0.0 {
        &mut ledger.locked
    } else {
        &mut ledger.plain
    };
    pair[0] += step.loss();
    pair[1] += expected;
}

#[test]
fn no_energy_is_made_between_crank_and_road() {
    for specification in specifications() {
        let mut bench = Bench::of(&specification, 5);
        bench.car.state.cooling.coolant = 90.0;
        bench.car.state.cooling.block = 90.0;
        bench.start();
        let mut all = Ledger::default();
        let mut last_loss = 0.0;
        let mut steps = 0;
        drive(&mut bench, |before, bench, brake| {
            account(&mut all, before, bench, brake);
            steps += 1;
            if steps % 100 == 0 {
                let lost = all.loss() - last_loss;
                assert!(
                    lost >= -5.0,
                    "{lost} J gained on the way in second {}",
                    steps / 100
                );
                last_loss = all.loss();
            }
        });
        let share = all.loss() / all.work;
        assert!(
            all.work > 5e5 && all.brake > 1e4 && all.road > 3e5,
            "{} J",
            all.work
        );
        assert!(
            (0.08..0.30).contains(&share),
            "{share} of the work lost on the way"
        );
        // With the clutch closed from third gear on, first and second are left to the converter: the crank moves most there in a
        // step, and the turbine's torque is that of the step before.
        for (what, [found, expected], tolerance) in
            [("converter", all.plain, 0.05), ("locked", all.locked, 0.02)]
        {
            assert!(expected > 1e4, "{what}: {expected} J");
            near(what, found, expected, tolerance * expected);
        }
    }
}

/// At rest in Drive all that the converter takes is lost: 1 N m at 190 rpm, with the square of speed.
#[test]
fn a_car_that_is_held_at_idle_heats_its_converter() {
    let params = driveline::Params::compact_2_0();
    let omega = 700.0 * PI / 30.0;
    let state = driveline::State {
        omega,
        ..driveline::State::parked()
    };
    let held = driveline::Inputs {
        torque: (700.0_f64 / 190.0).powi(2),
        pedal: 0.0,
        brake: 1.0,
        in_drive: true,
        oil_celsius: 90.0,
        air: 1.0,
        shifts: driveline::Shifts::Smooth,
        clutches: &driveline::Clutches::GOOD,
    };
    let end = (0..500).fold(state, |state, _| driveline::step(&params, &state, &held, DT));
    near("crank", end.omega, omega, 1e-6 * omega);
    assert!(end.speed <= 0.0);
}
