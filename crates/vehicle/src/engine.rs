//! Torque of the engine: combustion, pumping, friction, accessories.
//!
//! Mean value over the cycle; what single firings depart from it by is in [`crate::firing`]. Efficiencies calibrated, timing loss
//! and friction in the shape of Heywood's (from memory).

use twotrip_units::Limit;

use crate::{Divisor, curve::Grid};

/// Heating value of petrol, J/g.
pub(crate) const HEATING_VALUE: f64 = 42_600.0;

/// The engine's losses.
#[derive(Clone, Debug)]
pub(crate) struct Params {
    /// Swept volume, m³.
    pub(crate) displacement_m3: Divisor,
    /// Moment of inertia at the crank, converter pump included, kg m².
    pub(crate) inertia: f64,
    /// Friction, kPa of mean pressure: constant, by 1000 rpm, by its square.
    pub(crate) friction_kpa: (f64, f64, f64),
    /// Loss of torque by degree off best timing, squared.
    pub(crate) timing_loss: f64,
    /// Degrees beyond which it grows no more.
    pub(crate) timing_limit: f64,
    /// Best timing falls by this many degrees for each per cent of load.
    pub(crate) best_timing_by_load: f64,
    /// It rises by this many degrees for each per cent of burnt gas in the charge, which burns more slowly (calibrated).
    pub(crate) best_timing_by_burnt: f64,
    /// Torque of the accessories that is always there, N m.
    pub(crate) accessory_torque: f64,
    /// Power of the mechanical accessories, W.
    pub(crate) accessory_power: f64,
    /// Efficiency of the alternator.
    pub(crate) alternator_efficiency: Divisor,
}

impl Params {
    pub(crate) const fn compact_2_0() -> Self {
        Self {
            displacement_m3: Divisor::new(1.998e-3),
            inertia: 0.20,
            friction_kpa: (70.0, 9.0, 3.0),
            timing_loss: 0.0006,
            timing_limit: 25.0,
            best_timing_by_load: 0.25,
            best_timing_by_burnt: 0.25,
            accessory_torque: 1.0,
            accessory_power: 100.0,
            alternator_efficiency: Divisor::new(0.60),
        }
    }
}

/// Indicated efficiency at best timing over rpm (calibrated); poorer while cranking.
static EFFICIENCY: Grid<31> = Grid::through([
    (0.0, 0.22),
    (200.0, 0.28),
    (400.0, 0.335),
    (600.0, 0.355),
    (800.0, 0.365),
    (1500.0, 0.385),
    (2500.0, 0.395),
    (4000.0, 0.405),
    (6000.0, 0.40),
]);

/// Best timing at no load over rpm, degrees before top dead centre: typical values at their loads (from memory), the
/// torque reserve of warm idle (10 %) added (calibrated).
static BEST_TIMING: Grid<13> = Grid::through([
    (500.0, 25.0),
    (700.0, 27.5),
    (1000.0, 32.0),
    (1500.0, 33.5),
    (2000.0, 38.5),
    (2500.0, 42.0),
    (3500.0, 44.0),
    (4500.0, 45.0),
    (6500.0, 49.0),
]);

/// Torque over 1 / lambda against lambda 1 at the same air, of a charge that fires: lean burns in proportion to the fuel,
/// and not at all beyond lambda 2; rich gains `1 + 0.42 (1 - lambda)` down to 0.85 and floods below 0.5 (limits calibrated).
static MIXTURE: Grid<81> = Grid::through([
    (0.0, 0.0),
    (0.475, 0.0),
    (0.525, 0.525),
    (0.67, 0.67),
    (1.0, 1.0),
    (1.05, 1.020),
    (1.10, 1.038_2),
    (1.176_5, 1.063),
    (1.4, 1.05),
    (2.0, 0.80),
    (3.0, 0.0),
    (4.0, 0.0),
]);

