//! The format of vehicle files as one table: the reader takes its keys and limits from it, and the schema for editors
//! is made of it. Limits: the model is calibrated on a car in their middle (our choice).

use twotrip_obd::Dialect;

use crate::{
    file::format::{Amount, Key, Table, Value, key},
    vehicle::ecus::Identifiers,
};

/// Forward gears.
pub(super) const GEARS: usize = 6;
/// Most cylinders.
pub(super) const CYLINDERS: usize = 6;
/// The words for the dialects.
pub(super) const PROTOCOLS: &[&str] = &[Dialect::Classic.name(), Dialect::OnUds.name()];
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
/// Delay of an answer, ms.
pub(super) static DELAY: Amount = Amount {
    units: &[("ms", 1.0)],
    range: [0.0, 40.0],
};
/// What a delay varies by, ms.
pub(super) static JITTER: Amount = Amount {
    units: &[("ms", 1.0)],
    range: [0.0, 40.0],
};
/// Sizes of identifiers.
pub(super) static IDENTIFIERS: [&str; 2] = [Identifiers::ALL[0].word(), Identifiers::ALL[1].word()];
/// Bit rates, kbit/s.
pub(super) static BIT_RATES: [u64; 2] = [250, 500];
/// Most ECUs of a vehicle (ISO 15765-4, from memory).
pub(super) const ECUS: usize = 8;
/// The words for what an ECU is.
pub(super) static ROLES: [&str; 3] = ["engine", "transmission", "listed"];
/// Characters of the acronym of an ECU's name, and of the text behind it (SAE J1979, InfoType $0A, from memory).
pub(super) const ACRONYM: usize = 4;
pub(super) const ECU_NAME: usize = 15;
/// Characters of the calibration of a listed ECU: all of InfoType $04.
pub(super) const LISTED_CALIBRATION: usize = 16;
/// Most parameters of a listed ECU.
pub(super) const PARAMETERS: usize = 100;

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
                "protocol",
                Value::Word(PROTOCOLS),
                "the standard by which its ECUs are asked: SAE J1979, or SAE J1979-2 (OBD on UDS); j1979 if left out",
            ),
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
    Table {
        name: "bus",
        repeats: false,
        most: 1,
        needed: false,
        about: "the bus of its diagnostics",
        keys: &[
            may(
                "identifiers",
                Value::Word(&IDENTIFIERS),
                "their size, the car ignores the other: 11-bit (7DF, 7E0 to 7EF) if left out, or 29-bit (18DB33F1, 18DAxxF1, \
                 18DAF1xx)",
            ),
            may(
                "bit-rate",
                Value::OneOf(&BIT_RATES),
                "kbit/s, where the bus itself has none; 500 if left out",
            ),
        ],
    },
    Table {
        name: "ecu",
        repeats: true,
        most: ECUS,
        needed: false,
        about: "an ECU on that bus, the engine's first; the engine's alone if left out",
        keys: &[
            must(
                "role",
                Value::Word(&ROLES),
                "engine; transmission: it commands the gearbox, and has codes of its own; or listed: it says what stands here and \
                 finds out nothing by itself",
            ),
            may(
                "request",
                Value::Pattern("^7E[0-7]$"),
                "identifier of requests to it on 11 bits, it answers by the one 8 above; 7E0 for the engine's, for others the \
                 next that is free, from 7E1 on",
            ),
            may(
                "address",
                Value::Pattern("^[0-9A-F]{2}$"),
                "its address on 29 bits; 10 for the engine's, 18 for the transmission's, for listed ones from 40 on",
            ),
            may(
                "reply-delay",
                Value::Amount(&DELAY),
                "least time from a request to its answer; 2 to 8 ms as it comes if left out",
            ),
            may(
                "jitter",
                Value::Amount(&JITTER),
                "how much longer an answer takes at the most; nothing if left out",
            ),
            may(
                "acronym",
                Value::Pattern("^[A-Z0-9]{1,4}$"),
                "of a listed one: the beginning of its name (service $09), such as BCM",
            ),
            may(
                "name",
                Value::Pattern("^[ -~]{1,15}$"),
                "of a listed one: the rest of its name, such as BodyControl",
            ),
            may(
                "calibration",
                Value::Label(LISTED_CALIBRATION),
                "of a listed one: its calibration's name (service $09)",
            ),
            may(
                "services",
                Value::Pattern(r"^\s*(0[13479A]|1[049]|22|3E)(\s+(0[13479A]|1[049]|22|3E))*\s*$"),
                "of a listed one: its services, of 01 03 04 07 09 0A, or by SAE J1979-2 of 10 14 19 22 3E; all of them if left out",
            ),
            may(
                "data",
                Value::Text,
                "of a listed one: its parameters of service $01, one a line, as in `42 13.8 V`, `24 0.99, 2.5 V` or `9A hex 03 00`",
            ),
            may(
                "confirmed",
                Value::Codes,
                "of a listed one: confirmed codes that it begins with: not physical",
            ),
            may(
                "pending",
                Value::Codes,
                "of a listed one: pending codes that it begins with: not physical",
            ),
            may(
                "permanent",
                Value::Codes,
                "of a listed one: permanent codes, which stay: not physical",
            ),
        ],
    },
];
