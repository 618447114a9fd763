//! Torque as the ECU works it out: what the mixture gives in the cylinders, and what the engine takes for itself.
//!
//! Mean pressures as textbooks have them; figures calibrated, as a maker's test bench would give them for this engine.
//! Torque counts as indicated, friction included, in shares of a reference (PIDs $61 to $63 and $8E; the reading as
//! indicated torque from SAE J1939-71, from memory). Friction is that of the engine itself with pumping and its own pumps;
//! the alternator and other accessories are no part of it (nominal friction and parasitic losses of the same, from memory),
//! so at a steady idle $62 stands above $8E by what they take.

use twotrip_units::{Grid, Limit, Ratio, Table, Torque};

use crate::{
    Calibration,
    control::{
        air::{LOAD_DENSITY, full_throttle_flow},
        fuel::STOICHIOMETRIC,
    },
};

/// About the highest indicated torque of the calibrated engine, N m.
const REFERENCE: f64 = 215.0;

/// Heating value of petrol, J/g.
const HEATING_VALUE: f64 = 42_600.0;
/// Indicated efficiency at best timing over engine speed, rpm.
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
/// Best timing at no load over engine speed, rpm, degrees; less by [`BY_LOAD`] for each per cent of absolute load.
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
const BY_LOAD: f64 = 0.25;
/// Best timing rises by so much for each per cent of burnt gas in the charge.
const BY_BURNT: f64 = 0.25;
/// Loss by degree off best timing, squared; no more beyond so many degrees.
const TIMING_LOSS: f64 = 0.0006;
const TIMING_LIMIT: f64 = 25.0;
/// What a rich mixture adds, by lambda below 1.
const RICH_GAIN: f64 = 0.42;
/// Friction, kPa of mean pressure: constant, by 1000 rpm, by its square; by oil temperature, °C, against hot.
const FRICTION: [f64; 3] = [70.0, 9.0, 3.0];
const COLD_FRICTION: Table<8> = Table::new([
    (-20.0, 2.50),
    (0.0, 1.805),
    (20.0, 1.431),
    (40.0, 1.231),
    (60.0, 1.123),
    (80.0, 1.066),
    (100.0, 1.035),
    (120.0, 1.019),
]);
/// The engine's own pumps, N m.
const PUMPS_TORQUE: f64 = 1.0;
/// Accessories, alternator at its usual load included, W.
const ACCESSORY_POWER: f64 = 700.0;

/// The engine's torque.
#[derive(Clone, Debug)]
pub(crate) struct Model {
    reference: f64,
    /// Air in cylinders full at 25 °C, g a cycle.
    full_grams: f64,
    /// Torque of a mean pressure, N m for each kPa: two turns a cycle.
    by_pressure: f64,
}

impl Model {
    /// Of an engine.
    pub(crate) const fn new(calibration: &Calibration) -> Self {
        let displacement = calibration.displacement.cubic_metres();
        Self {
            reference: REFERENCE * calibration.size(),
            full_grams: LOAD_DENSITY * 1000.0 * displacement,
            by_pressure: 1e3 * displacement / (4.0 * core::f64::consts::PI),
        }
    }

    /// PID $63.
    pub(crate) const fn reference(&self) -> Torque {
        Torque::from_newton_metres(self.reference)
    }

    const fn share(&self, newton_metres: f64) -> Ratio {
        Ratio::from_fraction(newton_metres / self.reference)
    }

    /// PID $61: what this share of full-throttle air would give at best timing.
    pub(crate) fn demanded(&self, rpm: f64, full_flow: f64, wanted: f64) -> Ratio {
        self.share(best(rpm, wanted * full_flow * 120.0 / rpm.at_least(500.0)))
    }

