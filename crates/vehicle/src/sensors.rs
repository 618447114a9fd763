//! From the truth to the pins: data sheets of the harness, and noise.
//!
//! Noise is 0.3 kPa for the manifold pressure, 1 % and 0.02 g/s for the air meter and 4 Pa for the tank pressure
//! (calibrated), as standard deviations. One draw a step is cut in pieces, one for each sensor.

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};
use twotrip_harness::{KeyPosition, PerBank, SensorPins, transfer};
use twotrip_units::{Angle, AngularSpeed, Current, MassFlow, Pressure, Ratio, Speed, Temperature, Voltage};

use crate::{
    air, catalyst, cooling, driveline,
    electrical::{self, Loads},
    exhaust,
    knobs::Knobs,
    sensor_fault::{Sensor, SensorFaults},
    tank,
};

/// Dice of the sensors.
#[derive(Clone, Debug)]
pub(crate) struct Noise {
    dice: ChaCha8Rng,
    /// What was drawn last.
    drawn: u64,
}

/// The purpose that sets this stream of dice apart from all others of a run.
const STREAM: u64 = 0x0076_6568_6963_6c65;

impl Noise {
    pub(crate) fn new(seed: u64) -> Self {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        dice.set_stream(STREAM);
        Self { dice, drawn: 0 }
    }

    /// Throws the dice anew.
    #[inline]
    pub(crate) fn draw(&mut self) {
        self.drawn = self.dice.next_u64();
    }

    /// Four pieces of mean 0 and deviation 1, each the sum of two even ones.
    #[inline]
    fn pieces(&self) -> [f64; 4] {
        let bytes = self.drawn.to_le_bytes();
        // Two bytes sum to 255 on average with a deviation of 104.5.
        let sum = |i: usize| f64::from(i32::from(bytes[i]) + i32::from(bytes[i + 1]) - 255);
        let piece = |i: usize| sum(i) * (1.0 / 104.5);
        [piece(0), piece(2), piece(4), piece(6)]
    }
}

/// The truth that the sensors look at.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Truth<'a> {
    pub(crate) key: KeyPosition,
    pub(crate) pedal: f64,
    pub(crate) brake: bool,
    pub(crate) in_gear: bool,
    pub(crate) air_conditioning: bool,
    pub(crate) loads: Loads,
    pub(crate) recirculation_lift: f64,
    pub(crate) cam_degrees: PerBank<f64>,
    /// Speed of the crank, rad/s.
    pub(crate) omega: f64,
    pub(crate) driveline: &'a driveline::State,
    /// One for each bank in use.
    pub(crate) oxygen: &'a [catalyst::State],
    pub(crate) exhaust: &'a [exhaust::State],
    /// Front and rear heaters with current.
    pub(crate) heated: PerBank<[bool; 2]>,
    pub(crate) electrical: &'a electrical::State,
}

/// Sets the pins of what is measured every step and may be measured wrongly; [`slow_pins`] sets those of the thermistors.
#[inline(always)]
pub(crate) fn measured_pins(
    pins: &mut SensorPins,
    air: &air::State,
    tank: &tank::State,
    rail_kpa: f64,
    knobs: &Knobs,
    sensors: &SensorFaults,
    noise: &Noise,
) {
    let [manifold, meter, vapour, slosh] = noise.pieces();
    let manifold_kpa = sensors.seen(Sensor::ManifoldPressure, air.sensed_kpa + 0.3 * manifold);
    let metered = air.metered_flow;
    let metered = sensors.seen(Sensor::AirMeter, metered + (0.01 * metered + 0.02) * meter);
    let tank_pa = sensors.seen(Sensor::TankPressure, tank.pressure_pa + 4.0 * vapour);
    let level = knobs.level_stuck.unwrap_or(tank.shown_percent) + 0.05 * slosh;
    let level = sensors.seen(Sensor::FuelLevel, level);
    let plate = sensors.seen(Sensor::Throttle, air.plate_degrees);
    let rail_kpa = sensors.seen(Sensor::RailPressure, rail_kpa);
    pins.manifold_pressure = transfer::PRESSURE.from_pressure(Pressure::from_kilopascals(manifold_kpa));
    pins.air_meter = transfer::AIR_METER.from_flow(MassFlow::from_grams_per_second(metered));
    (pins.throttle_a, pins.throttle_b) = transfer::throttle_volts(Angle::from_degrees(plate));
    pins.fuel_level = transfer::FUEL_LEVEL.from_ratio(Ratio::from_percent(level));
    pins.tank_pressure = transfer::tank_pressure_volts(Pressure::from_pascals(tank_pa));
    pins.rail_pressure = transfer::rail_pressure_volts(Pressure::from_kilopascals(rail_kpa));
}

