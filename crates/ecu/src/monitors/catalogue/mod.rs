//! Monitors and codes of this ECU as data. Each subject has a file with its codes; meanings after SAE J2012, in our
//! own words.

mod air;
mod breathing;
mod circuits;
mod evap;
mod fuel;
mod misfire;
mod module;
mod network;
mod oxygen;
mod temperature;

use twotrip_obd::{Dtc, Group, InUseItem};

use super::blocking;
use crate::{
    calibration::Equipment,
    memory::{Catalogue, CodeDefinition, Denominator, InUseTracking, Logic, MonitorDefinition, MonitorId},
};

pub use air::*;
pub use breathing::*;
pub use circuits::*;
pub use evap::*;
pub use fuel::*;
pub use misfire::*;
pub use module::*;
pub use network::*;
pub use oxygen::*;
pub use temperature::*;

/// The codes of each subject.
const CODES: &[&[CodeDefinition]] = &[
    air::CODES,
    breathing::CODES,
    circuits::CODES,
    evap::CODES,
    fuel::CODES,
    oxygen::CODES,
    network::CODES,
    misfire::CODES,
    module::CODES,
    temperature::CODES,
];

/// Makes the monitors' numbers, each its place in the list, and the list.
macro_rules! monitors {
    ($($(#[$doc:meta])* $name:ident = $definition:expr;)*) => {
        #[allow(non_camel_case_types, clippy::upper_case_acronyms, reason = "the places of constants")]
        #[repr(u8)]
        enum Place { $($name,)* }

        $($(#[$doc])* pub const $name: MonitorId = MonitorId(Place::$name as u8);)*

        const MONITORS: &[MonitorDefinition] = &[$($definition,)*];
    };
}

monitors! {
    /// The leak test with the valves that it needs (13 CCR 1968.2(e)(4.2), leak of 0.040 in and larger): one monitor,
    /// because a tank that fails one part of it is not judged by the rest.
    EVAP_LEAK = MonitorDefinition {
        minimum_ratio: true,
        disabled_by: blocking::EVAP,
        ..MonitorDefinition::named("evap leak", Group::Evap)
    };
    /// Leak test of the parked car (13 CCR 1968.2(e)(4.2), leak of 0.020 in): the one that is tracked in use
    /// (1968.2(d)(5.1), (e)(4.3.2)), and a member of the readiness group like the other, since "complete" asks for every
    /// monitor of the group (1968.2(g)(4.1), from memory).
    NATURAL_VACUUM = MonitorDefinition {
        minimum_ratio: true,
        in_use: tracked(InUseItem::Evap, Denominator::Evap),
        engine_off: true,
        disabled_by: blocking::NATURAL_VACUUM,
        ..MonitorDefinition::named("evap leak, engine off", Group::Evap)
    };
    /// Rationality of the tank pressure sensor.
    TANK_PRESSURE = MonitorDefinition {
        disabled_by: blocking::EVAP,
        ..rationality("tank pressure rationality")
    };
    /// Rationality of the fuel level.
    FUEL_LEVEL = rationality("fuel level rationality");
    /// Circuit of the tank pressure sensor.
    TANK_PRESSURE_CIRCUIT = circuit("tank pressure circuit");
    /// Circuit of the coolant temperature sensor.
    COOLANT_CIRCUIT = circuit("coolant temperature circuit");
    /// Circuit of the intake-air temperature sensor.
    INTAKE_AIR_CIRCUIT = circuit("intake air temperature circuit");
    /// Circuit of the manifold pressure sensor.
    MANIFOLD_PRESSURE_CIRCUIT = circuit("manifold pressure circuit");
    /// Circuit of the air meter.
    AIR_METER_CIRCUIT = circuit("air meter circuit");
    /// Circuit of the throttle's track A.
    THROTTLE_A_CIRCUIT = circuit("throttle track A circuit");
    /// Circuit of the throttle's track B.
    THROTTLE_B_CIRCUIT = circuit("throttle track B circuit");
    /// Both tracks of the throttle against each other.
    THROTTLE_CORRELATION = circuit("throttle tracks against each other");
    /// Circuit of the fuel level sensor.
    FUEL_LEVEL_CIRCUIT = circuit("fuel level circuit");
    /// Supply of the control module.
    SYSTEM_VOLTAGE = circuit("system voltage");
    /// Flow of recirculated exhaust, the valve opened in fuel cuts.
    EGR_FLOW = MonitorDefinition {
        minimum_ratio: true,
        in_use: tracked(InUseItem::Egr, Denominator::General),
        disabled_by: blocking::EGR,
        needs: Some(Equipment::Recirculation),
        ..MonitorDefinition::named("EGR flow", Group::Egr)
    };
    /// Recirculated exhaust at idle, where there should be none.
    EGR_LEAK = MonitorDefinition {
        minimum_ratio: true,
        in_use: tracked(InUseItem::Egr, Denominator::General),
        disabled_by: blocking::EGR,
        needs: Some(Equipment::Recirculation),
        ..MonitorDefinition::named("EGR valve shut", Group::Egr)
    };
    /// Stem of the recirculation valve against its command.
    EGR_VALVE = MonitorDefinition {
        disabled_by: blocking::EGR_STEM_TEST,
        needs: Some(Equipment::Recirculation),
        ..circuit("EGR valve against its command")
    };
    /// Phaser of the intake cam, bank 1.
    CAM_PHASER = MonitorDefinition {
        needs: Some(Equipment::Phaser),
        ..phaser("intake cam", 0)
    };
    /// The thermostat.
    THERMOSTAT = MonitorDefinition {
        disabled_by: blocking::WARM_UP,
        ..MonitorDefinition::named("thermostat", Group::Components)
    };
    /// Warm enough for closed loop in time.
    CLOSED_LOOP_TEMPERATURE = MonitorDefinition {
        disabled_by: blocking::WARM_UP,
        ..MonitorDefinition::named("closed-loop temperature", Group::Components)
    };
    /// Rationality of the coolant sensor.
    COOLANT_RATIONALITY = MonitorDefinition {
        disabled_by: blocking::THERMISTORS,
        ..rationality("coolant sensor rationality")
    };
    /// Rationality of the intake-air sensor.
    INTAKE_AIR_RATIONALITY = MonitorDefinition {
        disabled_by: blocking::THERMISTORS,
        ..rationality("intake air sensor rationality")
    };
    /// Idle speed.
    IDLE_SPEED = MonitorDefinition {
        disabled_by: blocking::IDLE,
        ..MonitorDefinition::named("idle speed", Group::Components)
    };
    /// The air meter against pressure and throttle.
    AIR_METER_RATIONALITY = MonitorDefinition {
        disabled_by: blocking::AIR_PATH,
        ..rationality("air meter rationality")
    };
    /// The manifold pressure sensor against meter and throttle, and against the barometer.
    MANIFOLD_PRESSURE_RATIONALITY = MonitorDefinition {
        disabled_by: blocking::AIR_PATH,
        ..rationality("manifold pressure rationality")
    };
    /// The throttle position against meter and pressure.
    THROTTLE_RATIONALITY = MonitorDefinition {
        disabled_by: blocking::AIR_PATH,
        ..rationality("throttle position rationality")
    };
    /// Air flow and throttle at large opening.
    THROTTLE_PLAUSIBILITY = MonitorDefinition {
        disabled_by: blocking::AIR_PATH,
        ..rationality("air flow and throttle at large opening")
    };
    /// Response of the front oxygen sensor, bank 1.
    FRONT_RESPONSE_1 = MonitorDefinition {
        in_use: tracked(InUseItem::PrimarySensorBank1, Denominator::General),
        ..sensor("front oxygen sensor response, bank 1", 0, blocking::FRONT_RESPONSE)
    };
    /// Activity, circuit and stuck signal of the front oxygen sensor, bank 1.
    FRONT_CIRCUIT_1 = MonitorDefinition {
        continuous: true,
        bank: Some(0),
        ..MonitorDefinition::named("front oxygen sensor circuit, bank 1", Group::ExhaustSensor)
    };
    /// The rear oxygen sensor, bank 1.
    REAR_SENSOR_1 = MonitorDefinition {
        in_use: tracked(InUseItem::SecondarySensorBank1, Denominator::General),
        ..sensor("rear oxygen sensor, bank 1", 0, blocking::REAR_SENSOR)
    };
    /// Heater of the front oxygen sensor, bank 1.
    FRONT_HEATER_1 = heater("front oxygen sensor heater, bank 1", 0);
    /// Heater of the rear oxygen sensor, bank 1.
    REAR_HEATER_1 = heater("rear oxygen sensor heater, bank 1", 0);
    /// The catalyst of bank 1.
    CATALYST_1 = MonitorDefinition {
        minimum_ratio: true,
        in_use: tracked(InUseItem::CatalystBank1, Denominator::General),
        bank: Some(0),
        disabled_by: blocking::CATALYST[0],
        ..MonitorDefinition::named("catalyst, bank 1", Group::Catalyst)
    };
    /// Fuel trim, bank 1.
    FUEL_TRIM_1 = MonitorDefinition {
        continuous: true,
        bank: Some(0),
        disabled_by: blocking::FUEL_TRIM[0],
        ..MonitorDefinition::named("fuel trim, bank 1", Group::FuelSystem)
    };
    /// Fuel trim by the rear sensor, bank 1.
    REAR_TRIM_1 = MonitorDefinition {
        continuous: true,
        bank: Some(0),
        disabled_by: blocking::REAR_TRIM[0],
        ..MonitorDefinition::named("fuel trim behind the catalyst, bank 1", Group::FuelSystem)
    };
    /// Response of the front oxygen sensor, bank 2.
    FRONT_RESPONSE_2 = MonitorDefinition {
        needs: Some(Equipment::SecondBank),
        in_use: tracked(InUseItem::PrimarySensorBank2, Denominator::General),
        ..sensor("front oxygen sensor response, bank 2", 1, blocking::FRONT_RESPONSE)
    };
    /// Activity, circuit and stuck signal of the front oxygen sensor, bank 2.
    FRONT_CIRCUIT_2 = MonitorDefinition {
        needs: Some(Equipment::SecondBank),
        continuous: true,
        bank: Some(1),
        ..MonitorDefinition::named("front oxygen sensor circuit, bank 2", Group::ExhaustSensor)
    };
    /// The rear oxygen sensor, bank 2.
    REAR_SENSOR_2 = MonitorDefinition {
        needs: Some(Equipment::SecondBank),
        in_use: tracked(InUseItem::SecondarySensorBank2, Denominator::General),
        ..sensor("rear oxygen sensor, bank 2", 1, blocking::REAR_SENSOR)
    };
    /// Heater of the front oxygen sensor, bank 2.
    FRONT_HEATER_2 = MonitorDefinition {
        needs: Some(Equipment::SecondBank),
        ..heater("front oxygen sensor heater, bank 2", 1)
    };
    /// Heater of the rear oxygen sensor, bank 2.
    REAR_HEATER_2 = MonitorDefinition {
        needs: Some(Equipment::SecondBank),
        ..heater("rear oxygen sensor heater, bank 2", 1)
    };
    /// The catalyst of bank 2.
    CATALYST_2 = MonitorDefinition {
        needs: Some(Equipment::SecondBank),
        minimum_ratio: true,
        in_use: tracked(InUseItem::CatalystBank2, Denominator::General),
        bank: Some(1),
        disabled_by: blocking::CATALYST[1],
        ..MonitorDefinition::named("catalyst, bank 2", Group::Catalyst)
    };
    /// Fuel trim, bank 2.
    FUEL_TRIM_2 = MonitorDefinition {
        needs: Some(Equipment::SecondBank),
        continuous: true,
        bank: Some(1),
        disabled_by: blocking::FUEL_TRIM[1],
        ..MonitorDefinition::named("fuel trim, bank 2", Group::FuelSystem)
    };
    /// Fuel trim by the rear sensor, bank 2.
    REAR_TRIM_2 = MonitorDefinition {
        needs: Some(Equipment::SecondBank),
        continuous: true,
        bank: Some(1),
        disabled_by: blocking::REAR_TRIM[1],
        ..MonitorDefinition::named("fuel trim behind the catalyst, bank 2", Group::FuelSystem)
    };
    /// Messages of the gearbox controller.
    GEARBOX_MESSAGES = circuit("gearbox messages");
    /// Road speed. Without the messages that carry it nothing is wrong with it.
    VEHICLE_SPEED = MonitorDefinition {
        disabled_by: blocking::SPEED_TEST,
        ..circuit("vehicle speed")
    };
    /// Circuits of the ignition coils.
    COIL_CIRCUIT = circuit("ignition coils");
    /// Misfire.
    MISFIRE = MonitorDefinition {
        continuous: true,
        disabled_by: blocking::MISFIRE,
        ..MonitorDefinition::named("misfire", Group::Misfire)
    };
    /// Pressure of the fuel rail.
    RAIL_PRESSURE = MonitorDefinition {
        disabled_by: blocking::RAIL_TEST,
        ..circuit("fuel rail pressure")
    };
    /// The control module itself.
    MODULE = circuit("control module");
    /// Circuit of the sensor on the recirculation valve's stem.
    EGR_POSITION_CIRCUIT = MonitorDefinition {
        needs: Some(Equipment::Recirculation),
        ..circuit("EGR position circuit")
    };
    /// Circuit of the cam sensor.
    CAM_SENSOR_CIRCUIT = MonitorDefinition {
        bank: Some(0),
        ..circuit("cam sensor circuit")
    };
    /// Circuit of the recirculation valve.
    EGR_VALVE_CIRCUIT = MonitorDefinition {
        needs: Some(Equipment::Recirculation),
        ..circuit("EGR valve circuit")
    };
    /// Circuit of the oil control valve of the intake cam's phaser.
    CAM_VALVE_CIRCUIT = MonitorDefinition {
        needs: Some(Equipment::Phaser),
        bank: Some(0),
        ..circuit("cam valve circuit")
    };
    /// Circuit of the purge valve.
    PURGE_VALVE_CIRCUIT = circuit("purge valve circuit");
    /// Circuit of the vent valve.
    VENT_VALVE_CIRCUIT = circuit("vent valve circuit");
    /// Circuit of the sensor on the fuel rail.
    RAIL_PRESSURE_CIRCUIT = circuit("rail pressure circuit");
    /// Rationality of that sensor: without the pump there is nothing to read after a night.
    RAIL_PRESSURE_RATIONALITY = MonitorDefinition {
        disabled_by: blocking::RAIL_RATIONALITY,
        ..rationality("rail pressure rationality")
    };
    /// Phaser of the intake cam, bank 2.
    CAM_PHASER_2 = MonitorDefinition {
        needs: Some(Equipment::SecondPhaser),
        ..phaser("intake cam, bank 2", 1)
    };
    /// Circuit of the cam sensor, bank 2.
    CAM_SENSOR_CIRCUIT_2 = MonitorDefinition {
        needs: Some(Equipment::SecondBank),
        bank: Some(1),
        ..circuit("cam sensor circuit, bank 2")
    };
    /// Circuit of the oil control valve of that phaser.
    CAM_VALVE_CIRCUIT_2 = MonitorDefinition {
        needs: Some(Equipment::SecondPhaser),
        bank: Some(1),
        ..circuit("cam valve circuit, bank 2")
    };
}

/// The phaser of a bank's intake cam.
const fn phaser(name: &'static str, bank: usize) -> MonitorDefinition {
    MonitorDefinition {
        minimum_ratio: true,
        in_use: tracked(InUseItem::Egr, Denominator::Output),
        bank: Some(bank),
        disabled_by: blocking::CAM[bank],
        ..MonitorDefinition::named(name, Group::Egr)
    }
}

/// A circuit: watched all the time, whatever else is wrong.
const fn circuit(name: &'static str) -> MonitorDefinition {
    MonitorDefinition {
        continuous: true,
        ..MonitorDefinition::named(name, Group::Components)
    }
}

/// An oxygen sensor of a bank: once a driving cycle.
const fn sensor(
    name: &'static str,
    bank: usize,
    disabled_by: [&'static [Dtc]; twotrip_harness::BANKS],
) -> MonitorDefinition {
    MonitorDefinition {
        minimum_ratio: true,
        bank: Some(bank),
        disabled_by: disabled_by[bank],
        ..MonitorDefinition::named(name, Group::ExhaustSensor)
    }
}

/// A heater of a bank's sensor: watched all the time.
const fn heater(name: &'static str, bank: usize) -> MonitorDefinition {
    MonitorDefinition {
        bank: Some(bank),
        continuous: true,
        ..MonitorDefinition::named(name, Group::SensorHeater)
    }
}

/// A rationality check of a sensor: once a driving cycle, subject to the minimum ratio (13 CCR 1968.2(d)(2.5.2)(A)).
const fn rationality(name: &'static str) -> MonitorDefinition {
    MonitorDefinition {
        minimum_ratio: true,
        ..MonitorDefinition::named(name, Group::Components)
    }
}

const fn tracked(item: InUseItem, denominator: Denominator) -> Option<InUseTracking> {
    Some(InUseTracking { item, denominator })
}

const fn code(dtc: Dtc, monitor: MonitorId, text: &'static str) -> CodeDefinition {
    CodeDefinition::standard(dtc, monitor, text)
}

/// A fault that sends the engine into limp-home: lamp in the first driving cycle (13 CCR 1968.2(d)(2.2.3)).
const fn at_once(dtc: Dtc, monitor: MonitorId, text: &'static str) -> CodeDefinition {
    CodeDefinition {
        logic: Logic::OneCycle,
        ..code(dtc, monitor, text)
    }
}

/// A code of what the general denominator is judged by, or a cold start: it freezes all in-use counters
/// (13 CCR 1968.2(d)(4.5.3), from memory).
const fn freezing(code: CodeDefinition) -> CodeDefinition {
    CodeDefinition {
        freezes_in_use: true,
        ..code
    }
}

const fn count() -> usize {
    let mut count = 0;
    let mut place = 0;
    while place < CODES.len() {
        count += CODES[place].len();
        place += 1;
    }
    count
}

const ALL_CODES: [CodeDefinition; count()] = {
    let mut all = [CODES[0][0]; count()];
    let mut filled = 0;
    let mut place = 0;
    while place < CODES.len() {
        let mut code = 0;
        while code < CODES[place].len() {
            all[filled] = CODES[place][code];
            filled += 1;
            code += 1;
        }
        place += 1;
    }
    all
};

/// Monitors and codes of this ECU.
pub static CATALOGUE: Catalogue = Catalogue {
    monitors: MONITORS,
    codes: &ALL_CODES,
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_belongs_to_a_monitor_and_stands_once() {
        assert!(CATALOGUE.monitors.len() <= Catalogue::MONITORS);
        for (place, definition) in CATALOGUE.codes.iter().enumerate() {
            assert!(
                CATALOGUE.monitor(definition.monitor).is_some(),
                "{}",
                definition.dtc
            );
            let first = CATALOGUE
                .codes
                .iter()
                .position(|other| other.dtc == definition.dtc);
            assert_eq!(first, Some(place), "{}", definition.dtc);
        }
        for definition in CATALOGUE.monitors {
            for dtc in definition.disabled_by {
                let code = CATALOGUE.code(*dtc);
                assert!(
                    code.is_some(),
                    "{} is blocked by an unknown code",
                    definition.name
                );
                let own = code.and_then(|code| CATALOGUE.monitor(code.monitor));
                assert_ne!(
                    own.map(|own| own.name),
                    Some(definition.name),
                    "blocked by its own code {dtc}, which it could never let heal"
                );
            }
        }
    }

    /// What is wrong with one bank keeps no monitor of the other from running.
    #[test]
    fn no_code_of_one_bank_blocks_a_monitor_of_the_other() {
        let mut pairs = 0;
        for monitor in CATALOGUE.monitors {
            for &dtc in monitor.disabled_by {
                let blocker = CATALOGUE
                    .code(dtc)
                    .and_then(|code| CATALOGUE.monitor(code.monitor));
                let other = blocker.and_then(|blocker| blocker.bank);
                if let (Some(own), Some(other)) = (monitor.bank, other) {
                    assert_eq!(own, other, "{dtc} blocks {}", monitor.name);
                    pairs += 1;
                }
            }
        }
        assert!(pairs > 20, "{pairs}");
    }

    /// A tester says of each what it means, of both banks.
    #[test]
    fn every_code_has_a_meaning() {
        for definition in CATALOGUE.codes {
            assert!(
                twotrip_obd::code_text(definition.dtc).is_some(),
                "{}",
                definition.dtc
            );
        }
    }
}