/// What the torque depends on.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Inputs {
    pub(crate) rpm: f64,
    /// Gas into the cylinders, g/s.
    pub(crate) cylinder_flow: f64,
    /// What the mixture makes of the air, see [`burning`].
    pub(crate) burning: f64,
    pub(crate) advance_degrees: f64,
    pub(crate) manifold_kpa: f64,
    pub(crate) exhaust_kpa: f64,
    /// Burnt gas as a share of the charge.
    pub(crate) burnt_share: f64,
    /// Friction against that of a hot engine, see [`cold_friction`].
    pub(crate) cold_friction: f64,
    /// Electrical output of the alternator, W.
    pub(crate) alternator_watts: f64,
}

/// The torque and where it went.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Output {
    /// At the flywheel, N m, without what the starter adds.
    pub(crate) torque: f64,
    /// Of the combustion alone, N m.
    pub(crate) indicated: f64,
    /// Absolute load, per cent.
    pub(crate) load: f64,
    /// Power of friction, W: it warms the oil.
    pub(crate) friction_watts: f64,
    /// How far ignition is later than best, degrees.
    pub(crate) late_degrees: f64,
}

/// Friction against a hot engine's by oil temperature.
pub(crate) fn cold_friction(oil_celsius: f64) -> f64 {
    1.0 + 1.1 * libm::exp(-(oil_celsius + 10.0) / 32.0)
}

/// Best timing at an absolute load in per cent, degrees before top dead centre.
#[inline]
pub(crate) fn best_timing(params: &Params, rpm: f64, load: f64) -> f64 {
    BEST_TIMING.at(rpm) - params.best_timing_by_load * load
}

/// Torque at 1 / lambda against lambda 1 with the same air.
#[inline]
pub(crate) fn burning(equivalence: f64) -> f64 {
    MIXTURE.at(equivalence)
}

