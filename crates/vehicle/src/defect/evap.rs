//! Defects of the evaporative system: holes in the vapour space, valves. Sizes of valves are the middle of what such
//! valves show (our choice).

use core::f64::consts::FRAC_PI_4;

use super::{
    Entry,
    Part::{FillerNeck, FuelCap, PurgeValve, VentValve},
    Size,
    Work::{Replace, Tighten},
};
/// Area of a round hole of so many millimetres, m².
fn round(millimetres: f64) -> f64 {
    FRAC_PI_4 * millimetres * millimetres * 1e-6
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
        part: PurgeValve,
        kind: "stuck-shut",
        size: Size::None,
        description: "purge valve does not open: no vapour reaches the engine",
        set: "the purge valve stays shut",
        seen: "with current on it the purge valve lets no air through",
        cures: &[(Replace, PurgeValve)],
        apply: |knobs, _| knobs.purge_share = 0.0,
    },
    Entry {
        part: PurgeValve,
        kind: "leaking",
        size: Size::None,
        description: "purge valve does not shut: the engine draws on the tank all the time",
        set: "the purge valve does not shut",
        seen: "without current the purge valve lets air through",
        cures: &[(Replace, PurgeValve)],
        apply: |knobs, _| knobs.purge_leak_mm2 = 1.0,
    },
    Entry {
        part: VentValve,
        kind: "stuck-open",
        size: Size::None,
        description: "vent valve does not shut: the tank cannot be sealed",
        set: "the vent valve stays open",
        seen: "with current on it the vent valve still lets air through",
        cures: &[(Replace, VentValve)],
        apply: |knobs, _| knobs.vent_hole_mm = 9.0,
    },
    Entry {
        part: VentValve,
        kind: "stuck-shut",
        size: Size::None,
        description: "vent valve does not open: no air follows what is drawn from the tank",
        set: "the vent valve stays shut",
        seen: "without current the vent valve lets no air through",
        cures: &[(Replace, VentValve)],
        apply: |knobs, _| knobs.vent_mm2 = Some(0.1),
    },
];
