//! The gearbox as its controller meets it: solenoids that make a gear, clutches that hold it, sensors at both shafts and
//! in the fluid.
//!
//! The fluid has the temperature of the engine's block, through whose coolant it is cooled. Four gears are held by the
//! forward clutch and three by the overdrive clutch; in fourth, which has both, the torque splits, and the overdrive
//! clutch is the one that lets go (a choice of this gearbox).

use twotrip_harness::{
    GearboxPins, PulseSensor, Solenoid, SolenoidSet,
    gearbox::gear_of,
    transfer::{SENSOR_SUPPLY_VOLTS, THERMISTOR},
};
use twotrip_units::{AngularSpeed, Temperature, Voltage};

use crate::{
    Vehicle,
    driveline::{self, Clutches, GEARS, Shifts},
    knobs::Knobs,
};

/// What the clutches of the 2.0-litre car's gearbox hold at its input, N m: two and a half times what the engine gives, as
/// the converter multiplies it (calibrated).
const GOOD_HOLD: f64 = 450.0;
/// The first gear of the overdrive clutch.
const OVERDRIVE: usize = 3;
/// A gear in which the turbine would turn faster than this is not engaged: the hydraulics shut it off, rpm (calibrated).
const INHIBITED_RPM: f64 = 6500.0;

/// What the clutches hold with what is wrong with them.
pub(crate) fn clutches(params: &driveline::Params, knobs: &Knobs) -> Clutches {
    let [forward, overdrive] = knobs.clutch_hold;
    let good = GOOD_HOLD * params.inertia / driveline::Params::compact_2_0().inertia;
    let mut holds = [good * forward; GEARS];
    holds[OVERDRIVE..].fill(good * overdrive);
    Clutches {
        lock_up: knobs.lock_up_hold,
        lock_up_shut: knobs.lock_up_shut,
        worn: forward < 1.0 || overdrive < 1.0,
        holds,
    }
}

impl Vehicle {
    /// What the solenoids of the gearbox have as current from now on. From the first call on they make the gears.
    pub fn drive_gearbox(&mut self, solenoids: SolenoidSet) {
        let mut set = solenoids;
        for (solenoid, stuck) in Solenoid::ALL.into_iter().zip(self.knobs.valve_stuck) {
            if let Some(on) = stuck {
                set = set.with(solenoid, on);
            }
        }
        let (wanted, params) = (gear_of(set), &self.params.driveline);
        let driveline = &self.state.driveline;
        let rpm =
            driveline.speed * params.ratios[wanted] * params.final_by_tyre * (30.0 / core::f64::consts::PI);
        self.solenoids_driven = true;
        self.shifts = Shifts::Commanded {
            gear: if rpm > INHIBITED_RPM {
                driveline.gear
            } else {
                wanted
            },
            lock_up: set.contains(Solenoid::ConverterClutch),
            hard: !self.gearbox.on_bus,
        };
    }

    /// Whether its controller asks for the malfunction indicator lamp, in its messages, from now on.
    pub const fn ask_for_lamp(&mut self, asks: bool) {
        self.pins.gearbox_asks_for_lamp = asks;
    }

    /// What the sensors of the gearbox give its controller; of the engine and of its own drivers it is told by others.
    #[must_use]
    pub fn gearbox_pins(&self) -> GearboxPins {
        let knobs = &self.knobs;
        let pulses = |speed: AngularSpeed, dead: bool| PulseSensor {
            speed: if dead { AngularSpeed::ZERO } else { speed },
            ..PulseSensor::default()
        };
        let fluid = if knobs.fluid_sensor_dead {
            Voltage::from_volts(SENSOR_SUPPLY_VOLTS)
        } else {
            let celsius = self.state.cooling.block + knobs.fluid_sensor_bias;
            THERMISTOR.from_temperature(Temperature::from_celsius(celsius))
        };
        GearboxPins {
            key: self.pins.key,
            supply: self.pins.supply,
            in_drive: self.pins.in_gear,
            turbine: pulses(self.turbine_speed(), knobs.turbine_sensor_dead),
            output: pulses(self.output_speed(), knobs.speed_sensor_dead),
            fluid_temperature: fluid,
            ..GearboxPins::default()
        }
    }

