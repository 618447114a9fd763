//! All that can be said, as one table: the parser, the help and the lists of known words are read from it.

use twotrip_harness::{Signal, Wire, WiringFault, WiringFaultKind};
use twotrip_obd::Group;
use twotrip_vehicle::{
    Surface,
    schedule::{HWFET, UDDS, US06},
};

use super::{
    Claim, CodeList, Comparison, Deed, EcuRef, Expectation, Load, Part, Phrase, Plan, Point, Preload,
    Provocation, Quantity, Source, When, Work,
    amount::Amount,
    code::{self, Code, Codes},
    defect::Physical,
    disturb::{Disturb, KIND},
    ecu::Ecu,
    legs::Legs,
    limit::Limit,
    measure::{ALTITUDE, AMBIENT, BIAS, FILL, LEVEL, PULLED_DOWN, REID, RESISTANCE, SOAK, WAIT, WITHIN},
    rule::{After, AnyOf, Choice, Map, Named, Optional, Rule, Word, keyword},
    swap::{SwappedParts, SwappedWires},
    wiring::WireFault,
};

/// One kind of phrase.
pub(super) struct Form {
    /// How it is read and explained, its first word included.
    pub(super) rule: &'static dyn Rule<Out = Phrase>,
    /// What it does, one line.
    pub(super) meaning: &'static str,
    /// A phrase that parses.
    pub(super) example: &'static str,
}

/// The first word of an expectation's claim.
const fn claim(text: &'static str) -> Word {
    Word {
        text,
        what: "expectation",
    }
}

/// The word for a wiring fault that a size follows.
const fn wiring_fault(kind: WiringFaultKind) -> Word {
    Word {
        text: kind.name(),
        what: "wiring fault",
    }
}

const WIRE: Named<Wire> = Named {
    slot: "WIRE",
    what: "wire",
    all: &Wire::ALL,
    name: Wire::name,
};
const POINT: Named<Point> = Named {
    slot: "POINT",
    what: "point to measure at",
    all: &Point::ALL,
    name: Point::name,
};
const PART: Named<Part> = Named {
    slot: "PART",
    what: "part",
    all: Part::ALL,
    name: Part::name,
};
const LISTS: &[(&str, CodeList)] = &[
    (CodeList::Confirmed.name(), CodeList::Confirmed),
    (CodeList::Pending.name(), CodeList::Pending),
    (CodeList::Permanent.name(), CodeList::Permanent),
];
const LIST: Choice<CodeList> = Choice {
    what: "expectation",
    options: LISTS,
};
/// The word between codes and whose they are.
const IN: Word = keyword(code::END);
/// The words behind a claim, if there are any.
type Time = Map<Optional<AnyOf<When>>, fn(Option<When>) -> When>;

/// When a claim about the car is judged.
const WHEN: Time = Map(
    Optional(AnyOf(&[
        &Map(After(keyword("within"), WITHIN), When::Within),
        &Map(keyword("always"), |()| When::Always),
    ])),
    Option::unwrap_or_default,
);
/// When a claim about the tool is judged.
const SOON: Time = Map(
    Optional(AnyOf(&[&Map(After(keyword("within"), WITHIN), When::Within)])),
    Option::unwrap_or_default,
);
/// What a tool can have done.
const DEED: AnyOf<Deed> = AnyOf(&[
    &After(
        Word {
            text: "read",
            what: "deed of the tool",
        },
        Choice {
            what: "thing to read",
            options: Deed::READINGS,
        },
    ),
    &Map(
        Word {
            text: "cleared",
            what: "deed of the tool",
        },
        |()| Deed::Cleared,
    ),
]);

/// The rule of a claim with its time, given that of the claim.
type Expected<C> = Map<After<Word, (C, Time)>, fn((Claim, When)) -> Phrase>;

/// A claim, and when it is judged.
const fn expect<C>(claim: C, time: Time) -> Expected<C> {
    Map(After(keyword("expect"), (claim, time)), |(claim, when)| {
        Phrase::Expect(Expectation { claim, when })
    })
}

