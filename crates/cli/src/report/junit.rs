//! JUnit XML, as build servers read it: suites of cases, each passed, failed or skipped. (There is no published standard; elements
//! and attributes are those that the readers have in common: common practice, no source.)

use std::fmt::Write as _;

use twotrip_dialogue::conduct::{Rule, Severity};
use twotrip_host::judge::{Breaches, Summary};

use super::escaped;

/// A suite.
#[derive(Clone, Debug, Default)]
pub(crate) struct Suite {
    pub(crate) name: String,
    pub(crate) properties: Vec<(String, String)>,
    pub(crate) cases: Vec<Case>,
    /// How long it took, seconds; zero where that is not for the report.
    pub(crate) seconds: f64,
    /// What the program under test has said.
    pub(crate) output: String,
}

/// A case.
#[derive(Clone, Debug)]
pub(crate) struct Case {
    /// What it belongs to: `expectations`, `conduct`.
    pub(crate) class: String,
    pub(crate) name: String,
    pub(crate) outcome: Outcome,
    /// What else there is to read.
    pub(crate) output: String,
}

/// What came of a case.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Outcome {
    Passed,
    /// What was wrong, in a line.
    Failed(String),
}

impl Case {
    /// One that was judged, with what was found.
    pub(crate) fn judged(class: &str, name: &str, passed: bool, found: &str) -> Self {
        Self {
            class: class.to_owned(),
            name: name.to_owned(),
            outcome: if passed {
                Outcome::Passed
            } else {
                Outcome::Failed(found.to_owned())
            },
            output: found.to_owned(),
        }
    }
}

/// A case for each rule of conduct: a violation fails it, what is unwise is told.
pub(crate) fn conduct(summary: &Summary) -> impl Iterator<Item = Case> + '_ {
    Rule::ALL.iter().map(|rule| {
        let broken = summary.testers.iter().flat_map(|tester| {
            let of_rule = tester
                .breaches
                .iter()
                .filter(|breaches| breaches.rule == rule.name());
            of_rule.map(|breaches| (&tester.tester, breaches))
        });
        let lines: Vec<String> = broken
            .map(|(tester, breaches)| format!("{tester}: {}", told(breaches)))
            .collect();
        let outcome = match lines.first() {
            Some(first) if rule.severity() == Severity::Violation => Outcome::Failed(first.clone()),
            _ => Outcome::Passed,
        };
        Case {
            class: "conduct".to_owned(),
            name: format!("{}: {}", rule.name(), rule.kept()),
            outcome,
            output: lines.join("\n"),
        }
    })
}

/// Breaches of a rule with all that is kept of them.
fn told(breaches: &Breaches) -> String {
    let mut text = breaches.line();
    for example in breaches.examples.iter().skip(1) {
        let _ = write!(text, "\n  {example}");
    }
    text
}

/// The document.
pub(crate) fn document(suites: &[Suite]) -> String {
    let count = |suite: &Suite| {
        let failed = suite
            .cases
            .iter()
            .filter(|case| matches!(case.outcome, Outcome::Failed(_)));
        (suite.cases.len(), failed.count())
    };
    let counts = suites.iter().map(count);
    let (tests, failures) = counts.fold((0, 0), |(tests, failures), (more, failed)| {
        (tests + more, failures + failed)
    });
    let mut out = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites name=\"twotrip\" tests=\"{tests}\" failures=\"{failures}\" errors=\"0\">\n"
    );
    for suite in suites {
        let (tests, failures) = count(suite);
        let _ = writeln!(
            out,
            "  <testsuite name=\"{}\" tests=\"{tests}\" failures=\"{failures}\" errors=\"0\" skipped=\"0\" time=\"{}\">",
            escaped(&suite.name),
            suite.seconds
        );
        if !suite.properties.is_empty() {
            out.push_str("    <properties>\n");
            for (name, value) in &suite.properties {
                let (name, value) = (escaped(name), escaped(value));
                let _ = writeln!(out, "      <property name=\"{name}\" value=\"{value}\"/>");
            }
            out.push_str("    </properties>\n");
        }
        suite
            .cases
            .iter()
            .for_each(|case| write_case(&mut out, &suite.name, case));
        if !suite.output.is_empty() {
            let _ = writeln!(out, "    <system-out>{}</system-out>", escaped(&suite.output));
        }
        out.push_str("  </testsuite>\n");
    }
    out.push_str("</testsuites>\n");
    out
}

fn write_case(out: &mut String, suite: &str, case: &Case) {
    let class = escaped(&format!("{suite}.{}", case.class));
    let _ = write!(
        out,
        "    <testcase classname=\"{class}\" name=\"{}\" time=\"0\"",
        escaped(&case.name)
    );
    if case.outcome == Outcome::Passed && case.output.is_empty() {
        out.push_str("/>\n");
        return;
    }
    out.push_str(">\n");
    match &case.outcome {
        Outcome::Failed(why) => {
            let (why, output) = (escaped(why), escaped(&case.output));
            let _ = writeln!(
                out,
                "      <failure message=\"{why}\" type=\"{}\">{output}</failure>",
                escaped(&case.class)
            );
        }
        Outcome::Passed => {
            let _ = writeln!(out, "      <system-out>{}</system-out>", escaped(&case.output));
        }
    }
    out.push_str("    </testcase>\n");
}
