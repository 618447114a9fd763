//! What physics does not forgive: mass and heat that come from nowhere or go there.
//!
//! Sums over drives of the whole car, with figures that these tests work out for themselves.

use core::time::Duration;

use twotrip_units::{Ratio, Speed};

use super::support::{Bench, parked, specifications};
use crate::{DT, Driver, Leg, Plan, SLOW, State, air, cooling};

/// Starts, pulls away, cruises with the clutch locked, passes, stops: by car, what `look` sees of each step (the state
/// before it and the car behind it).
pub(super) fn drive(bench: &mut Bench, mut look: impl FnMut(&State, &Bench, f64)) {
    let leg = |kmh: f64, seconds: u64| Leg::Cruise {
        speed: Speed::from_kilometres_per_hour(kmh),
        span: Duration::from_secs(seconds),
    };
    let plan = alloc::vec![leg(50.0, 60), leg(95.0, 60), leg(30.0, 40), leg(70.0, 60)];
    let mut driver = Driver::new(Plan::new(plan));
    while !driver.finished() {
        let controls = driver.controls(bench.car.road_speed());
        let before = bench.car.state;
        bench.step(&controls);
        look(&before, bench, controls.brake.fraction());
    }
    for _ in 0..2000 {
        let before = bench.car.state;
        bench.step(&parked());
        look(&before, bench, parked().brake.fraction());
    }
}

#[track_caller]
pub(super) fn near(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: {found} instead of {expected} +/- {tolerance}"
    );
}

/// What leaves the tank was injected or is vapour; what the cylinders got was injected, purged, or is on the walls. What
/// the canister took up and gave back is what is left in it.
#[test]
fn no_fuel_is_made_or_lost() {
    for specification in specifications() {
        let mut bench = Bench::of(&specification, 3);
        bench.car.state.cooling.coolant = 90.0;
        bench.car.state.cooling.block = 90.0;
        bench.car.state.tank.canister_g = 60.0;
        bench.start();
        bench.actuators.purge = Ratio::from_fraction(0.5);
        let grams = |state: &State, bench: &Bench| state.tank.fuel_l * bench.car.params.tank.petrol.figure;
        let film = |state: &State| state.mixture.banks.iter().map(|bank| bank.film_g).sum::<f64>();
        let begin = bench.car.state;
        let (tank, used) = (grams(&begin, &bench), bench.car.fuel_used().grams());
        let (mut injected, mut purged, mut burnt, mut vapour_in, mut loaded) = (0.0, 0.0, 0.0, 0.0, 0.0);
        drive(&mut bench, |before, bench, _| {
            let state = &bench.car.state;
            injected += DT * state.mixture.injected;
            // The canister gives what the step before let through.
            purged += DT * before.tank.purge_vapour();
            vapour_in += DT * state.mixture.vapour;
            let turning = state.air.cylinder_flow > 1e-3;
            assert!(turning, "the engine runs all along");
            burnt += DT
                * state.mixture.banks[..bench.car.banks()]
                    .iter()
                    .map(|bank| bank.cylinder_fuel)
                    .sum::<f64>();
            let change = state.tank.canister_g - before.tank.canister_g;
            let given = DT * before.tank.purge_vapour();
            if bench.car.tick.is_multiple_of(SLOW) {
                // Once a second it takes up what the tank breathes.
                assert!(
                    change + given >= -1e-9,
                    "vapour taken out of the canister by the tank"
                );
                loaded += change + given;
            } else {
                near("canister", change, -given, 1e-9);
            }
        });
        let end = &bench.car.state;
        assert!(
            injected > 100.0 && purged > 5.0,
            "{injected} g injected, {purged} g purged"
        );
        near(
            "fuel used",
            bench.car.fuel_used().grams() - used,
            injected,
            1e-6 * injected,
        );
        let lost = tank - grams(end, &bench);
        let evaporated = end.tank.vapour_g - begin.tank.vapour_g;
        near(
            "fuel that left the tank",
            lost,
            injected + loaded + evaporated,
            1e-6 * injected,
        );
        near(
            "fuel out of tank and canister",
            lost - evaporated + begin.tank.canister_g - end.tank.canister_g,
            injected + purged,
            1e-6 * injected,
        );
        // The film is stepped implicitly: what it lost in a step came from the film of the end of it.
        near(
            "fuel into the cylinders",
            burnt,
            injected + vapour_in - (film(end) - film(&begin)),
            1e-6 * injected,
        );
        // Purged vapour is mixed with a lag of a fifth of a second: what has not arrived is one lag's flow.
        let under_way = begin.mixture.vapour.max(end.mixture.vapour) * 0.25 + 0.05;
        near("vapour into the cylinders", vapour_in, purged, under_way);
    }
}

