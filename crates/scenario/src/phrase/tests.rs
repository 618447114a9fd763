use super::*;
use twotrip_units::{Resistance, Voltage};

use crate::{Expected, Problem, ProblemKind};

/// What a text means, canonically.
fn canonical(text: &str) -> String {
    parse_phrase(text)
        .unwrap_or_else(|problem| panic!("{text}: {problem:?}"))
        .to_string()
}

/// The examples are the list that users copy from, so each must parse, and to itself.
#[test]
fn examples_of_the_help_parse_to_themselves() {
    for help in HELP {
        let again = canonical(help.example);
        if !help.example.ends_with(" in") {
            assert_eq!(again, help.example);
        }
        assert_eq!(canonical(&again), again);
    }
}

/// A verb that the help forgets would be a secret.
#[test]
fn the_help_tells_every_verb() {
    let problem = parse_phrase("?").unwrap_err();
    let verbs: Vec<String> = problem.expected().iter().map(ToString::to_string).collect();
    assert!(verbs.len() > 15, "{verbs:?}");
    for verb in verbs {
        let verb = verb.trim_matches('`');
        let is_work = Work::ALL.iter().any(|work| work.name() == verb);
        let told = HELP
            .iter()
            .any(|help| help.pattern.split(' ').next() == Some(verb));
        assert!(told || is_work, "`{verb}` is not in the help");
    }
}

#[test]
fn both_systems_of_units_are_read_and_metric_is_written() {
    for (written, meant) in [
        ("ambient 64 F", "ambient 17.778 C"),
        ("ambient -40F", "ambient -40 C"),
        ("ambient 18°C", "ambient 18 C"),
        ("ambient 18 degC", "ambient 18 C"),
        ("altitude 1000 ft", "altitude 304.8 m"),
        ("altitude 0.3 km", "altitude 300 m"),
        ("altitude -0 m", "altitude 0 m"),
        ("refuel to 60%", "refuel to 60 %"),
        ("refuel to .5 %", "refuel to 0.5 %"),
        (
            "defect filler-neck hole 0.040 in",
            "defect filler-neck hole 1.016 mm",
        ),
        ("drive 31 mph for 300 s", "drive 49.89 km/h for 5 min"),
        ("soak 540 min", "soak 9 h"),
        ("soak 1.5 h", "soak 90 min"),
        ("soak 1 d", "soak 24 h"),
        ("wait 0.25 s", "wait 0.25 s"),
        ("wait 90 s", "wait 90 s"),
        (
            "override coolant-temperature 212 F",
            "override coolant-temperature 100 C",
        ),
    ] {
        assert_eq!(canonical(written), meant, "{written}");
        assert_eq!(canonical(meant), meant);
    }
}

#[test]
fn case_space_and_remarks_do_not_matter() {
    for text in [
        "key on",
        "  KEY\tOn  ",
        "key on # off",
        "\n\n# first\nkey on\r\n\n",
        "key on#",
    ] {
        assert_eq!(parse_phrase(text), Ok(Phrase::KeyOn), "{text:?}");
    }
    assert_eq!(
        canonical("preload pending p0171,P0172 , p0300"),
        "preload pending P0171 P0172 P0300"
    );
    assert_eq!(
        canonical("defect wiring AIR-METER resistance 0.5kohm"),
        "defect wiring air-meter resistance 500 ohm"
    );
    assert_eq!(
        canonical("defect wiring air-meter bias -300 mV"),
        "defect wiring air-meter bias -0.3 V"
    );
    assert_eq!(
        canonical("drive IDLE 60s,50km/h FOR 5min,STOP"),
        "drive idle 60 s, 50 km/h for 5 min, stop"
    );
}