/// All kinds of phrases, in the order in which a scenario uses them.
pub(super) static FORMS: &[Form] = &[
    Form {
        rule: &Map(After(keyword("ambient"), AMBIENT), Phrase::Ambient),
        meaning: "the air around the car gets this warm; it is dry whatever the weather, humidity is left out",
        example: "ambient 18 C",
    },
    Form {
        rule: &After(
            keyword("weather"),
            Choice {
                what: "weather",
                options: &[("rain", Phrase::Rain(true)), ("dry", Phrase::Rain(false))],
            },
        ),
        meaning: "it rains from now on, or no longer: rain and spray wet the wiring, a hot engine and time dry it",
        example: "weather rain",
    },
    Form {
        rule: &Map(keyword("wash"), |()| Phrase::Wash),
        meaning: "hose down the engine bay and the underbody: the wiring is soaked until it has dried",
        example: "wash",
    },
    Form {
        rule: &Map(After(keyword("altitude"), ALTITUDE), Phrase::Altitude),
        meaning: "the car is this high above the sea",
        example: "altitude 300 m",
    },
    Form {
        rule: &Map(
            After(
                keyword("road"),
                Choice {
                    what: "road",
                    options: &[("rough", Surface::Rough), ("smooth", Surface::Smooth)],
                },
            ),
            Phrase::Road,
        ),
        meaning: "the wheels run on such a road: a rough one shakes body and crank, so that misfire cannot be watched, and loose \
                  contacts",
        example: "road rough",
    },
    Form {
        rule: &Map(
            After(keyword("refuel"), After(keyword("to"), FILL)),
            Phrase::Refuel,
        ),
        meaning: "fill the tank to this share of it, or to so much in it",
        example: "refuel to 60 %",
    },
    Form {
        rule: &Map(
            After(keyword("drain"), After(keyword("to"), LEVEL)),
            Phrase::Drain,
        ),
        meaning: "take fuel out of the tank until this share is left",
        example: "drain to 20 %",
    },
    Form {
        rule: &Map(
            After(keyword("fuel"), After(keyword("volatility"), REID)),
            Phrase::Volatility,
        ),
        meaning: "the fuel in the tank has this Reid vapour pressure: about 60 in summer, 100 in winter",
        example: "fuel volatility 62 kPa",
    },
    Form {
        rule: &After(
            keyword("key"),
            Choice {
                what: "key position",
                options: &[("on", Phrase::KeyOn), ("off", Phrase::KeyOff)],
            },
        ),
        meaning: "turn the ignition key; off ends the driving cycle",
        example: "key on",
    },
    Form {
        rule: &Map(keyword("start"), |()| Phrase::Start),
        meaning: "start the engine",
        example: "start",
    },
    Form {
        rule: &Map(keyword("stop"), |()| Phrase::Stop),
        meaning: "stop the engine; ends the driving cycle",
        example: "stop",
    },
    Form {
        rule: &Map(
            After(
                keyword("drive"),
                Choice {
                    what: "drive",
                    options: &[
                        (UDDS.name(), Plan::Schedule(&UDDS)),
                        (HWFET.name(), Plan::Schedule(&HWFET)),
                        (US06.name(), Plan::Schedule(&US06)),
                    ],
                },
            ),
            Phrase::Drive,
        ),
        meaning: "drive a US EPA schedule: city, highway, or fast and hard",
        example: "drive udds",
    },
    Form {
        rule: &Map(After(keyword("drive"), Legs), |legs| {
            Phrase::Drive(Plan::Free(legs))
        }),
        meaning: "drive a plan of your own",
        example: "drive idle 60 s, 50 km/h for 5 min, stop",
    },
    Form {
        rule: &Map(After(keyword("soak"), SOAK), Phrase::Soak),
        meaning: "leave the car parked with the key off",
        example: "soak 9 h",
    },
    Form {
        rule: &Map(After(keyword("wait"), WAIT), Phrase::Wait),
        meaning: "let time pass with everything as it is",
        example: "wait 10 s",
    },
    Form {
        rule: &Map(After(keyword("defect"), Physical), Phrase::Defect),
        meaning: "break something physical, see `list defects`",
        example: "defect fuel-cap loose",
    },
    Form {
        rule: &WireFault {
            wires: &Wire::ALL,
            fault: &Map(wiring_fault(WiringFaultKind::Open), |()| WiringFault::Open),
        },
        meaning: "break a wire",
        example: "defect wiring coolant-sensor open on bumps",
    },
    Form {
        rule: &WireFault {
            wires: &Wire::GROUNDABLE,
            fault: &Map(wiring_fault(WiringFaultKind::ShortToGround), |()| {
                WiringFault::ShortToGround
            }),
        },
        meaning: "let a wire touch the body",
        example: "defect wiring tank-pressure-sensor short-to-ground",
    },
    Form {
        rule: &WireFault {
            wires: &Wire::SUPPLIABLE,
            fault: &Map(wiring_fault(WiringFaultKind::ShortToSupply), |()| {
                WiringFault::ShortToSupply
            }),
        },
        meaning: "let a wire touch a supply: the sensors' 5 V, or 12 V for what the ECU drives",
        example: "defect wiring tank-pressure-sensor short-to-supply",
    },
    Form {
        rule: &WireFault {
            wires: &Wire::SINGLE,
            fault: &After(
                wiring_fault(WiringFaultKind::Resistance),
                Map(RESISTANCE, WiringFault::Resistance),
            ),
        },
        meaning: "put a resistance into a wire",
        example: "defect wiring coolant-sensor resistance 500 ohm when hotter than 80 C",
    },
    Form {
        rule: &WireFault {
            wires: &Wire::SIGNALS,
            fault: &After(wiring_fault(WiringFaultKind::Bias), Map(BIAS, WiringFault::Bias)),
        },
        meaning: "take a sensor's ground off the ECU's by this much",
        example: "defect wiring manifold-pressure-sensor bias 0.3 V",
    },
    Form {
        rule: &SwappedWires,
        meaning: "put two wires into each other's pins: of sensors, or of what is alike among what the ECU drives",
        example: "defect wiring manifold-pressure-sensor swapped-with tank-pressure-sensor",
    },
    Form {
        rule: &WireFault {
            wires: &[Wire::SensorSupply],
            fault: &After(
                wiring_fault(WiringFaultKind::PulledDown),
                Map(PULLED_DOWN, WiringFault::PulledDown),
            ),
        },
        meaning: "drag down the 5 V that sensors share",
        example: "defect wiring sensor-supply pulled-down 3.5 V",
    },
    Form {
        rule: &Map(
            (
                Named {
                    slot: "",
                    what: "phrase",
                    all: &Work::ALL,
                    name: Work::name,
                },
                PART,
            ),
            |(work, part)| Phrase::Work(work, part),
        ),
        meaning: "do this work; it cures only what such work cures",
        example: "tighten fuel-cap",
    },
    Form {
        rule: &Map(
            After(keyword("mend"), After(keyword("wiring"), WIRE)),
            Phrase::MendWire,
        ),
        meaning: "mend wires; of two that are swapped both",
        example: "mend wiring tank-pressure-sensor",
    },
    Form {
        rule: &Map(After(keyword("inspect"), PART), Phrase::Inspect),
        meaning: "look at a part",
        example: "inspect fuel-cap",
    },
    Form {
        rule: &Map(
            After(
                keyword("measure"),
                (
                    POINT,
                    Optional(After(
                        keyword("while"),
                        Named {
                            slot: "",
                            what: "thing done to a wire",
                            all: &Provocation::ALL,
                            name: Provocation::name,
                        },
                    )),
                ),
            ),
            |(point, provocation)| match provocation {
                None => Phrase::Measure(point),
                Some(provocation) => Phrase::MeasureWhile(point, provocation),
            },
        ),
        meaning: "put a meter there: of wires volts with the key on, ohms with the key off; while the loom is moved, warmed, cooled \
                  or wetted, to find what comes and goes, or with a test lamp on the wire",
        example: "measure tank-pressure-sensor while wiggled",
    },
    Form {
        rule: &Map(
            After(
                keyword("switch"),
                (
                    Named {
                        slot: "LOAD",
                        what: "load",
                        all: &Load::ALL,
                        name: Load::name,
                    },
                    Choice {
                        what: "state of a switch",
                        options: &[("on", true), ("off", false)],
                    },
                ),
            ),
            |(load, on)| Phrase::Switch(load, on),
        ),
        meaning: "switch something that loads battery or engine on or off, as the driver does; a block-heater warms the \
                  engine while it stands",
        example: "switch lights on",
    },
    Form {
        rule: &Map(
            After(
                keyword("measure"),
                Named {
                    slot: "",
                    what: "circuit",
                    all: &Comparison::ALL,
                    name: Comparison::name,
                },
            ),
            Phrase::Compare,
        ),
        meaning: "test all cylinders, one beside the other",
        example: "measure compression",
    },
    Form {
        rule: &SwappedParts,
        meaning: "put two like parts of different cylinders into each other's places: what follows the part is the part's",
        example: "swap coil-1 coil-2",
    },
    Form {
        rule: &Map(After(keyword("why"), Code), Phrase::Why),
        meaning: "how it came to this code, trip by trip, from the ECU's records",
        example: "why P0455",
    },
    Form {
        rule: &Map(
            After(
                keyword("why"),
                After(
                    Word {
                        text: "not",
                        what: "trouble code",
                    },
                    Code,
                ),
            ),
            Phrase::WhyNot,
        ),
        meaning: "what is missing for this code to be stored, from the ECU's records",
        example: "why not P0442",
    },
    Form {
        rule: &Map(keyword("monitors"), |()| Phrase::Monitors),
        meaning: "how each monitor of the ECUs stands: running, done, or what it waits for",
        example: "monitors",
    },
    Form {
        rule: &Map(keyword("report"), |()| Phrase::Report),
        meaning: "what the tester on the bus did: its requests, the rules that it broke, the codes that it read (only to a running car)",
        example: "report",
    },
    Form {
        rule: &Map(
            After(
                keyword("hold"),
                Amount {
                    slot: "SIGNAL",
                    what: "signal",
                    all: &Signal::ALL,
                    name: Signal::name,
                    unit: Signal::unit,
                    range: Signal::range,
                },
            ),
            |(signal, value)| Phrase::Hold(signal, value),
        ),
        meaning: "pin what the sensor gives, so that the ECU and its monitors see it",
        example: "hold coolant-temperature 60 C",
    },
    Form {
        rule: &Map(
            After(
                keyword("override"),
                Amount {
                    slot: "VALUE",
                    what: "reported value",
                    all: &Quantity::ALL,
                    name: Quantity::name,
                    unit: Quantity::unit,
                    range: Quantity::range,
                },
            ),
            |(quantity, value)| Phrase::Override(quantity, value),
        ),
        meaning: "pin what a tester is told, the ECU does not see it: not physical",
        example: "override engine-speed 3000 rpm",
    },
    Form {
        rule: &Map(
            After(
                keyword("release"),
                Named {
                    slot: "VALUE",
                    what: "reported value",
                    all: &Quantity::ALL,
                    name: Quantity::name,
                },
            ),
            Phrase::Release,
        ),
        meaning: "let go of what `hold` or `override` pinned",
        example: "release engine-speed",
    },
    Form {
        rule: &Map(
            After(
                keyword("preload"),
                (
                    Choice {
                        what: "list of codes",
                        options: &[("confirmed", Preload::Confirmed), ("pending", Preload::Pending)],
                    },
                    (Codes, Optional(After(IN, Ecu))),
                ),
            ),
            |(list, (codes, ecu)): (_, (_, Option<EcuRef>))| {
                Phrase::Preload(list, codes, ecu.unwrap_or_default())
            },
        ),
        meaning: "write codes into the fault memory of an ECU, the engine's if none is named: not physical",
        example: "preload confirmed P0301 P0302",
    },
    Form {
        rule: &Map(After(keyword("disturb"), Disturb), Phrase::Disturb),
        meaning: "something goes wrong between the tool and the car from now on, see `list disturbances`",
        example: "disturb drop 7E8 20 %",
    },
    Form {
        rule: &Map(After(keyword("disturb"), (KIND, keyword("off"))), |(kind, ())| {
            Phrase::DisturbOff(Some(kind))
        }),
        meaning: "this no longer does",
        example: "disturb drop off",
    },
    Form {
        rule: &Map(After(keyword("disturb"), keyword("off")), |()| {
            Phrase::DisturbOff(None)
        }),
        meaning: "nothing does any more",
        example: "disturb off",
    },
    Form {
        rule: &expect(
            Map(
                After(
                    claim("mil"),
                    Choice {
                        what: "state of the mil",
                        options: &[("commanded", true), ("off", false)],
                    },
                ),
                |commanded| Claim::Mil { commanded },
            ),
            WHEN,
        ),
        meaning: "the ECU asks for the lamp, or not",
        example: "expect mil commanded",
    },
    Form {
        rule: &expect(
            Map(
                After(
                    claim("lamp"),
                    Choice {
                        what: "state of the lamp",
                        options: &[("lit", true), ("dark", false)],
                    },
                ),
                |lit| Claim::Lamp { lit },
            ),
            WHEN,
        ),
        meaning: "the bulb shines, or not; the key-on check lights it",
        example: "expect lamp lit",
    },
    Form {
        rule: &expect(Map((LIST, Code), |(list, code)| Claim::Code(list, code)), WHEN),
        meaning: "this code is stored; within a time: at some moment of it; always: at every moment",
        example: "expect confirmed P0455 within 30 min",
    },
    Form {
        rule: &expect(
            Map(
                After(
                    claim("no"),
                    (
                        Choice {
                            what: "list of codes",
                            options: LISTS,
                        },
                        Optional(Code),
                    ),
                ),
                |(list, code)| match code {
                    Some(code) => Claim::NotCode(list, code),
                    None => Claim::NoCode(list),
                },
            ),
            WHEN,
        ),
        meaning: "no such code is stored, or not this one",
        example: "expect no pending always",
    },
    Form {
        rule: &expect(
            Map(
                (
                    Named {
                        slot: "GROUP",
                        what: "expectation",
                        all: &Group::ALL,
                        name: Group::name,
                    },
                    Choice {
                        what: "state of the monitor",
                        options: &[("complete", true), ("incomplete", false)],
                    },
                ),
                |(group, complete)| Claim::Readiness { group, complete },
            ),
            WHEN,
        ),
        meaning: "readiness of a group of monitors",
        example: "expect evap complete",
    },
    Form {
        rule: &expect(
            Map(
                (
                    Choice {
                        what: "expectation",
                        options: &[
                            (Source::FreezeFrame.name(), Source::FreezeFrame),
                            (Source::Live.name(), Source::Live),
                        ],
                    },
                    Limit(Amount {
                        slot: "VALUE",
                        what: "reported value",
                        all: &Quantity::ALL,
                        name: Quantity::name,
                        unit: Quantity::unit,
                        range: Quantity::range,
                    }),
                ),
                |(from, (value, side, limit))| Claim::Reported {
                    from,
                    value,
                    side,
                    limit,
                },
            ),
            WHEN,
        ),
        meaning: "what a tester reads is below or above this, now or in the freeze frame",
        example: "expect freeze-frame calculated-load below 40 %",
    },
    Form {
        rule: &expect(
            Map(
                After(
                    claim("measured"),
                    Limit(Amount {
                        slot: "GAUGE",
                        what: "gauge",
                        all: &Point::GAUGES,
                        name: Point::name,
                        unit: Point::unit,
                        range: Point::range,
                    }),
                ),
                |(point, side, limit)| Claim::Measured { point, side, limit },
            ),
            WHEN,
        ),
        meaning: "what a meter or gauge shows there is below or above this; of back pressure the drag hand",
        example: "expect measured back-pressure above 40 kPa",
    },
    Form {
        rule: &expect(
            Map(After(claim("tool"), DEED), |deed| Claim::Tool {
                deed,
                done: true,
            }),
            SOON,
        ),
        meaning: "the tool on the bus did this since `ready`, or within so much time on the bus",
        example: "expect tool read confirmed within 60 s",
    },
    Form {
        rule: &expect(
            Map(
                After(
                    claim("no"),
                    After(
                        Word {
                            text: "tool",
                            what: "list of codes",
                        },
                        DEED,
                    ),
                ),
                |deed| Claim::Tool { deed, done: false },
            ),
            SOON,
        ),
        meaning: "the tool did not do this since `ready`, or not so soon",
        example: "expect no tool cleared within 30 s",
    },
];
