//! One report of all cars, in the form that its file name asks for: JUnit XML, JSON, Markdown, HTML.

use std::{fmt::Write as _, path::Path};

use serde::Serialize;

use super::{
    page,
    told::{Car, Summary},
};
use crate::{
    exit::Failure,
    output,
    report::{self, Format, junit},
};

/// Writes a report.
///
/// # Errors
/// [`Failure`] if there is no room for it, or its name has no known ending.
pub(super) fn write(path: &Path, cars: &[Car], summary: &Summary) -> Result<(), Failure> {
    let text = match Format::of(path)? {
        Format::JUnit => junit(cars),
        Format::Json => json(cars, summary)?,
        Format::Markdown => markdown(cars, summary),
        Format::Html => page::text(cars, summary),
    };
    report::write(path, &text)
}

fn json(cars: &[Car], summary: &Summary) -> Result<String, Failure> {
    #[derive(Serialize)]
    struct Whole<'a> {
        twotrip: &'static str,
        cars: &'a [Car],
        summary: &'a Summary,
        caution: &'static str,
    }
    let whole = Whole {
        twotrip: env!("CARGO_PKG_VERSION"),
        cars,
        summary,
        caution: report::CAUTION,
    };
    output::json_text(&whole).map(|text| text + "\n")
}

fn junit(cars: &[Car]) -> String {
    let suites: Vec<junit::Suite> = cars.iter().map(suite).collect();
    junit::document(&suites)
}

/// A suite for each car, a case for each check, and for each rule of conduct that was kept.
fn suite(car: &Car) -> junit::Suite {
    let mut cases: Vec<junit::Case> = Vec::new();
    for case in &car.cases {
        let mut judged = junit::Case::judged(case.subject.name(), &case.name, case.passed, &case.found);
        if !case.passed {
            judged.output = beside(car, &case.found);
        }
        cases.push(judged);
    }
    let told = |rule: &junit::Case| car.cases.iter().any(|case| case.name == rule.name);
    let kept: Vec<junit::Case> = junit::conduct(&car.conduct).filter(|rule| !told(rule)).collect();
    cases.extend(kept);
    let files = [("recording", &car.recording), ("output", &car.output)];
    let files = files
        .into_iter()
        .filter_map(|(name, file)| Some((name.to_owned(), file.clone()?)));
    let known = [
        ("scenario", car.scenario.clone()),
        ("seed", car.seed.to_string()),
        ("again", car.again.clone()),
        ("not physical", car.not_physical.to_string()),
        ("caution", report::CAUTION.to_owned()),
    ];
    let known = known.into_iter().map(|(name, value)| (name.to_owned(), value));
    junit::Suite {
        name: format!("{}, seed {}", car.scenario, car.seed),
        properties: known.chain(files).collect(),
        cases,
        seconds: car.seconds,
        output: car.last_lines.join("\n"),
    }
}

/// What stands in a failure, for who sees nothing else of the report.
pub(super) fn beside(car: &Car, found: &str) -> String {
    let mut text = format!(
        "{found}\nscenario: {}\nseed: {}\nagain: {}",
        car.scenario, car.seed, car.again
    );
    for (name, file) in [("recording", &car.recording), ("output", &car.output)] {
        if let Some(file) = file {
            let _ = write!(text, "\n{name}: {file}");
        }
    }
    if let Some(shorter) = &car.shorter {
        let _ = write!(text, "\nshorter story: {}", shorter.text);
        for (name, value) in [("scenario", &shorter.scenario), ("again", &shorter.again)] {
            if let Some(value) = value {
                let _ = write!(text, "\n  {name}: {value}");
            }
        }
    }
    text
}