/// Every kind of phrase as the values that the car takes.
#[test]
fn phrases_carry_typed_values() {
    let code = |text: &str| text.parse().unwrap();
    let circuit = Circuit::TankPressureSensor;
    for (text, phrase) in [
        ("key off", Phrase::KeyOff),
        ("start", Phrase::Start),
        ("stop", Phrase::Stop),
        ("drive udds", Phrase::Drive(Plan::Udds)),
        ("drive hwfet", Phrase::Drive(Plan::Hwfet)),
        ("soak 9 h", Phrase::Soak(Duration::from_secs(32_400))),
        ("wait 10 s", Phrase::Wait(Duration::from_secs(10))),
        ("ambient 18 C", Phrase::Ambient(Temperature::from_celsius(18.0))),
        ("altitude 300 m", Phrase::Altitude(Length::from_metres(300.0))),
        ("refuel to 60 %", Phrase::Refuel(Ratio::from_percent(60.0))),
        (
            "defect fuel-cap missing",
            Phrase::Defect(Defect::FuelCap(CapFault::Missing)),
        ),
        (
            "defect filler-neck hole 1 mm",
            Phrase::Defect(Defect::FillerNeckHole(Length::from_millimetres(1.0))),
        ),
        (
            "defect wiring tank-pressure-sensor short-to-supply",
            Phrase::BreakWire(circuit, WiringFault::ShortToSupply),
        ),
        (
            "defect wiring coolant-sensor resistance 500 ohm",
            Phrase::BreakWire(
                Circuit::CoolantSensor,
                WiringFault::Resistance(Resistance::from_ohms(500.0)),
            ),
        ),
        (
            "defect wiring air-meter bias -0.3 V",
            Phrase::BreakWire(Circuit::AirMeter, WiringFault::Bias(Voltage::from_volts(-0.3))),
        ),
        (
            "clean tank-pressure-sensor",
            Phrase::Work(Work::Clean, Part::TankPressureSensor),
        ),
        ("mend wiring tank-pressure-sensor", Phrase::MendWire(circuit)),
        ("measure tank-pressure-sensor", Phrase::Measure(circuit)),
        ("inspect filler-neck", Phrase::Inspect(Part::FillerNeck)),
        (
            "preload confirmed P0301 P0302",
            Phrase::Preload(Preload::Confirmed, vec![code("P0301"), code("P0302")]),
        ),
        (
            "override engine-speed 3000 rpm",
            Phrase::Override(Quantity::EngineSpeed, 3000.0),
        ),
        ("release engine-speed", Phrase::Release(Quantity::EngineSpeed)),
        (
            "expect mil off",
            Phrase::Expect(Expectation::Mil { commanded: false }),
        ),
        (
            "expect lamp dark",
            Phrase::Expect(Expectation::Lamp { lit: false }),
        ),
        (
            "expect pending P0455",
            Phrase::Expect(Expectation::Code(CodeList::Pending, code("P0455"))),
        ),
        (
            "expect no permanent",
            Phrase::Expect(Expectation::NoCode(CodeList::Permanent)),
        ),
        (
            "expect oxygen-sensor-heater incomplete",
            Phrase::Expect(Expectation::Readiness {
                group: Group::SensorHeater,
                complete: false,
            }),
        ),
    ] {
        assert_eq!(parse_phrase(text), Ok(phrase), "{text}");
        assert_eq!(canonical(text), text);
    }
    let Ok(Phrase::Drive(Plan::Free(legs))) = parse_phrase("drive idle 60 s, 50 km/h for 5 min, stop") else {
        panic!("a plan");
    };
    let speed = Speed::from_kilometres_per_hour(50.0);
    let times = [60, 300].map(Duration::from_secs);
    assert_eq!(
        legs,
        [Leg::Idle(times[0]), Leg::Cruise(speed, times[1]), Leg::Stop]
    );
    assert_eq!(Plan::Free(legs).time(), Duration::from_secs(360));
}

