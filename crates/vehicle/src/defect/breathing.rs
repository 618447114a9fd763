//! Defects of exhaust-gas recirculation and of the intake cam's phaser. Ranges as published service information describes
//! such faults, or wider (our choice).

use super::{
    Entry,
    Part::{CamPhaser, EgrPassage, EgrValve, OilStrainer},
    Size,
    Work::{Clean, Replace},
};

pub(super) static ENTRIES: &[Entry] = &[
    Entry {
        part: EgrPassage,
        kind: "blocked",
        size: Size::Amount {
            unit: "%",
            range: [60.0, 100.0],
        },
        description: "passage behind the EGR valve choked with carbon: so much of its area is gone",
        set: "carbon has closed {} of the EGR passage",
        seen: "with the EGR valve off, the passage behind it shows hard carbon over about {} of its area",
        cures: &[(Clean, EgrPassage)],
        apply: |knobs, percent| knobs.recirculation_passage = 1.0 - 0.01 * percent,
    },
    Entry {
        part: EgrValve,
        kind: "stuck-shut",
        size: Size::None,
        description: "stem of the EGR valve seized: it does not open",
        set: "the stem of the EGR valve is seized on its seat",
        seen: "under 12 V the stem of the EGR valve does not move: it is seized with carbon",
        cures: &[(Replace, EgrValve), (Clean, EgrValve)],
        apply: |knobs, _| knobs.recirculation_travel = 0.0,
    },
    Entry {
        part: EgrValve,
        kind: "leaking",
        size: Size::Amount {
            unit: "mm2",
            range: [1.0, 8.0],
        },
        description: "carbon on the seat of the EGR valve: shut, it still lets exhaust through",
        set: "the EGR valve does not shut: {} stay open",
        seen: "a flake of carbon between stem and seat of the EGR valve holds it open by about {}",
        cures: &[(Clean, EgrValve), (Replace, EgrValve)],
        apply: |knobs, area| knobs.recirculation_leak_mm2 = area,
    },
    Entry {
        part: CamPhaser,
        kind: "slow",
        size: Size::Amount {
            unit: "deg/s",
            range: [2.0, 40.0],
        },
        description: "phaser of the intake cam worn: it turns at this rate at most (a good one: 100 deg/s)",
        set: "the phaser of the intake cam turns at {} at most",
        seen: "oil pressed into the phaser of the intake cam leaks past its vanes: it turns sluggishly, about {}",
        cures: &[(Replace, CamPhaser)],
        apply: |knobs, rate| knobs.phaser_slew = Some(rate),
    },
    Entry {
        part: CamPhaser,
        kind: "stuck",
        size: Size::Amount {
            unit: "deg",
            range: [0.0, 25.0],
        },
        description: "phaser of the intake cam stuck at this advance",
        set: "the phaser of the intake cam is stuck {} ahead",
        seen: "the marks of the intake cam stand {} ahead, and its phaser cannot be turned by hand",
        cures: &[(Replace, CamPhaser)],
        apply: |knobs, degrees| knobs.phaser_stuck = Some(degrees),
    },
    Entry {
        part: OilStrainer,
        kind: "blocked",
        size: Size::Amount {
            unit: "%",
            range: [10.0, 100.0],
        },
        description: "sludge in the strainer of the oil control valve: starves the cam's phaser in cold oil, less in hot",
        set: "sludge has closed {} of the strainer of the oil control valve",
        seen: "the strainer of the oil control valve is coated with sludge over about {} of its mesh",
        cures: &[(Clean, OilStrainer), (Replace, OilStrainer)],
        apply: |knobs, percent| knobs.oil_strainer = 0.01 * percent,
    },
];
