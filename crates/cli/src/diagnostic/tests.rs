//! The full text of every kind of problem, compared with `snapshots.txt` beside this file.
//!
//! To accept new texts, read them first: `TWOTRIP_ACCEPT=1 cargo test -p twotrip-cli diagnostic`, then `git diff`.

use std::{collections::BTreeSet, path::Path};

use twotrip_scenario::{Scenario, VehicleModel, parse_phrase, vehicle};

use super::*;

const HEAD: &str = "version = 1\ntitle = \"A car\"\nvehicle = \"compact-2.0\"\n";

/// A file of its own for each snapshot: what it shows, and the bytes.
fn cases() -> Vec<(&'static str, Vec<u8>)> {
    let story =
        |phrases: &str| format!("{HEAD}[story]\nbefore = \"\"\"\nkey on\n{phrases}\n\"\"\"\n").into_bytes();
    let file = |text: &str| format!("{HEAD}{text}\n").into_bytes();
    let vehicle = |text: &str| format!("{}\n{text}\n", vehicle::SHIPPED[0].text).into_bytes();
    let body = |text: &str| {
        let listed = "role = 'listed'\nacronym = 'BCM'\nname = 'BodyControl'\ncalibration = 'BODY-1'";
        vehicle(&format!("[[ecu]]\nrole = 'engine'\n\n[[ecu]]\n{listed}\n{text}"))
    };
    vec![
        ("a verb with a slip", story("tihgten fuel-cap")),
        ("a verb that nobody knows", story("gearbox neutral")),
        ("a part with a slip", story("inspect fule-cap")),
        ("a schedule with a slip", story("  drive ufds   # city")),
        ("one wrong word of few", story("key in")),
        (
            "a phrase without its end",
            story("defect wiring tank-pressure-sensor"),
        ),
        (
            "a part that nothing can be swapped with",
            story("swap fuel-cap coil-1"),
        ),
        ("parts that are not alike", story("swap coil-1 fuel-cap")),
        (
            "a wire in a pin that it does not fit",
            story("defect wiring coil-1 swapped-with purge-valve"),
        ),
        ("a number without its unit", story("soak 9")),
        ("too many words", story("key on now")),
        (
            "two codes in one expectation",
            file("[verdict]\nexpect = 'expect confirmed P0301 P0302'"),
        ),
        ("a word for a number", story("ambient warm")),
        ("a unit of something else", story("drive 50 km/h for 5 mm")),
        ("a decimal comma", story("defect filler-neck hole 0,040 in")),
        ("a number out of range", story("ambient 99 C")),
        (
            "a size out of the catalogue's range",
            story("defect filler-neck hole 2 in"),
        ),
        (
            "an escape sequence inside a story",
            story("ambient 18\u{1b}[31m C"),
        ),
        ("a code of four characters", story("preload confirmed P0301 P045")),
        (
            "too many legs",
            story(&format!("drive {}", vec!["stop"; 101].join(","))),
        ),
        ("too long a line", story(&format!("key {}", "on ".repeat(2000)))),
        ("too long a story", story(&"soak 30 d\n".repeat(13))),
        ("too large a file", vec![b'#'; (1 << 20) + 1]),
        (
            "a claim about the tool in a story",
            story("expect tool read confirmed within 60 s"),
        ),
        ("a unit of nothing that fills a tank", story("refuel to 60 kg")),
        (
            "a signal that no sensor gives",
            story("hold calculated-load 30 %"),
        ),
        (
            "a deed that no tool does",
            file("[verdict]\nexpect = 'expect tool wrote VIN'"),
        ),
        (
            "an action in a verdict",
            file("[verdict]\nexpect = \"\"\"\nexpect mil off\nkey off\n\"\"\""),
        ),
        (
            "work as a cause",
            file("[repair-order]\ncomplaint = 'Lamp.'\ncause = 'start'\ncorrection = 'clean fuel-cap'"),
        ),
        (
            "a string with escapes",
            file("[story]\nbefore = \"key on\\nsoak 99 d\""),
        ),
        (
            "bytes that are not text",
            b"version = 1\ntitle = \"caf\xE9\"\n".to_vec(),
        ),
        ("broken TOML", file("seed 5")),
        ("a NUL byte", file("seed = \0")),
        ("a key with a slip", HEAD.replace("title", "titel").into_bytes()),
        ("a key at the wrong place", file("before = \"key on\"")),
        (
            "a missing key of the file",
            HEAD.replace("version = 1\n", "").into_bytes(),
        ),
        (
            "a missing key of a table",
            file("[repair-order]\ncause = 'defect fuel-cap loose'\ncorrection = 'tighten fuel-cap'"),
        ),
        ("a value of another type", file("seed = \"five\"")),
        ("a newer version", HEAD.replace("= 1", "= 7").into_bytes()),
        ("an empty title", HEAD.replace("A car", "").into_bytes()),
        ("an unknown regulation", file("regulation = 'eobt'")),
        (
            "a cue for an event that never comes",
            file("[[when]]\nevent = 'engine fire'\ndo = 'key off'"),
        ),
        (
            "an event with a slip",
            file("[[when]]\nevent = 'cnfirmed P0455'\ndo = 'key off'"),
        ),
        (
            "a cue after a time without unit",
            file("[[when]]\nevent = 'ready'\nafter = '5'\ndo = 'key off'"),
        ),
        (
            "a cue that acts too often",
            file("[[when]]\nevent = 'ready'\ntimes = 5000\ndo = 'key off'"),
        ),
        ("a cue without a thing to do", file("[[when]]\nevent = 'ready'")),
        (
            "one table for many cues",
            file("[when]\nevent = 'ready'\ndo = 'key off'"),
        ),
        (
            "too many cues",
            file(&"[[when]]\nevent = 'ready'\ndo = 'key off'\n".repeat(101)),
        ),
        (
            "cues that do too much in sum",
            file(&format!(
                "[[when]]\nevent = 'ready'\ntimes = 1000\ndo = \"\"\"\n{}\"\"\"",
                "key on\n".repeat(11)
            )),
        ),
        (
            "cues that take too long",
            file("[[when]]\nevent = 'ready'\ntimes = 1000\ndo = 'drive udds'"),
        ),
        ("an unknown role of an ECU", vehicle("[[ecu]]\nrole = 'gateway'")),
        ("two ECUs with one identifier", body("request = '7E0'")),
        ("a service that no listed ECU has", body("services = '01 06'")),
        ("a value beyond its scaling", body("data = '46 300 C'")),
        ("a value of a parameter without a table", body("data = 'F3 12'")),
        (
            "a bit rate that diagnostics does not know",
            vehicle("[bus]\nbit-rate = 125"),
        ),
        (
            "an unknown vehicle",
            HEAD.replace("compact", "compakt").into_bytes(),
        ),
    ]
}

