//! Defects of exhaust-gas recirculation and of the intake cam's phaser. Ranges as published service information describes
//! such faults, or wider (our choice).

use super::{
    Entry,
    Part::{CamPhaser, CamPhaser2, EgrPassage, EgrValve, OilStrainer, OilStrainer2},
    Size,
    Work::{Clean, Replace},
};

/// Phaser and strainer of a bank's intake cam: the bank's number from 0 on, and how cam and oil control valve are called.
macro_rules! cam {
    ($phaser:ident, $strainer:ident, $bank:literal, $of:literal, $valve:literal) => {
        [
            Entry {
                part: $phaser,
                kind: "slow",
                size: Size::Amount {
                    unit: "deg/s",
                    range: [2.0, 40.0],
                },
                description: concat!(
                    "phaser of ",
                    $of,
                    " worn: it turns at this rate at most (a good one: 100 deg/s)"
                ),
                set: concat!("the phaser of ", $of, " turns at {} at most"),
                seen: concat!(
                    "oil pressed into the phaser of ",
                    $of,
                    " leaks past its vanes: it turns sluggishly, about {}"
                ),
                cures: &[(Replace, $phaser)],
                apply: |knobs, rate| knobs.phaser_slew[$bank] = Some(rate),
            },
            Entry {
                part: $phaser,
                kind: "stuck",
                size: Size::Amount {
                    unit: "deg",
                    range: [0.0, 25.0],
                },
                description: concat!("phaser of ", $of, " stuck at this advance"),
                set: concat!("the phaser of ", $of, " is stuck {} ahead"),
                seen: concat!(
                    "the marks of ",
                    $of,
                    " stand {} ahead, and its phaser cannot be turned by hand"
                ),
                cures: &[(Replace, $phaser)],
                apply: |knobs, degrees| knobs.phaser_stuck[$bank] = Some(degrees),
            },
            Entry {
                part: $strainer,
                kind: "blocked",
                size: Size::Amount {
                    unit: "%",
                    range: [10.0, 100.0],
                },
                description: concat!(
                    "sludge in the strainer of ",
                    $valve,
                    ": starves the cam's phaser in cold oil, less in hot"
                ),
                set: concat!("sludge has closed {} of the strainer of ", $valve),
                seen: concat!(
                    "the strainer of ",
                    $valve,
                    " is coated with sludge over about {} of its mesh"
                ),
                cures: &[(Clean, $strainer), (Replace, $strainer)],
                apply: |knobs, percent| knobs.oil_strainer[$bank] = 0.01 * percent,
            },
        ]
    };
}

/// Of bank 1, or of the only one.
pub(super) static CAM: &[Entry] = &cam!(
    CamPhaser,
    OilStrainer,
    0,
    "the intake cam",
    "the oil control valve"
);
/// Of bank 2.
pub(super) static CAM_2: &[Entry] = &cam!(
    CamPhaser2,
    OilStrainer2,
    1,
    "bank 2's intake cam",
    "bank 2's oil control valve"
);

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
];