/// Air that comes in past plate, leak, purge and recirculation valve and does not go into the cylinders is in the manifold.
#[test]
fn no_air_is_made_or_lost() {
    for specification in specifications() {
        let mut bench = Bench::of(&specification, 4);
        bench.car.knobs.intake_leak_mm2 = 4.0;
        bench.car.state.cooling.coolant = 90.0;
        bench.car.state.cooling.block = 90.0;
        bench.start();
        bench.actuators.purge = Ratio::from_fraction(0.3);
        bench.actuators.recirculation = Ratio::from_fraction(0.05);
        let (mut balance, mut through, mut held, mut seconds) = (0.0, 0.0, None, 0);
        let mut recirculated = 0.0;
        drive(&mut bench, |before, bench, _| {
            let state = &bench.car.state;
            // g for each kPa, by the gas law, at the temperature of this second.
            let volume = bench.car.params.air.manifold_m3.figure;
            let grams =
                |celsius: f64, kpa: f64| 1e6 * kpa * volume / (air::GAS_CONSTANT * (celsius + 273.15));
            let out = state.air.cylinder_flow / (1.0 - state.air.burnt_share);
            balance += DT
                * (state.air.throttle_flow
                    + state.air.leak_flow
                    + state.air.recirculated_flow
                    + state.tank.purge_flow
                    - out);
            recirculated += DT * state.air.recirculated_flow;
            through += DT * out;
            if bench.car.tick.is_multiple_of(SLOW) {
                let celsius = before.cooling.intake;
                if let Some(begun) = held {
                    let change = grams(celsius, state.air.manifold_kpa) - grams(celsius, begun);
                    near("air in the manifold", balance, change, 1e-6 * through + 1e-9);
                    seconds += 1;
                }
                (balance, through, held) = (0.0, 0.0, Some(state.air.manifold_kpa));
            }
        });
        assert!(seconds > 200, "{seconds}");
        assert_eq!(
            recirculated > 1.0,
            specification.recirculation,
            "{recirculated} g"
        );
    }
}

/// Heat that coolant and block got of fuel and friction over a warm-up is stored in them or was given off.
#[test]
fn no_heat_is_made_or_lost_in_a_warm_up() {
    for specification in specifications() {
        let mut bench = Bench::of(&specification, 6);
        bench.start();
        let begin = bench.car.state.cooling;
        let (mut heat_in, mut given_off) = (0.0, 0.0);
        let (mut fuel, mut friction) = (0.0, 0.0);
        let mut after_second = |before: &State, bench: &Bench, _: f64| {
            let (state, params) = (&bench.car.state, &bench.car.params.cooling);
            if !bench.car.tick.is_multiple_of(SLOW) {
                (fuel, friction) = (state.burnt_joules, state.friction_joules);
                return;
            }
            // The last step of the second is as the others were.
            let (fuel, friction) = (fuel / 0.99, friction / 0.99);
            let heat = fuel * cooling::HEAT_SHARE.at(fuel * 1e-3 * params.per_size);
            heat_in += heat + params.friction_share * friction;
            let (old, new) = (&before.cooling, &state.cooling);
            let speed = state.driveline.speed;
            let fan = if bench.actuators.fan {
                params.radiator.2
            } else {
                0.0
            };
            let radiator = new.lift * (params.radiator.0 + params.radiator.1 * speed + fan);
            let air = state.ambient.celsius;
            let coolant = 0.5 * (old.coolant + new.coolant) - air;
            let block = 0.5 * (old.block + new.block) - air;
            given_off += (params.coolant_loss.0 + params.coolant_loss.1 * speed + radiator) * coolant
                + (params.block_loss.0 + params.block_loss.1 * speed) * block;
        };
        for _ in 0..5 {
            drive(&mut bench, &mut after_second);
        }
        let (end, params) = (bench.car.state.cooling, &bench.car.params.cooling);
        let stored = params.coolant_heat * (end.coolant - begin.coolant)
            + params.block_heat * (end.block - begin.block);
        assert!(end.lift > 0.0 && end.coolant > 82.0, "warmed through: {end:?}");
        assert!(given_off > 0.3 * heat_in, "{given_off} J of {heat_in}");
        near("heat", stored + given_off, heat_in, 0.01 * heat_in);
    }
}
