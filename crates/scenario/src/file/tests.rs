use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng as _, SeedableRng as _},
};

use super::*;
use crate::{ProblemKind, limits, shipped};

const HEAD: &str = "version = 1\ntitle = \"A car\"\nvehicle = \"compact-2.0\"\n";

fn problems(text: &str) -> Vec<Problem> {
    Scenario::parse(text.as_bytes()).expect_err(text)
}

/// Summary and place of every problem of a text.
fn seen(text: &str) -> Vec<(String, &str)> {
    problems(text)
        .iter()
        .map(|problem| (problem.to_string(), &text[problem.span()]))
        .collect()
}

#[test]
fn a_file_becomes_a_scenario() {
    let text = shipped::find("loose-fuel-cap").unwrap().text;
    let scenario = Scenario::parse(text.as_bytes()).unwrap();
    assert_eq!(scenario.title(), "Cap left loose after refuelling");
    assert_eq!(*scenario.vehicle(), crate::vehicle::find("compact-2.0").unwrap());
    assert_eq!(scenario.seed(), 1);
    let order = scenario.repair_order().unwrap();
    assert_eq!(
        order.cause().iter().map(ToString::to_string).collect::<Vec<_>>(),
        ["defect fuel-cap loose"]
    );
    assert_eq!(
        order
            .correction()
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>(),
        ["tighten fuel-cap"]
    );
    for phrase in scenario.story().iter().chain(scenario.expectations()) {
        assert_eq!(text[phrase.span.clone()], phrase.value.to_string());
    }
}

#[test]
fn what_is_left_out_has_its_default() {
    let scenario = Scenario::parse(HEAD.as_bytes()).unwrap();
    assert!(scenario.story().is_empty() && scenario.expectations().is_empty());
    assert_eq!((scenario.seed(), scenario.repair_order()), (1, None));
    assert_eq!(scenario.regulation().name, "US-2010");
    let european = Scenario::parse(format!("{HEAD}regulation = 'eobd'").as_bytes()).unwrap();
    assert_eq!(european.regulation().name, "EOBD");
    assert!(!european.readiness_display());
    let showing = Scenario::parse(format!("{HEAD}readiness-display = true").as_bytes()).unwrap();
    assert!(showing.readiness_display());
    assert!(Scenario::parse(format!("{HEAD}readiness-display = 'yes'").as_bytes()).is_err());
    assert!(!european.broadcasts());
    let talking = Scenario::parse(format!("{HEAD}broadcasts = true").as_bytes()).unwrap();
    assert!(talking.broadcasts());
    let seeded = Scenario::parse(format!("{HEAD}seed = 0x2A").as_bytes()).unwrap();
    assert_eq!(seeded.seed(), 42);
}

#[test]
fn all_problems_of_a_file_come_at_once_and_in_order() {
    let text = r#"version = 2
titel = "Misspelt"
vehicle = "compakt-2.0"
seed = -1
before = "key on"

[repair-order]
complaint = " "
cause = "tighten fuel-cap"
symptom = """
expect measured back-pressure above 40 kPa
expect mil off
"""

[story]
before = """
drive ufds
expect lamp lit
"""

[verdict]
expect = "key on"
extra = 5
"#;
    let summaries: Vec<String> = problems(text).iter().map(ToString::to_string).collect();
    assert_eq!(
        summaries,
        [
            "format version `2` cannot be read",
            "unknown key `titel`",
            "unknown vehicle `compakt-2.0`",
            "seed `-1` is out of range",
            "unknown key `before`",
            "the key `correction` is missing",
            "complaint is empty",
            "`tighten fuel-cap` does not belong in a cause",
            "`expect mil off` does not belong in a symptom",
            "unknown drive `ufds`",
            "`key on` does not belong in a verdict",
            "unknown key `extra`",
        ]
    );
}