    /// Speed of the converter's turbine; in Park nothing holds it, and it turns with the engine.
    #[must_use]
    pub fn turbine_speed(&self) -> AngularSpeed {
        let (state, params) = (&self.state.driveline, &self.params.driveline);
        let turns = if self.pins.in_gear {
            state.speed * driveline::ratio(params, state, self.shifts) * params.final_by_tyre + state.slip
        } else {
            state.omega
        };
        AngularSpeed::from_radians_per_second(turns)
    }

    /// Speed of the gearbox's output shaft.
    #[must_use]
    pub const fn output_speed(&self) -> AngularSpeed {
        let (state, params) = (&self.state.driveline, &self.params.driveline);
        AngularSpeed::from_radians_per_second(state.speed * params.final_by_tyre)
    }

    /// Whether the controller of the gearbox is a good one.
    #[must_use]
    pub const fn gearbox_controller_works(&self) -> bool {
        !self.knobs.gearbox_controller_dead
    }
}

#[cfg(test)]
mod tests {
    use twotrip_harness::{ActuatorPins, gearbox::pattern};

    use super::*;
    use crate::{Defect, DriverControls, Part, Specification, VehicleParams};

    fn car() -> Vehicle {
        let params = VehicleParams::new(&Specification {
            transmission_ecu: true,
            ..Specification::compact_2_0()
        });
        Vehicle::new(params, 1)
    }

    /// The gear that comes of a command, 1 to 6.
    fn gear(car: &mut Vehicle, commanded: usize) -> usize {
        let controls = DriverControls {
            selector: crate::Selector::Drive,
            ..DriverControls::default()
        };
        for _ in 0..200 {
            car.drive_gearbox(pattern(commanded - 1));
            car.step(&ActuatorPins::default(), &controls);
        }
        car.gear()
    }

    /// A valve that is stuck makes of some gears others, and leaves the rest.
    #[test]
    fn a_stuck_valve_changes_the_gears_that_need_it() {
        for (part, kind, made) in [
            (Part::ShiftSolenoidA, "stuck-off", [2, 2, 3, 3, 6, 6]),
            (Part::ShiftSolenoidA, "stuck-on", [1, 1, 4, 4, 5, 5]),
            (Part::ShiftSolenoidB, "stuck-off", [4, 3, 3, 4, 5, 6]),
            (Part::ShiftSolenoidB, "stuck-on", [1, 2, 2, 1, 5, 6]),
            (Part::ShiftSolenoidC, "stuck-off", [1, 2, 3, 4, 4, 3]),
            (Part::ShiftSolenoidC, "stuck-on", [5, 6, 6, 5, 5, 6]),
        ] {
            let mut car = car();
            car.set_defect(Defect::named(part, kind, None).unwrap());
            let found: [usize; 6] = core::array::from_fn(|place| gear(&mut car, place + 1));
            assert_eq!(found, made, "{} {kind}", part.name());
        }
    }

    #[test]
    fn dead_sensors_give_no_pulses_and_a_good_one_gives_the_shaft() {
        let mut car = car();
        car.state.driveline.speed = 10.0;
        car.pins.in_gear = true;
        let ratio = |pins: &GearboxPins| pins.turbine.speed.rpm() / pins.output.speed.rpm();
        assert!((ratio(&car.gearbox_pins()) - 4.15).abs() < 1e-9, "first");
        car.set_defect(Defect::named(Part::TurbineSpeedSensor, "dead", None).unwrap());
        assert!(car.gearbox_pins().turbine.speed <= AngularSpeed::ZERO);
        car.set_defect(Defect::named(Part::VehicleSpeedSensor, "dead", None).unwrap());
        assert!(car.gearbox_pins().output.speed <= AngularSpeed::ZERO);
        car.set_defect(Defect::named(Part::GearboxFluidSensor, "dead", None).unwrap());
        assert!(car.gearbox_pins().fluid_temperature.volts() > 4.95);
    }
}
