//! Exhaust-gas recirculation: how much of the charge is to be exhaust, how far the valve opens for it, and how much is in
//! the manifold as far as the valve's stem tells.
//!
//! Shares of 5-12 % at part load, none at idle and at full load (usual for such engines, from memory; map calibrated).

use twotrip_units::{Limit, Ratio, Table, Temperature};

use super::air;
use crate::control::measured::Measured;

/// Effective area of the open valve of the calibrated engine, mm², as its maker gives it; it grows with the engine.
const OPEN_AREA: f64 = 60.0;
/// Choked flow of exhaust through a square millimetre, g/s for each kPa before the valve: 0.6847 / sqrt(287 x 600 K).
const CHOKED_BY_AREA: f64 = 0.001_650;
/// Wanted share of the charge over calculated load, %.
const SHARE: Table<7> = Table::new([
    (20.0, 0.0),
    (25.0, 0.07),
    (30.0, 0.08),
    (42.0, 0.08),
    (56.0, 0.065),
    (70.0, 0.03),
    (80.0, 0.0),
]);
/// The same against that over engine speed, rpm.
const BY_SPEED: Table<4> = Table::new([(1000.0, 0.0), (1250.0, 1.0), (3500.0, 1.0), (4200.0, 0.0)]);
/// From this coolant temperature and run time on: a cold engine bears none.
const FROM_COOLANT: Temperature = Temperature::from_celsius(60.0);
const FROM_SECONDS: f64 = 30.0;
/// Fastest opening, share a second. It closes at once.
const OPENING: f64 = 0.08;
/// The stem counts as down below this lift.
const SHUT: f64 = 0.005;

/// What recirculation looks at.
pub(crate) struct Conditions {
    pub(crate) running: bool,
    pub(crate) run_seconds: f64,
    pub(crate) idle: bool,
    pub(crate) pedal_released: bool,
    pub(crate) fuel_cut: bool,
    /// Calculated load, %.
    pub(crate) load: f64,
    /// Air into the cylinders, g/s.
    pub(crate) air: f64,
    /// Its driver has lost the valve, or its stem's sensor is out of range.
    pub(crate) lost: bool,
    /// Opening that a monitor asks for instead.
    pub(crate) requested: Option<Ratio>,
}

/// The valve's control.
#[derive(Clone, Debug)]
pub(crate) struct Recirculation {
    /// Effective area of the open valve, mm².
    open_area: f64,
    wanted: f64,
    duty: f64,
    lift: f64,
    burnt: f64,
}

impl Recirculation {
    /// Of an engine of this size against the calibrated one.
    pub(crate) const fn new(size: f64) -> Self {
        Self {
            open_area: OPEN_AREA * size,
            wanted: 0.0,
            duty: 0.0,
            lift: 0.0,
            burnt: 0.0,
        }
    }

    /// PID $2C: the opening commanded.
    pub(crate) const fn commanded(&self) -> Ratio {
        Ratio::from_fraction(self.duty)
    }

    /// The opening as the sensor on the stem shows it.
    pub(crate) const fn actual(&self) -> Ratio {
        Ratio::from_fraction(self.lift)
    }

    /// PID $2D: (actual - commanded) / commanded; where nothing is commanded, nothing if the valve is shut and the end of
    /// the scale if it is not (SAE J1979, from memory).
    pub(crate) fn error(&self) -> Ratio {
        const SCALE: f64 = 0.992_187_5;
        let error = if self.duty > SHUT {
            (self.lift - self.duty) / self.duty
        } else if self.lift > 0.02 {
            SCALE
        } else {
            0.0
        };
        Ratio::from_fraction(error.within(-1.0, SCALE))
    }

    /// Burnt gas as a share of the charge.
    pub(crate) const fn burnt_share(&self) -> f64 {
        self.burnt
    }

    /// The engine stands: the manifold fills with air.
    pub(crate) fn step_slow(&mut self, measured: &Measured, conditions: &Conditions, seconds: f64) {
        self.lift = measured.recirculation_lift.fraction();
        let barometer = measured.barometer.kilopascals().at_least(40.0);
        let flow_by_area =
            CHOKED_BY_AREA * barometer * air::flow_share(measured.manifold_kilopascals / barometer);
        self.command(measured, conditions, flow_by_area, seconds);
        self.estimate(measured, conditions, flow_by_area, seconds);
    }