/// The ends of every range are allowed, what lies beyond is not.
#[test]
fn numbers_are_held_to_their_ranges() {
    for (good, bad) in [
        ("ambient -40 C", "ambient -40.1 C"),
        ("ambient 131 F", "ambient 132 F"),
        ("altitude -100 m", "altitude -101 m"),
        ("altitude 4500 m", "altitude 4501 m"),
        ("refuel to 0 %", "refuel to -1 %"),
        ("refuel to 100 %", "refuel to 101 %"),
        ("soak 30 d", "soak 31 d"),
        ("soak 1 s", "soak 0 s"),
        ("wait 24 h", "wait 25 h"),
        ("drive idle 4 h", "drive idle 5 h"),
        ("drive 140 km/h for 1 s", "drive 141 km/h for 1 s"),
        ("drive 5 km/h for 1 s", "drive 0 km/h for 1 s"),
        (
            "defect filler-neck hole 0.1 mm",
            "defect filler-neck hole 0.09 mm",
        ),
        ("override engine-speed 0 rpm", "override engine-speed -1 rpm"),
        (
            "wait 1 s",
            "wait 99999999999999999999999999999999999999999999999999 d",
        ),
        ("wait 1 s", "wait -1 s"),
        (
            "defect wiring air-meter resistance 1000 kohm",
            "defect wiring air-meter resistance 1001 kohm",
        ),
        (
            "defect wiring air-meter resistance 1 ohm",
            "defect wiring air-meter resistance 0.9 ohm",
        ),
        (
            "defect wiring air-meter bias -2.5 V",
            "defect wiring air-meter bias 2.6 V",
        ),
    ] {
        assert!(parse_phrase(good).is_ok(), "{good}: {:?}", parse_phrase(good));
        let problem = parse_phrase(bad).expect_err(bad);
        assert!(
            matches!(problem.kind(), ProblemKind::OutOfRange(_)),
            "{bad}: {problem}"
        );
        assert!(
            matches!(problem.expected(), [Expected::Description(_)]),
            "{bad}: {problem:?}"
        );
    }
}

/// Of a wrong phrase: the summary, the words it points at, the nearest known word.
#[test]
fn a_problem_points_at_the_word_that_is_wrong() {
    for (text, summary, found, nearest) in [
        ("", "phrase is missing", "", None),
        (" # only a remark", "phrase is missing", "", None),
        (
            "tihgten fuel-cap",
            "unknown phrase `tihgten`",
            "tihgten",
            Some("tighten"),
        ),
        ("key", "key position is missing", "", None),
        ("key of", "unknown key position `of`", "of", Some("off")),
        ("key on now", "the phrase is complete before `now`", "now", None),
        ("drive", "drive is missing", "", None),
        ("drive ufds", "unknown drive `ufds`", "ufds", Some("udds")),
        (
            "drive udds, stop",
            "the phrase is complete before `, stop`",
            ", stop",
            None,
        ),
        ("drive idle 60 s, swim", "unknown leg `swim`", "swim", None),
        ("drive idle 60 s,", "leg is missing", "", None),
        ("drive 50 for 5 min", "`for` is no unit of speed", "for", None),
        ("drive 50 km/h 5 min", "unknown word `5`", "5", None),
        ("soak", "soak time is missing", "", None),
        ("soak 9", "unit is missing", "", None),
        ("soak 9 hrs", "`hrs` is no unit of time", "hrs", None),
        (
            "soak nine h",
            "soak time begins with a number, not with `nine`",
            "nine",
            None,
        ),
        ("refuel 60 %", "unknown word `60`", "60", None),
        (
            "refuel to 120 %",
            "fuel level `120 %` is out of range",
            "120 %",
            None,
        ),
        (
            "defect filler-neck hole 0,5 mm",
            "`,` is no unit of length",
            ",",
            None,
        ),
        (
            "defect fule-cap loose",
            "unknown defect `fule-cap`",
            "fule-cap",
            Some("fuel-cap"),
        ),
        (
            "defect tank-pressure-sensor open",
            "unknown defect `tank-pressure-sensor`",
            "tank-pressure-sensor",
            None,
        ),
        (
            "defect wirring x",
            "unknown defect `wirring`",
            "wirring",
            Some("wiring"),
        ),
        (
            "defect wiring coolant-sensor resistance",
            "resistance is missing",
            "",
            None,
        ),
        (
            "defect wiring coolant-sensor resistance 500",
            "unit is missing",
            "",
            None,
        ),
        (
            "defect wiring coolant-sensor bias 500 ohm",
            "`ohm` is no unit of voltage",
            "ohm",
            None,
        ),
        (
            "defect wiring coolant-sensor opened",
            "unknown wiring fault `opened`",
            "opened",
            Some("open"),
        ),
        (
            "mend tank-pressure-sensor",
            "unknown word `tank-pressure-sensor`",
            "tank-pressure-sensor",
            None,
        ),
        (
            "preload confirmed P0301 P03",
            "`P03` is not a trouble code",
            "P03",
            None,
        ),
        ("preload confirmed", "trouble code is missing", "", None),
        ("preload confirmed P0301,", "trouble code is missing", "", None),
        (
            "hold engine-speed 3000 rpm",
            "unknown phrase `hold`",
            "hold",
            None,
        ),
        ("override engine-speed 3000", "unit is missing", "", None),
        (
            "expect confirmed P0301 P0302",
            "the phrase is complete before `P0302`",
            "P0302",
            None,
        ),
        (
            "expect evop complete",
            "unknown expectation `evop`",
            "evop",
            Some("evap"),
        ),
        (
            "key on\nkey off",
            "the phrase is complete before `key off`",
            "key off",
            None,
        ),
        ("key \u{0}on", r"unknown key position `\0on`", "\0on", None),
    ] {
        let problem = parse_phrase(text).expect_err(text);
        assert_eq!(problem.to_string(), summary, "{text}");
        assert_eq!(&text[problem.span()], found, "{text}");
        assert_eq!(problem.nearest(), nearest, "{text}");
    }
}

