use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};

use super::*;
use twotrip_harness::{Circuit, Output};
use twotrip_units::{Resistance, Voltage};
use twotrip_vehicle::defect::Size;
use twotrip_vehicle::{Course, Surface};

use crate::{Expected, Problem, ProblemKind, disturbance::Identifier};

/// The defect of these words.
fn defect(part: Part, kind: &str, amount: Option<f64>) -> Defect {
    Defect::named(part, kind, amount).unwrap()
}

/// What a text means, canonically.
fn canonical(text: &str) -> String {
    parse_phrase(text)
        .unwrap_or_else(|problem| panic!("{text}: {problem:?}"))
        .to_string()
}

/// The examples are the list that users copy from, so each must parse, and to itself.
#[test]
fn examples_of_the_help_parse_to_themselves() {
    for help in help() {
        assert_eq!(canonical(help.example), help.example);
    }
}

/// Dice for drawing phrases.
pub(super) struct Dice(ChaCha8Rng);

impl Dice {
    pub(super) fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    pub(super) fn below(&mut self, count: usize) -> usize {
        usize::try_from(self.0.next_u64() % u64::try_from(count).unwrap()).unwrap()
    }
}

/// Phrases drawn from the grammar itself: a form that is added is drawn from then on.
fn drawn(seed: u64, each: usize) -> impl Iterator<Item = (&'static forms::Form, String)> {
    let mut dice = Dice::new(seed);
    forms::FORMS
        .iter()
        .flat_map(move |form| core::iter::repeat_n(form, each))
        .map(move |form| (form, form.rule.sample(&mut dice)))
}

/// What is said comes back, canonically, and means the same.
#[test]
fn every_phrase_of_the_grammar_survives_being_written_and_read() {
    for (form, text) in drawn(7, 200) {
        let phrase = parse_phrase(&text).unwrap_or_else(|problem| panic!("{text}: {problem:?}"));
        let shown = phrase.to_string();
        let again = parse_phrase(&shown).unwrap_or_else(|problem| panic!("{text}: {shown}: {problem:?}"));
        assert_eq!(again.to_string(), shown, "{text}, example {}", form.example);
        assert_eq!(
            core::mem::discriminant(&again),
            core::mem::discriminant(&phrase),
            "{text}"
        );
        let loud = text.to_uppercase();
        assert_eq!(
            parse_phrase(&loud).map(|phrase| phrase.to_string()),
            Ok(shown),
            "{loud}"
        );
    }
}

/// Whatever a slip of the finger makes of a phrase: an answer, and a place that can be cut out of the text.
#[test]
fn damaged_phrases_are_answered() {
    const PIECES: &[&str] = &[
        "",
        " ",
        ",",
        "#",
        "-",
        ".",
        "9",
        "99999999999",
        "\0",
        "\u{202e}",
        "\r",
        "ü",
        "°",
        "mm",
        "P0455",
        "no",
        "within",
        "always",
        "tool",
        "%",
        "[",
        "\"",
        "'",
        "\n",
        "e9",
        "NaN",
        "inf",
    ];
    let mut dice = Dice::new(11);
    let (mut good, mut bad) = (0, 0);
    for (_, mut text) in drawn(12, 120) {
        for _ in 0..=dice.below(2) {
            let places: Vec<usize> = text
                .char_indices()
                .map(|(place, _)| place)
                .chain([text.len()])
                .collect();
            let from = places[dice.below(places.len())];
            let until = if dice.below(2) == 0 {
                from
            } else {
                places[dice.below(places.len())].max(from)
            };
            text.replace_range(from..until, PIECES[dice.below(PIECES.len())]);
        }
        match parse_phrase(&text) {
            Ok(phrase) => {
                good += 1;
                assert!(parse_phrase(&phrase.to_string()).is_ok(), "{text}: {phrase}");
            }
            Err(problem) => {
                bad += 1;
                assert!(text.get(problem.span()).is_some(), "{text}: {problem:?}");
                let shown = [Some(problem.to_string()), problem.advice().map(str::to_owned)];
                for shown in shown.into_iter().flatten() {
                    assert!(
                        !shown.chars().any(|c| c.is_control() || c == '\u{202e}'),
                        "{text}: {shown:?}"
                    );
                }
            }
        }
    }
    assert!(good > 100 && bad > 1000, "both are tried: {good} good, {bad} bad");
}

