//! Defects of single cylinders, and of all at once: plugs, coils, injectors, compression, fuel. Sizes: what workshops
//! meet (common practice, no source).

use super::{
    Entry, Part, Size,
    Work::{Clean, Replace},
};
use crate::knobs::Knobs;

/// One more reason for a cylinder not to fire, in per cent.
fn misses(knobs: &mut Knobs, cylinder: usize, percent: f64) {
    let chance = &mut knobs.misfire[cylinder];
    *chance = 1.0 - (1.0 - *chance) * (1.0 - 0.01 * percent);
}

/// The rows of each cylinder, and those of all.
macro_rules! cylinders {
    ($($number:literal: $plug:ident $coil:ident $injector:ident $valve:ident;)* all: $($other:expr,)*) => {
        pub(super) static ENTRIES: &[Entry] = &[$(
            Entry {
                part: Part::$plug,
                kind: "worn",
                size: Size::Amount { unit: "%", range: [2.0, 100.0] },
                description: "spark plug with a worn gap or a cracked insulator: so many of its cylinder's firings fail",
                set: concat!("spark plug ", $number, " is worn: {} of its firings fail"),
                seen: concat!("spark plug ", $number, " is wet with fuel, its gap is wide and its insulator has a dark track"),
                cures: &[(Replace, Part::$plug), (Replace, Part::SparkPlugs)],
                apply: |knobs, percent| misses(knobs, $number - 1, percent),
            },
            Entry {
                part: Part::$coil,
                kind: "weak",
                size: Size::Amount { unit: "%", range: [2.0, 100.0] },
                description: "ignition coil with a crack or a break in its winding: so many of its cylinder's firings fail",
                set: concat!("ignition coil ", $number, " is weak: {} of its firings fail"),
                seen: "",
                cures: &[(Replace, Part::$coil)],
                apply: |knobs, percent| misses(knobs, $number - 1, percent),
            },
            Entry {
                part: Part::$coil,
                kind: "open",
                size: Size::None,
                description: "ignition coil whose primary winding or plug is broken: no spark, and no current for its driver",
                set: concat!("the primary winding of ignition coil ", $number, " is broken"),
                seen: "the primary winding has no connection (good: 0.5 to 0.8 ohm)",
                cures: &[(Replace, Part::$coil)],
                apply: |knobs, _| knobs.coil_open[$number - 1] = true,
            },
            Entry {
                part: Part::$injector,
                kind: "clogged",
                size: Size::Amount { unit: "%", range: [40.0, 95.0] },
                description: "injector with deposits: it passes so much of what it should",
                set: concat!("injector ", $number, " passes only {} of its fuel"),
                seen: "pulsed as long as the others, the injector lets the rail's pressure fall by only {} of what they do",
                cures: &[(Clean, Part::$injector), (Replace, Part::$injector)],
                apply: |knobs, percent| knobs.injector[$number - 1] = 0.01 * percent,
            },
            Entry {
                part: Part::$valve,
                kind: "burnt",
                size: Size::Amount { unit: "%", range: [20.0, 90.0] },
                description: "exhaust valve that does not seal: so much of the compression is left",
                set: concat!("an exhaust valve of cylinder ", $number, " is burnt: {} of the compression is left"),
                seen: "a compression test shows {} of the 12 bar of a good cylinder, and air from the hose comes out of the tailpipe",
                cures: &[(Replace, Part::$valve)],
                apply: |knobs, percent| knobs.compression[$number - 1] = 0.01 * percent,
            },
        )* $($other,)*];
    };
}

cylinders! {
    1: SparkPlug1 Coil1 Injector1 ExhaustValve1;
    2: SparkPlug2 Coil2 Injector2 ExhaustValve2;
    3: SparkPlug3 Coil3 Injector3 ExhaustValve3;
    4: SparkPlug4 Coil4 Injector4 ExhaustValve4;
    5: SparkPlug5 Coil5 Injector5 ExhaustValve5;
    6: SparkPlug6 Coil6 Injector6 ExhaustValve6;
    all:
    Entry {
        part: Part::SparkPlugs,
        kind: "worn",
        size: Size::Amount { unit: "%", range: [1.0, 30.0] },
        description: "all spark plugs are beyond their age: so many firings fail, in any cylinder",
        set: "all spark plugs are worn: {} of the firings fail",
        seen: "the spark plugs are rounded off, their gaps are far too wide",
        cures: &[(Replace, Part::SparkPlugs)],
        apply: |knobs, percent| (0..knobs.misfire.len()).for_each(|cylinder| misses(knobs, cylinder, percent)),
    },
    Entry {
        part: Part::Fuel,
        kind: "stale",
        size: Size::Amount { unit: "%", range: [1.0, 15.0] },
        description: "old petrol with water in it: so many firings fail, in any cylinder",
        set: "the fuel is stale, with water in it: {} of the firings fail",
        seen: "the fuel smells of varnish, and water settles under it in a glass",
        cures: &[(Replace, Part::Fuel)],
        apply: |knobs, percent| (0..knobs.misfire.len()).for_each(|cylinder| misses(knobs, cylinder, percent)),
    },
}
