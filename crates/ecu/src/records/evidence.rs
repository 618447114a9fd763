//! What a monitor measured when it judged: the figure that it reported, or what stood at the pin of its circuit.

use twotrip_harness::{Circuit, SensorPins};
use twotrip_obd::Dtc;

use crate::{
    circuits,
    monitors::{
        circuit::{PARAMS, Watch},
        frame::Measured,
    },
};

/// Teeth that the cam sensor counts in a turn (our choice).
const CAM_TEETH: f64 = 4.0;

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

impl From<Measured> for Evidence {
    fn from(measured: Measured) -> Self {
        Self {
            what: measured.test.what,
            value: measured.value,
            unit: measured.test.unit,
            limits: measured.limits,
        }
    }
}

/// What stands at the pin of the circuit that a code is about.
pub(super) fn circuit_evidence(dtc: Dtc, pins: &SensorPins) -> Option<Evidence> {
    let watch = PARAMS.iter().map(|row| row.watch).find(|watch| match watch {
        Watch::Range { low, high, .. } | Watch::Supply { low, high } => [*low, *high].contains(&dtc),
        Watch::Tracks { code } | Watch::Cam { code, .. } => *code == dtc,
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
        Watch::Cam { bank, .. } => Evidence {
            what: "teeth of the cam sensor in a turn",
            value: if pins.cam_silent[bank] { 0.0 } else { CAM_TEETH },
            unit: "",
            limits: (Some(1.0), None),
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
        Circuit::EgrPositionSensor => "pin of the EGR position sensor",
        Circuit::RailPressureSensor => "pin of the rail pressure sensor",
        Circuit::FrontOxygenSensor | Circuit::FrontOxygenSensor2 => "pin of the front oxygen sensor",
        Circuit::RearOxygenSensor | Circuit::RearOxygenSensor2 => "pin of the rear oxygen sensor",
    }
}