fn markdown(cars: &[Car], summary: &Summary) -> String {
    let mut out = format!(
        "# Cars\n\n{} cars: {} passed, {} failed, {} not tried.\n\n| car | seed | |\n|---|---|---|\n",
        summary.cars, summary.passed, summary.failed, summary.left
    );
    for car in cars {
        let failed: Vec<String> = car.failed().map(|case| cell(&case.name)).collect();
        let what = if car.passed {
            "passed".to_owned()
        } else {
            format!("**failed**: {}", failed.join("; "))
        };
        let _ = writeln!(out, "| {} | {} | {what} |", cell(&car.scenario), car.seed);
    }
    for car in cars.iter().filter(|car| !car.passed) {
        let _ = write!(out, "\n## {}, seed {}\n\n", cell(&car.scenario), car.seed);
        for case in car.failed() {
            let _ = writeln!(
                out,
                "- {}, {}: {}",
                case.subject.name(),
                cell(&case.name),
                cell(&case.found)
            );
        }
        // A fence longer than any run of backticks in it.
        let text = beside(car, "");
        let text: Vec<String> = text.trim().lines().map(output::escape).collect();
        let _ = write!(out, "\n~~~~text\n{}\n", text.join("\n"));
        if !car.last_lines.is_empty() {
            let _ = write!(out, "\n{}\n", car.last_lines.join("\n").replace("~~~~", "~~ ~~"));
        }
        out.push_str("~~~~\n");
    }
    out
}

/// Text in a cell of a table.
fn cell(text: &str) -> String {
    output::escape(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('|', "\\|")
        .replace('`', "\\`")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::command::tries::cases::{Case, Subject};

    fn cars() -> Vec<Car> {
        let car = |scenario: &str, passed: bool| Car {
            scenario: scenario.to_owned(),
            seed: 7,
            passed,
            seconds: 1.25,
            requests: 3,
            not_physical: false,
            conduct: twotrip_host::judge::Summary::default(),
            cases: vec![
                Case::new(
                    Subject::Tool,
                    "exit status 0",
                    passed,
                    "exit status <1> & \"more\"\x07",
                ),
                Case::new(Subject::Codes, "P0455 is read", true, "it was in an answer"),
            ],
            recording: (!passed).then(|| "/kept/bus.pcapng".to_owned()),
            output: None,
            last_lines: if passed {
                vec![]
            } else {
                vec!["]]> ~~~~ |".to_owned()]
            },
            again: "twotrip try a --seed 7 -- tool {bus}".to_owned(),
            shorter: None,
        };
        vec![car("good", true), car("b|d&.toml", false)]
    }

    const SUMMARY: Summary = Summary {
        cars: 2,
        passed: 1,
        failed: 1,
        left: 0,
        seconds: 2.5,
    };

    #[test]
    fn junit_counts_and_escapes() {
        let text = junit(&cars());
        for part in [
            "<testsuite name=\"b|d&amp;.toml, seed 7\"",
            "message=\"exit status &lt;1&gt; &amp; &quot;more&quot;\u{FFFD}\"",
            "<property name=\"recording\" value=\"/kept/bus.pcapng\"/>",
            "<system-out>]]&gt; ~~~~ |</system-out>",
            "again: twotrip try a --seed 7 -- tool {bus}",
            "time=\"1.25\"",
        ] {
            assert!(text.contains(part), "{part}\n{text}");
        }
        assert_eq!(text.matches("<failure").count(), 1);
        let rules = twotrip_dialogue::conduct::Rule::ALL.len();
        assert!(
            text.contains(&format!("tests=\"{}\" failures=\"1\"", 2 * (2 + rules))),
            "{text}"
        );
    }

    #[test]
    fn the_other_forms_name_what_failed_too() {
        let text = markdown(&cars(), &SUMMARY);
        assert!(
            text.contains("| b\\|d&amp;.toml | 7 | **failed**: exit status 0 |"),
            "{text}"
        );
        assert_eq!(text.matches("~~~~").count(), 2, "{text}");
        let text = json(&cars(), &SUMMARY).expect("JSON");
        let value: serde_json::Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(value["cars"][1]["cases"][0]["passed"], false);
        assert_eq!(value["summary"]["failed"], 1);
        let text = page::text(&cars(), &SUMMARY);
        for part in [
            "<td class=\"no\">failed</td><td>tool, exit status 0</td>",
            "exit status &lt;1&gt; &amp; &quot;more&quot;\u{FFFD}",
            "<h2>b|d&amp;.toml, seed 7</h2>",
            "twotrip try a --seed 7 -- tool {bus}",
            "]]&gt; ~~~~ |",
        ] {
            assert!(text.contains(part), "{part}\n{text}");
        }
        assert!(!text.contains("<h2>good"), "{text}");
    }
}
