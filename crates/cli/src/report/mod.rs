//! What came of a run, in a file: for programs (JSON), for build servers (JUnit XML), for people (Markdown, HTML).
//!
//! The same run and the same frames at the same instants give the same report: no time of day is in it.

pub(crate) mod html;
pub(crate) mod junit;
mod markdown;

use std::{fs, path::Path};

use serde::Serialize;
use twotrip_dialogue::verdict;
use twotrip_host::{judge::Summary, verdicts::Judged};

use crate::exit::Failure;

/// What to mind, in every report.
pub(crate) const CAUTION: &str = "What a simulated car shows is no proof of a real one. Run engines only where exhaust is drawn off, away from fuel \
    vapour and moving parts; keep simulators and replays off a vehicle's bus; clearing codes repairs nothing, and wipes out evidence and \
    readiness; qualified people and the law where the car stands decide what may go on the road.";

/// The verdict on a tool that did not do what a good one does.
const FAILED: &str = verdict::Verdict::Failed.name();

/// How a report is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Format {
    Json,
    JUnit,
    Markdown,
    Html,
}

impl Format {
    /// By the ending of the file's name.
    pub(crate) fn of(path: &Path) -> Result<Self, Failure> {
        match path.extension().and_then(|ending| ending.to_str()) {
            Some("json") => Ok(Self::Json),
            Some("xml") => Ok(Self::JUnit),
            Some("md") => Ok(Self::Markdown),
            Some("html") => Ok(Self::Html),
            _ => Err(Failure::input(
                format!("--report {}: no format has this ending", path.display()),
                Some("end the name in .json, .xml (JUnit), .md or .html".to_owned()),
            )),
        }
    }
}

/// An expectation, or whatever else was judged.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Verdict {
    /// What was expected.
    pub(crate) expectation: String,
    pub(crate) met: bool,
    /// What was found.
    pub(crate) outcome: String,
}

/// What a tool did about a disturbance.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Disturbed {
    pub(crate) number: u64,
    pub(crate) disturbance: String,
    /// `held`, `failed`, `not tried`.
    pub(crate) verdict: &'static str,
    pub(crate) seen: String,
    pub(crate) source: &'static str,
}

impl From<Judged> for Disturbed {
    fn from(judged: Judged) -> Self {
        Self {
            number: judged.number,
            disturbance: judged.disturbance.to_string(),
            verdict: judged.finding.verdict.name(),
            seen: judged.finding.seen,
            source: judged.finding.source,
        }
    }
}

/// What came of a run.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Report {
    pub(crate) scenario: String,
    pub(crate) title: String,
    pub(crate) seed: u64,
    pub(crate) version: &'static str,
    /// Something was in it that no car does by itself (`preload`, `override`).
    pub(crate) not_physical: bool,
    pub(crate) ended: &'static str,
    pub(crate) expectations: Vec<Verdict>,
    pub(crate) disturbances: Vec<Disturbed>,
    /// What testers did.
    pub(crate) conduct: Summary,
    pub(crate) caution: &'static str,
}

impl Report {
    /// Its text.
    pub(crate) fn text(&self, format: Format) -> Result<String, Failure> {
        match format {
            Format::Json => {
                let text = serde_json::to_string_pretty(self);
                text.map(|text| text + "\n")
                    .map_err(|error| Failure::system(error.to_string(), None))
            }
            Format::JUnit => Ok(junit::document(&[self.suite()])),
            Format::Markdown => Ok(markdown::text(self)),
            Format::Html => Ok(html::text(self)),
        }
    }

    /// As a suite of JUnit: a case for each expectation, and one for each rule of conduct.
    pub(crate) fn suite(&self) -> junit::Suite {
        let mut suite = junit::Suite {
            name: self.scenario.clone(),
            properties: vec![
                ("title".to_owned(), self.title.clone()),
                ("seed".to_owned(), self.seed.to_string()),
                ("version".to_owned(), self.version.to_owned()),
                ("not physical".to_owned(), self.not_physical.to_string()),
                ("caution".to_owned(), self.caution.to_owned()),
            ],
            ..junit::Suite::default()
        };
        suite.cases.extend(self.expectations.iter().map(|verdict| {
            junit::Case::judged(
                "expectations",
                &verdict.expectation,
                verdict.met,
                &verdict.outcome,
            )
        }));
        suite.cases.extend(self.disturbances.iter().map(|disturbed| {
            let name = format!("{}: {}", disturbed.number, disturbed.disturbance);
            let found = format!("{}: {} [{}]", disturbed.verdict, disturbed.seen, disturbed.source);
            junit::Case::judged("disturbances", &name, disturbed.verdict != FAILED, &found)
        }));
        suite.cases.extend(junit::conduct(&self.conduct));
        suite
    }

    /// The facts that a report for people begins with.
    fn head(&self) -> Vec<(&'static str, String)> {
        let physical = if self.not_physical {
            "no: the fault memory was filled, or a reported value pinned, by hand"
        } else {
            "yes"
        };
        vec![
            ("Scenario", self.scenario.clone()),
            ("Seed", self.seed.to_string()),
            ("Program", format!("twotrip {}", self.version)),
            ("Physical", physical.to_owned()),
            ("Ended", self.ended.to_owned()),
        ]
    }
}

/// Makes sure that a report can be written there, before the run that it is about: an empty file is left where there was none.
pub(crate) fn prepare(path: &Path) -> Result<(), Failure> {
    let opened = fs::OpenOptions::new().append(true).create(true).open(path);
    opened.map(drop).map_err(|error| failure(path, &error))
}

/// Writes a report, in place of what was there.
pub(crate) fn write(path: &Path, text: &str) -> Result<(), Failure> {
    fs::write(path, text).map_err(|error| failure(path, &error))
}

fn failure(path: &Path, error: &std::io::Error) -> Failure {
    Failure::system(
        format!("cannot write the report to `{}`: {error}", path.display()),
        Some("name a file in a folder that exists and can be written to".to_owned()),
    )
}

/// A text with the characters replaced that mean something in XML and HTML, and those that XML 1.0 does not allow.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Kept as they are in attributes too.
            '\n' => out.push_str("&#10;"),
            '\t' => out.push_str("&#9;"),
            '\u{0}'..='\u{1F}' | '\u{7F}'..='\u{9F}' | '\u{FFFE}' | '\u{FFFF}' => out.push('\u{FFFD}'),
            other => out.push(other),
        }
    }
    out
}

#[cfg(test)]
mod tests;