    /// PID $62, while fuel is injected: indicated torque of this air, in g a cycle, with this share of burnt gas, at
    /// this lambda and ignition timing.
    pub(crate) fn actual(
        &self,
        rpm: f64,
        grams_a_cycle: f64,
        burnt: f64,
        lambda: f64,
        advance_degrees: f64,
    ) -> Ratio {
        let load = 100.0 * grams_a_cycle / self.full_grams;
        let off = (BEST_TIMING.at(rpm) - BY_LOAD * load + 100.0 * BY_BURNT * burnt - advance_degrees)
            .abs()
            .at_most(TIMING_LIMIT);
        let mixture = 1.0 + RICH_GAIN * (1.0 - lambda).within(0.0, 0.15);
        self.share(best(rpm, grams_a_cycle) * mixture * (1.0 - TIMING_LOSS * off * off))
    }

    /// PID $8E: friction, pumping and the engine's own pumps; manifold and ambient pressure in kPa.
    pub(crate) fn friction(&self, rpm: f64, oil_celsius: f64, manifold: f64, barometer: f64) -> Ratio {
        if rpm < 20.0 {
            return Ratio::ZERO;
        }
        let thousands = rpm * 1e-3;
        let [constant, linear, square] = FRICTION;
        let friction = (constant + (linear + square * thousands) * thousands) * COLD_FRICTION.at(oil_celsius);
        let pumping = (barometer - manifold).at_least(0.0);
        self.share(self.by_pressure * (friction + pumping) + PUMPS_TORQUE)
    }

    /// What the accessories take besides.
    pub(crate) fn accessories(&self, rpm: f64) -> Ratio {
        if rpm < 20.0 {
            return Ratio::ZERO;
        }
        let omega = rpm * (core::f64::consts::PI / 30.0);
        self.share(ACCESSORY_POWER / omega.at_least(30.0))
    }
}

/// Speeds of the five points of PID $64, rpm: idle, and four over the range.
const CURVE_RPM: [f64; 5] = [700.0, 1500.0, 2500.0, 4000.0, 6000.0];

/// PID $64: the greatest torque at idle and at four speeds more.
pub(crate) fn torque_curve(calibration: &Calibration) -> [Ratio; 5] {
    let model = Model::new(calibration);
    CURVE_RPM.map(|rpm| model.demanded(rpm, full_throttle_flow(rpm) * calibration.size(), 1.0))
}

/// Indicated torque at best timing and lambda 1, N m.
fn best(rpm: f64, grams_a_cycle: f64) -> f64 {
    grams_a_cycle * (HEATING_VALUE / STOICHIOMETRIC) / (4.0 * core::f64::consts::PI) * EFFICIENCY.at(rpm)
}

#[cfg(test)]
mod tests {
    use super::*;

    const MODEL: Model = Model::new(&Calibration::compact_2_0());

    /// Worked by hand at 1 bar of mean pressure: 159 N m a litre and bar over 4 pi, so 15.9 N m for this engine.
    #[test]
    fn a_bar_of_mean_pressure_is_sixteen_newton_metres() {
        let by_pressure = MODEL.by_pressure;
        assert!((by_pressure * 100.0 - 15.9).abs() < 0.01, "{by_pressure}");
    }

    /// An engine at rest gives and takes nothing; timing off its best and a leaner mixture give less.
    #[test]
    fn less_than_best_gives_less() {
        assert!(MODEL.friction(0.0, 90.0, 101.0, 101.0).fraction().abs() < 1e-12);
        assert!(MODEL.accessories(0.0).fraction().abs() < 1e-12);
        assert!(MODEL.demanded(2000.0, 32.8, 0.0).fraction().abs() < 1e-12);
        let at = |lambda, advance| MODEL.actual(2500.0, 1.0, 0.0, lambda, advance).fraction();
        let best = BEST_TIMING.at(2500.0) - BY_LOAD * 100.0 / MODEL.full_grams;
        assert!(at(1.0, best) > at(1.0, best - 10.0) && at(1.0, best) > at(1.0, best + 10.0));
        assert!(at(0.88, best) > at(1.0, best));
        assert!(
            (at(1.0, -90.0) / at(1.0, best) - 0.625).abs() < 1e-9,
            "the loss has an end"
        );
        let (cold, hot) = (
            MODEL.friction(1500.0, 0.0, 35.0, 101.0),
            MODEL.friction(1500.0, 90.0, 35.0, 101.0),
        );
        assert!(cold.fraction() > 1.3 * hot.fraction());
    }
}
