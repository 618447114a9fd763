//! What the ECU's inputs say of the sensor circuits: a voltage that no healthy sensor gives means that the circuit has
//! failed, not what it would measure.
//!
//! Limits of the kind that makers publish in their service information; each is clear of what the sensor's data sheet
//! reaches ([`twotrip_harness::transfer`]). Monitors debounce these readings into codes; engine management goes on with
//! a substitute at once.

use twotrip_harness::{Circuit, PerBank, SensorPins, transfer::SENSOR_SUPPLY_VOLTS};
use twotrip_units::Voltage;

/// The range of a working circuit; its ends belong to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Below this the circuit is low.
    pub low: Voltage,
    /// Above this the circuit is high.
    pub high: Voltage,
}

/// The tracks of the throttle are mirror images; their sum may be off the supply by this (6 % of the supply).
pub const TRACKS_APART: Voltage = Voltage::from_volts(0.06 * SENSOR_SUPPLY_VOLTS);

/// The circuits that have limits.
pub const WATCHED: [Circuit; 10] = [
    Circuit::CoolantSensor,
    Circuit::IntakeAirSensor,
    Circuit::AirMeter,
    Circuit::ManifoldPressureSensor,
    Circuit::ThrottleSensorA,
    Circuit::ThrottleSensorB,
    Circuit::TankPressureSensor,
    Circuit::FuelLevelSensor,
    Circuit::EgrPositionSensor,
    Circuit::RailPressureSensor,
];

/// The limits of a circuit.
#[must_use]
pub const fn limits(circuit: Circuit) -> Limits {
    let (low, high) = match circuit {
        Circuit::CoolantSensor => (0.20, 4.90),
        Circuit::IntakeAirSensor => (0.13, 4.90),
        Circuit::ManifoldPressureSensor => (0.05, 4.90),
        Circuit::AirMeter => (0.20, 4.90),
        Circuit::ThrottleSensorA | Circuit::ThrottleSensorB => (0.20, 4.80),
        Circuit::TankPressureSensor => (0.12, 4.85),
        Circuit::FuelLevelSensor => (0.20, 4.80),
        // 0.5 to 4.5 V by its data sheet; dragged down by the shared supply it bends before it fails.
        Circuit::EgrPositionSensor => (0.20, 4.80),
        // Its output ends at 0.3 and 4.5 V.
        Circuit::RailPressureSensor => (0.20, 4.80),
        // An open one reads as a cold one: their own monitors judge them.
        Circuit::FrontOxygenSensor
        | Circuit::RearOxygenSensor
        | Circuit::FrontOxygenSensor2
        | Circuit::RearOxygenSensor2 => (f64::NEG_INFINITY, f64::INFINITY),
    };
    Limits {
        low: Voltage::from_volts(low),
        high: Voltage::from_volts(high),
    }
}

/// A set of circuits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CircuitSet(u16);

const _: () = assert!(Circuit::ALL.len() <= 16, "one bit a circuit");

impl CircuitSet {
    /// None of them.
    pub const NONE: Self = Self(0);

    /// These.
    #[must_use]
    pub const fn of(circuits: &[Circuit]) -> Self {
        let mut bits = 0;
        let mut i = 0;
        while i < circuits.len() {
            bits |= 1 << circuits[i] as u16;
            i += 1;
        }
        Self(bits)
    }

    /// Whether it holds none.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Whether it holds this one.
    #[must_use]
    pub const fn contains(self, circuit: Circuit) -> bool {
        self.0 & (1 << circuit as u16) != 0
    }

    /// Whether both hold a circuit.
    #[must_use]
    pub const fn meets(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }

    /// What either holds.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    pub(crate) const fn insert(&mut self, circuit: Circuit) {
        self.0 |= 1 << circuit as u16;
    }

    pub(crate) const fn remove(&mut self, circuit: Circuit) {
        self.0 &= !(1 << circuit as u16);
    }
}