#[test]
fn a_problem_inside_a_string_points_into_the_file() {
    for quote in ["\"\"\"\n", "\"\"\"", "'''\n", "'''", "\"\"\"\r\n"] {
        let close = &quote[..3];
        let text = format!("{HEAD}[story]\nbefore = {quote}key on # ü\n soak 99 d \nkey off{close}\n");
        assert_eq!(
            seen(&text),
            [("soak time `99 d` is out of range".into(), "99 d")],
            "{quote:?}"
        );
    }
    for quote in ["\"", "'"] {
        let text = format!("{HEAD}[story]\nbefore = {quote}soak 99 d{quote}\n");
        assert_eq!(
            seen(&text),
            [("soak time `99 d` is out of range".into(), "99 d")],
            "{quote:?}"
        );
    }
}

/// With escapes the words of the phrase do not stand in the file: the whole string is to blame.
#[test]
fn a_problem_inside_a_string_with_escapes_points_at_the_string() {
    for literal in [
        r#""key on\nsoak 99 d""#,
        r#""soak \u0039\u0039 d""#,
        "\"\"\"soak \\\n 99 d\"\"\"",
    ] {
        let text = format!("{HEAD}[story]\nbefore = {literal}\n");
        assert_eq!(
            seen(&text),
            [("soak time `99 d` is out of range".into(), literal)]
        );
    }
}

#[test]
fn line_ends_of_other_systems_are_read() {
    for shipped in shipped::ALL {
        let windows = shipped.text.replace('\n', "\r\n");
        let scenario = Scenario::parse(windows.as_bytes()).unwrap();
        let same = Scenario::parse(shipped.text.as_bytes()).unwrap();
        assert!(
            scenario
                .story()
                .iter()
                .map(|phrase| &phrase.value)
                .eq(same.story().iter().map(|phrase| &phrase.value))
        );
        let broken = windows.replace("key on", "key of");
        let places: Vec<&str> = problems(&broken)
            .iter()
            .map(|problem| &broken[problem.span()])
            .collect();
        assert!(!places.is_empty(), "{}", shipped.name);
        assert!(
            places.iter().all(|place| *place == "of"),
            "{}: {places:?}",
            shipped.name
        );
    }
}

#[test]
fn types_and_places_of_keys_are_checked() {
    for (text, summary, place) in [
        (
            HEAD.replace("\"A car\"", "5"),
            "a string is expected, not a whole number",
            "5",
        ),
        (HEAD.replace("\"A car\"", "\" \""), "title is empty", "\" \""),
        (
            HEAD.replace("A car", "A\\ncar"),
            r"`\n` does not belong in a title",
            "\"A\\ncar\"",
        ),
        (
            HEAD.replace("= 1", "= 1.0"),
            "a whole number is expected, not a decimal number",
            "1.0",
        ),
        (
            HEAD.replace("version = 1\n", ""),
            "the key `version` is missing",
            "",
        ),
        (
            format!("{HEAD}seed = 9223372036854775808"),
            "seed `9223372036854775808` is out of range",
            "9223372036854775808",
        ),
        (
            format!("{HEAD}story = 1"),
            "a table is expected, not a whole number",
            "1",
        ),
        (
            format!("{HEAD}[[story]]\nbefore = ''"),
            "a table is expected, not a list",
            "[[story]]",
        ),
        (format!("{HEAD}[story]\n"), "the key `before` is missing", "story"),
        (
            format!("{HEAD}[verdict]\nexpect = ''"),
            "a verdict is empty",
            "''",
        ),
        (
            format!("{HEAD}[repair-order]\ncause = 'start'"),
            "the key `complaint` is missing",
            "repair-order",
        ),
    ] {
        let found = seen(&text);
        assert!(found.contains(&(summary.into(), place)), "{text}: {found:?}");
    }
}