    fn command(&mut self, measured: &Measured, conditions: &Conditions, flow_by_area: f64, seconds: f64) {
        let allowed = conditions.running
            && !conditions.lost
            && conditions.run_seconds >= FROM_SECONDS
            && measured.coolant >= FROM_COOLANT
            && !conditions.idle
            && !conditions.pedal_released
            && !conditions.fuel_cut;
        let wanted = if allowed {
            SHARE.at(conditions.load) * BY_SPEED.at(measured.rpm)
        } else {
            0.0
        };
        self.wanted = wanted.at_most(self.wanted + OPENING * seconds);
        let requested = conditions.requested.filter(|_| !conditions.lost);
        self.duty = match requested {
            Some(opening) => opening.fraction(),
            None if self.wanted > 0.0 => {
                let flow = self.wanted / (1.0 - self.wanted) * conditions.air;
                (flow / (flow_by_area * self.open_area).at_least(0.1)).at_most(0.6)
            }
            None => 0.0,
        };
    }

    /// Burnt gas in the manifold: what comes in by the valve, less what the cylinders take, over what the manifold holds. In a
    /// fuel cut it is air, but counts the same: air that no meter has seen.
    fn estimate(&mut self, measured: &Measured, conditions: &Conditions, flow_by_area: f64, seconds: f64) {
        if !conditions.running {
            self.burnt = 0.0;
            return;
        }
        // What no sensor shows counts as shut: so it is commanded, and so its spring leaves it.
        let recirculated = if self.lift > SHUT && !conditions.lost {
            self.lift * self.open_area * flow_by_area
        } else {
            0.0
        };
        if recirculated <= 0.0 && self.burnt < 1e-4 {
            self.burnt = 0.0;
            return;
        }
        let held = air::manifold_grams(measured);
        let into = (conditions.air + recirculated).at_least(0.5);
        self.burnt = (held * self.burnt + seconds * recirculated) / (held + seconds * into);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use twotrip_units::Pressure;

    fn cruise() -> (Measured, Conditions) {
        let measured = Measured {
            rpm: 1704.0,
            manifold_kilopascals: 36.0,
            barometer: Pressure::from_kilopascals(101.3),
            coolant: Temperature::from_celsius(87.0),
            intake_air: Temperature::from_celsius(27.0),
            ..Measured::default()
        };
        let conditions = Conditions {
            running: true,
            run_seconds: 900.0,
            idle: false,
            pedal_released: false,
            fuel_cut: false,
            load: 29.0,
            air: 7.8,
            lost: false,
            requested: None,
        };
        (measured, conditions)
    }

    /// 8 % at 50 km/h, and the estimate says what the valve was opened for.
    #[test]
    fn the_estimate_agrees_with_the_command() {
        let (mut measured, conditions) = cruise();
        let mut control = Recirculation::new(1.0);
        for _ in 0..50 {
            control.step_slow(&measured, &conditions, 0.1);
            measured.recirculation_lift = control.commanded();
        }
        assert!((control.wanted - 0.08).abs() < 0.005, "{}", control.wanted);
        assert!((control.burnt_share() - control.wanted).abs() < 0.002);
        assert!(
            (0.05..0.11).contains(&control.commanded().fraction()),
            "{control:?}"
        );
        assert!(control.error().fraction().abs() < 0.02);
    }

    /// No recirculation at idle, on the overrun, cold, at full load.
    #[test]
    fn none_where_the_engine_bears_none() {
        let (measured, conditions) = cruise();
        let cold = Measured {
            coolant: Temperature::from_celsius(40.0),
            ..cruise().0
        };
        for (measured, conditions) in [
            (
                &measured,
                Conditions {
                    idle: true,
                    ..conditions
                },
            ),
            (
                &measured,
                Conditions {
                    pedal_released: true,
                    ..cruise().1
                },
            ),
            (
                &measured,
                Conditions {
                    load: 90.0,
                    ..cruise().1
                },
            ),
            (
                &measured,
                Conditions {
                    run_seconds: 5.0,
                    ..cruise().1
                },
            ),
            (&cold, cruise().1),
        ] {
            let mut control = Recirculation::new(1.0);
            for _ in 0..20 {
                control.step_slow(measured, &conditions, 0.1);
            }
            assert!(control.commanded().fraction() <= 0.0);
        }
    }

    /// A stem that does not move, and one that is held up.
    #[test]
    fn the_error_tells_a_stem_that_does_not_follow() {
        let (mut measured, conditions) = cruise();
        let mut control = Recirculation::new(1.0);
        for _ in 0..20 {
            control.step_slow(&measured, &conditions, 0.1);
        }
        assert!((control.error().percent() + 100.0).abs() < 0.1);
        measured.recirculation_lift = Ratio::from_percent(5.0);
        let at_idle = Conditions {
            idle: true,
            ..conditions
        };
        for _ in 0..20 {
            control.step_slow(&measured, &at_idle, 0.1);
        }
        assert!(control.error().percent() > 99.0);
        assert!(control.burnt_share() > 0.04, "it is known to be open");
    }
}
