//! Monitors and codes of this ECU as data.

use twotrip_obd::{Dtc, Group, InUseItem};

use crate::memory::{
    Catalogue, CodeDefinition, Denominator, InUseTracking, Logic, MonitorDefinition, MonitorId,
};

/// Air meter, low.
pub const P0102: Dtc = Dtc::p(0x0102);
/// Air meter, high.
pub const P0103: Dtc = Dtc::p(0x0103);
/// Manifold pressure sensor, low.
pub const P0107: Dtc = Dtc::p(0x0107);
/// Manifold pressure sensor, high.
pub const P0108: Dtc = Dtc::p(0x0108);
/// Intake-air temperature sensor, low.
pub const P0112: Dtc = Dtc::p(0x0112);
/// Intake-air temperature sensor, high.
pub const P0113: Dtc = Dtc::p(0x0113);
/// Coolant temperature sensor, low.
pub const P0117: Dtc = Dtc::p(0x0117);
/// Coolant temperature sensor, high.
pub const P0118: Dtc = Dtc::p(0x0118);
/// Throttle position, track A low.
pub const P0122: Dtc = Dtc::p(0x0122);
/// Throttle position, track A high.
pub const P0123: Dtc = Dtc::p(0x0123);
/// Throttle position, track B low.
pub const P0222: Dtc = Dtc::p(0x0222);
/// Throttle position, track B high.
pub const P0223: Dtc = Dtc::p(0x0223);
/// Purge flow.
pub const P0441: Dtc = Dtc::p(0x0441);
/// Small leak (0.040 in).
pub const P0442: Dtc = Dtc::p(0x0442);
/// Vent control.
pub const P0446: Dtc = Dtc::p(0x0446);
/// Tank pressure sensor, range or performance.
pub const P0451: Dtc = Dtc::p(0x0451);
/// Tank pressure sensor, low.
pub const P0452: Dtc = Dtc::p(0x0452);
/// Tank pressure sensor, high.
pub const P0453: Dtc = Dtc::p(0x0453);
/// Gross leak.
pub const P0455: Dtc = Dtc::p(0x0455);
/// Gross leak after refuelling: cap loose or off.
pub const P0457: Dtc = Dtc::p(0x0457);
/// Fuel level sensor, low.
pub const P0462: Dtc = Dtc::p(0x0462);
/// Fuel level sensor, high.
pub const P0463: Dtc = Dtc::p(0x0463);
/// Flow with the purge valve shut.
pub const P0496: Dtc = Dtc::p(0x0496);
/// Supply of the control module, low.
pub const P0562: Dtc = Dtc::p(0x0562);
/// Supply of the control module, high.
pub const P0563: Dtc = Dtc::p(0x0563);
/// Throttle position, tracks A and B do not agree.
pub const P2135: Dtc = Dtc::p(0x2135);

/// The leak test with the valves that it needs (13 CCR 1968.2(e)(4.2), leak of 0.040 in and larger): one monitor,
/// because a tank that fails one part of it is not judged by the rest.
pub const EVAP_LEAK: MonitorId = MonitorId(0);
/// Rationality of the tank pressure sensor.
pub const TANK_PRESSURE: MonitorId = MonitorId(1);
/// Circuit of the tank pressure sensor.
pub const TANK_PRESSURE_CIRCUIT: MonitorId = MonitorId(2);
/// Circuit of the coolant temperature sensor.
pub const COOLANT_CIRCUIT: MonitorId = MonitorId(3);
/// Circuit of the intake-air temperature sensor.
pub const INTAKE_AIR_CIRCUIT: MonitorId = MonitorId(4);
/// Circuit of the manifold pressure sensor.
pub const MANIFOLD_PRESSURE_CIRCUIT: MonitorId = MonitorId(5);
/// Circuit of the air meter.
pub const AIR_METER_CIRCUIT: MonitorId = MonitorId(6);
/// Circuit of the throttle's track A.
pub const THROTTLE_A_CIRCUIT: MonitorId = MonitorId(7);
/// Circuit of the throttle's track B.
pub const THROTTLE_B_CIRCUIT: MonitorId = MonitorId(8);
/// Both tracks of the throttle against each other.
pub const THROTTLE_CORRELATION: MonitorId = MonitorId(9);
/// Circuit of the fuel level sensor.
pub const FUEL_LEVEL_CIRCUIT: MonitorId = MonitorId(10);
/// Supply of the control module.
pub const SYSTEM_VOLTAGE: MonitorId = MonitorId(11);

/// Codes that keep the leak test and what it meets on the way from running: without pressure, level, temperatures and
/// load nothing can be measured or told to be in its conditions (choices of the kind that makers publish).
pub const BLOCK_LEAK_TEST: &[Dtc] = &[
    P0102, P0103, P0107, P0108, P0112, P0113, P0117, P0118, P0122, P0123, P0222, P0223, P0452, P0453, P0462,
    P0463, P0562, P0563, P2135,
];

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