/// Sets the other pins that change within a step.
#[inline]
pub(crate) fn fast_pins(pins: &mut SensorPins, truth: &Truth<'_>) {
    pins.key = truth.key;
    pins.supply = Voltage::from_volts(truth.electrical.supply_volts);
    pins.crank_speed = AngularSpeed::from_radians_per_second(truth.omega);
    pins.vehicle_speed = Speed::from_metres_per_second(truth.driveline.speed);
    (pins.pedal_d, pins.pedal_e) = transfer::pedal_volts(Ratio::from_fraction(truth.pedal));
    pins.recirculation_lift = transfer::VALVE_LIFT.from_ratio(Ratio::from_fraction(truth.recirculation_lift));
    pins.cam_advance = truth.cam_degrees.map(Angle::from_degrees);
    pins.brake = truth.brake;
    pins.in_gear = truth.in_gear;
    let on = truth.key == KeyPosition::On;
    pins.air_conditioning = truth.air_conditioning && on;
    pins.cabin_heater = truth.loads.cabin_heater && on;
    pins.lights = truth.loads.lights;
    pins.blower = truth.loads.blower_runs() && on;
    pins.rear_screen = truth.loads.screen && on;
    let current = |on: bool, siemens: f64| {
        let amperes = if on {
            truth.electrical.supply_volts * siemens
        } else {
            0.0
        };
        Current::from_amperes(amperes)
    };
    for (bank, (oxygen, exhaust)) in truth.oxygen.iter().zip(truth.exhaust).enumerate() {
        pins.oxygen_front[bank] = Voltage::from_volts(oxygen.front_volts);
        pins.oxygen_rear[bank] = Voltage::from_volts(oxygen.rear_volts);
        let [front, rear] = truth.heated[bank];
        pins.heater_front[bank] = current(front, exhaust.front_heater);
        pins.heater_rear[bank] = current(rear, exhaust.rear_heater);
    }
}

