//! The regulation's numbers, as data: what a market and a model year ask of a fault memory.
//!
//! Sources: 13 CCR 1968.2 (text of 9 November 2007) and SAE J1979 for [`Profile::US_2010`]; UN Regulation 83
//! Annex 11 and Regulation (EC) 692/2008 Annex XI for [`Profile::EOBD`], all of it from memory. A figure marked
//! "(from memory)" was not compared with the printed text and waits for a reader of the current one.

use core::time::Duration;

use twotrip_units::{AngularSpeed, Pressure, Ratio, Speed, Temperature, TemperatureDelta};

/// Numbers of one regulation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Profile {
    /// Name for reports.
    pub name: &'static str,
    /// The word for it in scenario files.
    pub key: &'static str,
    /// What the ECU says it was built for, PID $1C: SAE J1979 (from memory).
    pub obd_requirement: u8,
    /// End of the calibration identification: an ECU for another market has another calibration.
    pub calibration: [u8; 4],
    /// Driving cycles with a failure that confirm a code of the standard logic: 1968.2(d)(2.2.2).
    pub driving_cycles_to_confirm: u8,
    /// An uninterrupted run of the engine is cut into driving cycles of this length, if at all: 1968.2(c) as
    /// amended after 2007 (from memory).
    pub driving_cycle_limit: Option<Duration>,
    /// Whether there are permanent codes, and service $0A: 1968.2(d)(2.2.4) (from memory).
    pub permanent_codes: bool,
    /// Similar conditions, and what misfire counts.
    pub similar: SimilarConditions,
    /// Exceedances that decide about misfire.
    pub misfire: MisfireCounts,
    /// Passing driving cycles in sequence after which a code lets go of the MIL: 1968.2(d)(2.3) (from
    /// memory).
    pub passing_cycles_to_mil_off: u8,
    /// Warm-up cycles without detection, MIL off, after which a confirmed code is erased: 1968.2(d)(2.4)
    /// (from memory).
    pub warm_ups_to_erase: u8,
    /// A warm-up cycle needs this rise of the coolant above its value at start: 1968.2(c) (from memory).
    pub warm_up_rise: TemperatureDelta,
    /// A warm-up cycle needs this coolant temperature: 1968.2(c) (from memory).
    pub warm_up_minimum: Temperature,
    /// An ignition cycle holds the engine-start condition this long: 1968.2(c) (from memory).
    pub ignition_cycle_minimum: Duration,
    /// Lamp check at key-on, cut short by cranking: 1968.2(d)(2.1.2) asks for 15 to 20 s.
    pub bulb_check: Duration,
    /// The drive that a cleared permanent code of a monitor without minimum ratio waits for:
    /// 1968.2(d)(2.5.2)(B) (from memory).
    pub permanent_drive: DrivePattern,
    /// The drive that counts in the general denominator: 1968.2(d)(4.3.2)(A) (from memory).
    pub general_denominator: DrivePattern,
    /// Ambient temperature from which time counts for the general denominator: as above.
    pub general_ambient_minimum: Temperature,
    /// Barometric pressure above which the car counts as below 8,000 ft (2,440 m): as above; the pressure is
    /// the usual equivalent of that altitude.
    pub general_barometer_minimum: Pressure,
    /// What the evaporative system's denominator asks beyond the general one.
    pub evap_denominator: EvapDenominator,
    /// What the denominators of commanded outputs ask.
    pub output_denominator: OutputDenominator,
    /// Whether misfire and fuel system read "complete" in PID $01 whatever has run: SAE J1979 before model
    /// year 2019 (from memory). Comprehensive components always do.
    pub continuous_groups_always_complete: bool,
}

/// Time, speed and idling of one driving cycle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DrivePattern {
    /// Total time since engine start.
    pub run_time: Duration,
    /// Total time at or above [`Self::fast`].
    pub fast_time: Duration,
    /// Speed from which driving counts as fast.
    pub fast: Speed,
    /// One unbroken idle: pedal released, speed at most [`Self::standing`].
    pub idle_time: Duration,
    /// Speed up to which the car counts as standing.
    pub standing: Speed,
}

/// Conditions of the evaporative system's denominator: 1968.2(d)(4.3.2)(C) (from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EvapDenominator {
    /// Time since start inside the ambient range.
    pub run_time: Duration,
    /// Lowest ambient temperature, and lowest coolant temperature at start.
    pub minimum: Temperature,
    /// Highest ambient temperature, and highest coolant temperature at start.
    pub maximum: Temperature,
    /// Coolant above ambient at start, at most.
    pub coolant_over_ambient: TemperatureDelta,
}

