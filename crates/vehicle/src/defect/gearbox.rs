//! Defects of the gearbox: its clutches, the valves of its solenoids, its fluid and its sensors. Sizes: our own choice,
//! within what published service information describes.

use super::{
    Entry, Part,
    Part::{
        ConverterClutch, ForwardClutch, Gearbox, GearboxFluid, GearboxFluidSensor, OverdriveClutch,
        TurbineSpeedSensor,
    },
    Size,
    Work::{Fill, Replace},
};

/// The clutch of some gears: which, and its place among what clutches hold.
macro_rules! slipping {
    ($part:ident, $place:literal, $gears:literal) => {
        Entry {
            part: $part,
            kind: "slipping",
            size: Size::Amount {
                unit: "%",
                range: [15.0, 60.0],
            },
            description: concat!("clutch of gears ", $gears, " worn: it holds this share of what a good one does"),
            set: concat!("the clutch of gears ", $gears, " holds {} of what a good one does"),
            seen: concat!(
                "the gearbox fluid is dark and smells burnt; in the pan lies the lining of a clutch: that of gears ",
                $gears,
                ", as air pressure shows"
            ),
            cures: &[(Replace, $part), (Replace, Gearbox)],
            apply: |knobs, percent| knobs.clutch_hold[$place] *= 0.01 * percent,
        }
    };
}

pub(super) static ENTRIES: &[Entry] = &[
    Entry {
        part: TurbineSpeedSensor,
        kind: "dead",
        size: Size::None,
        description: "turbine speed sensor of the gearbox gives no pulses",
        set: "the turbine-speed-sensor is dead",
        seen: "",
        cures: &[(Replace, TurbineSpeedSensor)],
        apply: |knobs, _| knobs.turbine_sensor_dead = true,
    },
    Entry {
        part: GearboxFluidSensor,
        kind: "dead",
        size: Size::None,
        description: "temperature sensor in the gearbox fluid is open inside",
        set: "the gearbox-fluid-sensor is dead",
        seen: "",
        cures: &[(Replace, GearboxFluidSensor)],
        apply: |knobs, _| knobs.fluid_sensor_dead = true,
    },
    Entry {
        part: GearboxFluidSensor,
        kind: "bias",
        size: Size::Amount {
            unit: "K",
            range: [-40.0, 40.0],
        },
        description: "temperature sensor in the gearbox fluid reads too high by this, or too low if negative",
        set: "the gearbox-fluid-sensor reads {off}",
        seen: "",
        cures: &[(Replace, GearboxFluidSensor)],
        apply: |knobs, kelvins| knobs.fluid_sensor_bias = kelvins,
    },
    Entry {
        part: GearboxFluid,
        kind: "low",
        size: Size::Amount {
            unit: "%",
            range: [15.0, 60.0],
        },
        description: "gearbox fluid far below its mark: its pump draws air, and all clutches hold this share",
        set: "the gearbox fluid is so low that its clutches hold {} of what they should",
        seen: "the gearbox fluid is below the mark on the dipstick, and foams",
        cures: &[(Fill, GearboxFluid), (Replace, GearboxFluid)],
        apply: |knobs, percent| {
            for hold in &mut knobs.clutch_hold {
                *hold *= 0.01 * percent;
            }
        },
    },
    slipping!(ForwardClutch, 0, "one to three"),
    slipping!(OverdriveClutch, 1, "four to six"),
    Entry {
        part: ConverterClutch,
        kind: "stuck-open",
        size: Size::None,
        description: "lock-up clutch of the torque converter does not close",
        set: "the lock-up clutch of the torque converter does not close",
        seen: "a gauge at the pressure tap of the lock-up clutch stays at nothing when the clutch is asked for",
        cures: &[(Replace, ConverterClutch), (Replace, Gearbox)],
        apply: |knobs, _| knobs.lock_up_hold = 0.0,
    },
    Entry {
        part: ConverterClutch,
        kind: "slipping",
        size: Size::Amount {
            unit: "%",
            range: [0.0, 50.0],
        },
        description: "lining of the lock-up clutch worn: closed, it holds this share of what a good one does",
        set: "the lock-up clutch of the torque converter holds {} of what a good one does",
        seen: "a gauge at the pressure tap of the lock-up clutch shows full pressure when it is asked for; the fluid smells of burnt lining",
        cures: &[(Replace, ConverterClutch), (Replace, Gearbox)],
        apply: |knobs, percent| knobs.lock_up_hold = 1e-4 * percent * percent,
    },
    Entry {
        part: ConverterClutch,
        kind: "stuck-closed",
        size: Size::None,
        description: "valve of the lock-up clutch stuck: from second gear on it does not let go",
        set: "the lock-up clutch of the torque converter does not let go from second gear on",
        seen: "",
        cures: &[(Replace, ConverterClutch), (Replace, Gearbox)],
        apply: |knobs, _| knobs.lock_up_shut = true,
    },
];

/// The valve of a shift solenoid: stuck as without current, and as with it.
macro_rules! valves {
    ($($part:ident, $place:literal, $name:literal;)*) => {
        pub(super) static VALVES: &[Entry] = &[$(
            Entry {
                part: Part::$part,
                kind: "stuck-off",
                size: Size::None,
                description: concat!("valve of shift solenoid ", $name, " stuck as it stands without current"),
                set: concat!("the valve of shift solenoid ", $name, " is stuck as without current"),
                seen: concat!("under 12 V shift solenoid ", $name, " clicks, but lets the air through as without: its valve is stuck"),
                cures: &[(Replace, Part::$part), (Replace, Gearbox)],
                apply: |knobs, _| knobs.valve_stuck[$place] = Some(false),
            },
            Entry {
                part: Part::$part,
                kind: "stuck-on",
                size: Size::None,
                description: concat!("valve of shift solenoid ", $name, " stuck as it stands under current"),
                set: concat!("the valve of shift solenoid ", $name, " is stuck as under current"),
                seen: concat!("without current shift solenoid ", $name, " lets the air through as under 12 V: its valve is stuck"),
                cures: &[(Replace, Part::$part), (Replace, Gearbox)],
                apply: |knobs, _| knobs.valve_stuck[$place] = Some(true),
            },
        )*];
    };
}

valves! {
    ShiftSolenoidA, 0, "A";
    ShiftSolenoidB, 1, "B";
    ShiftSolenoidC, 2, "C";
}
