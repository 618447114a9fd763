//! The format of scenario files as one table: the reader takes its keys from it, and the schema for editors is made
//! of it.

/// A table of the format.
#[derive(Debug)]
pub struct Table {
    /// Its name; empty for the top of the file.
    pub name: &'static str,
    /// Whether there may be several of it, `[[name]]`.
    pub repeats: bool,
    /// How many there may be of it.
    pub most: usize,
    /// Whether it has to be there.
    pub needed: bool,
    /// What it is for.
    pub about: &'static str,
    /// Its keys.
    pub keys: &'static [Key],
}

/// A key of a table.
#[derive(Debug)]
pub struct Key {
    /// Its name.
    pub name: &'static str,
    /// Whether it has to be there; of a cause and a correction, both or none.
    pub required: bool,
    /// What it holds.
    pub value: Value,
    /// What it is for.
    pub about: &'static str,
}

/// What a key holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    /// The version of the format.
    Version,
    /// One line of text.
    Line,
    /// A text.
    Text,
    /// The name of a vehicle.
    Vehicle,
    /// The name of a regulation.
    Regulation,
    /// `true` or `false`.
    Flag,
    /// A whole number in these limits.
    Whole(u64, u64),
    /// A number with a unit of time.
    Time,
    /// What a cue waits for.
    Event,
    /// Phrases, one a line.
    Script,
    /// Trouble codes.
    Codes,
    /// A trouble code of a maker's own.
    MakerCode,
    /// A trouble code that the ECU watches for.
    WatchedCode,
    /// A number with a unit, as a string.
    Amount(&'static Amount),
    /// A number in these limits.
    Number(f64, f64),
    /// A list of numbers in these limits; fewest and most of them.
    Numbers([f64; 2], [usize; 2]),
    /// A list of cylinders; fewest and most of them.
    Cylinders([usize; 2]),
    /// One of these words.
    Word(&'static [&'static str]),
    /// A vehicle identification number.
    Vin,
    /// Capital letters, digits and hyphens, at most so many.
    Label(usize),
    /// A string that this regular expression fits.
    Pattern(&'static str),
    /// One of these whole numbers.
    OneOf(&'static [u64]),
}

/// An amount that has a unit.
#[derive(Debug, PartialEq)]
pub struct Amount {
    /// The units, and what one of each is in the first.
    pub units: &'static [(&'static str, f64)],
    /// Least and most, in the first unit.
    pub range: [f64; 2],
}

pub(crate) const fn key(name: &'static str, required: bool, value: Value, about: &'static str) -> Key {
    Key {
        name,
        required,
        value,
        about,
    }
}

/// The largest seed: TOML promises 64 bits with a sign, so every reader can write it down again.
pub const SEED_MOST: u64 = i64::MAX as u64;

/// All tables of a scenario; that of the top of the file comes first.
pub static TABLES: &[Table] = &[
    Table {
        name: "",
        repeats: false,
        most: 1,
        needed: false,
        about: "a scenario: one car, what happened to it, and what must be true at the end",
        keys: &[
            key("version", true, Value::Version, "version of this format"),
            key("title", true, Value::Line, "what it is called, one line"),
            key("vehicle", true, Value::Vehicle, "the car"),
            key(
                "regulation",
                false,
                Value::Regulation,
                "the regulation that the car's fault memory follows; the vehicle's own if left out",
            ),
            key(
                "readiness-display",
                false,
                Value::Flag,
                "whether the lamp shows readiness after its check at key-on; false if left out",
            ),
            key(
                "broadcasts",
                false,
                Value::Flag,
                "whether `run` puts the control units' periodic messages on the bus; false if left out",
            ),
            key(
                "seed",
                false,
                Value::Whole(0, SEED_MOST),
                "of everything random; 1 if left out",
            ),
        ],
    },
    Table {
        name: "repair-order",
        repeats: false,
        most: 1,
        needed: false,
        about: "the trade's three Cs",
        keys: &[
            key("complaint", true, Value::Text, "what the customer says"),
            key(
                "cause",
                false,
                Value::Script,
                "what is wrong: phrases that break something, one a line; with a correction or not at all",
            ),
            key(
                "correction",
                false,
                Value::Script,
                "what mends it: work on parts and wires, one a line; with a cause or not at all",
            ),
            key(
                "codes",
                false,
                Value::Codes,
                "the codes that the story leaves stored, and no others, one after the other",
            ),
            key(
                "symptom",
                false,
                Value::Script,
                "what the broken car shows and the mended one does not: expectations of `live`, `freeze-frame` and \
                 `measured` values, one a line",
            ),
            key(
                "traps",
                false,
                Value::Script,
                "wrong repairs that are often made, one a line: each costs parts and time and mends nothing",
            ),
            key(
                "proof",
                false,
                Value::Script,
                "what proves the repair after a clear: soaks and drives, one a line; a cold start with the city and the \
                 highway schedule if left out",
            ),
        ],
    },
    Table {
        name: "story",
        repeats: false,
        most: 1,
        needed: false,
        about: "what the car has behind it",
        keys: &[key(
            "before",
            true,
            Value::Script,
            "phrases lived through at full speed before the bus comes up, one a line",
        )],
    },
    Table {
        name: "when",
        repeats: true,
        most: crate::limits::CUES,
        needed: false,
        about: "a cue: phrases carried out on an event while the car is on the bus",
        keys: &[
            key(
                "event",
                true,
                Value::Event,
                "what it waits for, see `list events`",
            ),
            key(
                "after",
                false,
                Value::Time,
                "how much of the car's time after that; at once if left out",
            ),
            key(
                "times",
                false,
                Value::Whole(1, crate::limits::CUE_TIMES),
                "how often at the most; once if left out",
            ),
            key("do", true, Value::Script, "the phrases, one a line"),
        ],
    },
    Table {
        name: "verdict",
        repeats: false,
        most: 1,
        needed: false,
        about: "what is judged at the end",
        keys: &[key(
            "expect",
            true,
            Value::Script,
            "expectations of the car and of the tool, one a line",
        )],
    },
];

/// A table of a format by its name.
pub(super) fn find(tables: &'static [Table], name: &str) -> Option<&'static Table> {
    tables.iter().find(|table| table.name == name)
}

/// The names of everything that may stand in a table of a format: at the top, also those of the other tables.
pub(super) fn names(tables: &'static [Table], table: &'static Table) -> impl Iterator<Item = &'static str> {
    let tables = tables
        .iter()
        .map(|table| table.name)
        .filter(move |name| table.name.is_empty() && !name.is_empty());
    table.keys.iter().map(|key| key.name).chain(tables)
}
