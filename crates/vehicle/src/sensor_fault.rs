//! Sensors that are broken inside: what a new sensor cures and a mended wire does not.
//!
//! A dead sensor is open inside if it is a resistance, and gives nothing if it drives its wire; a biased one follows
//! its data sheet for another quantity than the one at hand. Ranges: our own choice, wider than what published service
//! information describes of worn sensors.

use twotrip_harness::{SensorPins, transfer};
use twotrip_units::{Limit, Voltage};

/// A sensor that can be broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Sensor {
    /// Coolant temperature.
    Coolant,
    /// Intake-air temperature.
    IntakeAir,
    /// Air-mass meter.
    AirMeter,
    /// Manifold pressure.
    ManifoldPressure,
    /// Throttle position: a bias shifts both tracks, a dead one has lost track A.
    Throttle,
    /// Tank pressure.
    TankPressure,
    /// Fuel level.
    FuelLevel,
    /// Fuel rail pressure.
    RailPressure,
}

/// What is wrong inside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum SensorFault {
    /// Open inside, or without output.
    Dead,
    /// Reads so much too high, in [`Sensor::unit`].
    Bias(f64),
    /// Always reads this, in the unit of its bias: of thermistors, °C.
    Stuck(f64),
}

impl Sensor {
    /// All of them.
    const ALL: [Self; 8] = [
        Self::Coolant,
        Self::IntakeAir,
        Self::AirMeter,
        Self::ManifoldPressure,
        Self::Throttle,
        Self::TankPressure,
        Self::FuelLevel,
        Self::RailPressure,
    ];

    /// The unit of its bias: of the quantity, but for the air meter, which is off by a share of what flows.
    pub(crate) const fn unit(self) -> &'static str {
        match self {
            Self::Coolant | Self::IntakeAir => "K",
            Self::AirMeter | Self::FuelLevel => "%",
            Self::ManifoldPressure | Self::RailPressure => "kPa",
            Self::Throttle => "deg",
            Self::TankPressure => "Pa",
        }
    }

    /// The smallest and the greatest bias, in that unit.
    pub(crate) const fn range(self) -> [f64; 2] {
        match self {
            Self::Coolant | Self::IntakeAir => [-40.0, 40.0],
            Self::AirMeter | Self::FuelLevel => [-50.0, 50.0],
            Self::ManifoldPressure => [-30.0, 30.0],
            Self::Throttle => [-5.0, 5.0],
            Self::TankPressure => [-1500.0, 1500.0],
            Self::RailPressure => [-250.0, 250.0],
        }
    }

    /// What its pin shows when it is dead.
    const fn pin_of_dead(self, pins: &mut SensorPins) -> (&mut Voltage, Voltage) {
        const OPEN: Voltage = Voltage::from_volts(transfer::SENSOR_SUPPLY_VOLTS);
        match self {
            Self::Coolant => (&mut pins.coolant_temperature, OPEN),
            Self::IntakeAir => (&mut pins.intake_air_temperature, OPEN),
            Self::AirMeter => (&mut pins.air_meter, Voltage::ZERO),
            Self::ManifoldPressure => (&mut pins.manifold_pressure, Voltage::ZERO),
            Self::Throttle => (&mut pins.throttle_a, Voltage::ZERO),
            Self::TankPressure => (&mut pins.tank_pressure, Voltage::ZERO),
            Self::FuelLevel => (&mut pins.fuel_level, OPEN),
            Self::RailPressure => (&mut pins.rail_pressure, Voltage::ZERO),
        }
    }
}

/// What a sensor takes for its quantity: a share of what is there, and so much more.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Misreading {
    share: f64,
    more: f64,
}

impl Misreading {
    const NONE: Self = Self {
        share: 1.0,
        more: 0.0,
    };
}

/// The broken sensors of a car: for all of them, good ones too, what they take for their quantities, so that a biased
/// sensor costs a step what a good one costs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct SensorFaults {
    misreadings: [Misreading; Sensor::ALL.len()],
    dead: [bool; Sensor::ALL.len()],
    any_dead: bool,
}

impl SensorFaults {
    /// All sensors are good.
    pub(crate) const NONE: Self = Self {
        misreadings: [Misreading::NONE; Sensor::ALL.len()],
        dead: [false; Sensor::ALL.len()],
        any_dead: false,
    };

    /// Breaks a sensor; it has one fault at a time, the latest.
    pub(crate) fn set(&mut self, sensor: Sensor, fault: SensorFault) {
        let place = sensor as usize;
        self.misreadings[place] = match fault {
            SensorFault::Dead => Misreading::NONE,
            SensorFault::Stuck(value) => Misreading {
                share: 0.0,
                more: value,
            },
            SensorFault::Bias(bias) => {
                let bias = bias.within(sensor.range()[0], sensor.range()[1]);
                match sensor {
                    Sensor::AirMeter => Misreading {
                        share: 1.0 + bias / 100.0,
                        more: 0.0,
                    },
                    _ => Misreading {
                        share: 1.0,
                        more: bias,
                    },
                }
            }
        };
        self.dead[place] = fault == SensorFault::Dead;
        self.any_dead = self.dead.contains(&true);
    }