/// Similar conditions: 1968.2(c) (from memory). Warm-up state: warm from [`Profile::warm_up_minimum`] on, cold
/// below (our choice: the rule says no more than "cold or hot").
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SimilarConditions {
    /// Engine speed, within this either way.
    pub engine_speed: AngularSpeed,
    /// Load, within so many points of calculated load either way (whether points or a share of it is not
    /// stated).
    pub load: Ratio,
    /// Driving cycles without similar conditions after which a pending code is erased: 1968.2(e)(6.4.3);
    /// (e)(3.4) (from memory).
    pub cycles_to_expire: u8,
}

/// Exceedances of one driving cycle: 1968.2(e)(3.4).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MisfireCounts {
    /// Endangering the catalyst, inside the speeds and loads of the test: (e)(3.4.1)(A)(i).
    pub catalyst_in_test_area: u8,
    /// The same anywhere else: (e)(3.4.1)(A)(i).
    pub catalyst_elsewhere: u8,
    /// Raising emissions, in the first 1000 revolutions after the start: (e)(3.4.2)(A) (from memory).
    pub emission_at_start: u8,
    /// The same later: (e)(3.4.2)(B) (from memory).
    pub emission_later: u8,
}

/// Outputs commanded on, tests not counted: 1968.2(d)(4.3.2)(B) and (E) (from memory).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OutputDenominator {
    /// Total time, also that of secondary air.
    pub time: Duration,
    /// Number of commands that does as well.
    pub commands: u8,
}

/// 10 minutes, 5 of them at 25 mph or more, and half a minute of idle at up to 1 mph; the metric figures 40
/// and 1.6 km/h are those of PID $0D's whole km/h and of the European in-use text.
const TEN_MINUTES: DrivePattern = DrivePattern {
    run_time: Duration::from_secs(600),
    fast_time: Duration::from_secs(300),
    fast: Speed::from_kilometres_per_hour(40.0),
    idle_time: Duration::from_secs(30),
    standing: Speed::from_kilometres_per_hour(1.6),
};

impl Profile {
    /// Spark ignition, United States light duty, model years 2010 to 2018.
    pub const US_2010: Self = Self {
        name: "US-2010",
        key: "us-2010",
        // OBD II as defined by California.
        obd_requirement: 0x01,
        calibration: *b"2010",
        driving_cycles_to_confirm: 2,
        driving_cycle_limit: Some(Duration::from_secs(4 * 3600)),
        permanent_codes: true,
        similar: SimilarConditions {
            engine_speed: AngularSpeed::from_rpm(375.0),
            load: Ratio::from_percent(20.0),
            cycles_to_expire: 80,
        },
        misfire: MisfireCounts {
            catalyst_in_test_area: 3,
            catalyst_elsewhere: 1,
            emission_at_start: 1,
            emission_later: 4,
        },
        passing_cycles_to_mil_off: 3,
        warm_ups_to_erase: 40,
        warm_up_rise: TemperatureDelta::from_kelvins(22.2),
        warm_up_minimum: Temperature::from_celsius(71.1),
        ignition_cycle_minimum: Duration::from_secs(2),
        bulb_check: Duration::from_secs(20),
        permanent_drive: TEN_MINUTES,
        general_denominator: TEN_MINUTES,
        general_ambient_minimum: Temperature::from_fahrenheit(20.0),
        general_barometer_minimum: Pressure::from_kilopascals(74.5),
        evap_denominator: EvapDenominator {
            run_time: Duration::from_secs(600),
            minimum: Temperature::from_fahrenheit(40.0),
            maximum: Temperature::from_fahrenheit(95.0),
            coolant_over_ambient: TemperatureDelta::from_kelvins(12.0 / 1.8),
        },
        output_denominator: OutputDenominator {
            time: Duration::from_secs(10),
            commands: 2,
        },
        continuous_groups_always_complete: true,
    };

    /// Spark ignition, Europe (UN Regulation 83 Annex 11, from memory): the indicator may wait for more driving
    /// cycles than in the United States (at most ten on average), one more here, as J1699-3 tests 6.6 and 9.8
    /// allow for; no permanent codes; a warm-up of 22 K to 70 °C; the lamp is lit at key-on until the engine
    /// starts; a long run is not cut. Misfire and fuel system keep to the same rules as there: the regulation
    /// asks for less, and allows what fulfils the other one. In-use ratios count alike (EC 692/2008 Annex XI
    /// Appendix 1).
    pub const EOBD: Self = Self {
        name: "EOBD",
        key: "eobd",
        // European on-board diagnostics.
        obd_requirement: 0x06,
        calibration: *b"EOBD",
        driving_cycles_to_confirm: 3,
        driving_cycle_limit: None,
        permanent_codes: false,
        warm_up_rise: TemperatureDelta::from_kelvins(22.0),
        warm_up_minimum: Temperature::from_celsius(70.0),
        bulb_check: Duration::MAX,
        ..Self::US_2010
    };

    /// All of them.
    pub const ALL: [&'static Self; 2] = [&Self::US_2010, &Self::EOBD];
}
