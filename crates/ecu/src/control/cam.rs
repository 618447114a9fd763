//! The phaser of a bank's intake cam: where it is to stand, and the oil that turns it there.
//!
//! Home at idle, 10-25 degrees ahead at part load, 5-15 at full load (usual for such engines, from memory; map calibrated).

use twotrip_units::{Angle, Limit, Ratio, Table, Temperature};

use crate::control::measured::Measured;

/// Advance over calculated load, %, degrees of crank.
const TARGET: Table<5> = Table::new([
    (20.0, 14.0),
    (30.0, 15.0),
    (50.0, 20.0),
    (70.0, 18.0),
    (95.0, 10.0),
]);
/// The same against that over engine speed, rpm.
const BY_SPEED: Table<3> = Table::new([(3000.0, 1.0), (5000.0, 0.7), (6500.0, 0.5)]);
/// The cam leaves home above this speed and comes back below that, rpm.
const LEAVES: f64 = 1000.0;
const RETURNS: f64 = 900.0;
/// It stays away for this long after the pedal was released, steps of 100 ms: a foot that plays does not chase it about.
const STAYS: u8 = 8;
/// No oil pressure is counted on before this run time, s, nor in oil as thick as this.
const FROM_SECONDS: f64 = 3.0;
const FROM_OIL: Temperature = Temperature::from_celsius(-10.0);
/// Distance from the target for which the valve opens fully, degrees.
const FULL_AT: f64 = 30.0;

/// What the target depends on.
pub(crate) struct Conditions {
    pub(crate) running: bool,
    pub(crate) run_seconds: f64,
    /// Its driver has lost the oil control valve, or no teeth come from the cam.
    pub(crate) lost: bool,
    pub(crate) pedal_released: bool,
    /// Calculated load, %.
    pub(crate) load: f64,
}

/// The phaser's control.
#[derive(Clone, Debug, Default)]
pub(crate) struct Cam {
    away: bool,
    lost: bool,
    /// Steps for which the pedal has been released.
    released: u8,
    target: f64,
    actual: f64,
}

impl Cam {
    /// Where the cam is to stand.
    pub(crate) const fn target(&self) -> Angle {
        Angle::from_degrees(self.target)
    }

    /// Where it stands.
    pub(crate) const fn actual(&self) -> Angle {
        Angle::from_degrees(self.actual)
    }

    /// The target; every 100 ms.
    pub(crate) fn step_slow(&mut self, measured: &Measured, conditions: &Conditions) {
        self.released = if conditions.pedal_released {
            self.released.saturating_add(1)
        } else {
            0
        };
        self.lost = conditions.lost;
        let usable = conditions.running
            && !conditions.lost
            && conditions.run_seconds >= FROM_SECONDS
            && measured.oil >= FROM_OIL
            && if self.away {
                self.released <= STAYS
            } else {
                self.released == 0
            };
        let limit = if self.away { RETURNS } else { LEAVES };
        self.away = usable && measured.rpm > limit;
        self.target = if self.away {
            TARGET.at(conditions.load) * BY_SPEED.at(measured.rpm)
        } else {
            0.0
        };
    }

    /// Duty of the oil control valve: half holds.
    #[inline]
    pub(crate) fn step(&mut self, measured: &Measured, running: bool, bank: usize) -> Ratio {
        self.actual = measured.cam_advance[bank].degrees();
        // Without current it goes home.
        if !running || self.lost {
            return Ratio::ZERO;
        }
        Ratio::from_fraction((0.5 + (self.target - self.actual) * (1.0 / FULL_AT)).within(0.0, 1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn target(rpm: f64, load: f64, pedal_released: bool) -> f64 {
        let measured = Measured {
            rpm,
            oil: Temperature::from_celsius(90.0),
            ..Measured::default()
        };
        let mut cam = Cam::default();
        let conditions = Conditions {
            running: true,
            run_seconds: 100.0,
            lost: false,
            pedal_released,
            load,
        };
        cam.step_slow(&measured, &conditions);
        cam.target().degrees()
    }

    /// Idle 0, part load 10-25, full load 5-15 (usual for such engines, from memory).
    #[test]
    fn the_map_lies_in_the_usual_ranges() {
        for (rpm, load, released, low, high) in [
            (700.0, 25.0, true, 0.0, 0.0),
            (2000.0, 14.0, true, 0.0, 0.0),
            (700.0, 40.0, false, 0.0, 0.0),
            (1704.0, 29.0, false, 10.0, 25.0),
            (2027.0, 53.0, false, 10.0, 25.0),
            (2000.0, 100.0, false, 5.0, 15.0),
            (6000.0, 100.0, false, 5.0, 15.0),
        ] {
            let degrees = target(rpm, load, released);
            assert!(
                (low..=high).contains(&degrees),
                "{rpm} rpm, {load} %: {degrees} degrees"
            );
        }
    }

    /// Half duty at the target, more before it, less beyond, none while nothing turns.
    #[test]
    fn the_valve_pushes_towards_the_target() {
        let mut cam = Cam {
            target: 15.0,
            ..Cam::default()
        };
        let at = |degrees| Measured {
            cam_advance: [Angle::from_degrees(degrees); 2],
            ..Measured::default()
        };
        assert!((cam.step(&at(15.0), true, 0).fraction() - 0.5).abs() < 1e-9);
        assert!((cam.step(&at(0.0), true, 0).fraction() - 1.0).abs() < 1e-9);
        assert!((cam.step(&at(30.0), true, 0).fraction()).abs() < 1e-9);
        assert!(cam.step(&at(0.0), false, 0) <= Ratio::ZERO);
    }
}
