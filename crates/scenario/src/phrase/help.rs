//! What can be said, for `twotrip list phrases`.

/// One kind of phrase, explained.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Help {
    /// How it is written: capitals stand for what the writer fills in, `|` parts choices.
    pub pattern: &'static str,
    /// What it does, one line.
    pub meaning: &'static str,
    /// A phrase that parses.
    pub example: &'static str,
}

const fn help(pattern: &'static str, meaning: &'static str, example: &'static str) -> Help {
    Help {
        pattern,
        meaning,
        example,
    }
}

/// All kinds of phrases, in the order in which a scenario uses them.
pub const HELP: &[Help] = &[
    help(
        "ambient TEMPERATURE",
        "the air around the car gets this warm, in C or F",
        "ambient 18 C",
    ),
    help(
        "altitude HEIGHT",
        "the car is this high above the sea, in m or ft",
        "altitude 300 m",
    ),
    help(
        "refuel to LEVEL",
        "fill the tank to this share of it",
        "refuel to 60 %",
    ),
    help(
        "key on | off",
        "turn the ignition key; off ends the driving cycle",
        "key on",
    ),
    help("start", "start the engine", "start"),
    help("stop", "stop the engine; ends the driving cycle", "stop"),
    help(
        "drive udds | hwfet",
        "drive a US EPA schedule: city or highway",
        "drive udds",
    ),
    help(
        "drive LEG, LEG ..",
        "drive a plan of your own",
        "drive idle 60 s, 50 km/h for 5 min, stop",
    ),
    help(
        "soak TIME",
        "leave the car parked with the key off, in s, min, h or d",
        "soak 9 h",
    ),
    help("wait TIME", "let time pass with everything as it is", "wait 10 s"),
    help(
        "defect PART STATE",
        "break something physical, see `list defects`",
        "defect fuel-cap loose",
    ),
    help(
        "defect PART hole SIZE",
        "make a hole of this diameter, in mm or in",
        "defect filler-neck hole 0.040 in",
    ),
    help(
        "defect wiring CIRCUIT open | short-to-ground | short-to-supply",
        "break a sensor's wire",
        "defect wiring tank-pressure-sensor short-to-ground",
    ),
    help(
        "defect wiring CIRCUIT resistance OHMS",
        "put a resistance into a sensor's wire, in ohm or kohm",
        "defect wiring coolant-sensor resistance 500 ohm",
    ),
    help(
        "defect wiring CIRCUIT bias OFFSET",
        "take a sensor's ground off the ECU's by this much, in V or mV",
        "defect wiring manifold-pressure-sensor bias 0.3 V",
    ),
    help(
        "WORK PART",
        "do this work; it cures only what such work cures",
        "tighten fuel-cap",
    ),
    help(
        "mend wiring CIRCUIT",
        "mend a sensor's wires",
        "mend wiring tank-pressure-sensor",
    ),
    help("inspect PART", "look at a part", "inspect fuel-cap"),
    help(
        "measure CIRCUIT",
        "put a meter on a sensor's wires: volts with the key on, ohms with the key off",
        "measure tank-pressure-sensor",
    ),
    help(
        "preload confirmed | pending CODE ..",
        "write codes into the fault memory: not physical",
        "preload confirmed P0301 P0302",
    ),
    help(
        "override VALUE AMOUNT",
        "pin a reported value: not physical",
        "override engine-speed 3000 rpm",
    ),
    help(
        "release VALUE",
        "let go of a pinned value",
        "release engine-speed",
    ),
    help(
        "expect mil commanded | off",
        "the ECU asks for the lamp, or not",
        "expect mil commanded",
    ),
    help(
        "expect lamp lit | dark",
        "the bulb shines, or not; the key-on check lights it",
        "expect lamp lit",
    ),
    help(
        "expect confirmed | pending | permanent CODE",
        "this code is stored",
        "expect confirmed P0455",
    ),
    help(
        "expect no confirmed | pending | permanent",
        "no such code is stored",
        "expect no pending",
    ),
    help(
        "expect GROUP complete | incomplete",
        "readiness of a group of monitors",
        "expect evap complete",
    ),
];
