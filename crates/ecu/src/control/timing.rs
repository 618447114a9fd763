//! Ignition timing over speed and load, with the late timing that heats the catalyst and the reserve of the idle
//! (typical figures: common practice, no source; calibrated).

use core::time::Duration;

use twotrip_units::{Angle, Ratio, Table};

use crate::control::measured::Measured;

/// While the starter turns, and with the engine standing, degrees.
const CRANKING: f64 = 5.0;
/// Idle over speed, degrees: held about 13 degrees (a tenth of the torque) below best timing, so that timing can help
/// at once.
const IDLE: Table<4> = Table::new([(600.0, 8.5), (700.0, 10.0), (1000.0, 13.5), (1300.0, 18.0)]);
/// Fuel cut, degrees: shown, without meaning.
const FUEL_CUT: f64 = 20.0;
/// Late timing after a cold start, degrees, for how long, s, and below which coolant temperature, °C.
const CATALYST_HEATING: f64 = 5.0;
const HEATING_SECONDS: f64 = 40.0;
const HEATING_BELOW_CELSIUS: f64 = 50.0;
/// How much later timing is with the car already driving then, degrees.
const HEATING_PART_LOAD: f64 = 12.0;
/// Time in which timing leaves the heating value, s.
const HEATING_RAMP_SECONDS: f64 = 10.0;
/// Fastest change of the base value, degrees per second.
const SLEW: f64 = 60.0;

/// Earlier for each per cent of recirculated exhaust in the charge, which burns more slowly, degrees.
const BY_BURNT: f64 = 0.25;

/// Calculated loads, %, of the columns of [`BASE`].
const LOADS: [f64; 5] = [15.0, 30.0, 55.0, 80.0, 100.0];
/// Part-throttle timing over speed, one curve for each load: about a quarter of a degree less for a percent of load,
/// knock-limited at high load and low speed.
const BASE: [Table<6>; 5] = [
    Table::new([
        (700.0, 20.0),
        (1200.0, 26.0),
        (1700.0, 29.5),
        (2500.0, 33.0),
        (4000.0, 36.0),
        (6000.0, 38.0),
    ]),
    Table::new([
        (700.0, 18.0),
        (1200.0, 24.0),
        (1700.0, 29.0),
        (2500.0, 34.0),
        (4000.0, 35.0),
        (6000.0, 36.0),
    ]),
    Table::new([
        (700.0, 12.0),
        (1200.0, 20.0),
        (1700.0, 25.0),
        (2500.0, 32.0),
        (4000.0, 33.0),
        (6000.0, 34.0),
    ]),
    Table::new([
        (700.0, 6.0),
        (1200.0, 12.0),
        (1700.0, 19.0),
        (2500.0, 22.0),
        (4000.0, 26.0),
        (6000.0, 30.0),
    ]),
    Table::new([
        (700.0, 2.0),
        (1200.0, 6.0),
        (1700.0, 9.0),
        (2500.0, 13.0),
        (4500.0, 21.0),
        (6000.0, 26.0),
    ]),
];

/// What timing looks at.
pub(crate) struct Conditions {
    pub(crate) running: bool,
    pub(crate) run_time: Duration,
    pub(crate) idle: bool,
    pub(crate) fuel_cut: bool,
    pub(crate) load: Ratio,
    /// Burnt gas as a share of the charge.
    pub(crate) burnt: f64,
    /// Coolant temperature at which the engine was started, °C.
    pub(crate) start_coolant: f64,
    /// What idle control adds.
    pub(crate) idle_help: Angle,
}

/// Timing control.
#[derive(Clone, Debug, Default)]
pub(crate) struct Timing {
    base: f64,
    shown: f64,
    heating: bool,
}

impl Timing {
    /// Whether timing is late to heat the catalyst.
    pub(crate) const fn catalyst_heating(&self) -> bool {
        self.heating
    }

    /// Timing as last given.
    pub(crate) const fn advance(&self) -> Angle {
        Angle::from_degrees(self.shown)
    }

    /// Works out the base value; every 100 ms.
    pub(crate) fn step_slow(&mut self, measured: &Measured, conditions: &Conditions, seconds: f64) {
        let run = conditions.run_time.as_secs_f64();
        let mut wanted = if conditions.idle {
            IDLE.at(measured.engine_speed.rpm())
        } else if conditions.fuel_cut {
            FUEL_CUT
        } else {
            base(measured.engine_speed.rpm(), conditions.load.percent()) + 100.0 * BY_BURNT * conditions.burnt
        };
        self.heating =
            conditions.running && run < HEATING_SECONDS && conditions.start_coolant < HEATING_BELOW_CELSIUS;
        if conditions.start_coolant < HEATING_BELOW_CELSIUS && conditions.idle {
            let share = ((run - HEATING_SECONDS) / HEATING_RAMP_SECONDS).clamp(0.0, 1.0);
            wanted = CATALYST_HEATING + (wanted - CATALYST_HEATING) * share;
        } else if self.heating {
            wanted -= HEATING_PART_LOAD;
        }
        let most = SLEW * seconds;
        self.base += (wanted - self.base).clamp(-most, most);
    }

    /// One step.
    pub(crate) const fn step(&mut self, conditions: &Conditions) -> Angle {
        if conditions.running {
            self.shown = self.base + conditions.idle_help.degrees();
        } else {
            self.base = CRANKING;
            self.shown = CRANKING;
        }
        self.advance()
    }
}

/// Bilinear over load and speed.
fn base(rpm: f64, load: f64) -> f64 {
    let above = LOADS.iter().position(|&border| load < border);
    match above {
        Some(0) => BASE[0].at(rpm),
        Some(column) => {
            let share = (load - LOADS[column - 1]) / (LOADS[column] - LOADS[column - 1]);
            let low = BASE[column - 1].at(rpm);
            low + share * (BASE[column].at(rpm) - low)
        }
        None => BASE[LOADS.len() - 1].at(rpm),
    }
}

#[cfg(test)]
mod tests {
    use super::base;

    /// Typical timing of such an engine: common practice, no source.
    #[test]
    fn the_table_meets_the_typical_values() {
        for (rpm, load, low, high) in [
            (2500.0, 19.0, 28.0, 36.0),
            (1704.0, 29.0, 24.0, 36.0),
            (2027.0, 53.0, 28.0, 36.0),
            (2000.0, 100.0, 8.0, 14.0),
            (4500.0, 100.0, 18.0, 24.0),
            (6000.0, 100.0, 24.0, 28.0),
        ] {
            let degrees = base(rpm, load);
            assert!(
                (low..=high).contains(&degrees),
                "{rpm} rpm, {load} %: {degrees} degrees"
            );
        }
    }
}