/// A code of the coolant sensor: without it no cold start is known.
const fn coolant(dtc: Dtc, text: &'static str) -> CodeDefinition {
    CodeDefinition {
        freezes_in_use: true,
        ..code(dtc, COOLANT_CIRCUIT, text)
    }
}

/// A circuit: watched all the time, whatever else is wrong.
const fn circuit(name: &'static str) -> MonitorDefinition {
    MonitorDefinition {
        continuous: true,
        ..MonitorDefinition::named(name, Group::Components)
    }
}

/// Monitors and codes of this ECU; meanings after SAE J2012, in our own words.
pub static CATALOGUE: Catalogue = Catalogue {
    monitors: &[
        MonitorDefinition {
            minimum_ratio: true,
            in_use: Some(InUseTracking {
                item: InUseItem::Evap,
                denominator: Denominator::Evap,
            }),
            disabled_by: BLOCK_LEAK_TEST,
            ..MonitorDefinition::named("evap leak", Group::Evap)
        },
        MonitorDefinition {
            minimum_ratio: true,
            disabled_by: BLOCK_LEAK_TEST,
            ..MonitorDefinition::named("tank pressure rationality", Group::Components)
        },
        circuit("tank pressure circuit"),
        circuit("coolant temperature circuit"),
        circuit("intake air temperature circuit"),
        circuit("manifold pressure circuit"),
        circuit("air meter circuit"),
        circuit("throttle track A circuit"),
        circuit("throttle track B circuit"),
        circuit("throttle tracks against each other"),
        circuit("fuel level circuit"),
        circuit("system voltage"),
    ],
    codes: &[
        code(P0102, AIR_METER_CIRCUIT, "air flow sensor: circuit low"),
        code(P0103, AIR_METER_CIRCUIT, "air flow sensor: circuit high"),
        code(
            P0107,
            MANIFOLD_PRESSURE_CIRCUIT,
            "manifold pressure sensor: circuit low",
        ),
        code(
            P0108,
            MANIFOLD_PRESSURE_CIRCUIT,
            "manifold pressure sensor: circuit high",
        ),
        code(
            P0112,
            INTAKE_AIR_CIRCUIT,
            "intake air temperature sensor: circuit low",
        ),
        code(
            P0113,
            INTAKE_AIR_CIRCUIT,
            "intake air temperature sensor: circuit high",
        ),
        coolant(P0117, "coolant temperature sensor: circuit low"),
        coolant(P0118, "coolant temperature sensor: circuit high"),
        at_once(
            P0122,
            THROTTLE_A_CIRCUIT,
            "throttle position sensor A: circuit low",
        ),
        at_once(
            P0123,
            THROTTLE_A_CIRCUIT,
            "throttle position sensor A: circuit high",
        ),
        at_once(
            P0222,
            THROTTLE_B_CIRCUIT,
            "throttle position sensor B: circuit low",
        ),
        at_once(
            P0223,
            THROTTLE_B_CIRCUIT,
            "throttle position sensor B: circuit high",
        ),
        code(P0441, EVAP_LEAK, "evaporative system: purge flow incorrect"),
        code(P0442, EVAP_LEAK, "evaporative system: small leak"),
        code(P0446, EVAP_LEAK, "evaporative system: vent control"),
        code(
            P0451,
            TANK_PRESSURE,
            "evaporative system pressure sensor: range or performance",
        ),
        code(
            P0452,
            TANK_PRESSURE_CIRCUIT,
            "evaporative system pressure sensor: circuit low",
        ),
        code(
            P0453,
            TANK_PRESSURE_CIRCUIT,
            "evaporative system pressure sensor: circuit high",
        ),
        code(P0455, EVAP_LEAK, "evaporative system: gross leak"),
        code(
            P0457,
            EVAP_LEAK,
            "evaporative system: leak, fuel cap loose or off",
        ),
        code(P0462, FUEL_LEVEL_CIRCUIT, "fuel level sensor: circuit low"),
        code(P0463, FUEL_LEVEL_CIRCUIT, "fuel level sensor: circuit high"),
        code(P0496, EVAP_LEAK, "evaporative system: flow while not purging"),
        code(P0562, SYSTEM_VOLTAGE, "system voltage: low"),
        code(P0563, SYSTEM_VOLTAGE, "system voltage: high"),
        at_once(
            P2135,
            THROTTLE_CORRELATION,
            "throttle position sensors A and B do not agree",
        ),
    ],
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_belongs_to_a_monitor_and_stands_once() {
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
                assert!(
                    CATALOGUE.code(*dtc).is_some(),
                    "{} is blocked by an unknown code",
                    definition.name
                );
            }
        }
    }
}
