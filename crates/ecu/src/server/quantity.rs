//! Values of the data stream that can be pinned: their names in phrases, units and ranges as data.

use core::time::Duration;

use twotrip_units::{Angle, AngularSpeed, MassFlow, Pressure, Ratio, Speed, Temperature, Torque, Voltage};

use super::parameters;
use crate::data::LiveData;

macro_rules! quantities {
    ($($(#[$doc:meta])* $variant:ident $name:literal $pid:literal $unit:literal $range:expr, $set:expr;)+) => {
        /// A reported value that can be pinned.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Quantity {
            $($(#[$doc])* $variant,)+
        }

        impl Quantity {
            /// How many there are.
            pub const COUNT: usize = [$($pid),+].len();

            /// All of them, in the order of their PIDs.
            pub const ALL: [Self; Self::COUNT] = [$(Self::$variant),+];

            /// The name that phrases use.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name),+ }
            }

            /// The unit of the value, as phrases write it; empty for a plain ratio.
            #[must_use]
            pub const fn unit(self) -> &'static str {
                match self { $(Self::$variant => $unit),+ }
            }

            /// The lowest and the highest value that can be reported, in the unit.
            #[must_use]
            pub const fn range(self) -> [f64; 2] {
                match self { $(Self::$variant => $range),+ }
            }

            /// The PID that reports it.
            #[must_use]
            pub const fn pid(self) -> u8 {
                match self { $(Self::$variant => $pid),+ }
            }

            /// What the data say of it, in the unit: as its PID reports it before it is coded.
            #[must_use]
            pub fn of(self, live: &LiveData) -> f64 {
                parameters::number(self.pid(), live)
            }

            /// Puts a value, given in the unit, into the data.
            pub(super) fn put(self, value: f64, live: &mut LiveData) {
                let set: fn(&mut LiveData, f64) = match self { $(Self::$variant => $set),+ };
                set(live, value);
            }
        }
    };
}

const PERCENT: [f64; 2] = [0.0, 100.0];
const TRIM: [f64; 2] = [-100.0, 99.218_75];
const TORQUE_SHARE: [f64; 2] = [-125.0, 130.0];
const TEMPERATURE: [f64; 2] = [-40.0, 215.0];
const KILOPASCALS: [f64; 2] = [0.0, 255.0];
/// Highest voltage of a narrow-range oxygen sensor's PID.
const SENSOR: [f64; 2] = [0.0, 1.275];

quantities! {
    /// PID $04.
    CalculatedLoad "calculated-load" 0x04 "%" PERCENT, |live, v| live.calculated_load = Ratio::from_percent(v);
    /// PID $05.
    CoolantTemperature "coolant-temperature" 0x05 "C" TEMPERATURE,
        |live, v| live.coolant_temperature = Temperature::from_celsius(v);
    /// PID $06, and $14 beside the front sensor's voltage.
    ShortTermTrim "short-term-trim" 0x06 "%" TRIM, |live, v| live.short_term_trim[0] = Ratio::from_percent(v);
    /// PID $07.
    LongTermTrim "long-term-trim" 0x07 "%" TRIM, |live, v| live.long_term_trim[0] = Ratio::from_percent(v);
    /// PID $08, and $18 beside the front sensor's voltage: bank 2.
    ShortTermTrim2 "short-term-trim-2" 0x08 "%" TRIM,
        |live, v| live.short_term_trim[1] = Ratio::from_percent(v);
    /// PID $09: bank 2.
    LongTermTrim2 "long-term-trim-2" 0x09 "%" TRIM, |live, v| live.long_term_trim[1] = Ratio::from_percent(v);
    /// PID $0A.
    FuelPressure "fuel-pressure" 0x0A "kPa" [0.0, 765.0],
        |live, v| live.fuel_pressure = Pressure::from_kilopascals(v);
    /// PID $0B.
    ManifoldPressure "manifold-pressure" 0x0B "kPa" KILOPASCALS,
        |live, v| live.manifold_pressure = Pressure::from_kilopascals(v);
    /// PID $0C.
    EngineSpeed "engine-speed" 0x0C "rpm" [0.0, 16_383.75],
        |live, v| live.engine_speed = AngularSpeed::from_rpm(v);
    /// PID $0D.
    VehicleSpeed "vehicle-speed" 0x0D "km/h" [0.0, 255.0],
        |live, v| live.vehicle_speed = Speed::from_kilometres_per_hour(v);
    /// PID $0E.
    TimingAdvance "timing-advance" 0x0E "deg" [-64.0, 63.5],
        |live, v| live.timing_advance = Angle::from_degrees(v);
    /// PID $0F.
    IntakeAirTemperature "intake-air-temperature" 0x0F "C" TEMPERATURE,
        |live, v| live.intake_air_temperature = Temperature::from_celsius(v);
    /// PID $10.
    AirFlow "air-flow" 0x10 "g/s" [0.0, 655.35], |live, v| live.air_flow = MassFlow::from_grams_per_second(v);
    /// PID $11.
    ThrottlePosition "throttle-position" 0x11 "%" PERCENT,
        |live, v| live.throttle_position = Ratio::from_percent(v);
    /// PID $14.
    OxygenFront "oxygen-front" 0x14 "V" SENSOR, |live, v| live.oxygen_front[0] = Voltage::from_volts(v);
    /// PID $15.
    OxygenRear "oxygen-rear" 0x15 "V" SENSOR, |live, v| live.oxygen_rear[0] = Voltage::from_volts(v);
    /// PID $18: bank 2.
    OxygenFront2 "oxygen-front-2" 0x18 "V" SENSOR, |live, v| live.oxygen_front[1] = Voltage::from_volts(v);
    /// PID $19: bank 2.
    OxygenRear2 "oxygen-rear-2" 0x19 "V" SENSOR, |live, v| live.oxygen_rear[1] = Voltage::from_volts(v);
    /// PID $1F.
    RunTime "run-time" 0x1F "s" [0.0, 65_535.0],
        |live, v| live.run_time = Duration::try_from_secs_f64(v).unwrap_or(Duration::ZERO);
    /// PID $2C.
    CommandedEgr "commanded-egr" 0x2C "%" PERCENT,
        |live, v| live.commanded_recirculation = Ratio::from_percent(v);
    /// PID $2D.
    EgrError "egr-error" 0x2D "%" TRIM, |live, v| live.recirculation_error = Ratio::from_percent(v);
    /// PID $2E.
    CommandedPurge "commanded-purge" 0x2E "%" PERCENT, |live, v| live.commanded_purge = Ratio::from_percent(v);
    /// PID $2F.
    FuelLevel "fuel-level" 0x2F "%" PERCENT, |live, v| live.fuel_level = Ratio::from_percent(v);
    /// PID $32, and $54 beyond the ends of $32.
    TankPressure "tank-pressure" 0x54 "Pa" [-32_768.0, 32_767.0],
        |live, v| live.tank_pressure = Pressure::from_pascals(v);
    /// PID $33.
    BarometricPressure "barometric-pressure" 0x33 "kPa" KILOPASCALS,
        |live, v| live.barometric_pressure = Pressure::from_kilopascals(v);
    /// PID $3C.
    CatalystTemperature "catalyst-temperature" 0x3C "C" [-40.0, 6_513.5],
        |live, v| live.catalyst_temperature[0] = Temperature::from_celsius(v);
    /// PID $3D: bank 2.
    CatalystTemperature2 "catalyst-temperature-2" 0x3D "C" [-40.0, 6_513.5],
        |live, v| live.catalyst_temperature[1] = Temperature::from_celsius(v);
    /// PID $42.
    ModuleVoltage "module-voltage" 0x42 "V" [0.0, 65.535], |live, v| live.module_voltage = Voltage::from_volts(v);
    /// PID $43.
    AbsoluteLoad "absolute-load" 0x43 "%" [0.0, 25_700.0], |live, v| live.absolute_load = Ratio::from_percent(v);
    /// PID $44.
    CommandedLambda "commanded-lambda" 0x44 "" [0.0, 65_535.0 / 32_768.0],
        |live, v| live.commanded_lambda = Ratio::from_fraction(v);
    /// PID $45.
    RelativeThrottle "relative-throttle" 0x45 "%" PERCENT,
        |live, v| live.relative_throttle = Ratio::from_percent(v);
    /// PID $46.
    AmbientTemperature "ambient-temperature" 0x46 "C" TEMPERATURE,
        |live, v| live.ambient_temperature = Temperature::from_celsius(v);
    /// PID $47.
    ThrottleB "throttle-b" 0x47 "%" PERCENT, |live, v| live.throttle_b = Ratio::from_percent(v);
    /// PID $49.
    PedalD "pedal-d" 0x49 "%" PERCENT, |live, v| live.pedal_d = Ratio::from_percent(v);
    /// PID $4A.
    PedalE "pedal-e" 0x4A "%" PERCENT, |live, v| live.pedal_e = Ratio::from_percent(v);
    /// PID $4C.
    CommandedThrottle "commanded-throttle" 0x4C "%" PERCENT,
        |live, v| live.commanded_throttle = Ratio::from_percent(v);
    /// PID $5A.
    RelativePedal "relative-pedal" 0x5A "%" PERCENT, |live, v| live.relative_pedal = Ratio::from_percent(v);
    /// PID $5C.
    OilTemperature "oil-temperature" 0x5C "C" TEMPERATURE,
        |live, v| live.oil_temperature = Temperature::from_celsius(v);
    /// PID $5E.
    FuelRate "fuel-rate" 0x5E "l/h" [0.0, 3_276.75], |live, v| live.fuel_rate_litres_per_hour = v;
    /// PID $61.
    DemandedTorque "demanded-torque" 0x61 "%" TORQUE_SHARE,
        |live, v| live.demanded_torque = Ratio::from_percent(v);
    /// PID $62.
    ActualTorque "actual-torque" 0x62 "%" TORQUE_SHARE, |live, v| live.actual_torque = Ratio::from_percent(v);
    /// PID $63.
    ReferenceTorque "reference-torque" 0x63 "Nm" [0.0, 65_535.0],
        |live, v| live.reference_torque = Torque::from_newton_metres(v);
    /// PID $8E.
    FrictionTorque "friction-torque" 0x8E "%" TORQUE_SHARE,
        |live, v| live.friction_torque = Ratio::from_percent(v);
    /// PID $9D.
    FuelFlow "fuel-flow" 0x9D "g/s" [0.0, 1_310.7],
        |live, v| live.fuel_flow = MassFlow::from_grams_per_second(v);
    /// PID $9E.
    ExhaustFlow "exhaust-flow" 0x9E "kg/h" [0.0, 13_107.0],
        |live, v| live.exhaust_flow = MassFlow::from_kilograms_per_hour(v);
    /// PID $A2.
    FuelPerStroke "fuel-per-stroke" 0xA2 "mg" [0.0, 2_047.968_75],
        |live, v| live.fuel_milligrams_per_stroke = v;
}