#[test]
fn cues_wait_for_events() {
    let text = format!(
        "{HEAD}[[when]]\nevent = 'Confirmed p0455'\nafter = '1.5 min'\ntimes = 3\ndo = \"\"\"\ntighten fuel-cap # at last\n\
         drive udds\n\"\"\"\n[[when]]\nevent = \"ready\"\ndo = 'key off'\n"
    );
    let scenario = Scenario::parse(text.as_bytes()).unwrap();
    let [first, second] = scenario.cues() else {
        panic!("{:?}", scenario.cues());
    };
    assert_eq!(first.event, Event::Confirmed(Some("P0455".parse().unwrap())));
    assert_eq!((first.after, first.times), (Duration::from_secs(90), 3));
    let phrases: Vec<&str> = first
        .phrases
        .iter()
        .map(|phrase| &text[phrase.span.clone()])
        .collect();
    assert_eq!(phrases, ["tighten fuel-cap", "drive udds"]);
    assert_eq!(
        (second.event, second.after, second.times),
        (Event::Ready, Duration::ZERO, 1)
    );

    let wrong = format!(
        "{HEAD}[[when]]\nevent = 'redy'\nafter = 'soon'\ntimes = 0\ndo = 'key of'\nelse = ''\n[[when]]\ndo = ' '\n"
    );
    assert_eq!(
        seen(&wrong),
        [
            ("unknown event `redy`".into(), "redy"),
            (
                "time after the event begins with a number, not with `soon`".into(),
                "soon"
            ),
            ("times `0` is out of range".into(), "0"),
            ("unknown key position `of`".into(), "of"),
            ("unknown key `else`".into(), "else"),
            ("the key `event` is missing".into(), "[[when]]"),
            ("a cue is empty".into(), "' '"),
        ]
    );
}

/// A bound counts what a phrase really takes: the ways from one speed to the next, starting, falling asleep.
#[test]
fn short_legs_do_not_hide_a_long_drive() {
    let sprints = format!("drive {}\n", vec!["140 km/h for 1 s, stop"; 50].join(", "));
    let story = |times: usize| format!("{HEAD}[story]\nbefore = '''\n{}'''\n", sprints.repeat(times));
    assert!(Scenario::parse(story(200).as_bytes()).is_ok());
    // 500 drives of nominally 50 s each: by that count the car could go on for a fortnight.
    assert_eq!(problems(&story(500))[0].kind(), ProblemKind::TooLong("story"));
}

#[test]
fn a_verdict_has_so_many_expectations_and_no_more() {
    let verdict = |count: usize| {
        format!("{HEAD}[verdict]\nexpect = 'LINES'\n").replace(
            "'LINES'",
            &format!("\"\"\"\n{}\"\"\"", "expect mil off\n".repeat(count)),
        )
    };
    assert!(Scenario::parse(verdict(1000).as_bytes()).is_ok());
    assert_eq!(
        problems(&verdict(1001))[0].kind(),
        ProblemKind::TooMany("expectations")
    );
}

#[test]
fn stories_have_an_end() {
    let story = |phrases: &str| format!("{HEAD}[story]\nbefore = '''\n{phrases}'''\n");
    let long = |text: &str| {
        problems(text)
            .iter()
            .map(Problem::kind)
            .eq([ProblemKind::TooLong("story")])
    };
    assert!(Scenario::parse(story(&"soak 30 d\n".repeat(12)).as_bytes()).is_ok());
    assert!(long(&story(&"soak 30 d\n".repeat(13))));
    assert!(Scenario::parse(story(&"wait 20 h\n".repeat(10)).as_bytes()).is_ok());
    assert!(long(&story(&"wait 20 h\n".repeat(11))));
    assert!(long(&story(&"drive hwfet\n".repeat(1000))));
}

#[test]
fn what_is_no_file_of_ours_is_refused_in_words() {
    let kind = |file: &[u8]| Scenario::parse(file).unwrap_err()[0].kind();
    assert_eq!(
        kind(&vec![b' '; limits::FILE_BYTES + 1]),
        ProblemKind::TooLong("file")
    );
    assert_eq!(kind(b"version = 1\n\xFF\xFE"), ProblemKind::NotText);
    assert_eq!(kind(b"title = \"a\0b\""), ProblemKind::NotToml);
    assert_eq!(kind(b"version = = 1"), ProblemKind::NotToml);
    assert_eq!(kind(b""), ProblemKind::MissingKey("version"));
    assert_eq!(
        kind(format!("a = {}1{}", "[".repeat(100_000), "]".repeat(100_000)).as_bytes()),
        ProblemKind::NotToml
    );
    assert_eq!(
        kind(format!("{}a = 1", "a.".repeat(100_000)).as_bytes()),
        ProblemKind::NotToml
    );
}