/// The torque of one step; zero when the engine stands.
#[inline]
pub(crate) fn torque(params: &Params, inputs: &Inputs) -> Output {
    let rpm = inputs.rpm;
    if rpm <= 0.0 {
        return Output::default();
    }
    // Torque is mean pressure by displacement by two turns a cycle; kPa in.
    let by_pressure = 1e3 * params.displacement_m3.figure / (4.0 * core::f64::consts::PI);
    let omega = rpm * (core::f64::consts::PI / 30.0);

    // g a cycle, and the same against a cylinder full of air at 25 °C (1.184 g/L) in per cent: the absolute load
    let air_a_cycle = inputs.cylinder_flow * 120.0 / rpm;
    let load = air_a_cycle * (100.0 / 1.184e3) / params.displacement_m3;
    let best = best_timing(params, rpm, load) + 100.0 * params.best_timing_by_burnt * inputs.burnt_share;
    let late_degrees = best - inputs.advance_degrees;
    let off = late_degrees.abs().at_most(params.timing_limit);
    let indicated_kpa = air_a_cycle * (1e-3 * HEATING_VALUE / crate::mixture::STOICHIOMETRIC)
        / params.displacement_m3
        * EFFICIENCY.at(rpm)
        * inputs.burning
        * (1.0 - params.timing_loss * off * off);

    let thousands = rpm * 1e-3;
    let (constant, linear, square) = params.friction_kpa;
    let friction_kpa = (constant + (linear + square * thousands) * thousands) * inputs.cold_friction;
    let pumping_kpa = inputs.exhaust_kpa - inputs.manifold_kpa;
    let accessories = (inputs.alternator_watts / params.alternator_efficiency + params.accessory_power)
        / omega.at_least(30.0)
        + params.accessory_torque;
    Output {
        indicated: by_pressure * indicated_kpa,
        load,
        torque: by_pressure * (indicated_kpa - friction_kpa - pumping_kpa) - accessories,
        friction_watts: by_pressure * friction_kpa * omega,
        late_degrees,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An engine at full load with best timing and the usual enrichment, hot.
    fn full_load(rpm: f64, flow: f64) -> Inputs {
        let params = Params::compact_2_0();
        let load = flow * 120.0 / rpm / (params.displacement_m3.figure * 1.184e3) * 100.0;
        Inputs {
            rpm,
            cylinder_flow: flow,
            burning: burning(1.0 / 0.88),
            advance_degrees: best_timing(&params, rpm, load),
            manifold_kpa: 100.5,
            exhaust_kpa: 101.3 + 12.0 * (flow / 75.0) * (flow / 75.0),
            burnt_share: 0.0,
            cold_friction: cold_friction(90.0),
            alternator_watts: 300.0,
        }
    }

    /// Full-load torque as a prototype of this car computed it, at the air flows that it had.
    #[test]
    fn full_load_torque_is_that_of_the_model() {
        let params = Params::compact_2_0();
        for (rpm, flow, newton_metres) in [
            (2000.0, 32.8, 163.0),
            (3000.0, 51.7, 172.0),
            (4000.0, 72.0, 178.0),
            (5500.0, 98.5, 164.0),
        ] {
            let found = torque(&params, &full_load(rpm, flow)).torque;
            assert!(
                (found / newton_metres - 1.0).abs() < 0.04,
                "{rpm} rpm: {found} instead of {newton_metres} N m"
            );
        }
    }

    /// About -30 N m at 2000 rpm with the fuel cut and the throttle closed.
    #[test]
    fn without_fuel_the_engine_drags() {
        let inputs = Inputs {
            burning: 0.0,
            manifold_kpa: 20.0,
            ..full_load(2000.0, 4.5)
        };
        let found = torque(&Params::compact_2_0(), &inputs).torque;
        assert!((-36.0..-26.0).contains(&found), "{found} N m");
    }

    /// Friction of a cold engine 1.05 hot, 1.43 at 20 °C, 2.1 at -10 °C.
    #[test]
    fn cold_oil_costs_friction() {
        for (celsius, factor) in [(90.0, 1.05), (20.0, 1.43), (-10.0, 2.1)] {
            assert!((cold_friction(celsius) - factor).abs() < 0.01);
        }
    }

    /// Rich gains 1 + 0.42 (1 - lambda) down to 0.85, lean loses with the fuel; off timing loses by its
    /// square.
    #[test]
    fn mixture_and_timing_move_the_torque() {
        let params = Params::compact_2_0();
        let base = Inputs {
            burning: burning(1.0),
            ..full_load(2500.0, 20.0)
        };
        let indicated = |inputs: &Inputs| {
            let motored = torque(
                &params,
                &Inputs {
                    burning: 0.0,
                    ..*inputs
                },
            )
            .torque;
            torque(&params, inputs).torque - motored
        };
        let full = indicated(&base);
        for (lambda, gain) in [
            (0.95, 1.021),
            (0.90, 1.042),
            (0.86, 1.0588),
            (1.1, 1.0 / 1.1),
            (1.25, 0.8),
        ] {
            let found = indicated(&Inputs {
                burning: burning(1.0 / lambda),
                ..base
            }) / full;
            assert!(
                (found - gain).abs() < 0.006,
                "lambda {lambda}: {found} instead of {gain}"
            );
        }
        for (degrees, share) in [
            (0.0, 1.0),
            (10.0, 0.94),
            (-10.0, 0.94),
            (20.0, 0.76),
            (60.0, 0.625),
        ] {
            let advance_degrees = base.advance_degrees - degrees;
            let found = indicated(&Inputs {
                advance_degrees,
                ..base
            }) / full;
            assert!(
                (found - share).abs() < 0.005,
                "{degrees} degrees late: {found} instead of {share}"
            );
        }
    }

    #[test]
    fn an_engine_at_rest_gives_nothing() {
        let found = torque(
            &Params::compact_2_0(),
            &Inputs {
                rpm: 0.0,
                ..full_load(2000.0, 0.0)
            },
        );
        assert!(found.torque.abs() < 1e-12 && found.friction_watts.abs() < 1e-12);
    }
}
