//! What the ECU knows of the car at one instant: the data stream of service $01 and the content of a freeze frame.

use core::time::Duration;

use serde::{Deserialize, Deserializer, Serialize};
use twotrip_harness::{BANKS, PerBank};
use twotrip_units::{Angle, AngularSpeed, MassFlow, Pressure, Ratio, Speed, Temperature, Torque, Voltage};

/// State of the fuel system, PID $03 (one bit set, or none with the engine off).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FuelSystemStatus {
    /// Engine off.
    #[default]
    Off,
    /// Open loop, conditions for closed loop not met yet.
    OpenLoop,
    /// Closed loop on the oxygen sensor.
    ClosedLoop,
    /// Open loop because of driving conditions: enrichment or fuel cut.
    OpenLoopDriving,
    /// Open loop because of a fault.
    OpenLoopFault,
}

/// Reads a value for each bank; one alone, as written before there were banks, is that of bank 1.
fn per_bank<'de, D: Deserializer<'de>, T: Deserialize<'de> + Default>(
    from: D,
) -> Result<PerBank<T>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum OneOrEach<T> {
        Each(PerBank<T>),
        One(T),
    }
    Ok(match OneOrEach::deserialize(from)? {
        OneOrEach::Each(values) => values,
        OneOrEach::One(value) => {
            let mut values: [T; BANKS] = Default::default();
            values[0] = value;
            values
        }
    })
}

/// Gear and ratio of an automatic transmission, PID $A4.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct EngagedGear {
    /// 1 is first; 0 in Park and neutral.
    pub number: u8,
    /// Turbine speed by output speed; 0 where that is not known.
    #[serde(with = "twotrip_units::stored")]
    pub ratio: f64,
}

/// Measured and worked-out quantities of one instant.
///
/// A failed circuit shows what the circuit delivers, held at the ends of the sensor's range, never a substitute
/// (13 CCR 1968.2(g)(4.2), from memory).
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct LiveData {
    /// PID $03.
    #[serde(deserialize_with = "per_bank")]
    pub fuel_system: PerBank<FuelSystemStatus>,
    /// PID $04, calculated load.
    pub calculated_load: Ratio,
    /// PID $05.
    pub coolant_temperature: Temperature,
    /// PIDs $06 and $08, short-term trim, -1..+1.
    #[serde(deserialize_with = "per_bank")]
    pub short_term_trim: PerBank<Ratio>,
    /// PIDs $07 and $09, long-term trim, -1..+1.
    #[serde(deserialize_with = "per_bank")]
    pub long_term_trim: PerBank<Ratio>,
    /// PID $0A, gauge.
    pub fuel_pressure: Pressure,
    /// PID $0B, absolute.
    pub manifold_pressure: Pressure,
    /// PID $0C.
    pub engine_speed: AngularSpeed,
    /// PID $0D.
    pub vehicle_speed: Speed,
    /// PID $0E, before top dead centre.
    pub timing_advance: Angle,
    /// PID $0F.
    pub intake_air_temperature: Temperature,
    /// PID $10.
    pub air_flow: MassFlow,
    /// PID $11, absolute throttle position.
    pub throttle_position: Ratio,
    /// PIDs $14 and, of bank 2, $18, byte A.
    #[serde(deserialize_with = "per_bank")]
    pub oxygen_front: PerBank<Voltage>,
    /// PIDs $15 and $19, byte A.
    #[serde(deserialize_with = "per_bank")]
    pub oxygen_rear: PerBank<Voltage>,
    /// PIDs $24, $28, $34 and $38: the pin of a wide-range front sensor, which lambda and pump current are worked out of.
    pub wide_range_pin: PerBank<Voltage>,
    /// PID $1F, since engine start; zero with the engine off.
    pub run_time: Duration,
    /// PIDs $2C and $69, opening of the recirculation valve as commanded.
    pub commanded_recirculation: Ratio,
    /// PID $69, the opening as its sensor shows it.
    pub actual_recirculation: Ratio,
    /// PIDs $2D and $69, error by command.
    pub recirculation_error: Ratio,
    /// PID $2E.
    pub commanded_purge: Ratio,
    /// PID $2F.
    pub fuel_level: Ratio,
    /// PIDs $32 and $54, tank pressure, gauge.
    pub tank_pressure: Pressure,
    /// PID $33, absolute.
    pub barometric_pressure: Pressure,
    /// PIDs $3C and $3D, catalyst temperature worked out by the ECU's model.
    #[serde(deserialize_with = "per_bank")]
    pub catalyst_temperature: PerBank<Temperature>,
    /// PID $42.
    pub module_voltage: Voltage,
    /// PID $43.
    pub absolute_load: Ratio,
    /// PID $44, commanded lambda.
    pub commanded_lambda: Ratio,
    /// PID $45.
    pub relative_throttle: Ratio,
    /// PID $46.
    pub ambient_temperature: Temperature,
    /// PID $47, track B as an opening.
    pub throttle_b: Ratio,
    /// PID $49, pedal track D as a share of the supply.
    pub pedal_d: Ratio,
    /// PID $4A.
    pub pedal_e: Ratio,
    /// PID $4C.
    pub commanded_throttle: Ratio,
    /// PID $5A.
    pub relative_pedal: Ratio,
    /// PID $5C.
    pub oil_temperature: Temperature,
    /// PID $5E, petrol, litres per hour.
    #[serde(with = "twotrip_units::stored")]
    pub fuel_rate_litres_per_hour: f64,
    /// PID $61, as a share of the reference torque.
    pub demanded_torque: Ratio,
    /// PID $62, indicated, as a share of the reference torque.
    pub actual_torque: Ratio,
    /// PID $63.
    pub reference_torque: Torque,
    /// PID $65: selector in a driving position.
    pub gear_selected: bool,
    /// PID $8E, as a share of the reference torque.
    pub friction_torque: Ratio,
    /// PID $9D.
    pub fuel_flow: MassFlow,
    /// PID $9E.
    pub exhaust_flow: MassFlow,
    /// PID $A2, milligrams for each intake stroke of a cylinder.
    #[serde(with = "twotrip_units::stored")]
    pub fuel_milligrams_per_stroke: f64,
    /// PID $A4, of a transmission ECU.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gear: Option<EngagedGear>,
}
