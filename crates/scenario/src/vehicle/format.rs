//! The format of vehicle files as one table: the reader takes its keys and limits from it, and the schema for editors
//! is made of it. Limits: the model is calibrated on a car in their middle (our choice).

use crate::file::format::{Amount, Key, Table, Value, key};

/// Forward gears.
pub(super) const GEARS: usize = 6;
/// Most cylinders.
pub(super) const CYLINDERS: usize = 6;
/// The words for the front sensors.
pub(super) const SENSORS: &[&str] = &["narrow-band", "wide-range"];
/// Characters of a calibration's name that are the maker's; the regulation adds four.
pub(super) const CALIBRATION_NAME: usize = 12;

/// Swept volume, l.
pub(super) static DISPLACEMENT: Amount = Amount {
    units: &[("l", 1.0), ("cm3", 1e-3), ("cu in", 0.016_387_064)],
    range: [1.2, 3.6],
};
/// Most codes of the maker's own.
pub(super) const MAKER_CODES: usize = 16;

/// A bore, mm.
pub(super) static BORE: Amount = Amount {
    units: &[("mm", 1.0), ("in", 25.4)],
    range: [40.0, 80.0],
};
/// Flow of an injector, g/s.
pub(super) static INJECTOR: Amount = Amount {
    units: &[("g/s", 1.0), ("lb/min", 453.592_37 / 60.0)],
    range: [1.0, 8.0],
};
/// Oxygen in a catalyst, g.
pub(super) static OXYGEN: Amount = Amount {
    units: &[("g", 1.0)],
    range: [0.05, 2.0],
};
/// Mass of the car, kg.
pub(super) static MASS: Amount = Amount {
    units: &[("kg", 1.0), ("lb", 0.453_592_37)],
    range: [800.0, 2500.0],
};
/// Radius of the tyres, mm.
pub(super) static TYRE: Amount = Amount {
    units: &[("mm", 1.0), ("in", 25.4)],
    range: [240.0, 400.0],
};
/// Content of the tank, l.
pub(super) static TANK: Amount = Amount {
    units: &[("l", 1.0), ("gal", 3.785_411_784)],
    range: [30.0, 90.0],
};

const fn must(name: &'static str, value: Value, about: &'static str) -> Key {
    key(name, true, value, about)
}

const fn may(name: &'static str, value: Value, about: &'static str) -> Key {
    key(name, false, value, about)
}

/// All tables of a vehicle; that of the top of the file comes first.
pub static TABLES: &[Table] = &[
    Table {
        name: "",
        repeats: false,
        most: 1,
        needed: false,
        about: "a car: petrol engine, automatic gearbox, and what its engine ECU is told of it",
        keys: &[
            must("version", Value::Version, "version of this format"),
            must("title", Value::Line, "what it is, one line"),
            may(
                "regulation",
                Value::Regulation,
                "the regulation that its fault memory follows where a scenario names none; us-2010 if left out",
            ),
        ],
    },
    Table {
        name: "engine",
        repeats: false,
        most: 1,
        needed: true,
        about: "the engine; car and ECU are told the same",
        keys: &[
            must("displacement", Value::Amount(&DISPLACEMENT), "swept volume"),
            must(
                "firing-order",
                Value::Cylinders([3, CYLINDERS]),
                "the cylinders in the order in which they fire",
            ),
            may(
                "bank-2",
                Value::Cylinders([1, CYLINDERS / 2]),
                "the cylinders of bank 2, half of all and not the first; one bank if left out",
            ),
            must("throttle-bore", Value::Amount(&BORE), "bore of the throttle body"),
            must(
                "injector-flow",
                Value::Amount(&INJECTOR),
                "flow of one injector at 421 kPa, rail against manifold at idle",
            ),
            may(
                "exhaust-gas-recirculation",
                Value::Flag,
                "whether a valve recirculates exhaust gas; true if left out",
            ),
            may(
                "cam-phaser",
                Value::Flag,
                "whether the intake cam has a phaser; true if left out",
            ),
        ],
    },
    Table {
        name: "exhaust",
        repeats: false,
        most: 1,
        needed: true,
        about: "sensors and catalysts, alike on each bank",
        keys: &[
            may(
                "front-sensor",
                Value::Word(SENSORS),
                "kind of the oxygen sensors before the catalysts; narrow-band if left out",
            ),
            must(
                "oxygen-capacity",
                Value::Amount(&OXYGEN),
                "oxygen that the catalyst of each bank holds when hot: used but healthy",
            ),
        ],
    },
    Table {
        name: "body",
        repeats: false,
        most: 1,
        needed: true,
        about: "the car around the engine",
        keys: &[
            must("mass", Value::Amount(&MASS), "test mass, driver included"),
            must(
                "road-load",
                Value::Numbers([0.0, 1000.0], [3, 3]),
                "force on the level: N, N s/m, N s2/m2",
            ),
            must(
                "gear-ratios",
                Value::Numbers([0.3, 7.0], [GEARS, GEARS]),
                "ratios of the six gears, the first first",
            ),
            must("final-drive", Value::Number(1.5, 7.0), "ratio of the final drive"),
            must("tyre-radius", Value::Amount(&TYRE), "rolling radius of the tyres"),
            must("tank", Value::Amount(&TANK), "nominal content of the tank"),
        ],
    },
    Table {
        name: "identity",
        repeats: false,
        most: 1,
        needed: true,
        about: "what the ECU says it is (service $09)",
        keys: &[
            must(
                "vin",
                Value::Vin,
                "vehicle identification number with its check digit; invented ones begin with 0",
            ),
            must(
                "calibration",
                Value::Label(CALIBRATION_NAME),
                "beginning of the calibration's name; the regulation adds four characters",
            ),
        ],
    },
    Table {
        name: "averaging",
        repeats: false,
        most: 1,
        needed: false,
        about: "which monitors of the ECU judge the mean of their results over driving cycles: a new one weighs 0.3, the first \
                after a clear all; the others judge each result by itself",
        keys: &[
            may(
                "engine-off-leak",
                Value::Flag,
                "leak test of the parked car (P0456), which wants four results then; true if left out",
            ),
            may(
                "leak",
                Value::Flag,
                "leak test with the engine running: the size of the hole (P0442); false if left out",
            ),
            may(
                "catalyst",
                Value::Flag,
                "catalysts (P0420, P0430); false if left out",
            ),
            may(
                "front-sensor",
                Value::Flag,
                "response of the front oxygen sensors (P0133, P0153); false if left out",
            ),
            may(
                "egr-flow",
                Value::Flag,
                "flow of recirculated exhaust (P0401); false if left out",
            ),
        ],
    },
    Table {
        name: "maker-code",
        repeats: true,
        most: MAKER_CODES,
        needed: false,
        about: "a trouble code of the maker's own",
        keys: &[
            must("code", Value::MakerCode, "P1000 to P1FFF or P3000 to P33FF"),
            may(
                "meaning",
                Value::Line,
                "what it means; a code without a public definition if left out",
            ),
            may(
                "with",
                Value::WatchedCode,
                "the code of the standard that it is set beside, by the same monitor; only `preload` sets it if left out",
            ),
        ],
    },
];
