//! Sensors that are broken inside: two rows each, from one pattern.

use super::{
    Entry, Part, Size,
    Work::{Clean, Replace},
};
use crate::sensor_fault::{Sensor, SensorFault};

/// A dead and a biased sensor; what else than a new one cures a bias.
macro_rules! sensors {
    ($($sensor:ident is $part:ident, $name:literal $(, $cure:expr)?;)*) => {
        pub(super) static ENTRIES: &[Entry] = &[$(
            Entry {
                part: Part::$part,
                kind: "dead",
                size: Size::None,
                description: "the sensor is open inside, or gives no signal",
                set: concat!("the ", $name, " is dead"),
                seen: "",
                cures: &[(Replace, Part::$part)],
                apply: |knobs, _| knobs.sensors.set(Sensor::$sensor, SensorFault::Dead),
            },
            Entry {
                part: Part::$part,
                kind: "bias",
                size: Size::Amount {
                    unit: Sensor::$sensor.unit(),
                    range: Sensor::$sensor.range(),
                },
                description: "the sensor reads too high by this, or too low if negative",
                set: concat!("the ", $name, " reads {off}"),
                seen: "",
                cures: &[(Replace, Part::$part) $(, $cure)?],
                apply: |knobs, bias| knobs.sensors.set(Sensor::$sensor, SensorFault::Bias(bias)),
            },
        )*];
    };
}

sensors! {
    Coolant is CoolantSensor, "coolant-sensor";
    IntakeAir is IntakeAirSensor, "intake-air-sensor";
    AirMeter is AirMeter, "air-meter", (Clean, Part::AirMeter);
    ManifoldPressure is ManifoldPressureSensor, "manifold-pressure-sensor";
    Throttle is ThrottleSensor, "throttle-sensor";
    TankPressure is TankPressureSensor, "tank-pressure-sensor";
    FuelLevel is FuelLevelSensor, "fuel-level-sensor";
    RailPressure is RailPressureSensor, "rail-pressure-sensor";
}
