//! Defects of oxygen sensors, catalyst and exhaust pipe, one pattern for both banks. Ranges as published service
//! information describes such faults, or from smaller sizes on (our choice).

use super::{
    Entry,
    Part::{
        Catalyst, Catalyst2, ExhaustJoint, ExhaustJoint2, ExhaustManifold, ExhaustManifold2,
        FrontOxygenSensor, FrontOxygenSensor2, RearOxygenSensor, RearOxygenSensor2,
    },
    Size,
    Work::{Replace, Tighten},
    air::FREE,
};

/// Oxygen that a melted catalyst still holds, g: most of its coated surface is gone (our choice).
const MELTED: f64 = 0.02;

/// The rows of each bank: its number from 0 on, what is said behind its parts, its parts, what a good catalyst of it holds.
macro_rules! banks {
    ($($bank:literal $of:literal: $front:ident $rear:ident $catalyst:ident $manifold:ident $joint:ident, $good:literal;)*) => {
        pub(super) static ENTRIES: &[Entry] = &[$(
            Entry {
                part: $front,
                kind: "lazy",
                size: Size::Amount { unit: "x", range: [1.2, 12.0] },
                description: concat!("front oxygen sensor", $of, " is poisoned or old: it takes so many times as long as a new one"),
                set: concat!("the front oxygen sensor", $of, " is slow: {} the time of a new one"),
                seen: concat!("a white coat on the tip of the front oxygen sensor", $of),
                cures: &[(Replace, $front)],
                apply: |knobs, factor| knobs.front_lag[$bank] = factor,
            },
            Entry {
                part: $front,
                kind: "late",
                size: Size::Amount { unit: "s", range: [0.05, 1.0] },
                description: concat!("the openings of the shield of the front oxygen sensor", $of, " are sooted up: it answers so much late"),
                set: concat!("the front oxygen sensor", $of, " answers {} late"),
                seen: concat!("the shield of the front oxygen sensor", $of, " is sooted up"),
                cures: &[(Replace, $front)],
                apply: |knobs, seconds| knobs.front_delay_s[$bank] = seconds,
            },
            Entry {
                part: $front,
                kind: "bias",
                size: Size::Amount { unit: "V", range: [-0.9, 0.5] },
                description: concat!("front oxygen sensor", $of, " reads too rich by this, or too lean if negative; at -0.9 V it gives nothing"),
                set: concat!("the front oxygen sensor", $of, " is off by {}"),
                seen: "",
                cures: &[(Replace, $front)],
                apply: |knobs, volts| knobs.front_bias_v[$bank] = volts,
            },
            Entry {
                part: $front,
                kind: "shifted",
                size: Size::Amount { unit: "%", range: [-5.0, 5.0] },
                description: concat!(
                    "front oxygen sensor", $of, " is poisoned so that it takes the mixture for richer than it is by this, or for leaner if negative; it \
                     switches as fast as ever"
                ),
                set: concat!("the front oxygen sensor", $of, " is off by {} of lambda"),
                seen: concat!("a coat on the tip of the front oxygen sensor", $of),
                cures: &[(Replace, $front)],
                apply: |knobs, percent| knobs.front_shift[$bank] = 0.01 * percent,
            },
            Entry {
                part: $front,
                kind: "heater-open",
                size: Size::None,
                description: concat!("heater of the front oxygen sensor", $of, " is burnt out"),
                set: concat!("the heater of the front oxygen sensor", $of, " is burnt out"),
                seen: "",
                cures: &[(Replace, $front)],
                apply: |knobs, _| knobs.heater_open[$bank][0] = true,
            },
            Entry {
                part: $rear,
                kind: "lazy",
                size: Size::Amount { unit: "x", range: [1.5, 15.0] },
                description: concat!("rear oxygen sensor", $of, " is poisoned or old: it takes so many times as long as a new one"),
                set: concat!("the rear oxygen sensor", $of, " is slow: {} the time of a new one"),
                seen: concat!("a white coat on the tip of the rear oxygen sensor", $of),
                cures: &[(Replace, $rear)],
                apply: |knobs, factor| knobs.rear_lag[$bank] = factor,
            },
            Entry {
                part: $rear,
                kind: "stuck",
                size: Size::Amount { unit: "V", range: [0.0, 1.2] },
                description: concat!("rear oxygen sensor", $of, " always gives this"),
                set: concat!("the rear oxygen sensor", $of, " is stuck at {}"),
                seen: "",
                cures: &[(Replace, $rear)],
                apply: |knobs, volts| knobs.rear_stuck_v[$bank] = Some(volts),
            },
            Entry {
                part: $rear,
                kind: "dead",
                size: Size::None,
                description: concat!("rear oxygen sensor", $of, " is open inside: the ECU sees its own bias voltage"),
                set: concat!("the rear oxygen sensor", $of, " is open inside"),
                seen: "",
                cures: &[(Replace, $rear)],
                apply: |knobs, _| knobs.rear_stuck_v[$bank] = Some(0.45),
            },
            Entry {
                part: $rear,
                kind: "heater-open",
                size: Size::None,
                description: concat!("heater of the rear oxygen sensor", $of, " is burnt out"),
                set: concat!("the heater of the rear oxygen sensor", $of, " is burnt out"),
                seen: "",
                cures: &[(Replace, $rear)],
                apply: |knobs, _| knobs.heater_open[$bank][1] = true,
            },
            Entry {
                part: $catalyst,
                kind: "aged",
                size: Size::Amount { unit: "g", range: [0.005, 0.5] },
                description: concat!("catalyst", $of, " holds only this much oxygen; a used but healthy one", $good),
                set: concat!("the catalyst", $of, " holds only {} of oxygen"),
                seen: "",
                cures: &[(Replace, $catalyst)],
                apply: |knobs, grams| knobs.oxygen_capacity_g[$bank] = Some(grams),
            },
            Entry {
                part: $catalyst,
                kind: "melted",
                size: Size::Amount { unit: "kPa", range: [20.0, 150.0] },
                description: concat!(
                    "catalyst", $of, " has melted, by misfires as a rule: this back pressure at 75 g/s instead of 12 kPa, and hardly any \
                     oxygen held"
                ),
                set: concat!("the catalyst", $of, " has melted: {} of back pressure at 75 g/s"),
                seen: concat!("the catalyst", $of, " rattles, and little comes out of the tailpipe"),
                cures: &[(Replace, $catalyst)],
                apply: |knobs, kilopascals| {
                    knobs.back_pressure = knobs.back_pressure.max(kilopascals / FREE);
                    let left = knobs.oxygen_capacity_g[$bank].unwrap_or(MELTED);
                    knobs.oxygen_capacity_g[$bank] = Some(left.min(MELTED));
                },
            },
            Entry {
                part: $manifold,
                kind: "leak",
                size: Size::Amount { unit: "mm", range: [1.0, 10.0] },
                description: concat!(
                    "gasket of the exhaust manifold", $of, " leaks ahead of the front oxygen sensor: air comes in between the pulses"
                ),
                set: concat!("the exhaust manifold", $of, " leaks through a hole of {}"),
                seen: concat!(
                    "soot beside the gasket of the exhaust manifold", $of, "; smoke blown into the tailpipe comes out of a hole of about {}"
                ),
                cures: &[(Replace, $manifold), (Tighten, $manifold)],
                apply: |knobs, millimetres| knobs.exhaust_hole_mm[$bank] = millimetres,
            },
            Entry {
                part: $joint,
                kind: "leak",
                size: Size::Amount { unit: "mm", range: [1.0, 10.0] },
                description: concat!(
                    "joint of the exhaust pipe behind the catalyst", $of, " leaks ahead of the rear oxygen sensor, which sees the air that comes in"
                ),
                set: concat!("the exhaust joint behind the catalyst", $of, " leaks through a hole of {}"),
                seen: concat!(
                    "soot at the joint behind the catalyst", $of, "; smoke blown into the tailpipe comes out of a hole of about {}"
                ),
                cures: &[(Replace, $joint), (Tighten, $joint)],
                apply: |knobs, millimetres| knobs.joint_hole_mm[$bank] = millimetres,
            },
        )*];
    };
}

banks! {
    0 "": FrontOxygenSensor RearOxygenSensor Catalyst ExhaustManifold ExhaustJoint,
        " holds 0.6 g";
    1 " of bank 2": FrontOxygenSensor2 RearOxygenSensor2 Catalyst2 ExhaustManifold2 ExhaustJoint2,
        " of half a six-cylinder, 0.375 g";
}
