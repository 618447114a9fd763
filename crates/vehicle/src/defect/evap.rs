//! Defects of the evaporative system and of the fuel level: holes in the vapour space, valves, lines, the sender. A word
//! without an amount stands for the middle of what such parts show (our choice).

use core::f64::consts::FRAC_PI_4;

use super::{
    Entry,
    Part::{FillerNeck, FuelCap, FuelLevelSensor, PurgeLine, PurgeValve, VapourHose, VentFilter, VentValve},
    Size,
    Work::{Clean, Reconnect, Replace, Tighten},
};
use crate::knobs::Knobs;

/// Area of a round hole of so many millimetres, m².
fn round(millimetres: f64) -> f64 {
    FRAC_PI_4 * millimetres * millimetres * 1e-6
}

fn let_through(knobs: &mut Knobs, square_millimetres: f64) {
    let left = knobs.vent_mm2.unwrap_or(f64::INFINITY).min(square_millimetres);
    knobs.vent_mm2 = Some(left);
}

pub(super) static ENTRIES: &[Entry] = &[
    Entry {
        part: FuelCap,
        kind: "loose",
        size: Size::Fixed {
            unit: "mm",
            amount: 8.0,
        },
        description: "fuel cap not tightened after refuelling, or its seal worn",
        set: "the fuel cap is on, but not tight",
        seen: "the fuel cap turns by hand: it was never tightened until it clicks",
        cures: &[(Tighten, FuelCap), (Replace, FuelCap)],
        apply: |knobs, hole| knobs.vapour_holes_m2 += round(hole),
    },
    Entry {
        part: FuelCap,
        kind: "missing",
        size: Size::Fixed {
            unit: "mm",
            amount: 30.0,
        },
        description: "fuel cap left off",
        set: "the fuel cap has been left off",
        seen: "there is no fuel cap on the filler neck",
        cures: &[(Replace, FuelCap)],
        apply: |knobs, hole| knobs.vapour_holes_m2 += round(hole),
    },
    Entry {
        part: FuelCap,
        kind: "worn-seal",
        size: Size::Amount {
            unit: "mm",
            range: [0.25, 15.0],
        },
        description: "seal of the fuel cap hard and cracked: it does not close however tight it is",
        set: "the seal of the fuel cap lets air through as a hole of {} would",
        seen: "the fuel cap clicks, but its seal is hard and cracked; smoke comes out beside it as from a hole of {}",
        cures: &[(Replace, FuelCap)],
        apply: |knobs, hole| knobs.vapour_holes_m2 += round(hole),
    },
    Entry {
        part: FillerNeck,
        kind: "hole",
        size: Size::Amount {
            unit: "mm",
            range: [0.1, 12.0],
        },
        description: "filler neck rusted through or its hose cracked",
        set: "the filler neck has a hole of {}",
        seen: "smoke comes out of the filler neck: a hole of about {}",
        cures: &[(Replace, FillerNeck)],
        apply: |knobs, hole| knobs.vapour_holes_m2 += round(hole),
    },
    Entry {
        part: VapourHose,
        kind: "hole",
        size: Size::Amount {
            unit: "mm",
            range: [0.1, 5.0],
        },
        description: "hose between tank and canister chafed through",
        set: "the vapour hose has a hole of {}",
        seen: "a thread of smoke comes out of the vapour hose: a hole of about {}",
        cures: &[(Replace, VapourHose)],
        apply: |knobs, hole| knobs.vapour_holes_m2 += round(hole),
    },
    Entry {
        part: VapourHose,
        kind: "loose",
        size: Size::Amount {
            unit: "mm",
            range: [0.1, 5.0],
        },
        description: "quick connector of the vapour hose not clicked in",
        set: "a quick connector of the vapour hose has not clicked in: it leaks as a hole of {} would",
        seen: "a thread of smoke comes out of a quick connector of the vapour hose that has not clicked in",
        cures: &[(Reconnect, VapourHose), (Replace, VapourHose)],
        apply: |knobs, hole| knobs.vapour_holes_m2 += round(hole),
    },
    Entry {
        part: PurgeValve,
        kind: "stuck-shut",
        size: Size::None,
        description: "purge valve does not open: no vapour reaches the engine",
        set: "the purge valve stays shut",
        seen: "with current on it the purge valve lets no air through, though its coil has 26 ohm (good: 20 to 30)",
        cures: &[(Replace, PurgeValve)],
        apply: |knobs, _| knobs.purge_share = 0.0,
    },
    Entry {
        part: PurgeValve,
        kind: "leaking",
        size: Size::Fixed {
            unit: "mm2",
            amount: 1.0,
        },
        description: "purge valve does not shut: the engine draws on the tank all the time",
        set: "the purge valve does not shut",
        seen: "without current the purge valve lets air through: a hand vacuum pump on it holds nothing",
        cures: &[(Replace, PurgeValve)],
        apply: |knobs, leak| knobs.purge_leak_mm2 = leak,
    },
    Entry {
        part: PurgeValve,
        kind: "stuck-open",
        size: Size::Amount {
            unit: "mm2",
            range: [0.05, 4.5],
        },
        description: "purge valve stays open by so much when it should be shut; wide open it has 4.5 mm2",
        set: "the purge valve stays open by {}",
        seen: "without current the purge valve lets air through: a hand vacuum pump on it holds nothing",
        cures: &[(Replace, PurgeValve)],
        apply: |knobs, leak| knobs.purge_leak_mm2 = leak,
    },
    Entry {
        part: PurgeLine,
        kind: "blocked",
        size: Size::Amount {
            unit: "%",
            range: [0.0, 50.0],
        },
        description: "line from the canister to the purge valve pinched or full of charcoal: so much of the flow is left",
        set: "of what the purge line should let through {} is left",
        seen: "hardly any of the air blown into the purge line comes out at the canister",
        cures: &[(Clean, PurgeLine), (Replace, PurgeLine)],
        apply: |knobs, left| knobs.purge_share *= left / 100.0,
    },
    Entry {
        part: VentValve,
        kind: "stuck-open",
        size: Size::Fixed {
            unit: "mm",
            amount: 9.0,
        },
        description: "vent valve does not shut: the tank cannot be sealed",
        set: "the vent valve stays open",
        seen: "with current on it the vent valve still lets air through",
        cures: &[(Replace, VentValve)],
        apply: |knobs, hole| knobs.vent_hole_mm = hole,
    },
    Entry {
        part: VentValve,
        kind: "leaking",
        size: Size::Amount {
            unit: "mm",
            range: [0.25, 12.0],
        },
        description: "seat of the vent valve corroded: shut it lets air through as a hole of this size would",
        set: "the vent valve, when shut, lets air through as a hole of {} would",
        seen: "with current on it the vent valve still lets air through; its seat is corroded",
        cures: &[(Replace, VentValve)],
        apply: |knobs, hole| knobs.vent_hole_mm = hole,
    },
    Entry {
        part: VentValve,
        kind: "stuck-shut",
        size: Size::None,
        description: "vent valve does not open: no air follows what is drawn from the tank",
        set: "the vent valve stays shut",
        seen: "without current the vent valve lets no air through",
        cures: &[(Replace, VentValve)],
        apply: |knobs, _| let_through(knobs, 0.1),
    },
    Entry {
        part: VentFilter,
        kind: "blocked",
        size: Size::Amount {
            unit: "mm2",
            range: [0.05, 20.0],
        },
        description: "vent filter full of dust and spider webs: so much of its way is left, of 65 mm2",
        set: "of the vent filter's way {} is left",
        seen: "the vent filter is full of dust and spider webs: hardly any air goes through",
        cures: &[(Clean, VentFilter), (Replace, VentFilter)],
        apply: let_through,
    },
    Entry {
        part: FuelLevelSensor,
        kind: "stuck",
        size: Size::Amount {
            unit: "%",
            range: [0.0, 100.0],
        },
        description: "float of the fuel level sender stuck: it shows this, whatever is in the tank",
        set: "the fuel level sender shows {}, whatever is in the tank",
        seen: "",
        cures: &[(Replace, FuelLevelSensor)],
        apply: |knobs, level| knobs.level_stuck = Some(level),
    },
];
