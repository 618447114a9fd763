//! Defects of battery, charging and gearbox electronics. Sizes: our own choice, within what published service
//! information describes.

use super::{
    Entry,
    Part::{Alternator, Battery, ChargingCable, DriveBelt, GearboxController, VehicleSpeedSensor},
    Size,
    Work::{Clean, Replace, Tighten},
};

pub(super) static ENTRIES: &[Entry] = &[
    Entry {
        part: Alternator,
        kind: "weak",
        size: Size::Amount {
            unit: "%",
            range: [0.0, 60.0],
        },
        description: "alternator gives only this share of what the loads draw",
        set: "the alternator gives only {} of what the loads draw",
        seen: "the alternator hums, and its case is hot: some of its diodes or windings have gone",
        cures: &[(Replace, Alternator)],
        apply: |knobs, percent| knobs.alternator = knobs.alternator.min(percent / 100.0),
    },
    Entry {
        part: Alternator,
        kind: "dead",
        size: Size::None,
        description: "alternator gives nothing",
        set: "the alternator gives nothing",
        seen: "the alternator turns freely and stays cold: nothing comes out of it",
        cures: &[(Replace, Alternator)],
        apply: |knobs, _| knobs.alternator = 0.0,
    },
    Entry {
        part: Alternator,
        kind: "overcharging",
        size: Size::Amount {
            unit: "V",
            range: [14.8, 18.0],
        },
        description: "regulator of the alternator has broken down: it charges up to this voltage, whatever is asked for",
        set: "the regulator of the alternator has broken down: it charges up to {}",
        seen: "the alternator is hot, and the battery smells of rotten eggs: it has been charged too hard",
        cures: &[(Replace, Alternator)],
        apply: |knobs, volts| knobs.regulator_volts = Some(volts),
    },
    Entry {
        part: DriveBelt,
        kind: "slipping",
        size: Size::Amount {
            unit: "%",
            range: [10.0, 60.0],
        },
        description: "drive belt slips: the alternator gives only this share of what the loads draw",
        set: "the drive belt slips: the alternator gives {} of what the loads draw",
        seen: "the drive belt is glazed and slack",
        cures: &[(Tighten, DriveBelt), (Replace, DriveBelt)],
        apply: |knobs, percent| knobs.alternator = knobs.alternator.min(percent / 100.0),
    },
    Entry {
        part: ChargingCable,
        kind: "corroded",
        size: Size::Amount {
            unit: "ohm",
            range: [0.01, 0.2],
        },
        description: "the cable between alternator and battery has this resistance at its terminals",
        set: "the charging cable has {} too much",
        seen: "the terminals of the charging cable are green with corrosion, and warm",
        cures: &[(Clean, ChargingCable), (Replace, ChargingCable)],
        apply: |knobs, ohms| knobs.charging_cable_ohms = ohms,
    },
    Entry {
        part: Battery,
        kind: "worn",
        size: Size::None,
        description: "battery near its end: half its capacity, twice its resistance",
        set: "the battery is near its end",
        seen: "the battery is of an old date, its case bulges a little",
        cures: &[(Replace, Battery)],
        apply: |knobs, _| knobs.battery_worn = true,
    },
    Entry {
        part: VehicleSpeedSensor,
        kind: "dead",
        size: Size::None,
        description: "output-shaft sensor of the gearbox gives no pulses",
        set: "the vehicle-speed-sensor is dead",
        seen: "",
        cures: &[(Replace, VehicleSpeedSensor)],
        apply: |knobs, _| knobs.speed_sensor_dead = true,
    },
    Entry {
        part: GearboxController,
        kind: "dead",
        size: Size::None,
        description: "gearbox controller neither shifts nor sends its messages",
        set: "the gearbox-controller is dead",
        seen: "",
        cures: &[(Replace, GearboxController)],
        apply: |knobs, _| knobs.gearbox_controller_dead = true,
    },
];