    /// What a sensor takes for a quantity, in the unit of its bias or of the flow; its data sheet makes a voltage of that.
    #[inline]
    pub(crate) const fn seen(&self, sensor: Sensor, quantity: f64) -> f64 {
        let Misreading { share, more } = self.misreadings[sensor as usize];
        quantity * share + more
    }

    /// Puts on the pins of dead sensors what those give.
    #[inline]
    pub(crate) fn silence(&self, pins: &mut SensorPins) {
        if self.any_dead {
            self.silence_dead(pins);
        }
    }

    #[cold]
    fn silence_dead(&self, pins: &mut SensorPins) {
        for (sensor, dead) in Sensor::ALL.into_iter().zip(self.dead) {
            if dead {
                let (pin, volts) = sensor.pin_of_dead(pins);
                *pin = volts;
            }
        }
    }
}

impl Default for SensorFaults {
    fn default() -> Self {
        Self::NONE
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Vehicle, VehicleParams};

    /// A parked car whose sensor has this fault, and what good sensors would show of it.
    fn pins(sensor: Sensor, faults: &[SensorFault]) -> (SensorPins, SensorPins) {
        let mut car = Vehicle::new(VehicleParams::compact_2_0(), 1);
        for &fault in faults {
            car.knobs.sensors.set(sensor, fault);
        }
        car.look_again();
        (*car.sensors(), car.good_sensors())
    }

    /// What the ECU reads of each sensor, in the unit of its bias.
    fn read(sensor: Sensor, pins: &SensorPins) -> f64 {
        match sensor {
            Sensor::Coolant => transfer::THERMISTOR
                .to_temperature(pins.coolant_temperature)
                .celsius(),
            Sensor::IntakeAir => transfer::THERMISTOR
                .to_temperature(pins.intake_air_temperature)
                .celsius(),
            Sensor::AirMeter => transfer::AIR_METER.to_flow(pins.air_meter).grams_per_second(),
            Sensor::ManifoldPressure => transfer::PRESSURE
                .to_pressure(pins.manifold_pressure)
                .kilopascals(),
            Sensor::Throttle => transfer::throttle_angle(pins.throttle_a).degrees(),
            Sensor::TankPressure => transfer::tank_pressure(pins.tank_pressure).pascals(),
            Sensor::FuelLevel => transfer::FUEL_LEVEL.to_ratio(pins.fuel_level).percent(),
            Sensor::RailPressure => transfer::rail_pressure(pins.rail_pressure).kilopascals(),
        }
    }

    #[test]
    fn a_bias_is_read_by_its_size_and_of_its_sensor_alone() {
        for sensor in Sensor::ALL {
            for bias in [0.1 * sensor.range()[0], 0.1 * sensor.range()[1]] {
                let (pins, good) = pins(sensor, &[SensorFault::Bias(bias)]);
                for other in Sensor::ALL {
                    let off = read(other, &pins) - read(other, &good);
                    let expected = match other {
                        _ if other != sensor => 0.0,
                        Sensor::AirMeter => bias / 100.0 * read(other, &good),
                        _ => bias,
                    };
                    assert!(
                        (off - expected).abs() < 1e-6,
                        "{sensor:?} {bias}: {other:?} off by {off}"
                    );
                }
                assert!(
                    (pins.throttle_a + pins.throttle_b - Voltage::from_volts(5.0))
                        .abs()
                        .volts()
                        < 1e-9
                );
            }
        }
        let mut faults = SensorFaults::NONE;
        faults.set(Sensor::AirMeter, SensorFault::Bias(-20.0));
        assert!((faults.seen(Sensor::AirMeter, 10.0) - 8.0).abs() < 1e-12);
    }

    #[test]
    fn a_stuck_thermistor_reads_the_same_for_ever() {
        for sensor in [Sensor::Coolant, Sensor::IntakeAir] {
            let (pins, good) = pins(sensor, &[SensorFault::Stuck(33.0)]);
            assert!((read(sensor, &pins) - 33.0).abs() < 0.1 && read(sensor, &good) < 25.0);
        }
    }

    #[test]
    fn a_dead_sensor_is_open_or_silent_and_has_no_other_fault() {
        for sensor in Sensor::ALL {
            let (dead, good) = pins(sensor, &[SensorFault::Bias(1.0), SensorFault::Dead]);
            assert_ne!(dead, good);
            let mut expected = good;
            let (pin, volts) = sensor.pin_of_dead(&mut expected);
            *pin = volts;
            assert_eq!(dead, expected, "{sensor:?}: nothing else is touched");
            let (biased, _) = pins(sensor, &[SensorFault::Dead, SensorFault::Bias(0.0)]);
            assert_eq!(biased, good, "{sensor:?}: the latest");
        }
    }
}
