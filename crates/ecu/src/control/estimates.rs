//! Three views of the same air: what the meter shows, what pressure and speed say (speed-density), and what the
//! throttle's plate lets through. The sensors check one another by them.
//!
//! Each view rests on its own sensor and on none of the others: the throttle's has its own manifold, filled by what
//! passes the plate and emptied by the cylinders (the textbook mean-value model), and so has the meter's, which tells
//! what the pressure sensor ought to show. All read the pins, never a substitute. What the plate lets through near
//! closed differs from car to car and with dirt: learned at idle as an area while meter and pressure agree.

use twotrip_units::{Angle, Limit, MassFlow, Pressure, Ratio};

use super::air::{Air, flow_share, throttle_area};

/// Pressure that a gram of air adds in the manifold of the calibrated engine, kPa (3 l at 20 °C).
const KILOPASCALS_PER_GRAM: f64 = 28.0;
/// Lowest pressure that an engine pulls, kPa.
const LOWEST_KILOPASCALS: f64 = 8.0;

/// Learned area of the throttle, mm²: limits, time constant in s, and how far meter and pressure may be apart.
const LEARNED_MM2: [f64; 2] = [-18.0, 8.0];
const LEARN_SECONDS: f64 = 8.0;
const LEARN_APART: f64 = 0.08;

/// The views of one instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AirEstimates {
    /// By the meter, with what the purge valve brings.
    pub metered: MassFlow,
    /// By pressure and speed.
    pub density: MassFlow,
    /// By the throttle's plate and speed, with what the purge valve brings.
    pub throttle: MassFlow,
    /// Through the throttle's plate at the pressure that the sensor shows, with what the purge valve brings.
    pub throttle_at_pressure: MassFlow,
    /// What the pressure sensor shows.
    pub pressure: Pressure,
    /// What it ought to show by the meter.
    pub pressure_by_meter: Pressure,
    /// What it ought to show by the throttle.
    pub pressure_by_throttle: Pressure,
    /// Plate angle that the position sensor shows.
    pub plate: Angle,
    /// How long the plate's area near closed was learned in this driving cycle, s.
    pub learned_seconds: f64,
    /// No fuel is injected on the overrun.
    pub fuel_cut: bool,
    /// What closed loop adds to the fuel, short- and long-term together; `None` in open loop.
    pub trim: Option<Ratio>,
}

/// What the views are worked out from, as the pins have it.
pub(crate) struct Inputs<'a> {
    pub(crate) air: &'a Air,
    pub(crate) rpm: f64,
    pub(crate) pressure: Pressure,
    pub(crate) metered: MassFlow,
    pub(crate) barometer: f64,
    pub(crate) plate: Angle,
    /// Flow through a square millimetre of throttle, g/s.
    pub(crate) flow_per_area: f64,
    /// Through the purge valve, g/s.
    pub(crate) purge: f64,
    pub(crate) fuel_cut: bool,
    pub(crate) trim: Option<f64>,
    /// Warm, idling, standing.
    pub(crate) may_learn: bool,
}

/// The views at work.
#[derive(Clone, Debug, Default)]
pub(crate) struct Estimates {
    now: AirEstimates,
    /// Manifold of the meter's and of the throttle's view, kPa.
    by_meter: f64,
    by_throttle: f64,
    learned_mm2: f64,
}

impl Estimates {
    pub(crate) const fn now(&self) -> &AirEstimates {
        &self.now
    }

    /// The engine started: what was learned stays, how long begins anew.
    pub(crate) const fn restart(&mut self) {
        self.now.learned_seconds = 0.0;
    }

