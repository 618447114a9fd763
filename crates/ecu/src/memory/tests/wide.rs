//! A car with the monitors that the small one lacks: fuel system, misfire of single cylinders, outputs, both exhaust
//! sensors, an engine-off leak test, vehicle speed.

use super::*;

pub(super) const VALVE_TIMING: MonitorId = MonitorId(3);
pub(super) const SECONDARY_AIR: MonitorId = MonitorId(4);
pub(super) const FRONT_SENSOR: MonitorId = MonitorId(5);
pub(super) const REAR_SENSOR: MonitorId = MonitorId(6);
pub(super) const VACUUM: MonitorId = MonitorId(7);
pub(super) const VEHICLE_SPEED: MonitorId = MonitorId(8);
pub(super) const RATIONALITY: MonitorId = MonitorId(9);

pub(super) const CYLINDER_1: Dtc = Dtc::p(0x0301);
pub(super) const CYLINDER_2: Dtc = Dtc::p(0x0302);
pub(super) const LEAN: Dtc = Dtc::p(0x0171);
pub(super) const RICH: Dtc = Dtc::p(0x0172);
pub(super) const IMBALANCE: Dtc = Dtc::p(0x219A);
pub(super) const VERY_SMALL_LEAK: Dtc = Dtc::p(0x0456);
pub(super) const NO_SPEED: Dtc = Dtc::p(0x0500);
pub(super) const SPEED_ODD: Dtc = Dtc::p(0x0501);

const fn tracked(
    name: &'static str,
    group: Group,
    item: InUseItem,
    denominator: Denominator,
) -> MonitorDefinition {
    MonitorDefinition {
        minimum_ratio: true,
        in_use: Some(InUseTracking { item, denominator }),
        ..MonitorDefinition::named(name, group)
    }
}

const fn with_logic(dtc: Dtc, monitor: u8, logic: Logic) -> CodeDefinition {
    CodeDefinition {
        logic,
        ..code(dtc, MonitorId(monitor))
    }
}

pub(super) static WIDE: Catalogue = Catalogue {
    monitors: &[
        monitor("misfire", Group::Misfire, false, true),
        monitor("fuel system", Group::FuelSystem, false, true),
        MonitorDefinition {
            minimum_ratio: true,
            ..MonitorDefinition::named("imbalance", Group::FuelSystem)
        },
        tracked("valve timing", Group::Egr, InUseItem::Egr, Denominator::Output),
        tracked(
            "secondary air",
            Group::SecondaryAir,
            InUseItem::SecondaryAir,
            Denominator::SecondaryAir,
        ),
        tracked(
            "front sensor",
            Group::ExhaustSensor,
            InUseItem::PrimarySensorBank1,
            Denominator::General,
        ),
        tracked(
            "rear sensor",
            Group::ExhaustSensor,
            InUseItem::SecondarySensorBank1,
            Denominator::General,
        ),
        MonitorDefinition {
            engine_off: true,
            ..tracked(
                "vacuum of the night",
                Group::Evap,
                InUseItem::Evap,
                Denominator::Evap,
            )
        },
        monitor("vehicle speed circuit", Group::Components, false, true),
        MonitorDefinition {
            minimum_ratio: true,
            ..MonitorDefinition::named("vehicle speed rationality", Group::Components)
        },
    ],
    codes: &[
        with_logic(MISFIRE_RANDOM, 0, Logic::Misfire),
        with_logic(CYLINDER_1, 0, Logic::Misfire),
        with_logic(CYLINDER_2, 0, Logic::Misfire),
        with_logic(LEAN, 1, Logic::FuelSystem),
        with_logic(RICH, 1, Logic::FuelSystem),
        with_logic(IMBALANCE, 2, Logic::Standard),
        code(VERY_SMALL_LEAK, VACUUM),
        CodeDefinition {
            freezes_in_use: true,
            ..code(NO_SPEED, VEHICLE_SPEED)
        },
        code(SPEED_ODD, RATIONALITY),
    ],
};

pub(super) fn wide_car() -> Car {
    Car::with(&Profile::US_2010, &WIDE)
}