#[test]
fn a_script_reports_all_its_problems_with_their_places() {
    let text = "key on\n  drive ufds # city\n\nsoak 9 h\nambient 99 C\r\nkey off\r\n";
    let problems = parse_script(text).unwrap_err();
    let places: Vec<&str> = problems.iter().map(|problem| &text[problem.span()]).collect();
    assert_eq!(places, ["ufds", "99 C"]);

    let good = text.replace("ufds", "udds").replace("99", "19");
    let phrases = parse_script(&good).unwrap();
    let places: Vec<&str> = phrases.iter().map(|phrase| &good[phrase.span.clone()]).collect();
    assert_eq!(
        places,
        ["key on", "drive udds", "soak 9 h", "ambient 19 C", "key off"]
    );
}

#[test]
fn scripts_lines_and_lists_have_bounds() {
    let last = |text: &str| parse_script(text).unwrap_err().pop().unwrap().kind();
    assert_eq!(parse_script(&"key on\n".repeat(10_000)).unwrap().len(), 10_000);
    assert_eq!(last(&"key on\n".repeat(10_001)), ProblemKind::TooMany("phrases"));
    assert_eq!(
        last(&"drive idle 1 s".replace("1 s", &"9".repeat(5000))),
        ProblemKind::TooLong("line")
    );
    let legs = |count| format!("drive {}", vec!["stop"; count].join(", "));
    assert!(parse_phrase(&legs(100)).is_ok());
    assert_eq!(
        parse_phrase(&legs(101)).unwrap_err().kind(),
        ProblemKind::TooMany("legs")
    );
    let codes = |count| format!("preload confirmed {}", vec!["P0301"; count].join(" "));
    assert!(parse_phrase(&codes(16)).is_ok());
    assert_eq!(
        parse_phrase(&codes(17)).unwrap_err().kind(),
        ProblemKind::TooMany("codes")
    );

    let many = parse_script(&"gearbox\n".repeat(5000)).unwrap_err();
    assert_eq!(many.len(), 101);
    assert_eq!(many.last().map(Problem::kind), Some(ProblemKind::More));
}

/// Whatever unit `ecu` gives a value, a phrase can be written in it.
#[test]
fn every_reported_value_can_be_pinned_in_its_own_unit() {
    for quantity in Quantity::ALL {
        let [low, high] = quantity.range();
        let text = format!(
            "override {} {:.1} {}",
            quantity.name(),
            (low + high) / 2.0,
            quantity.unit()
        );
        let Ok(Phrase::Override(read, value)) = parse_phrase(&text) else {
            panic!("{text}: {:?}", parse_phrase(&text));
        };
        assert_eq!(read, quantity);
        assert!((value - (low + high) / 2.0).abs() <= 0.051, "{text}: {value}");
        assert_eq!(canonical(&canonical(&text)), canonical(&text));
        let unit = parse_phrase(&format!("override {} {high} parsec", quantity.name())).unwrap_err();
        assert!(
            matches!(unit.kind(), ProblemKind::UnknownUnit(_) | ProblemKind::Surplus),
            "{unit}"
        );
    }
}