/// The supply of the module while the engine runs; what is outside is a fault of the charging system.
pub const SUPPLY: Limits = Limits {
    low: Voltage::from_volts(10.5),
    high: Voltage::from_volts(16.0),
};

/// How the circuits stand at one instant.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Readings {
    /// Below their range.
    pub low: CircuitSet,
    /// Above their range.
    pub high: CircuitSet,
    /// Both tracks of the throttle are in range, but do not agree.
    pub tracks_apart: bool,
    /// No teeth of the bank's cam sensor come.
    pub cam_silent: PerBank<bool>,
    /// The module's supply is below its range.
    pub supply_low: bool,
    /// The module's supply is above its range.
    pub supply_high: bool,
}

impl Readings {
    /// Reads the pins.
    #[must_use]
    pub fn of(pins: &SensorPins) -> Self {
        let mut readings = Self::default();
        for circuit in WATCHED {
            let (pin, limits) = (circuit.pin(pins), limits(circuit));
            if pin < limits.low {
                readings.low.insert(circuit);
            } else if pin > limits.high {
                readings.high.insert(circuit);
            }
        }
        let off = pins.throttle_a + pins.throttle_b - Voltage::from_volts(SENSOR_SUPPLY_VOLTS);
        let tracks = CircuitSet::of(&[Circuit::ThrottleSensorA, Circuit::ThrottleSensorB]);
        readings.tracks_apart = off.abs() > TRACKS_APART && !readings.out_of_range().meets(tracks);
        readings.cam_silent = pins.cam_silent;
        readings.supply_low = pins.supply < SUPPLY.low;
        readings.supply_high = pins.supply > SUPPLY.high;
        readings
    }

    /// Circuits that read low or high.
    #[must_use]
    pub const fn out_of_range(self) -> CircuitSet {
        self.low.with(self.high)
    }

    /// Whether nothing is wrong with any sensor's.
    #[must_use]
    pub const fn is_sound(self) -> bool {
        self.out_of_range().is_empty() && !self.tracks_apart
    }