/// Sets the pins that change slowly.
pub(crate) fn slow_pins(
    pins: &mut SensorPins,
    temperatures: &cooling::State,
    ambient: &crate::ambient::State,
    sensors: &SensorFaults,
) {
    let thermistor = |celsius| transfer::THERMISTOR.from_temperature(Temperature::from_celsius(celsius));
    pins.coolant_temperature = thermistor(sensors.seen(Sensor::Coolant, temperatures.sensed));
    pins.intake_air_temperature = thermistor(sensors.seen(Sensor::IntakeAir, temperatures.intake));
    pins.ambient_temperature = thermistor(ambient.celsius);
    pins.oil_temperature = thermistor(temperatures.block);
    pins.barometer = transfer::PRESSURE.from_pressure(Pressure::from_kilopascals(ambient.pressure_kpa));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Vehicle, VehicleParams};
    use twotrip_harness::ActuatorPins;

    /// Mean and deviation of a pin of a parked car over a minute.
    fn statistics(read: impl Fn(&SensorPins) -> f64) -> (f64, f64) {
        let mut car = Vehicle::new(VehicleParams::compact_2_0(), 3);
        let (mut sum, mut squares) = (0.0, 0.0);
        let count: u32 = 6000;
        for _ in 0..count {
            car.step(&ActuatorPins::default(), &crate::DriverControls::default());
            let value = read(car.sensors());
            sum += value;
            squares += value * value;
        }
        let mean = sum / f64::from(count);
        (
            mean,
            libm::sqrt((squares / f64::from(count) - mean * mean).max(0.0)),
        )
    }

    /// 0.3 kPa of noise on the manifold pressure; 4 Pa on the tank's.
    #[test]
    fn noise_has_the_stated_size_and_no_bias() {
        let (mean, deviation) = statistics(|pins| {
            transfer::PRESSURE
                .to_pressure(pins.manifold_pressure)
                .kilopascals()
        });
        assert!(
            (mean - 101.325).abs() < 0.03 && (deviation - 0.3).abs() < 0.02,
            "{mean} +/- {deviation} kPa"
        );
        let (mean, deviation) = statistics(|pins| transfer::tank_pressure(pins.tank_pressure).pascals());
        assert!(
            mean.abs() < 0.5 && (deviation - 4.0).abs() < 0.3,
            "{mean} +/- {deviation} Pa"
        );
    }

    #[test]
    fn another_seed_is_another_noise_on_the_same_car() {
        let pins = [1, 1, 2].map(|seed| {
            let mut car = Vehicle::new(VehicleParams::compact_2_0(), seed);
            car.step(&ActuatorPins::default(), &crate::DriverControls::default());
            *car.sensors()
        });
        assert_eq!(pins[0], pins[1]);
        assert_ne!(pins[0], pins[2]);
        assert_eq!(pins[0].coolant_temperature, pins[2].coolant_temperature);
    }

    /// Key on, engine off after a soak: 20 °C everywhere, 101 kPa, half a tank, spring throttle, 0.45 V.
    #[test]
    fn a_soaked_car_shows_the_published_picture() {
        let mut car = Vehicle::new(VehicleParams::compact_2_0(), 3);
        let key_on = crate::DriverControls {
            key: KeyPosition::On,
            ..crate::DriverControls::default()
        };
        for _ in 0..100 {
            car.step(&ActuatorPins::default(), &key_on);
        }
        let pins = car.sensors();
        for pin in [
            pins.coolant_temperature,
            pins.intake_air_temperature,
            pins.ambient_temperature,
            pins.oil_temperature,
        ] {
            assert!((transfer::THERMISTOR.to_temperature(pin).celsius() - 20.0).abs() < 0.05);
        }
        assert!((transfer::PRESSURE.to_pressure(pins.barometer).kilopascals() - 101.3).abs() < 0.1);
        assert!((transfer::FUEL_LEVEL.to_ratio(pins.fuel_level).percent() - 50.0).abs() < 0.5);
        assert!(
            (pins.throttle_a.volts() / 5.0 - 0.157).abs() < 0.001,
            "16 % with the springs"
        );
        assert!((pins.pedal_d.volts() / 5.0 - 0.15).abs() < 1e-9);
        assert!((pins.oxygen_front[0].volts() - 0.45).abs() < 1e-9);
        assert!(
            (12.1..12.5).contains(&pins.supply.volts()),
            "{} V",
            pins.supply.volts()
        );
        assert!(pins.crank_speed.rpm() <= 0.0 && pins.rail_pressure.volts() <= 0.5);
    }

    /// At 1500 m the barometer shows 84.6 kPa.
    #[test]
    fn the_barometer_follows_the_altitude() {
        let mut car = Vehicle::new(VehicleParams::compact_2_0(), 3);
        car.set_altitude(twotrip_units::Length::from_metres(1500.0));
        let shown = transfer::PRESSURE
            .to_pressure(car.sensors().barometer)
            .kilopascals();
        assert!((shown - 84.6).abs() < 0.1);
        car.rest(core::time::Duration::from_secs(20));
        assert!((car.manifold_pressure().kilopascals() - 84.6).abs() < 0.1);
    }
}