/// What is wrong with a file, a scenario or a vehicle.
fn problems_of(what: &str, file: &[u8]) -> Vec<Problem> {
    if VehicleModel::is_meant(file) {
        VehicleModel::parse(file).expect_err(what)
    } else {
        Scenario::parse(file).expect_err(what)
    }
}

/// The kinds by name: a new kind does not compile until it stands here, and does not pass until a case shows it.
macro_rules! kinds {
    ($($kind:pat => $name:literal,)+) => {
        fn name_of(kind: ProblemKind) -> &'static str {
            match kind {
                $($kind => $name,)+
            }
        }
        const NAMES: &[&str] = &[$($name),+];
    };
}

kinds! {
    ProblemKind::UnknownWord(_) => "unknown word",
    ProblemKind::Misfit(_) => "known word that does not fit",
    ProblemKind::Missing(_) => "missing",
    ProblemKind::Surplus => "surplus",
    ProblemKind::NotANumber(_) => "not a number",
    ProblemKind::UnknownUnit(_) => "unknown unit",
    ProblemKind::OutOfRange(_) => "out of range",
    ProblemKind::NotACode => "not a code",
    ProblemKind::TooMany(_) => "too many",
    ProblemKind::TooLong(_) => "too long",
    ProblemKind::Misplaced(_) => "misplaced",
    ProblemKind::NotText => "not text",
    ProblemKind::NotToml => "not TOML",
    ProblemKind::UnknownKey => "unknown key",
    ProblemKind::MissingKey(_) => "missing key",
    ProblemKind::WrongType(_) => "wrong type",
    ProblemKind::Version => "version",
    ProblemKind::Empty(_) => "empty",
    ProblemKind::More => "more",
}

