//! What came of a car, for people and for machines.

use serde::Serialize;
use twotrip_host::judge;

use super::{
    cases::Case,
    plan::{self, Trial},
    shrink::Shorter,
    trial::{Found, OUTPUT, RECORDING},
};
use crate::{
    args,
    command::words,
    exit::Failure,
    output::{self, BAD, FAINT, GOOD, PLAIN},
};

/// Lines of the tool's output that are shown of a car that failed, and characters of each.
const LAST_LINES: usize = 12;
const LINE: usize = 300;

/// A car, as it is printed with `--json` and stands in reports.
#[derive(Debug, Serialize)]
pub(super) struct Car {
    pub(super) scenario: String,
    pub(super) seed: u64,
    pub(super) passed: bool,
    pub(super) seconds: f64,
    pub(super) requests: u64,
    pub(super) not_physical: bool,
    pub(super) cases: Vec<Case>,
    /// What the tool did, by the rules of good conduct.
    pub(super) conduct: judge::Summary,
    /// Files that are kept.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) recording: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) output: Option<String>,
    /// The last lines of it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) last_lines: Vec<String>,
    /// The command that tries this car again.
    pub(super) again: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) shorter: Option<ShorterStory>,
}

/// What came of the search for a shorter story.
#[derive(Debug, Serialize)]
pub(super) struct ShorterStory {
    pub(super) runs: u32,
    pub(super) phrases: usize,
    pub(super) of: usize,
    pub(super) text: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) scenario: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) again: Option<String>,
}

impl Car {
    pub(super) fn new(
        args: &args::Try,
        trial: &Trial,
        found: Found,
        is_kept: bool,
        shorter: Option<Shorter>,
    ) -> Self {
        let passed = found.passed();
        let kept = |name| is_kept.then(|| found.folder.join(name).display().to_string());
        Self {
            scenario: trial.name.clone(),
            seed: trial.seed,
            passed,
            seconds: (found.took.as_secs_f64() * 1e3).round() / 1e3,
            requests: found.requests,
            conduct: found.conduct,
            not_physical: found.not_physical,
            recording: kept(RECORDING),
            output: kept(OUTPUT),
            last_lines: if passed {
                Vec::new()
            } else {
                last_lines(&found.said)
            },
            again: plan::again(args, &trial.name, trial.seed),
            shorter: shorter.map(|shorter| ShorterStory::new(args, trial.seed, shorter)),
            cases: found.cases,
        }
    }

    pub(super) fn failed(&self) -> impl Iterator<Item = &Case> {
        self.cases.iter().filter(|case| !case.passed)
    }

    /// Prints it.
    pub(super) fn say(&self, json: bool) -> Result<(), Failure> {
        if json {
            return output::json(&Line::Car(self));
        }
        let name = output::escape(&self.scenario);
        let checks = words::counted(self.cases.len() as u64, "check", "checks");
        let note = if self.not_physical { ", not physical" } else { "" };
        let head = format!(
            "{name}, seed {}: {checks}, {:.1} s{note}",
            self.seed, self.seconds
        );
        if self.passed {
            output::line(&format!("{GOOD}passed{PLAIN}  {head}"))?;
        } else {
            output::line(&format!("{BAD}FAILED{PLAIN}  {head}"))?;
        }
        for case in self.failed() {
            let text = format!("{}: {}", case.name, case.found);
            for line in output::beside(&format!("  {:<13}", case.subject.name()), &output::escape(&text)) {
                output::line(&line)?;
            }
        }
        let breaches = self.conduct.testers.iter().flat_map(|tester| &tester.breaches);
        for breaches in breaches.filter(|breaches| breaches.severity == "unwise") {
            let rule = format!("{}: {}", breaches.rule, breaches.kept);
            if !self.failed().any(|case| case.name == rule) {
                for line in output::beside(&format!("  {:<13}", "conduct"), &output::escape(&breaches.line()))
                {
                    output::line(&line)?;
                }
            }
        }
        // Paths and commands stay whole, to be copied.
        for (word, path) in [("recording", &self.recording), ("output", &self.output)] {
            if let Some(path) = path {
                output::line(&format!("  {word:<13}{}", output::escape(path)))?;
            }
        }
        for line in &self.last_lines {
            output::line(&format!("  {FAINT}| {line}{PLAIN}"))?;
        }
        if !self.passed {
            output::line(&format!("  {:<13}{}", "again", output::escape(&self.again)))?;
        }
        if let Some(shorter) = &self.shorter {
            for line in output::beside(&format!("  {:<13}", "shorter"), &shorter.text) {
                output::line(&line)?;
            }
            if let Some(again) = &shorter.again {
                output::line(&format!("  {:<13}{}", "again", output::escape(again)))?;
            }
        }
        Ok(())
    }
}

