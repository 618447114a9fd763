//! What the transmission ECU makes of its pins.

use twotrip_harness::{Circuit, GearboxPins, PulseWire, SolenoidSet, gearbox::GEARS, transfer::THERMISTOR};
use twotrip_units::{AngularSpeed, Length, Mass, Ratio, Speed, Temperature, Voltage};

use super::{STEP_S, is_on};
use crate::circuits;

/// Gearbox and car as the ECU believes them to be.
#[derive(Clone, Debug, PartialEq)]
pub struct Gearing {
    /// Ratios of the gears, the first first.
    pub(super) ratios: [f64; GEARS],
    /// Speed of the output shaft for each m/s of road speed, rad/s.
    pub(super) output_per_speed: f64,
    /// The wheel force that the shift schedule counts as full, N.
    pub(super) full_force: f64,
}

impl Gearing {
    /// A car of this mass with these ratios and tyres.
    #[must_use]
    pub const fn new(ratios: [f64; GEARS], final_drive: f64, tyre_radius: Length, mass: Mass) -> Self {
        /// Test mass and full force of the car that the schedule is calibrated on.
        const CALIBRATED: (f64, f64) = (1417.0, 3000.0);
        Self {
            ratios,
            output_per_speed: final_drive / tyre_radius.metres(),
            full_force: CALIBRATED.1 * mass.kilograms() / CALIBRATED.0,
        }
    }

    /// The compact sedan's.
    #[must_use]
    pub const fn compact_2_0() -> Self {
        Self::new(
            [4.15, 2.37, 1.56, 1.16, 0.86, 0.69],
            3.40,
            Length::from_millimetres(307.0),
            Mass::from_kilograms(1417.0),
        )
    }
}

/// For so long the last word of the engine counts, s.
const LOST_AFTER_S: f64 = 0.5;

/// The quantities of one step.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Measured {
    pub(super) key_on: bool,
    pub(super) supply: Voltage,
    pub(super) in_drive: bool,
    pub(super) turbine: AngularSpeed,
    pub(super) turbine_wire: PulseWire,
    pub(super) output: AngularSpeed,
    pub(super) output_wire: PulseWire,
    /// Road speed, from the output shaft.
    pub(super) speed: Speed,
    pub(super) fluid_pin: Voltage,
    /// The fluid, by its sensor; the coolant where that has failed.
    pub(super) fluid: Temperature,
    pub(super) open: SolenoidSet,
    pub(super) shorted: SolenoidSet,
    /// Time since the last word of the engine, s.
    pub(super) engine_silence_s: f64,
    pub(super) hears_engine: bool,
    // As the engine said last.
    pub(super) runs: bool,
    pub(super) engine_speed: AngularSpeed,
    pub(super) torque_nm: f64,
    pub(super) pedal: f64,
    pub(super) coolant: Temperature,
    pub(super) ambient: Temperature,
    pub(super) load: Ratio,
}

impl Measured {
    /// Takes in the pins of a step.
    pub(super) fn take(&mut self, pins: &GearboxPins, gearing: &Gearing) {
        self.key_on = is_on(pins.key);
        self.supply = pins.supply;
        self.in_drive = pins.in_drive;
        (self.turbine, self.turbine_wire) = (pins.turbine.speed, pins.turbine.wire);
        (self.output, self.output_wire) = (pins.output.speed, pins.output.wire);
        self.speed =
            Speed::from_metres_per_second(self.output.radians_per_second() / gearing.output_per_speed);
        (self.open, self.shorted) = (pins.drivers.open, pins.drivers.shorted);
        match &pins.engine {
            Some(engine) => {
                self.engine_silence_s = 0.0;
                self.runs = engine.runs;
                self.engine_speed = engine.engine_speed;
                self.torque_nm = engine.torque.newton_metres();
                self.pedal = engine.pedal.fraction();
                (self.coolant, self.ambient) = (engine.coolant, engine.ambient);
                self.load = engine.load;
            }
            // An engine that was heard to run is held to run until the key says otherwise.
            None => {
                self.engine_silence_s += STEP_S;
                (self.torque_nm, self.pedal) = (0.0, 0.0);
            }
        }
        self.runs &= self.key_on;
        self.hears_engine = self.engine_silence_s <= LOST_AFTER_S;
        self.fluid_pin = pins.fluid_temperature;
        self.fluid = if self.fluid_is_measured() {
            THERMISTOR.to_temperature(self.fluid_pin)
        } else {
            self.coolant
        };
    }

    /// Whether the thermistor's pin stands where a sound circuit can.
    pub(super) fn fluid_is_measured(&self) -> bool {
        let limits = circuits::limits(FLUID);
        self.fluid_pin >= limits.low && self.fluid_pin <= limits.high
    }

    /// Turbine speed by output speed, where that says something.
    pub(super) fn ratio(&self) -> Option<f64> {
        (self.in_drive && self.output.rpm() > LEAST_OUTPUT_RPM)
            .then(|| self.turbine.rpm() / self.output.rpm())
    }

    /// How much faster the engine turns than the turbine, rpm.
    pub(super) fn converter_slip(&self) -> f64 {
        self.engine_speed.rpm() - self.turbine.rpm()
    }
}

/// The circuit that the fluid's thermistor is like.
pub(super) const FLUID: Circuit = Circuit::CoolantSensor;
/// Below this the ratio of two slow shafts is not worked out, rpm: some 7 km/h (calibrated).
const LEAST_OUTPUT_RPM: f64 = 200.0;