/// What stands in capitals is explained, and everything else of a pattern is a word of the grammar.
#[test]
fn patterns_explain_themselves() {
    for help in help() {
        for word in help.pattern.split([' ', ',', '[', ']', '|', '.']) {
            let is_slot = !word.is_empty() && word.chars().all(|letter| letter.is_ascii_uppercase());
            let known = help
                .slots
                .iter()
                .any(|slot| slot.name == word && !slot.meaning.is_empty());
            assert_eq!(is_slot, known, "`{word}` of `{}`", help.pattern);
        }
    }
    let patterns: Vec<String> = help().into_iter().map(|help| help.pattern).collect();
    for pattern in [
        "key on | off",
        "refuel to LEVEL | VOLUME",
        "drain to LEVEL",
        "drive udds | hwfet | us06",
        "drive LEG, LEG ..",
        "tighten | replace | clean | reconnect | fill | reprogram PART",
        "why not CODE",
        "hold SIGNAL AMOUNT",
        "preload confirmed | pending CODE .. [in ECU]",
        "expect no confirmed | pending | permanent [CODE] [within TIME | always]",
        "expect tool read confirmed | pending | permanent | freeze-frame | readiness | live | tests | vin | cleared \
         [within TIME]",
    ] {
        assert!(
            patterns.iter().any(|known| known == pattern),
            "{pattern}: {patterns:#?}"
        );
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
        ("fuel volatility 9 psi", "fuel volatility 62.053 kPa"),
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
        ("refuel to 12 gal", "refuel to 45.425 l"),
        ("hold vehicle-speed 60 mph", "hold vehicle-speed 96.56064 km/h"),
        ("hold tank-pressure -8 inH2O", "hold tank-pressure -1992.7112 Pa"),
        (
            "hold manifold-pressure 14.5 psi",
            "hold manifold-pressure 99.97398 kPa",
        ),
        (
            "override barometric-pressure 29.92 inHg",
            "override barometric-pressure 101.32076 kPa",
        ),
        ("hold fuel-pressure 3.8 bar", "hold fuel-pressure 380 kPa"),
        ("hold air-flow 1 lb/min", "hold air-flow 7.55987 g/s"),
        ("override fuel-rate 1 gal/h", "override fuel-rate 3.78541 l/h"),
        ("hold oxygen-front 450 mV", "hold oxygen-front 0.45 V"),
        ("expect mil off within 90 s", "expect mil off within 90 s"),
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
        canonical("defect coolant-sensor bias 27 F"),
        "defect coolant-sensor bias 15 K"
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
    let wire = Wire::Signal(Circuit::TankPressureSensor);
    let expect = |claim, when| Phrase::Expect(Expectation { claim, when });
    for (text, phrase) in [
        ("key off", Phrase::KeyOff),
        ("start", Phrase::Start),
        ("stop", Phrase::Stop),
        (
            "drive udds",
            Phrase::Drive(Plan::Schedule(&twotrip_vehicle::schedule::UDDS)),
        ),
        (
            "drive hwfet",
            Phrase::Drive(Plan::Schedule(&twotrip_vehicle::schedule::HWFET)),
        ),
        ("soak 9 h", Phrase::Soak(Duration::from_secs(32_400))),
        ("wait 10 s", Phrase::Wait(Duration::from_secs(10))),
        ("ambient 18 C", Phrase::Ambient(Temperature::from_celsius(18.0))),
        ("altitude 300 m", Phrase::Altitude(Length::from_metres(300.0))),
        ("road rough", Phrase::Road(Surface::Rough)),
        ("road smooth", Phrase::Road(Surface::Smooth)),
        (
            "fuel volatility 90 kPa",
            Phrase::Volatility(Pressure::from_kilopascals(90.0)),
        ),
        (
            "refuel to 60 %",
            Phrase::Refuel(Fill::Level(Ratio::from_percent(60.0))),
        ),
        (
            "refuel to 30 l",
            Phrase::Refuel(Fill::Volume(Volume::from_litres(30.0))),
        ),
        ("why P0455", Phrase::Why(code("P0455"))),
        ("why not P0442", Phrase::WhyNot(code("P0442"))),
        ("monitors", Phrase::Monitors),
        ("report", Phrase::Report),
        (
            "hold coolant-temperature 60 C",
            Phrase::Hold(Signal::CoolantTemperature, 60.0),
        ),
        (
            "defect fuel-cap missing",
            Phrase::Defect(defect(Part::FuelCap, "missing", None)),
        ),
        (
            "defect filler-neck hole 1 mm",
            Phrase::Defect(defect(Part::FillerNeck, "hole", Some(1.0))),
        ),
        (
            "defect coolant-sensor dead",
            Phrase::Defect(defect(Part::CoolantSensor, "dead", None)),
        ),
        (
            "defect air-meter bias -20 %",
            Phrase::Defect(defect(Part::AirMeter, "bias", Some(-20.0))),
        ),
        (
            "defect filler-neck hole 1.016 mm growing 0.508 mm every 100 km",
            Phrase::Defect(
                defect(Part::FillerNeck, "hole", Some(0.04 * 25.4)).with_course(Course::Growing(0.02 * 25.4)),
            ),
        ),
        (
            "defect air-meter dead when hotter than 90 C",
            Phrase::Defect(
                defect(Part::AirMeter, "dead", None).with_course(Course::When(Presence::HotterThan(90.0))),
            ),
        ),
        (
            "defect air-meter dead when load over 60 %",
            Phrase::Defect(
                defect(Part::AirMeter, "dead", None).with_course(Course::When(Presence::LoadOver(60.0))),
            ),
        ),
        (
            "defect air-meter dead on bumps",
            Phrase::Defect(defect(Part::AirMeter, "dead", None).with_course(Course::When(Presence::OnBumps))),
        ),
        (
            "defect wiring tank-pressure-sensor short-to-supply",
            Phrase::BreakWire(wire, WiringFault::ShortToSupply, None),
        ),
        (
            "defect wiring coolant-sensor resistance 500 ohm",
            Phrase::BreakWire(
                Circuit::CoolantSensor.into(),
                WiringFault::Resistance(Resistance::from_ohms(500.0)),
                None,
            ),
        ),
        (
            "defect wiring air-meter bias -0.3 V",
            Phrase::BreakWire(
                Circuit::AirMeter.into(),
                WiringFault::Bias(Voltage::from_volts(-0.3)),
                None,
            ),
        ),
        (
            "defect wiring air-meter open when hotter than 80 C",
            Phrase::BreakWire(
                Circuit::AirMeter.into(),
                WiringFault::Open,
                Some(Presence::HotterThan(80.0)),
            ),
        ),
        (
            "defect wiring gearbox-controller open on bumps",
            Phrase::BreakWire(
                Wire::GearboxController,
                WiringFault::Open,
                Some(Presence::OnBumps),
            ),
        ),
        (
            "defect wiring sensor-supply pulled-down 3.5 V",
            Phrase::BreakWire(
                Wire::SensorSupply,
                WiringFault::PulledDown(Voltage::from_volts(3.5)),
                None,
            ),
        ),
        (
            "defect wiring air-meter swapped-with coolant-sensor",
            Phrase::BreakWire(
                Circuit::AirMeter.into(),
                WiringFault::SwappedWith(Circuit::CoolantSensor.into()),
                None,
            ),
        ),
        (
            "defect wiring coil-1 swapped-with coil-4 when wet",
            Phrase::BreakWire(
                Output::Coil1.into(),
                WiringFault::SwappedWith(Output::Coil4.into()),
                Some(Presence::Wet),
            ),
        ),
        (
            "defect wiring cam-sensor short-to-supply",
            Phrase::BreakWire(Wire::CamSensor, WiringFault::ShortToSupply, None),
        ),
        ("weather rain", Phrase::Rain(true)),
        ("weather dry", Phrase::Rain(false)),
        ("wash", Phrase::Wash),
        (
            "measure purge-valve",
            Phrase::Measure(Point::Wire(Output::PurgeValve.into())),
        ),
        ("switch rear-screen on", Phrase::Switch(Load::RearScreen, true)),
        ("measure battery", Phrase::Measure(Point::Battery)),
        (
            "measure purge-valve while wiggled",
            Phrase::MeasureWhile(Point::Wire(Output::PurgeValve.into()), Provocation::Wiggled),
        ),
        (
            "measure data-bus while loaded",
            Phrase::MeasureWhile(Point::Wire(Wire::DataBus), Provocation::Loaded),
        ),
        ("measure vapour-smoke", Phrase::Measure(Point::VapourSmoke)),
        ("measure back-pressure", Phrase::Measure(Point::BackPressure)),
        ("measure manifold-vacuum", Phrase::Measure(Point::ManifoldVacuum)),
        ("measure data-bus", Phrase::Measure(Point::Wire(Wire::DataBus))),
        (
            "clean tank-pressure-sensor",
            Phrase::Work(Work::Clean, Part::TankPressureSensor),
        ),
        ("mend wiring tank-pressure-sensor", Phrase::MendWire(wire)),
        ("measure tank-pressure-sensor", Phrase::Measure(Point::Wire(wire))),
        ("inspect filler-neck", Phrase::Inspect(Part::FillerNeck)),
        ("measure compression", Phrase::Compare(Comparison::Compression)),
        ("swap coil-1 coil-2", Phrase::Swap(Part::Coil1, Part::Coil2)),
        (
            "preload confirmed P0301 P0302",
            Phrase::Preload(
                Preload::Confirmed,
                vec![code("P0301"), code("P0302")],
                EcuRef::Engine,
            ),
        ),
        (
            "preload pending P0741 in transmission",
            Phrase::Preload(Preload::Pending, vec![code("P0741")], EcuRef::Transmission),
        ),
        (
            "preload pending P0741 in 7E9",
            Phrase::Preload(
                Preload::Pending,
                vec![code("P0741")],
                EcuRef::Answering(Identifier::Standard(0x7E9)),
            ),
        ),
        (
            "override engine-speed 3000 rpm",
            Phrase::Override(Quantity::EngineSpeed, 3000.0),
        ),
        ("release engine-speed", Phrase::Release(Quantity::EngineSpeed)),
        (
            "expect mil off",
            expect(Claim::Mil { commanded: false }, When::Now),
        ),
        (
            "expect lamp dark always",
            expect(Claim::Lamp { lit: false }, When::Always),
        ),
        (
            "expect pending P0455 within 30 min",
            expect(
                Claim::Code(CodeList::Pending, code("P0455")),
                When::Within(Duration::from_secs(1800)),
            ),
        ),
        (
            "expect no permanent",
            expect(Claim::NoCode(CodeList::Permanent), When::Now),
        ),
        (
            "expect no confirmed P0442 always",
            expect(Claim::NotCode(CodeList::Confirmed, code("P0442")), When::Always),
        ),
        (
            "expect oxygen-sensor-heater incomplete",
            expect(
                Claim::Readiness {
                    group: Group::SensorHeater,
                    complete: false,
                },
                When::Now,
            ),
        ),
        (
            "expect freeze-frame engine-speed below 1000 rpm",
            expect(
                Claim::Reported {
                    from: Source::FreezeFrame,
                    value: Quantity::EngineSpeed,
                    side: Side::Below,
                    limit: 1000.0,
                },
                When::Now,
            ),
        ),
        (
            "expect live module-voltage above 12.5 V within 30 s",
            expect(
                Claim::Reported {
                    from: Source::Live,
                    value: Quantity::ModuleVoltage,
                    side: Side::Above,
                    limit: 12.5,
                },
                When::Within(Duration::from_secs(30)),
            ),
        ),
        (
            "expect measured back-pressure below 25 kPa",
            expect(
                Claim::Measured {
                    point: Point::BackPressure,
                    side: Side::Below,
                    limit: 25.0,
                },
                When::Now,
            ),
        ),
        (
            "expect tool read freeze-frame",
            expect(
                Claim::Tool {
                    deed: Deed::ReadFreezeFrame,
                    done: true,
                },
                When::Now,
            ),
        ),
        (
            "expect no tool cleared within 30 s",
            expect(
                Claim::Tool {
                    deed: Deed::Cleared,
                    done: false,
                },
                When::Within(Duration::from_secs(30)),
            ),
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
    let plan = Plan::Free(legs);
    assert!(!plan.ends_with_key_off());
    // The ways from one speed to the next count too: 50 km/h takes 11.6 s up and 9.3 s down.
    let time = Phrase::Drive(plan).time();
    assert!((383..390).contains(&time.as_secs()), "{time:?}");
    let sprints = parse_phrase(&format!(
        "drive {}",
        vec!["140 km/h for 1 s, stop"; 50].join(", ")
    ));
    assert!(sprints.unwrap().time() > Duration::from_secs(50 * 50));
}

/// The key goes off as the car rolls: the end of a drive, and of nothing else.
#[test]
fn a_drive_may_end_with_the_key_off() {
    let text = "drive 50 km/h for 60 s, key off";
    let Ok(Phrase::Drive(plan)) = parse_phrase(text) else {
        panic!("a plan");
    };
    assert!(plan.ends_with_key_off());
    assert_eq!(canonical(text), text);
    for wrong in [
        "drive key off",
        "drive stop, key off, stop",
        "drive stop, key on",
        "drive stop, key",
    ] {
        assert!(parse_phrase(wrong).is_err(), "{wrong}");
    }
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
        ("fuel volatility 40 kPa", "fuel volatility 39 kPa"),
        ("fuel volatility 105 kPa", "fuel volatility 106 kPa"),
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
            "defect coolant-sensor bias 40 C",
            "defect coolant-sensor bias 41 C",
        ),
        (
            "defect tank-pressure-sensor bias -1.5 kPa",
            "defect tank-pressure-sensor bias 1.6 kPa",
        ),
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
            "`,` is no unit of size",
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
            "unknown kind of defect `open`",
            "open",
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
        ("preload confirmed P0301 in", "ECU is missing", "", None),
        (
            "preload confirmed P0741 in transmision",
            "unknown ECU `transmision`",
            "transmision",
            Some("transmission"),
        ),
        (
            "hold calculated-load 30 %",
            "unknown signal `calculated-load`",
            "calculated-load",
            None,
        ),
        ("refuel to 60 kg", "`kg` is no unit of fuel level", "kg", None),
        ("refuel to 60", "unit is missing", "", None),
        (
            "refuel to 900 l",
            "fuel level `900 l` is out of range",
            "900 l",
            None,
        ),
        ("why", "trouble code is missing", "", None),
        ("why nto P0455", "`nto` is not a trouble code", "nto", Some("not")),
        ("why not P04", "`P04` is not a trouble code", "P04", None),
        (
            "expect no pending P04",
            "`P04` is not a trouble code",
            "P04",
            None,
        ),
        (
            "expect mil off for ever",
            "the phrase is complete before `for ever`",
            "for ever",
            None,
        ),
        (
            "expect tool red confirmed",
            "unknown deed of the tool `red`",
            "red",
            Some("read"),
        ),
        (
            "expect tool cleared always",
            "the phrase is complete before `always`",
            "always",
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
fn plain_words_that_are_no_phrase_get_the_way_out() {
    for (text, advice) in [
        ("expect no mil commanded", "`mil off`"),
        ("expect no lamp lit", "`lamp dark`"),
        ("expect no evap complete", "`incomplete`"),
        ("expect always mil commanded", "at the end of the phrase"),
        ("expect within 5 s mil off", "at the end of the phrase"),
        (
            "expect mil off within 5 s always",
            "one of `always` and `within TIME`",
        ),
        (
            "expect tool read confirmed always",
            "where `list phrases` shows it",
        ),
        ("soak 1 h 30 min", "`90 min`, not `1 h 30 min`"),
    ] {
        let problem = parse_phrase(text).expect_err(text);
        let given = problem.advice().unwrap_or_default();
        assert!(given.contains(advice), "{text}: {given}");
    }
    // Nothing is said where it would not help.
    for text in [
        "key on now",
        "expect no pend",
        "expect evop complete",
        "drive hwfet udds",
    ] {
        assert_eq!(parse_phrase(text).expect_err(text).advice(), None, "{text}");
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

/// `release` names what `hold` pinned: a signal is called like the value that testers read of it.
#[test]
fn every_signal_has_the_name_and_unit_of_a_reported_value() {
    for signal in Signal::ALL {
        let value = Quantity::ALL
            .into_iter()
            .find(|value| value.name() == signal.name());
        assert_eq!(
            value.map(Quantity::unit),
            Some(signal.unit()),
            "{}",
            signal.name()
        );
    }
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

/// A unit without a door of its own would be read as a bare number.
#[test]
fn every_unit_of_the_defects_is_read() {
    for entry in twotrip_vehicle::defect::catalogue() {
        let (Size::Amount { unit, .. } | Size::Fixed { unit, .. }) = entry.size else {
            continue;
        };
        let measure = amount::amount("size", unit, [0.0, 1.0]);
        assert!(
            measure.units.iter().any(|(name, _)| *name == unit),
            "{entry:?}: {unit}"
        );
    }
}
