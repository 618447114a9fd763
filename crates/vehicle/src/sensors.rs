//! From the truth to the pins: data sheets of the harness, and noise.
//!
//! Noise is `vehicle-model.md` section 6 (manifold pressure 0.3 kPa, air meter 1 % and 0.02 g/s) and 4 Pa for the tank
//! pressure (calibrated), as standard deviations. One draw a step is cut in pieces, one for each sensor.

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};
use twotrip_harness::{KeyPosition, SensorPins, transfer};
use twotrip_units::{Angle, AngularSpeed, MassFlow, Pressure, Ratio, Speed, Temperature, Voltage};

use crate::{air, catalyst, cooling, driveline, electrical, mixture, tank};

/// Dice of the sensors.
#[derive(Clone, Debug)]
pub(crate) struct Noise {
    dice: ChaCha8Rng,
}

/// The purpose that sets this stream of dice apart from all others of a run.
const STREAM: u64 = 0x0076_6568_6963_6c65;

impl Noise {
    pub(crate) fn new(seed: u64) -> Self {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        dice.set_stream(STREAM);
        Self { dice }
    }

    /// Four pieces of mean 0 and deviation 1, each the sum of two even ones.
    #[inline]
    fn draw(&mut self) -> [f64; 4] {
        let bytes = self.dice.next_u64().to_le_bytes();
        // Two bytes sum to 255 on average with a deviation of 104.5.
        let piece = |i: usize| (f64::from(bytes[i]) + f64::from(bytes[i + 1]) - 255.0) / 104.5;
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
    pub(crate) air: &'a air::State,
    pub(crate) mixture: &'a mixture::State,
    pub(crate) driveline: &'a driveline::State,
    pub(crate) oxygen: &'a catalyst::State,
    pub(crate) tank: &'a tank::State,
    pub(crate) electrical: &'a electrical::State,
}

/// The pins that change within a step; thermistors, sender and barometer keep what [`slow_pins`] gave them.
pub(crate) fn pins(slow: &SensorPins, truth: &Truth<'_>, noise: &mut Noise) -> SensorPins {
    let [manifold, meter, vapour, slosh] = noise.draw();
    let manifold_kpa = truth.air.sensed_kpa + 0.3 * manifold;
    let metered = truth.air.metered_flow;
    let metered = metered + (0.01 * metered + 0.02) * meter;
    let tank_pa = truth.tank.pressure_pa + 4.0 * vapour;
    let level = truth.tank.shown_percent + 0.05 * slosh;
    let (throttle_a, throttle_b) = transfer::throttle_volts(Angle::from_degrees(truth.air.plate_degrees));
    let (pedal_d, pedal_e) = transfer::pedal_volts(Ratio::from_fraction(truth.pedal));
    SensorPins {
        key: truth.key,
        supply: Voltage::from_volts(truth.electrical.supply_volts),
        crank_speed: AngularSpeed::from_radians_per_second(truth.driveline.omega),
        vehicle_speed: Speed::from_metres_per_second(truth.driveline.speed),
        manifold_pressure: transfer::PRESSURE.from_pressure(Pressure::from_kilopascals(manifold_kpa)),
        air_meter: transfer::AIR_METER.from_flow(MassFlow::from_grams_per_second(metered.max(0.0))),
        throttle_a,
        throttle_b,
        pedal_d,
        pedal_e,
        brake: truth.brake,
        in_gear: truth.in_gear,
        oxygen_front: Voltage::from_volts(truth.oxygen.front_volts),
        oxygen_rear: Voltage::from_volts(truth.oxygen.rear_volts),
        fuel_level: transfer::FUEL_LEVEL.from_ratio(Ratio::from_percent(level.clamp(0.0, 100.0))),
        tank_pressure: transfer::tank_pressure_volts(Pressure::from_pascals(tank_pa)),
        rail_pressure: transfer::RAIL_PRESSURE
            .from_pressure(Pressure::from_kilopascals(truth.mixture.rail_kpa)),
        ..*slow
    }
}

/// The pins that change slowly.
pub(crate) fn slow_pins(
    pins: &SensorPins,
    temperatures: &cooling::State,
    ambient: &crate::ambient::State,
) -> SensorPins {
    let thermistor = |celsius| transfer::THERMISTOR.from_temperature(Temperature::from_celsius(celsius));
    SensorPins {
        coolant_temperature: thermistor(temperatures.coolant),
        intake_air_temperature: thermistor(temperatures.intake),
        ambient_temperature: thermistor(ambient.celsius),
        oil_temperature: thermistor(temperatures.block),
        barometer: transfer::PRESSURE.from_pressure(Pressure::from_kilopascals(ambient.pressure_kpa)),
        ..*pins
    }
}
