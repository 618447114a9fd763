//! What a monitor measured when it judged: read off its results, its signals and the pins at that moment.

use twotrip_harness::{Circuit, SensorPins};
use twotrip_obd::Dtc;

use crate::{
    circuits,
    monitors::{
        EvapLeak, Monitors, P0441, P0442, P0446, P0451, P0455, P0457, P0496, Signals,
        circuit::{PARAMS, Watch},
    },
};

/// What was measured when a monitor judged, with the limits it was held against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// What it is.
    pub what: &'static str,
    /// How much of it.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
    /// The least and the most that is good, where there is such a limit.
    pub limits: (Option<f64>, Option<f64>),
}

/// What the monitor of a code measured, at the moment it judged.
pub(super) fn evidence(
    dtc: Dtc,
    monitors: &Monitors,
    signals: &Signals,
    pins: &SensorPins,
) -> Option<Evidence> {
    let params = &EvapLeak::PARAMS;
    let results = monitors.evap_leak().results();
    let tank_now = |limits| {
        Some(Evidence {
            what: "tank pressure at that moment",
            value: signals.tank_pressure.pascals(),
            unit: "Pa",
            limits,
        })
    };
    match dtc {
        P0442 => results.small.map(|(hole, _)| Evidence {
            what: "size of the hole",
            value: hole.millimetres(),
            unit: "mm",
            limits: (None, Some(params.hole_limit.millimetres())),
        }),
        P0455 | P0457 => results.gross.map(|(lowest, _)| Evidence {
            what: "lowest tank pressure of the pull",
            value: lowest.pascals(),
            unit: "Pa",
            limits: (None, Some(params.target.pascals())),
        }),
        P0441 => results.flow.map(|(moved, _)| Evidence {
            what: "change of the tank pressure by purging",
            value: moved.pascals(),
            unit: "Pa",
            limits: (Some(params.flow_pressure.pascals()), None),
        }),
        P0451 => tank_now((Some(-params.offset.pascals()), Some(params.offset.pascals()))),
        P0446 => tank_now((Some(-params.vented.pascals()), Some(params.vented.pascals()))),
        P0496 => tank_now((Some(params.purge_leak.pascals()), None)),
        _ => circuit_evidence(dtc, pins),
    }
}

/// What stands at the pin of the circuit that a code is about.
fn circuit_evidence(dtc: Dtc, pins: &SensorPins) -> Option<Evidence> {
    let watch = PARAMS.iter().map(|row| row.watch).find(|watch| match watch {
        Watch::Range { low, high, .. } | Watch::Supply { low, high } => [*low, *high].contains(&dtc),
        Watch::Tracks { code } => *code == dtc,
    })?;
    Some(match watch {
        Watch::Range { circuit, .. } => {
            let limits = circuits::limits(circuit);
            Evidence {
                what: pin_name(circuit),
                value: circuit.pin(pins).volts(),
                unit: "V",
                limits: (Some(limits.low.volts()), Some(limits.high.volts())),
            }
        }
        Watch::Supply { .. } => Evidence {
            what: "supply of the control module",
            value: pins.supply.volts(),
            unit: "V",
            limits: (
                Some(circuits::SUPPLY.low.volts()),
                Some(circuits::SUPPLY.high.volts()),
            ),
        },
        Watch::Tracks { .. } => {
            let supply = twotrip_harness::transfer::SENSOR_SUPPLY_VOLTS;
            let apart = circuits::TRACKS_APART.volts();
            Evidence {
                what: "sum of both throttle tracks",
                value: (pins.throttle_a + pins.throttle_b).volts(),
                unit: "V",
                limits: (Some(supply - apart), Some(supply + apart)),
            }
        }
    })
}

/// The ECU's pin of a circuit.
const fn pin_name(circuit: Circuit) -> &'static str {
    match circuit {
        Circuit::CoolantSensor => "pin of the coolant sensor",
        Circuit::IntakeAirSensor => "pin of the intake air sensor",
        Circuit::AirMeter => "pin of the air meter",
        Circuit::ManifoldPressureSensor => "pin of the manifold pressure sensor",
        Circuit::ThrottleSensorA => "pin of throttle track A",
        Circuit::ThrottleSensorB => "pin of throttle track B",
        Circuit::TankPressureSensor => "pin of the tank pressure sensor",
        Circuit::FuelLevelSensor => "pin of the fuel level sensor",
    }
}
