//! Catalyst temperature for PID $3C: a pipe and a brick warmed by the exhaust (own model, calibrated).

use twotrip_units::{MassFlow, Speed, Temperature};

use crate::control::measured::Measured;

/// Heat capacities, J/K.
const PIPE_CAPACITY: f64 = 500.0;
const BRICK_CAPACITY: f64 = 450.0;
/// Share of the gas's heat that the brick takes.
const BRICK_EXCHANGE: f64 = 0.92;
/// Heat capacity of exhaust gas, J/g K.
const GAS_CAPACITY: f64 = 1.1;
/// Energy of petrol, J/g, and the share of it that still burns in a working brick.
const FUEL_ENERGY: f64 = 42_600.0;
const REACTION_SHARE: f64 = 0.03;

/// What heats it.
pub(crate) struct Exhaust {
    pub(crate) air: MassFlow,
    pub(crate) fuel: MassFlow,
    pub(crate) vehicle_speed: Speed,
    /// Late timing after a cold start is on.
    pub(crate) catalyst_heating: bool,
}

/// The model.
#[derive(Clone, Debug)]
pub(crate) struct CatalystModel {
    pipe: f64,
    brick: f64,
    known: bool,
    /// Means of what has come since the last step: air, fuel, and for how long, s.
    air: f64,
    fuel: f64,
    seconds: f64,
}

impl Default for CatalystModel {
    fn default() -> Self {
        Self {
            pipe: 20.0,
            brick: 20.0,
            known: false,
            air: 0.0,
            fuel: 0.0,
            seconds: 0.0,
        }
    }
}

impl CatalystModel {
    /// Temperature of the brick.
    pub(crate) const fn temperature(&self) -> Temperature {
        Temperature::from_celsius(self.brick)
    }

    /// Cooling while nobody counts: time constant 15 min towards ambient (10-20 min, from memory).
    pub(crate) fn rest(&mut self, ambient: Temperature, seconds: f64) {
        let left = libm::exp(-seconds / 900.0);
        let ambient = ambient.celsius();
        self.pipe = ambient + (self.pipe - ambient) * left;
        self.brick = ambient + (self.brick - ambient) * left;
    }

    /// Takes in a span of the exhaust; the temperatures move once a second.
    pub(crate) fn step(&mut self, measured: &Measured, exhaust: &Exhaust, seconds: f64) {
        self.air += exhaust.air.grams_per_second() * seconds;
        self.fuel += exhaust.fuel.grams_per_second() * seconds;
        self.seconds += seconds;
        if self.seconds >= 1.0 || !self.known {
            self.warm(measured, exhaust);
            self.air = 0.0;
            self.fuel = 0.0;
            self.seconds = 0.0;
        }
    }

    fn warm(&mut self, measured: &Measured, exhaust: &Exhaust) {
        let seconds = self.seconds;
        let ambient = measured.ambient.celsius();
        if !self.known {
            // Nothing is remembered: as warm as the engine, which after a soak is the truth.
            self.brick = measured.coolant.celsius();
            self.pipe = self.brick;
            self.known = true;
        }
        let air = self.air / seconds;
        let fuel = self.fuel / seconds;
        let speed = exhaust.vehicle_speed.kilometres_per_hour();
        let mut port = if fuel > 0.02 * air {
            300.0 + 130.0 * libm::log(1.0 + air) - (70.0 - measured.coolant.celsius()).max(0.0)
        } else {
            160.0
        };
        if exhaust.catalyst_heating {
            port += 220.0;
        }
        let gas = (air + fuel) * GAS_CAPACITY;
        // 1 + flow^0.8 W/K from gas to wall; the gas cools along it.
        let exchange = 1.0 + libm::exp(0.8 * libm::log(air.max(1e-3)));
        let taken = if gas > 0.01 {
            gas * (1.0 - libm::exp(-exchange / gas))
        } else {
            0.0
        };
        let behind_pipe = if gas > 0.01 {
            port - taken / gas * (port - self.pipe)
        } else {
            self.pipe
        };
        let wall_loss = (0.5 + 0.012 * speed) * (self.pipe - ambient);
        self.pipe += (taken * (port - self.pipe) - wall_loss) * seconds / PIPE_CAPACITY;
        let efficiency = 1.0 / (1.0 + libm::exp(-(self.brick - 265.0) / 18.0));
        let heat = gas * BRICK_EXCHANGE * (behind_pipe - self.brick)
            + REACTION_SHARE * FUEL_ENERGY * fuel * efficiency
            - (0.35 + 0.008 * speed) * (self.brick - ambient);
        self.brick += heat * seconds / BRICK_CAPACITY;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settle(flow: f64, kilometres_per_hour: f64) -> f64 {
        let measured = Measured {
            coolant: Temperature::from_celsius(88.0),
            ..Measured::default()
        };
        let exhaust = Exhaust {
            air: MassFlow::from_grams_per_second(flow),
            fuel: MassFlow::from_grams_per_second(flow / 14.7),
            vehicle_speed: Speed::from_kilometres_per_hour(kilometres_per_hour),
            catalyst_heating: false,
        };
        let mut model = CatalystModel::default();
        for _ in 0..20_000 {
            model.step(&measured, &exhaust, 0.1);
        }
        model.temperature().celsius()
    }

    /// Settled brick, computed on a prototype of this car's model: idle 480, 50 km/h 560, 100 km/h 675 °C; a warm
    /// idle usually shows 400 to 550.

    #[test]
    fn settles_where_the_vehicle_model_was_computed_to() {
        for (flow, speed, celsius) in [(2.5, 0.0, 480.0), (7.8, 50.0, 560.0), (17.7, 100.0, 675.0)] {
            let settled = settle(flow, speed);
            assert!(
                (settled - celsius).abs() < 60.0,
                "{speed} km/h settles at {settled}, not {celsius}"
            );
        }
    }
}
