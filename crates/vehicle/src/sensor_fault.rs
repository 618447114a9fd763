//! Sensors that are broken inside: what a new sensor cures and a mended wire does not.
//!
//! A dead sensor is open inside if it is a resistance, and gives nothing if it drives its wire; a biased one follows
//! its data sheet for another quantity than the one at hand. Ranges: our own choice, wider than what published service
//! information describes of worn sensors.

use twotrip_harness::{SensorPins, transfer};
use twotrip_units::{Angle, Limit, MassFlow, Pressure, Ratio, Temperature, Voltage};

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
}

/// What is wrong inside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum SensorFault {
    /// Open inside, or without output.
    Dead,
    /// Reads so much too high, in [`Sensor::unit`].
    Bias(f64),
    /// Always reads this temperature, °C: of thermistors only.
    Stuck(f64),
}

impl Sensor {
    /// All of them.
    const ALL: [Self; 7] = [
        Self::Coolant,
        Self::IntakeAir,
        Self::AirMeter,
        Self::ManifoldPressure,
        Self::Throttle,
        Self::TankPressure,
        Self::FuelLevel,
    ];

    /// The unit of its bias: of the quantity, but for the air meter, which is off by a share of what flows.
    pub(crate) const fn unit(self) -> &'static str {
        match self {
            Self::Coolant | Self::IntakeAir => "K",
            Self::AirMeter | Self::FuelLevel => "%",
            Self::ManifoldPressure => "kPa",
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
        }
    }

    /// Puts on the pins what it gives with this fault.
    fn distort(self, fault: SensorFault, pins: &mut SensorPins) {
        const OPEN: Voltage = Voltage::from_volts(transfer::SENSOR_SUPPLY_VOLTS);
        let bias = match fault {
            SensorFault::Stuck(celsius) => {
                let volts = transfer::THERMISTOR.from_temperature(Temperature::from_celsius(celsius));
                match self {
                    Self::Coolant => pins.coolant_temperature = volts,
                    Self::IntakeAir => pins.intake_air_temperature = volts,
                    _ => {}
                }
                return;
            }
            SensorFault::Bias(bias) => bias.within(self.range()[0], self.range()[1]),
            SensorFault::Dead => {
                match self {
                    Self::Coolant => pins.coolant_temperature = OPEN,
                    Self::IntakeAir => pins.intake_air_temperature = OPEN,
                    Self::AirMeter => pins.air_meter = Voltage::ZERO,
                    Self::ManifoldPressure => pins.manifold_pressure = Voltage::ZERO,
                    Self::Throttle => pins.throttle_a = Voltage::ZERO,
                    Self::TankPressure => pins.tank_pressure = Voltage::ZERO,
                    Self::FuelLevel => pins.fuel_level = OPEN,
                }
                return;
            }
        };
        let warmer = |pin: Voltage| {
            let celsius = transfer::THERMISTOR.to_temperature(pin).celsius() + bias;
            transfer::THERMISTOR.from_temperature(Temperature::from_celsius(celsius))
        };
        match self {
            Self::Coolant => pins.coolant_temperature = warmer(pins.coolant_temperature),
            Self::IntakeAir => pins.intake_air_temperature = warmer(pins.intake_air_temperature),
            Self::AirMeter => {
                let flow = transfer::AIR_METER.to_flow(pins.air_meter).grams_per_second();
                let flow = MassFlow::from_grams_per_second(flow * (1.0 + bias / 100.0));
                pins.air_meter = transfer::AIR_METER.from_flow(flow);
            }
            Self::ManifoldPressure => {
                let pressure = transfer::PRESSURE.to_pressure(pins.manifold_pressure);
                let pressure = pressure + Pressure::from_kilopascals(bias);
                pins.manifold_pressure = transfer::PRESSURE.from_pressure(pressure);
            }
            Self::Throttle => {
                let plate = transfer::throttle_angle(pins.throttle_a) + Angle::from_degrees(bias);
                (pins.throttle_a, pins.throttle_b) = transfer::throttle_volts(plate);
            }
            Self::TankPressure => {
                let pressure = transfer::tank_pressure(pins.tank_pressure) + Pressure::from_pascals(bias);
                pins.tank_pressure = transfer::tank_pressure_volts(pressure);
            }
            Self::FuelLevel => {
                let level = transfer::FUEL_LEVEL.to_ratio(pins.fuel_level) + Ratio::from_percent(bias);
                pins.fuel_level = transfer::FUEL_LEVEL.from_ratio(level);
            }
        }
    }
}