#[test]
fn every_kind_of_problem_has_its_text() {
    let mut kinds = BTreeSet::from([name_of(ProblemKind::More)]);
    let mut texts = String::new();
    for (what, file) in cases() {
        let problems = problems_of(what, &file);
        kinds.extend(problems.iter().map(|problem| name_of(problem.kind())));
        let source = String::from_utf8_lossy(&file);
        texts += &format!(
            "## {what}\n\n{}\n\n",
            render("car.toml", &source, &problems, false)
        );
    }
    for name in NAMES {
        assert!(kinds.contains(name), "no case shows the kind `{name}`");
    }

    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/diagnostic/snapshots.txt");
    if std::env::var_os("TWOTRIP_ACCEPT").is_some() {
        std::fs::write(&path, &texts).expect("the snapshots can be written");
    }
    let accepted = std::fs::read_to_string(&path).expect("the snapshots are there");
    let case = |texts: &str, index: usize| texts.split("## ").nth(index).map(str::to_owned);
    let count = texts.matches("## ").count().max(accepted.matches("## ").count());
    for index in 0..=count {
        let (now, before) = (case(&texts, index), case(&accepted, index));
        assert!(
            now == before,
            "now:\n{}\naccepted:\n{}",
            now.unwrap_or_default(),
            before.unwrap_or_default()
        );
    }
}

/// What cannot be shown for its length: the last problem of too many.
#[test]
fn a_long_list_of_problems_ends_with_the_remark_that_it_goes_on() {
    let file = format!(
        "{HEAD}[story]\nbefore = \"\"\"\n{}\"\"\"\n",
        "gearbox\n".repeat(500)
    );
    let problems = Scenario::parse(file.as_bytes()).unwrap_err();
    let text = render("car.toml", &file, &problems, false);
    assert!(text.ends_with(
        "error: more problems follow that are not listed\n   --> car.toml:106:1\n    |\n106 | gearbox\n    | ^^^^^^^"
    ));
}

#[test]
fn colour_changes_nothing_but_the_colour() {
    for (what, file) in cases() {
        let source = String::from_utf8_lossy(&file);
        let problems = problems_of(what, &file);
        let coloured = render("car.toml", &source, &problems, true);
        assert!(coloured.contains('\u{1b}'), "{what}");
        let stripped = anstream::adapter::strip_str(&coloured).to_string();
        assert_eq!(stripped, render("car.toml", &source, &problems, false), "{what}");
    }
}

/// Escape sequences of a file or its name never reach the terminal.
#[test]
fn text_from_outside_is_shown_and_not_obeyed() {
    let phrase = "drive \u{1b}[31mred\u{202e}";
    let problem = parse_phrase(phrase).unwrap_err();
    let text = render("\u{1b}]0;name\u{7}", phrase, &[problem], false);
    assert!(
        !text
            .chars()
            .any(|shown| (shown.is_control() && shown != '\n') || shown == '\u{202e}'),
        "{text:?}"
    );
}

/// Notes and messages keep to 80 columns; the line of the text is cut.
#[test]
fn no_line_is_much_wider_than_the_terminal() {
    for (what, file) in cases() {
        let source = String::from_utf8_lossy(&file);
        let text = render("car.toml", &source, &problems_of(what, &file), false);
        for line in text.lines() {
            assert!(
                line.chars().count() <= 110,
                "{what}: {} columns: {line}",
                line.chars().count()
            );
        }
    }
}