/// Files of many small mistakes stay answerable.
#[test]
fn the_list_of_problems_is_bounded() {
    for text in [
        "a\n".repeat(20_000),
        (0..20_000).map(|key| format!("k{key}=1\n")).collect(),
    ] {
        let found = problems(&text);
        assert!(found.len() <= limits::PROBLEMS + 1, "{}", found.len());
        assert_eq!(found.last().map(Problem::kind), Some(ProblemKind::More));
    }
}

/// Whatever the bytes: a scenario or problems that point inside the file, never a panic.
#[test]
fn no_bytes_break_the_check() {
    let mut dice = ChaCha8Rng::seed_from_u64(0x7477_6F74);
    let mut below =
        move |bound: usize| usize::try_from(dice.next_u64() % u64::try_from(bound.max(1)).unwrap()).unwrap();
    let words: &[&[u8]] = &[
        b"\"\"\"",
        b"'''",
        b"\n",
        b"\r",
        b"#",
        b"[",
        b"]",
        b"=",
        b"\\",
        b"\0",
        b"\xFF",
        "ü".as_bytes(),
        b"9999999999",
        b"-",
        b",",
        b".",
        b"[[when]]\nevent = 'ready'\n",
        b"do = '''\n",
        b"times = 3\n",
        b"after = \"5 min\"\n",
        b"[story]\n",
        b"expect tool read confirmed within 60 s\n",
        b" always",
        b"hold tank-pressure -8 inH2O\n",
        b"why not ",
        b"no ",
    ];
    let (mut good, mut bad) = (0, 0);
    for round in 0..6000 {
        let mut file = match shipped::ALL.get(round % (shipped::ALL.len() + 1)) {
            None => (0..below(300))
                .map(|_| u8::try_from(below(256)).unwrap())
                .collect(),
            Some(shipped) => shipped.text.as_bytes().to_vec(),
        };
        for _ in 0..=below(4) {
            let at = below(file.len());
            let until = (at + below(12)).min(file.len());
            match below(4) {
                0 => drop(file.drain(at..until)),
                1 => drop(file.splice(at..at, words[below(words.len())].iter().copied())),
                2 => {
                    let copied = file[at..until].to_vec();
                    let to = below(file.len());
                    drop(file.splice(to..to, copied));
                }
                _ => file
                    .iter_mut()
                    .skip(at)
                    .take(1)
                    .for_each(|byte| *byte = u8::try_from(below(256)).unwrap()),
            }
        }
        match Scenario::parse(&file) {
            Ok(scenario) => {
                good += 1;
                assert!(!scenario.title().is_empty());
                let cues = scenario.cues().iter().flat_map(|cue| &cue.phrases);
                for phrase in scenario.story().iter().chain(scenario.expectations()).chain(cues) {
                    let shown = phrase.value.to_string();
                    assert!(parse_phrase(&shown).is_ok(), "{shown}");
                    assert!(phrase.span.end <= file.len());
                }
            }
            Err(problems) => {
                bad += 1;
                assert!(!problems.is_empty() && problems.len() <= limits::PROBLEMS + 1);
                for problem in problems {
                    let span = problem.span();
                    assert!(span.start <= span.end && span.end <= file.len(), "{problem:?}");
                    assert!(!problem.to_string().chars().any(char::is_control), "{problem:?}");
                    // A place in a text is one that can be cut out of it.
                    if let Ok(text) = core::str::from_utf8(&file) {
                        assert!(text.get(span).is_some(), "{problem:?}");
                    }
                }
            }
        }
    }
    assert!(
        good > 300 && bad > 300,
        "the mutations try both: {good} good, {bad} bad"
    );
}
