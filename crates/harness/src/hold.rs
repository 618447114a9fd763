//! Sensor signals pinned by hand: what a simulator box in place of a sensor does on a bench.
//!
//! A pinned signal takes the place of what the sensor gives, before the wire: the ECU and its monitors believe it, and
//! a wiring fault hides it like any other.

use twotrip_units::{AngularSpeed, MassFlow, Pressure, Ratio, Speed, Temperature, Voltage};

use crate::{CrankSegments, SensorPins, transfer};

macro_rules! signals {
    ($($(#[$doc:meta])* $variant:ident $name:literal $unit:literal $range:expr, $set:expr;)+) => {
        /// A sensor signal that can be pinned; the names are those of the values that testers read of it.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Signal {
            $($(#[$doc])* $variant,)+
        }

        impl Signal {
            /// How many there are.
            pub const COUNT: usize = [$($name),+].len();

            /// All of them.
            pub const ALL: [Self; Self::COUNT] = [$(Self::$variant),+];

            /// The name that phrases use.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name),+ }
            }

            /// The unit of the value, as phrases write it.
            #[must_use]
            pub const fn unit(self) -> &'static str {
                match self { $(Self::$variant => $unit),+ }
            }

            /// The lowest and the highest value that the sensor can give, in the unit.
            #[must_use]
            pub const fn range(self) -> [f64; 2] {
                match self { $(Self::$variant => $range),+ }
            }

            /// Puts a value, given in the unit, on the sensor's pin.
            fn put(self, value: f64, pins: &mut SensorPins) {
                let set: fn(&mut SensorPins, f64) = match self { $(Self::$variant => $set),+ };
                set(pins, value);
            }
        }
    };
}

/// The ends of a thermistor's data sheet.
const TEMPERATURE: [f64; 2] = [-40.0, 150.0];
const OXYGEN: [f64; 2] = [0.0, 1.2];

fn thermistor(celsius: f64) -> Voltage {
    transfer::THERMISTOR.from_temperature(Temperature::from_celsius(celsius))
}

signals! {
    /// Crank sensor; such a box knows no firings, so that none can be timed.
    EngineSpeed "engine-speed" "rpm" [0.0, 8000.0], |pins, v| {
        pins.crank_speed = AngularSpeed::from_rpm(v);
        pins.crank_segments = CrankSegments::default();
    };
    /// Output-shaft sensor.
    VehicleSpeed "vehicle-speed" "km/h" [0.0, 250.0],
        |pins, v| pins.vehicle_speed = Speed::from_kilometres_per_hour(v);
    /// Coolant thermistor.
    CoolantTemperature "coolant-temperature" "C" TEMPERATURE, |pins, v| pins.coolant_temperature = thermistor(v);
    /// Intake-air thermistor.
    IntakeAirTemperature "intake-air-temperature" "C" TEMPERATURE,
        |pins, v| pins.intake_air_temperature = thermistor(v);
    /// Ambient-air thermistor.
    AmbientTemperature "ambient-temperature" "C" TEMPERATURE, |pins, v| pins.ambient_temperature = thermistor(v);
    /// Oil thermistor.
    OilTemperature "oil-temperature" "C" TEMPERATURE, |pins, v| pins.oil_temperature = thermistor(v);
    /// Manifold pressure, absolute.
    ManifoldPressure "manifold-pressure" "kPa" [0.0, 110.0],
        |pins, v| pins.manifold_pressure = transfer::PRESSURE.from_pressure(Pressure::from_kilopascals(v));
    /// Barometer, absolute.
    BarometricPressure "barometric-pressure" "kPa" [0.0, 110.0],
        |pins, v| pins.barometer = transfer::PRESSURE.from_pressure(Pressure::from_kilopascals(v));
    /// Air-mass meter.
    AirFlow "air-flow" "g/s" [0.0, 200.0],
        |pins, v| pins.air_meter = transfer::AIR_METER.from_flow(MassFlow::from_grams_per_second(v));
    /// Throttle, both tracks; the share of the supply on track A, as PID $11 reports it.
    ThrottlePosition "throttle-position" "%" [0.0, 100.0], |pins, v| {
        let track = Voltage::from_volts(v / 100.0 * transfer::SENSOR_SUPPLY_VOLTS);
        (pins.throttle_a, pins.throttle_b) = transfer::throttle_volts(transfer::throttle_angle(track));
    };
    /// Front oxygen sensor, bank 1.
    OxygenFront "oxygen-front" "V" OXYGEN, |pins, v| pins.oxygen_front[0] = Voltage::from_volts(v);
    /// Rear oxygen sensor, bank 1.
    OxygenRear "oxygen-rear" "V" OXYGEN, |pins, v| pins.oxygen_rear[0] = Voltage::from_volts(v);
    /// Front oxygen sensor, bank 2.
    OxygenFront2 "oxygen-front-2" "V" OXYGEN, |pins, v| pins.oxygen_front[1] = Voltage::from_volts(v);
    /// Rear oxygen sensor, bank 2.
    OxygenRear2 "oxygen-rear-2" "V" OXYGEN, |pins, v| pins.oxygen_rear[1] = Voltage::from_volts(v);
    /// Fuel level sender.
    FuelLevel "fuel-level" "%" [0.0, 100.0],
        |pins, v| pins.fuel_level = transfer::FUEL_LEVEL.from_ratio(Ratio::from_percent(v));
    /// Tank pressure, gauge.
    TankPressure "tank-pressure" "Pa" [-4400.0, 4400.0],
        |pins, v| pins.tank_pressure = transfer::tank_pressure_volts(Pressure::from_pascals(v));
    /// Fuel rail pressure, gauge.
    FuelPressure "fuel-pressure" "kPa" [0.0, 600.0],
        |pins, v| pins.rail_pressure = transfer::rail_pressure_volts(Pressure::from_kilopascals(v));
    /// Supply of the control module.
    ModuleVoltage "module-voltage" "V" [0.0, 18.0], |pins, v| pins.supply = Voltage::from_volts(v);
}

/// Which signals are pinned, and to what.
#[derive(Clone, Debug, Default)]
pub struct Holds {
    pinned: [Option<f64>; Signal::COUNT],
    /// How many are pinned: none, as a rule, and then nothing has to be looked through.
    count: usize,
    /// Room for what is given where a signal is pinned.
    given: SensorPins,
}

impl Holds {
    /// Pins a signal, given in its unit and held to its range. What is not a number changes nothing.
    pub const fn set(&mut self, signal: Signal, value: f64) {
        if !value.is_nan() {
            let [lowest, highest] = signal.range();
            if self.pinned[signal as usize].is_none() {
                self.count += 1;
            }
            self.pinned[signal as usize] = Some(value.clamp(lowest, highest));
        }
    }

    /// Lets the sensor speak again; says whether it was pinned.
    pub const fn release(&mut self, signal: Signal) -> bool {
        let held = self.pinned[signal as usize].take().is_some();
        if held {
            self.count -= 1;
        }
        held
    }

    /// What is pinned, and to what, in the unit of the signal.
    pub fn iter(&self) -> impl Iterator<Item = (Signal, f64)> + '_ {
        let pinned = Signal::ALL.into_iter().zip(self.pinned);
        pinned.filter_map(|(signal, value)| Some((signal, value?)))
    }

    /// What the sensors give, with the pinned signals in place of their own; where none is, nothing is copied.
    #[must_use]
    #[inline]
    pub fn apply<'a>(&'a mut self, sensors: &'a SensorPins) -> &'a SensorPins {
        if self.count == 0 {
            return sensors;
        }
        self.given = self.applied(sensors);
        &self.given
    }

    /// The same, for those who only look.
    #[must_use]
    #[cold]
    pub fn applied(&self, sensors: &SensorPins) -> SensorPins {
        let mut pins = *sensors;
        for (signal, value) in self.iter() {
            signal.put(value, &mut pins);
        }
        pins
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_held_signal_hides_the_sensor_until_it_is_released() {
        let truth = SensorPins {
            coolant_temperature: thermistor(90.0),
            ..SensorPins::default()
        };
        let mut holds = Holds::default();
        holds.set(Signal::CoolantTemperature, 20.0);
        holds.set(Signal::CoolantTemperature, f64::NAN);
        let held = *holds.apply(&truth);
        assert_eq!(held.coolant_temperature, thermistor(20.0));
        assert_eq!(
            SensorPins {
                coolant_temperature: truth.coolant_temperature,
                ..held
            },
            truth,
            "nothing else is touched"
        );
        assert!(holds.release(Signal::CoolantTemperature) && !holds.release(Signal::CoolantTemperature));
        assert_eq!(holds.apply(&truth), &truth);
    }

    /// Both ends of every range are what the sensor gives there, and differ from each other.
    #[test]
    fn every_signal_reaches_a_pin() {
        for signal in Signal::ALL {
            let [low, high] = signal.range();
            let ends = [low, high].map(|value| {
                let mut holds = Holds::default();
                holds.set(signal, value);
                assert!(holds.iter().eq([(signal, value)]));
                holds.applied(&SensorPins::default())
            });
            assert_ne!(ends[0], ends[1], "{}", signal.name());
        }
    }

    #[test]
    fn both_tracks_of_the_throttle_agree() {
        let mut holds = Holds::default();
        holds.set(Signal::ThrottlePosition, 50.0);
        let pins = holds.applied(&SensorPins::default());
        let angle = transfer::throttle_angle(pins.throttle_a);
        assert_eq!(
            (pins.throttle_a, pins.throttle_b),
            transfer::throttle_volts(angle)
        );
        assert!((pins.throttle_a.volts() - 2.5).abs() < 0.01);
    }
}