    /// One step; `seconds` since the last.
    pub(crate) fn step(&mut self, inputs: &Inputs<'_>, seconds: f64) {
        let barometer = inputs.barometer.at_least(40.0);
        let metered = inputs.metered.grams_per_second() + inputs.purge;
        let area = (throttle_area(inputs.plate) + self.learned_mm2).at_least(0.5);
        let open = inputs.flow_per_area * area;
        let mut throttle = open * flow_share(self.by_throttle / barometer);
        if inputs.rpm < 20.0 {
            self.by_meter = barometer;
            self.by_throttle = barometer;
            throttle = 0.0;
        } else {
            let filled = |kilopascals: f64, inflow: f64, inflow_slope: f64| {
                let drawn = inputs.air.drawn_at(inputs.rpm, kilopascals);
                // What is drawn goes about in proportion to pressure: an implicit step, stable at any speed.
                let damping = drawn / kilopascals - inflow_slope;
                let gain = KILOPASCALS_PER_GRAM * inputs.air.per_size() * seconds;
                let change = gain * (inflow - drawn) / (1.0 + gain * damping);
                (kilopascals + change).within(LOWEST_KILOPASCALS, barometer)
            };
            self.by_meter = filled(self.by_meter.within(LOWEST_KILOPASCALS, barometer), metered, 0.0);
            let kilopascals = self.by_throttle.within(LOWEST_KILOPASCALS, barometer);
            let lower = open * flow_share((kilopascals - 0.5) / barometer);
            let slope = (throttle - lower).at_most(0.0) * 2.0;
            self.by_throttle = filled(kilopascals, throttle + inputs.purge, slope);
        }
        let shown = inputs.pressure.kilopascals();
        let density = if inputs.rpm < 20.0 {
            0.0
        } else {
            inputs.air.drawn_at(inputs.rpm, shown)
        };
        throttle += inputs.purge;
        let at_pressure = if inputs.rpm < 20.0 {
            0.0
        } else {
            open * flow_share(shown / barometer) + inputs.purge
        };
        if inputs.may_learn && (metered - density).abs() < LEARN_APART * density {
            let wanted = (metered - throttle) / inputs.flow_per_area.at_least(0.05);
            let [least, most] = LEARNED_MM2;
            self.learned_mm2 = (self.learned_mm2 + wanted * seconds / LEARN_SECONDS).within(least, most);
            self.now.learned_seconds += seconds;
        }
        self.now = AirEstimates {
            metered: MassFlow::from_grams_per_second(metered),
            density: MassFlow::from_grams_per_second(density),
            throttle: MassFlow::from_grams_per_second(throttle),
            throttle_at_pressure: MassFlow::from_grams_per_second(at_pressure),
            pressure: inputs.pressure,
            pressure_by_meter: Pressure::from_kilopascals(self.by_meter),
            pressure_by_throttle: Pressure::from_kilopascals(self.by_throttle),
            plate: inputs.plate,
            learned_seconds: self.now.learned_seconds,
            fuel_cut: inputs.fuel_cut,
            trim: inputs.trim.map(Ratio::from_fraction),
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::{air, measured::Measured};
    use twotrip_units::{AngularSpeed, Temperature};

    /// A running engine's air and the flow through a square millimetre, at 20 °C and 101.3 kPa.
    fn engine(rpm: f64, kilopascals: f64) -> (Air, f64) {
        let measured = Measured {
            engine_speed: AngularSpeed::from_rpm(rpm),
            rpm,
            manifold_kilopascals: kilopascals,
            barometer: Pressure::from_kilopascals(101.3),
            intake_air: Temperature::from_celsius(30.0),
            coolant: Temperature::from_celsius(90.0),
            ..Measured::default()
        };
        let mut air = Air::new(&crate::Calibration::compact_2_0());
        for _ in 0..50 {
            air.step(&measured, false, 0.01);
            air.step_slow(&measured, 0.1);
        }
        (air, air::choked_flow_per_area(&measured))
    }

    /// A healthy engine at a speed and a pressure: plate and meter as they would be there.
    fn healthy(air: &Air, flow_per_area: f64, rpm: f64, kilopascals: f64) -> Inputs<'_> {
        let drawn = air.drawn_at(rpm, kilopascals);
        let area = drawn / (flow_per_area * flow_share(kilopascals / 101.3));
        Inputs {
            air,
            rpm,
            pressure: Pressure::from_kilopascals(kilopascals),
            metered: MassFlow::from_grams_per_second(drawn),
            barometer: 101.3,
            plate: air::throttle_angle_for_area(area),
            flow_per_area,
            purge: 0.0,
            fuel_cut: false,
            trim: Some(0.0),
            may_learn: false,
        }
    }

    fn settled(inputs: &Inputs<'_>, estimates: &mut Estimates) -> AirEstimates {
        for _ in 0..600 {
            estimates.step(inputs, 0.1);
        }
        *estimates.now()
    }

    /// All three say the same of a healthy engine, within 3 % (5 % is what a healthy car may show), from idle to a
    /// nearly open throttle.
    #[test]
    fn the_views_of_a_healthy_engine_agree() {
        for (rpm, kilopascals) in [
            (700.0, 31.0),
            (2500.0, 25.0),
            (1700.0, 34.0),
            (2000.0, 57.0),
            (4500.0, 88.0),
        ] {
            let (air, flow_per_area) = engine(rpm, kilopascals);
            let inputs = healthy(&air, flow_per_area, rpm, kilopascals);
            let seen = settled(&inputs, &mut Estimates::default());
            let metered = seen.metered.grams_per_second();
            for (name, flow) in [("density", seen.density), ("throttle", seen.throttle)] {
                let share = flow.grams_per_second() / metered;
                assert!((share - 1.0).abs() < 0.03, "{rpm} rpm: {name} {share}");
            }
            for pressure in [seen.pressure_by_meter, seen.pressure_by_throttle] {
                let off = pressure.kilopascals() - kilopascals;
                assert!(off.abs() < 1.5, "{rpm} rpm: off by {off} kPa");
            }
        }
    }

    /// Each sensor moves its own view only.
    #[test]
    fn a_wrong_sensor_moves_its_own_view() {
        let (air, flow_per_area) = engine(1700.0, 34.0);
        let good = healthy(&air, flow_per_area, 1700.0, 34.0);
        let truth = good.metered.grams_per_second();
        let off = |inputs: Inputs<'_>| {
            let seen = settled(&inputs, &mut Estimates::default());
            [seen.metered, seen.density, seen.throttle].map(|flow| flow.grams_per_second() / truth - 1.0)
        };
        let [metered, density, throttle] = off(Inputs {
            metered: good.metered * 0.75,
            ..healthy(&air, flow_per_area, 1700.0, 34.0)
        });
        assert!(metered < -0.24 && density.abs() < 0.01 && throttle.abs() < 0.03);
        let [metered, density, throttle] = off(Inputs {
            pressure: Pressure::from_kilopascals(45.0),
            ..healthy(&air, flow_per_area, 1700.0, 34.0)
        });
        assert!(metered.abs() < 0.01 && density > 0.3 && throttle.abs() < 0.03);
        let [metered, density, throttle] = off(Inputs {
            plate: good.plate + Angle::from_degrees(4.0),
            ..healthy(&air, flow_per_area, 1700.0, 34.0)
        });
        assert!(metered.abs() < 0.01 && density.abs() < 0.01 && throttle > 0.3);
    }

