//! Defects of the fuel system. Ranges as published service information describes such faults, or wider (our choice).

use super::{
    Entry,
    Part::{
        FuelFilter, FuelInjector, FuelInjector2, FuelPump, FuelReturn, PressureRegulator, RailPressureSensor,
    },
    Size,
    Work::{Clean, Reconnect, Replace},
};
use crate::{
    mixture::Params,
    sensor_fault::{Sensor, SensorFault},
};

/// Regulated pressure of the rail, kPa gauge.
const RAIL: f64 = Params::compact_2_0().regulated_kpa;
/// What a good pump loses with its filter, kPa a g/s.
const FALL: f64 = Params::compact_2_0().pump_fall;

/// Among the injectors of a bank one that does not shut: the bank's number from 0 on, and what is said behind its parts.
macro_rules! leaking {
    ($injectors:ident, $bank:literal, $of:literal) => {
        Entry {
            part: $injectors,
            kind: "leaking",
            size: Size::Amount {
                unit: "g/s",
                range: [0.005, 0.06],
            },
            description: concat!(
                "an injector",
                $of,
                " does not shut: so much fuel drips from it all the time"
            ),
            set: concat!("an injector", $of, " drips {}"),
            seen: "the tip of an injector is wet with fuel after standing",
            cures: &[(Replace, $injectors), (Clean, $injectors)],
            apply: |knobs, grams| knobs.dribble[$bank] = grams,
        }
    };
}

pub(super) static ENTRIES: &[Entry] = &[
    Entry {
        part: PressureRegulator,
        kind: "low",
        size: Size::Amount {
            unit: "kPa",
            range: [150.0, 320.0],
        },
        description: "fuel pressure regulator opens too early and lets the rail run back: it holds this pressure, not 350 kPa",
        set: "the fuel pressure regulator holds {}",
        seen: "",
        cures: &[(Replace, PressureRegulator)],
        apply: |knobs, kilopascals| knobs.rail = kilopascals / RAIL,
    },
    Entry {
        part: FuelPump,
        kind: "weak",
        size: Size::Amount {
            unit: "%",
            range: [5.0, 100.0],
        },
        description: "fuel pump is worn: so far from a good one (600 kPa, 12 kPa less for each g/s) to one that is no use (320 kPa, 60 less)",
        set: "the fuel pump is worn by {}",
        seen: "",
        cures: &[(Replace, FuelPump)],
        apply: |knobs, percent| knobs.pump_worn = 0.01 * percent,
    },
    Entry {
        part: FuelFilter,
        kind: "blocked",
        size: Size::Amount {
            unit: "kPa",
            range: [15.0, 160.0],
        },
        description: "fuel filter is blocked: pressure falls by so much for each g/s that flows",
        set: "the fuel filter is blocked: it costs {} for each g/s",
        seen: "",
        cures: &[(Replace, FuelFilter)],
        apply: |knobs, kilopascals| knobs.filter_fall = kilopascals - FALL,
    },
    Entry {
        part: FuelReturn,
        kind: "pinched",
        size: Size::Amount {
            unit: "kPa",
            // Up to where the pump's own relief valve would open.
            range: [380.0, 850.0],
        },
        description: "return line of the regulator is pinched: the rail stands at this pressure, not 350 kPa, or at what the pump gives",
        set: "the fuel return is pinched: the rail stands at {}",
        seen: "the fuel return line is squeezed flat under a clamp",
        cures: &[(Reconnect, FuelReturn), (Replace, FuelReturn)],
        apply: |knobs, kilopascals| knobs.pinched_return = kilopascals / RAIL,
    },
    Entry {
        part: RailPressureSensor,
        kind: "stuck",
        size: Size::Amount {
            unit: "kPa",
            range: [0.0, 600.0],
        },
        description: "the sensor on the fuel rail shows this pressure for ever",
        set: "the rail-pressure-sensor is stuck at {}",
        seen: "",
        cures: &[(Replace, RailPressureSensor)],
        apply: |knobs, kilopascals| {
            knobs
                .sensors
                .set(Sensor::RailPressure, SensorFault::Stuck(kilopascals))
        },
    },
    leaking!(FuelInjector, 0, ""),
    leaking!(FuelInjector2, 1, " of bank 2"),
];