    /// Whether the module's supply is in range.
    #[must_use]
    pub const fn supply_is_sound(self) -> bool {
        !self.supply_low && !self.supply_high
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use twotrip_harness::transfer;
    use twotrip_units::{Angle, MassFlow, Pressure, Ratio, Temperature};

    fn sound() -> SensorPins {
        let (throttle_a, throttle_b) = transfer::throttle_volts(Angle::from_degrees(10.0));
        let warm = transfer::THERMISTOR.from_temperature(Temperature::from_celsius(20.0));
        SensorPins {
            coolant_temperature: warm,
            intake_air_temperature: warm,
            air_meter: transfer::AIR_METER.from_flow(MassFlow::ZERO),
            manifold_pressure: transfer::PRESSURE.from_pressure(Pressure::from_kilopascals(30.0)),
            throttle_a,
            throttle_b,
            tank_pressure: transfer::tank_pressure_volts(Pressure::ZERO),
            fuel_level: transfer::FUEL_LEVEL.from_ratio(Ratio::from_percent(50.0)),
            recirculation_lift: transfer::VALVE_LIFT.from_ratio(Ratio::ZERO),
            rail_pressure: transfer::rail_pressure_volts(Pressure::ZERO),
            ..SensorPins::default()
        }
    }

    /// Whatever a data sheet can give on earth is in range: -40 to 150 degC, an engine at 4.5 km and 100 m below the sea.
    #[test]
    fn no_healthy_sensor_is_out_of_range() {
        let mut pins = sound();
        assert!(Readings::of(&pins).is_sound());
        for celsius in [-40.0, 150.0] {
            pins.coolant_temperature =
                transfer::THERMISTOR.from_temperature(Temperature::from_celsius(celsius));
            pins.intake_air_temperature = pins.coolant_temperature;
            assert!(Readings::of(&pins).is_sound(), "{celsius} degC");
        }
        for kilopascals in [0.0, 104.0] {
            pins.manifold_pressure =
                transfer::PRESSURE.from_pressure(Pressure::from_kilopascals(kilopascals));
            assert!(Readings::of(&pins).is_sound(), "{kilopascals} kPa");
        }
        for flow in [0.0, 130.0] {
            pins.air_meter = transfer::AIR_METER.from_flow(MassFlow::from_grams_per_second(flow));
            assert!(Readings::of(&pins).is_sound(), "{flow} g/s");
        }
        for degrees in [7.0, 87.0] {
            (pins.throttle_a, pins.throttle_b) = transfer::throttle_volts(Angle::from_degrees(degrees));
            assert!(Readings::of(&pins).is_sound(), "{degrees} degrees");
        }
        for pascals in [-5000.0, 5000.0] {
            pins.tank_pressure = transfer::tank_pressure_volts(Pressure::from_pascals(pascals));
            assert!(Readings::of(&pins).is_sound(), "{pascals} Pa");
        }
        for kilopascals in [-50.0, 0.0, 350.0, 900.0] {
            pins.rail_pressure = transfer::rail_pressure_volts(Pressure::from_kilopascals(kilopascals));
            assert!(Readings::of(&pins).is_sound(), "{kilopascals} kPa in the rail");
        }
        for percent in [0.0, 100.0] {
            pins.recirculation_lift = transfer::VALVE_LIFT.from_ratio(Ratio::from_percent(percent));
            pins.fuel_level = transfer::FUEL_LEVEL.from_ratio(Ratio::from_percent(percent));
            assert!(Readings::of(&pins).is_sound(), "{percent} %");
        }
    }

    #[test]
    fn a_limit_belongs_to_the_range() {
        for circuit in WATCHED {
            let Limits { low, high } = limits(circuit);
            let reading = |pin: Voltage| {
                let mut pins = sound();
                let place = match circuit {
                    Circuit::CoolantSensor => &mut pins.coolant_temperature,
                    Circuit::IntakeAirSensor => &mut pins.intake_air_temperature,
                    Circuit::AirMeter => &mut pins.air_meter,
                    Circuit::ManifoldPressureSensor => &mut pins.manifold_pressure,
                    Circuit::ThrottleSensorA => &mut pins.throttle_a,
                    Circuit::ThrottleSensorB => &mut pins.throttle_b,
                    Circuit::TankPressureSensor => &mut pins.tank_pressure,
                    Circuit::FuelLevelSensor => &mut pins.fuel_level,
                    Circuit::EgrPositionSensor => &mut pins.recirculation_lift,
                    Circuit::RailPressureSensor => &mut pins.rail_pressure,
                    _ => unreachable!("no limits"),
                };
                *place = pin;
                let readings = Readings::of(&pins);
                (readings.low.contains(circuit), readings.high.contains(circuit))
            };
            let a_little = Voltage::from_volts(0.001);
            let name = circuit.name();
            assert_eq!(reading(low), (false, false), "{name}");
            assert_eq!(reading(low - a_little), (true, false), "{name}");
            assert_eq!(reading(high), (false, false), "{name}");
            assert_eq!(reading(high + a_little), (false, true), "{name}");
        }
    }

    /// A track that has failed by itself is no disagreement.
    #[test]
    fn tracks_disagree_only_where_both_are_in_range() {
        let apart = |a: f64, b: f64| {
            let mut pins = sound();
            (pins.throttle_a, pins.throttle_b) = (Voltage::from_volts(a), Voltage::from_volts(b));
            Readings::of(&pins).tracks_apart
        };
        assert!(!apart(0.7, 4.3) && !apart(0.7, 4.0) && !apart(0.7, 4.59));
        assert!(apart(0.7, 3.95) && apart(1.1, 4.3));
        assert!(!apart(0.0, 4.3) && !apart(0.7, 5.0));
    }
}
