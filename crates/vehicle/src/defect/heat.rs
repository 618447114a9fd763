//! Defects of cooling and of the sensors that tell its temperatures. Ranges: our own choice, as wide as published service
//! information describes such faults.

use super::{
    Entry,
    Part::{CoolantSensor, IntakeAirSensor, Thermostat},
    Size,
    Work::Replace,
};
use crate::sensor_fault::{Sensor, SensorFault};

pub(super) static ENTRIES: &[Entry] = &[
    Entry {
        part: Thermostat,
        kind: "stuck-open",
        size: Size::Amount {
            unit: "%",
            range: [5.0, 100.0],
        },
        description: "thermostat does not close any more: at least so much of its lift stays open",
        set: "the thermostat stays open by {}",
        seen: "the radiator hose at the thermostat gets warm from the start: it stays open by about {}",
        cures: &[(Replace, Thermostat)],
        apply: |knobs, percent| knobs.thermostat_floor = 0.01 * percent,
    },
    Entry {
        part: CoolantSensor,
        kind: "lazy",
        size: Size::Amount {
            unit: "s",
            range: [20.0, 600.0],
        },
        description: "the coolant sensor follows with this time constant",
        set: "the coolant sensor follows with a time constant of {}",
        seen: "",
        cures: &[(Replace, CoolantSensor)],
        apply: |knobs, seconds| knobs.coolant_sensor_lag_s = seconds,
    },
    Entry {
        part: CoolantSensor,
        kind: "stuck",
        size: Size::Amount {
            unit: "C",
            range: [-30.0, 130.0],
        },
        description: "the coolant sensor always reads this",
        set: "the coolant sensor always reads {}",
        seen: "",
        cures: &[(Replace, CoolantSensor)],
        apply: |knobs, celsius| knobs.sensors.set(Sensor::Coolant, SensorFault::Stuck(celsius)),
    },
    Entry {
        part: IntakeAirSensor,
        kind: "stuck",
        size: Size::Amount {
            unit: "C",
            range: [-30.0, 100.0],
        },
        description: "the intake air sensor always reads this",
        set: "the intake air sensor always reads {}",
        seen: "",
        cures: &[(Replace, IntakeAirSensor)],
        apply: |knobs, celsius| knobs.sensors.set(Sensor::IntakeAir, SensorFault::Stuck(celsius)),
    },
];
