//! One report of all cars, in the form that its file name asks for: JUnit XML, JSON, Markdown.
//!
//! JUnit's format has no standard; what is written is the common subset that CI programs read: suites with their counts and times, cases with
//! `failure`, properties, `system-out`.

use std::{fmt::Write as _, fs, path::Path};

use serde::Serialize;

use super::told::{Car, Summary};
use crate::{exit::Failure, output};

/// The forms, by the ending of the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    JUnit,
    Json,
    Markdown,
}

impl Form {
    /// Of a file.
    ///
    /// # Errors
    /// What endings there are.
    pub(super) fn of(path: &Path) -> Result<Self, Failure> {
        match path.extension().and_then(|ending| ending.to_str()) {
            Some("xml") => Ok(Self::JUnit),
            Some("json") => Ok(Self::Json),
            Some("md") => Ok(Self::Markdown),
            _ => Err(Failure::input(
                format!(
                    "--report: `{}` has no ending that names a form",
                    output::escape(&path.display().to_string())
                ),
                Some("the forms: FILE.xml (JUnit), FILE.json, FILE.md".to_owned()),
            )),
        }
    }
}

/// Writes a report.
///
/// # Errors
/// [`Failure`] if there is no room for it, or its name has no known ending.
pub(super) fn write(path: &Path, cars: &[Car], summary: &Summary) -> Result<(), Failure> {
    let text = match Form::of(path)? {
        Form::JUnit => junit(cars, summary),
        Form::Json => json(cars, summary)?,
        Form::Markdown => markdown(cars, summary),
    };
    fs::write(path, text)
        .map_err(|error| Failure::system(format!("cannot write `{}`: {error}", path.display()), None))
}

fn json(cars: &[Car], summary: &Summary) -> Result<String, Failure> {
    #[derive(Serialize)]
    struct Whole<'a> {
        twotrip: &'static str,
        cars: &'a [Car],
        summary: &'a Summary,
    }
    let whole = Whole {
        twotrip: env!("CARGO_PKG_VERSION"),
        cars,
        summary,
    };
    output::json_text(&whole).map(|text| text + "\n")
}

fn junit(cars: &[Car], summary: &Summary) -> String {
    let cases: usize = cars.iter().map(|car| car.cases.len()).sum();
    let failures: usize = cars.iter().map(|car| car.failed().count()).sum();
    let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    // Writing into a string cannot fail.
    let _ = writeln!(
        out,
        "<testsuites name=\"twotrip try\" tests=\"{cases}\" failures=\"{failures}\" errors=\"0\" time=\"{:.3}\">",
        summary.seconds
    );
    for car in cars {
        let name = xml(&format!("{}, seed {}", car.scenario, car.seed));
        let _ = writeln!(
            out,
            "  <testsuite name=\"{name}\" tests=\"{}\" failures=\"{}\" errors=\"0\" time=\"{:.3}\">\n    <properties>",
            car.cases.len(),
            car.failed().count(),
            car.seconds
        );
        let seed = car.seed.to_string();
        let files = [("recording", &car.recording), ("output", &car.output)];
        let files = files
            .iter()
            .filter_map(|(name, file)| Some((*name, file.as_ref()?.as_str())));
        let known = [
            ("scenario", car.scenario.as_str()),
            ("seed", &seed),
            ("again", &car.again),
        ];
        for (name, value) in known.into_iter().chain(files) {
            let _ = writeln!(out, "      <property name=\"{name}\" value=\"{}\"/>", xml(value));
        }
        out.push_str("    </properties>\n");
        for case in &car.cases {
            let head = format!(
                "    <testcase classname=\"{name}\" name=\"{}: {}\" time=\"{:.3}\"",
                case.subject.name(),
                xml(&case.name),
                // The tool ran once for all of them: its time stands beside how it ended.
                if case.subject.name() == "tool" {
                    car.seconds
                } else {
                    0.0
                }
            );
            if case.passed {
                let _ = writeln!(out, "{head}/>");
                continue;
            }
            let _ = writeln!(
                out,
                "{head}>\n      <failure type=\"{}\" message=\"{}\">{}</failure>\n    </testcase>",
                case.subject.name(),
                xml(&case.found),
                xml(&beside(car, &case.found))
            );
        }
        if !car.last_lines.is_empty() {
            let _ = writeln!(
                out,
                "    <system-out>{}</system-out>",
                xml(&car.last_lines.join("\n"))
            );
        }
        out.push_str("  </testsuite>\n");
    }
    out.push_str("</testsuites>\n");
    out
}

/// What stands in a failure, for who sees nothing else of the report.
fn beside(car: &Car, found: &str) -> String {
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

/// Text as XML 1.0 lets it stand: no control characters but line ends, no bare markup.
fn xml(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for (number, line) in text.split('\n').enumerate() {
        if number > 0 {
            out.push_str("&#10;");
        }
        for character in output::escape(line).chars() {
            match character {
                '&' => out.push_str("&amp;"),
                '<' => out.push_str("&lt;"),
                '>' => out.push_str("&gt;"),
                '"' => out.push_str("&quot;"),
                '\u{FFFE}' | '\u{FFFF}' => out.push('\u{FFFD}'),
                other => out.push(other),
            }
        }
    }
    out
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
        let text = junit(&cars(), &SUMMARY);
        for part in [
            "tests=\"4\" failures=\"1\" errors=\"0\" time=\"2.500\"",
            "<testsuite name=\"b|d&amp;.toml, seed 7\" tests=\"2\" failures=\"1\"",
            "message=\"exit status &lt;1&gt; &amp; &quot;more&quot;\\u{7}\"",
            "<property name=\"recording\" value=\"/kept/bus.pcapng\"/>",
            "<system-out>]]&gt; ~~~~ |</system-out>",
            "again: twotrip try a --seed 7 -- tool {bus}",
        ] {
            assert!(text.contains(part), "{part}\n{text}");
        }
        assert_eq!(text.matches("<failure").count(), 1);
        assert!(text.lines().all(|line| !line.chars().any(char::is_control)));
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
        for (name, form) in [
            ("a.xml", Form::JUnit),
            ("a.json", Form::Json),
            ("b.a.md", Form::Markdown),
        ] {
            assert_eq!(Form::of(Path::new(name)).ok(), Some(form));
        }
        for name in ["a", "a.html", "xml", "a.XML"] {
            assert!(Form::of(Path::new(name)).is_err(), "{name}");
        }
    }
}