/// The broken sensors of a car.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct SensorFaults {
    faults: [Option<SensorFault>; Sensor::ALL.len()],
    count: usize,
}

impl SensorFaults {
    /// Breaks a sensor; it has one fault at a time, the latest.
    pub(crate) const fn set(&mut self, sensor: Sensor, fault: SensorFault) {
        if self.faults[sensor as usize].replace(fault).is_none() {
            self.count += 1;
        }
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = (Sensor, SensorFault)> + use<> {
        let faults = self.faults;
        Sensor::ALL
            .into_iter()
            .zip(faults)
            .filter_map(|(sensor, fault)| Some((sensor, fault?)))
    }

    /// Whether no sensor is broken: then nothing has to be looked through.
    #[inline]
    pub(crate) const fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// What the sensors give of what good ones would.
    #[cold]
    pub(crate) fn distorted(&self, good: &SensorPins) -> SensorPins {
        let mut pins = *good;
        for (sensor, fault) in self.iter() {
            sensor.distort(fault, &mut pins);
        }
        pins
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn good() -> SensorPins {
        let (throttle_a, throttle_b) = transfer::throttle_volts(Angle::from_degrees(10.0));
        let thermistor = |celsius| transfer::THERMISTOR.from_temperature(Temperature::from_celsius(celsius));
        SensorPins {
            coolant_temperature: thermistor(80.0),
            intake_air_temperature: thermistor(20.0),
            air_meter: transfer::AIR_METER.from_flow(MassFlow::from_grams_per_second(10.0)),
            manifold_pressure: transfer::PRESSURE.from_pressure(Pressure::from_kilopascals(40.0)),
            throttle_a,
            throttle_b,
            tank_pressure: transfer::tank_pressure_volts(Pressure::ZERO),
            fuel_level: transfer::FUEL_LEVEL.from_ratio(Ratio::from_percent(50.0)),
            ..SensorPins::default()
        }
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
            Sensor::AirMeter => 10.0 * transfer::AIR_METER.to_flow(pins.air_meter).grams_per_second(),
            Sensor::ManifoldPressure => transfer::PRESSURE
                .to_pressure(pins.manifold_pressure)
                .kilopascals(),
            Sensor::Throttle => transfer::throttle_angle(pins.throttle_a).degrees(),
            Sensor::TankPressure => transfer::tank_pressure(pins.tank_pressure).pascals(),
            Sensor::FuelLevel => transfer::FUEL_LEVEL.to_ratio(pins.fuel_level).percent(),
        }
    }

    #[test]
    fn a_bias_is_read_by_its_size_and_of_its_sensor_alone() {
        for sensor in Sensor::ALL {
            for bias in [0.1 * sensor.range()[0], 0.2 * sensor.range()[1]] {
                let mut faults = SensorFaults::default();
                faults.set(sensor, SensorFault::Bias(bias));
                let pins = faults.distorted(&good());
                for other in Sensor::ALL {
                    let off = read(other, &pins) - read(other, &good());
                    let expected = if other == sensor { bias } else { 0.0 };
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
    }

    #[test]
    fn a_stuck_thermistor_reads_the_same_for_ever() {
        for sensor in [Sensor::Coolant, Sensor::IntakeAir] {
            let mut faults = SensorFaults::default();
            faults.set(sensor, SensorFault::Stuck(33.0));
            assert!((read(sensor, &faults.distorted(&good())) - 33.0).abs() < 0.1);
            assert!((read(sensor, &faults.distorted(&faults.distorted(&good()))) - 33.0).abs() < 0.1);
        }
    }

    #[test]
    fn a_dead_sensor_is_open_or_silent() {
        for sensor in Sensor::ALL {
            let mut faults = SensorFaults::default();
            faults.set(sensor, SensorFault::Bias(1.0));
            faults.set(sensor, SensorFault::Dead);
            assert_ne!(faults.distorted(&good()), good());
            assert_eq!(faults.iter().count(), 1, "the latest");
        }
    }
}