impl ShorterStory {
    fn new(args: &args::Try, seed: u64, shorter: Shorter) -> Self {
        let Shorter {
            path,
            left,
            of,
            runs,
            gave_up,
        } = shorter;
        let path = path.map(|path| path.display().to_string());
        let found = match &path {
            Some(_) => format!(
                "{left} of {} are enough",
                words::counted(of as u64, "phrase", "phrases")
            ),
            None => format!(
                "none: {} needed",
                if of == 1 {
                    "the one phrase is"
                } else {
                    "all phrases are"
                }
            ),
        };
        let more = if gave_up {
            ", more might be left out (--shrink-runs)"
        } else {
            ""
        };
        Self {
            runs,
            phrases: left,
            of,
            text: format!(
                "{found}, after {}{more}",
                words::counted(runs.into(), "run", "runs")
            ),
            again: path.as_ref().map(|path| plan::again(args, path, seed)),
            scenario: path,
        }
    }
}

/// The end of a tool's output: lines that cannot steer a terminal.
fn last_lines(said: &[u8]) -> Vec<String> {
    let text = String::from_utf8_lossy(said);
    let lines: Vec<&str> = text.lines().collect();
    let shown = lines.len().saturating_sub(LAST_LINES);
    lines[shown..]
        .iter()
        .map(|line| output::escape(&line.chars().take(LINE).collect::<String>()))
        .collect()
}

/// All cars together.
#[derive(Clone, Copy, Debug, Default, Serialize)]
pub(super) struct Summary {
    pub(super) cars: usize,
    pub(super) passed: usize,
    pub(super) failed: usize,
    /// Those that were not tried any more.
    pub(super) left: usize,
    pub(super) seconds: f64,
}

impl Summary {
    pub(super) fn say(&self, json: bool) -> Result<(), Failure> {
        if json {
            return output::json(&Line::Summary(self));
        }
        let cars = words::counted(self.cars as u64, "car", "cars");
        let left = match self.left {
            0 => String::new(),
            left => format!(", {left} not tried"),
        };
        output::line(&format!(
            "{cars}: {} passed, {} failed{left}, {:.1} s",
            self.passed, self.failed, self.seconds
        ))
    }
}

#[derive(Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
enum Line<'a> {
    Car(&'a Car),
    Summary(&'a Summary),
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_the_output_the_last_lines_are_shown_and_steer_nothing() {
        let many: String = (0..50).map(|number| format!("line {number}\n")).collect();
        let lines = last_lines(format!("{many}\x1b[2Jred\u{202e}\r\n{}", "x".repeat(1000)).as_bytes());
        assert_eq!(lines.len(), LAST_LINES);
        assert_eq!(lines[LAST_LINES - 2], "\\u{1b}[2Jred\\u{202e}");
        assert_eq!(lines[LAST_LINES - 1].len(), LINE);
        assert!(last_lines(b"").is_empty());
        assert_eq!(last_lines(b"\xFF"), ["\u{FFFD}"]);
    }
}