    /// A dirty body wants the idle plate 1.5 degrees further open: learned within half a minute, and only so far.
    #[test]
    fn the_plate_near_closed_is_learned_at_idle() {
        let (air, flow_per_area) = engine(700.0, 31.0);
        let good = healthy(&air, flow_per_area, 700.0, 31.0);
        let mut estimates = Estimates::default();
        let dirty = Inputs {
            plate: good.plate + Angle::from_degrees(1.5),
            may_learn: true,
            ..healthy(&air, flow_per_area, 700.0, 31.0)
        };
        let seen = settled(&dirty, &mut estimates);
        let apart = seen.throttle.grams_per_second() / seen.metered.grams_per_second() - 1.0;
        assert!(apart.abs() < 0.02, "{apart}");
        assert!(
            (-12.0..-8.0).contains(&estimates.learned_mm2),
            "{}",
            estimates.learned_mm2
        );
        assert!(seen.learned_seconds > 30.0);
        let far = Inputs {
            plate: good.plate + Angle::from_degrees(6.0),
            may_learn: true,
            ..healthy(&air, flow_per_area, 700.0, 31.0)
        };
        let seen = settled(&far, &mut Estimates::default());
        assert!(seen.throttle.grams_per_second() > 1.5 * seen.metered.grams_per_second());
    }
}
