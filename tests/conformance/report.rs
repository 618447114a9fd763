//! What the checks reported, held against what they should have, and its printed form.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::time::Duration;

/// What became of a check.
pub(crate) enum Outcome {
    /// It held.
    Passed,
    /// It did not, and why.
    Failed(String),
    /// It could not be made here, and why.
    Skipped(String),
}

/// The outcomes by check, the figures measured on the way, and what went wrong outside any check.
#[derive(Default)]
pub(crate) struct Report {
    checks: BTreeMap<String, (Outcome, String)>,
    order: Vec<String>,
    figures: Vec<(String, String, String)>,
    trouble: Vec<String>,
}

impl Report {
    /// These checks skipped for one reason.
    pub(crate) fn skip(&mut self, checks: &[String], reason: &str) {
        for check in checks {
            self.set(check, Outcome::Skipped(reason.to_owned()), String::new());
        }
    }

    /// Adds what the files `outcomes` and `figures` of a results folder say, tab-separated (`tests/guest/checks/outcome.py`).
    pub(crate) fn read(&mut self, results: &Path) {
        for line in fs::read_to_string(results.join("outcomes"))
            .unwrap_or_default()
            .lines()
        {
            let mut fields = line.splitn(4, '\t');
            let (Some(name), Some(outcome)) = (fields.next(), fields.next()) else {
                self.trouble(format!("a line of `outcomes` is cut short: `{line}`"));
                continue;
            };
            let seconds = fields.next().unwrap_or_default();
            let text = fields
                .next()
                .unwrap_or_default()
                .replace("\\n", "\n")
                .replace("\\\\", "\\");
            let outcome = match outcome {
                "passed" => Outcome::Passed,
                _ => Outcome::Failed(text),
            };
            self.set(name, outcome, format!(" ({seconds} s)"));
        }
        for line in fs::read_to_string(results.join("figures"))
            .unwrap_or_default()
            .lines()
        {
            let fields: Vec<&str> = line.split('\t').collect();
            if let [name, value, unit] = fields[..] {
                self.figure(name, value, unit);
            }
        }
    }

    /// Something went wrong that no check reports.
    pub(crate) fn trouble(&mut self, text: String) {
        self.trouble.push(text);
    }

    /// A measured figure.
    pub(crate) fn figure(&mut self, name: &str, value: &str, unit: &str) {
        self.figures
            .push((name.to_owned(), value.to_owned(), unit.to_owned()));
    }

    /// A check of the list that was not reported has failed; one that was reported and is not in the list too.
    pub(crate) fn hold_against(&mut self, wanted: &[String]) {
        let missing: Vec<String> = wanted
            .iter()
            .filter(|name| !self.checks.contains_key(*name))
            .cloned()
            .collect();
        for name in missing {
            self.set(
                &name,
                Outcome::Failed("not reported: what makes it ended before".into()),
                String::new(),
            );
        }
        let unknown: Vec<String> = self
            .order
            .iter()
            .filter(|name| !wanted.contains(*name))
            .cloned()
            .collect();
        for name in unknown {
            self.set(
                &name,
                Outcome::Failed("reported, but not in the list of checks".into()),
                String::new(),
            );
        }
    }

    /// In CI nothing may be left out.
    pub(crate) fn fail_what_was_skipped(&mut self) {
        for (outcome, _) in self.checks.values_mut() {
            if let Outcome::Skipped(reason) = outcome {
                *outcome = Outcome::Failed(format!("skipped, which CI does not allow: {reason}"));
            }
        }
    }

    /// Whether anything went wrong, in a check or outside.
    pub(crate) fn has_failed(&self) -> bool {
        !self.trouble.is_empty()
            || self
                .outcomes()
                .any(|outcome| matches!(outcome, Outcome::Failed(_)))
    }

    /// All outcomes, in order of report.
    fn outcomes(&self) -> impl Iterator<Item = &Outcome> {
        self.order.iter().map(|name| &self.checks[name].0)
    }

    /// One line a check, then the failures in full, the figures, and one closing line.
    pub(crate) fn print(&self, took: Duration) {
        println!(
            "\nrunning {} checks of programs that are not ours",
            self.order.len()
        );
        for name in &self.order {
            let (outcome, seconds) = &self.checks[name];
            match outcome {
                Outcome::Passed => println!("test {name} ... ok{seconds}"),
                Outcome::Failed(_) => println!("test {name} ... FAILED{seconds}"),
                Outcome::Skipped(reason) => println!("test {name} ... skipped: {reason}"),
            }
        }
        for name in &self.order {
            if let Outcome::Failed(text) = &self.checks[name].0 {
                println!("\n---- {name} ----\n{}", text.trim_end());
            }
        }
        for text in &self.trouble {
            println!("\n---- outside any check ----\n{}", text.trim_end());
        }
        println!();
        for (name, value, unit) in &self.figures {
            println!("{name}: {value} {unit}");
        }
        let count = |wanted: fn(&Outcome) -> bool| self.outcomes().filter(|outcome| wanted(outcome)).count();
        let passed = count(|outcome| matches!(outcome, Outcome::Passed));
        let failed = count(|outcome| matches!(outcome, Outcome::Failed(_)));
        let skipped = count(|outcome| matches!(outcome, Outcome::Skipped(_)));
        println!("whole run: {:.1} s\n", took.as_secs_f64());
        println!("conformance: {passed} passed, {failed} failed, {skipped} skipped");
    }

    fn set(&mut self, name: &str, outcome: Outcome, seconds: String) {
        if self.checks.insert(name.to_owned(), (outcome, seconds)).is_none() {
            self.order.push(name.to_owned());
        }
    }
}
