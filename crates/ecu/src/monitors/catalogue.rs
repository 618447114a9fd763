//! Monitors and codes of this ECU as data.

use twotrip_obd::{Dtc, Group, InUseItem};

use crate::memory::{Catalogue, CodeDefinition, Denominator, InUseTracking, MonitorDefinition, MonitorId};

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
/// Flow with the purge valve shut.
pub const P0496: Dtc = Dtc::p(0x0496);

/// The leak test with the valves that it needs (13 CCR 1968.2(e)(4.2), leak of 0.040 in and larger): one monitor,
/// because a tank that fails one part of it is not judged by the rest.
pub const EVAP_LEAK: MonitorId = MonitorId(0);
/// Rationality of the tank pressure sensor.
pub const TANK_PRESSURE: MonitorId = MonitorId(1);
/// Circuit of the tank pressure sensor.
pub const TANK_PRESSURE_CIRCUIT: MonitorId = MonitorId(2);

/// Codes that keep the leak test and what it meets on the way from running: without the sensor nothing can be measured.
pub const BLOCK_LEAK_TEST: &[Dtc] = &[P0452, P0453];

const fn code(dtc: Dtc, monitor: MonitorId, text: &'static str) -> CodeDefinition {
    CodeDefinition::standard(dtc, monitor, text)
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
        MonitorDefinition {
            continuous: true,
            ..MonitorDefinition::named("tank pressure circuit", Group::Components)
        },
    ],
    codes: &[
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
        code(P0496, EVAP_LEAK, "evaporative system: flow while not purging"),
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
