//! `twotrip check`: validates scenarios and vehicles; all problems of all files at once.

use std::ops::Range;

use serde::Serialize;
use twotrip_scenario::{Problem, Scenario, VehicleModel};

use crate::{args, exit, exit::Failure, output, sources};

/// What was found of one scenario, for machines.
#[derive(Serialize)]
struct Finding<'a> {
    scenario: &'a str,
    good: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    title: Option<&'a str>,
    /// Why it could not be read at all.
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    problems: Vec<Mistake<'a>>,
}

/// One problem of it.
#[derive(Serialize)]
struct Mistake<'a> {
    /// Where it begins and where it ends: line and column, both from 1 on, columns in characters.
    from: [usize; 2],
    to: [usize; 2],
    message: String,
    found: &'a str,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    expected: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    nearest: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<&'a str>,
}

/// Runs the command.
pub(super) fn run(args: &args::Check) -> Result<(), Failure> {
    let mut good = true;
    for name in &args.scenarios {
        let bytes = match sources::bytes(name) {
            Ok(bytes) => bytes,
            // The next one may be read all the same.
            Err(failure) => {
                space(good, args.json);
                good = false;
                unreadable(name, failure, args.json)?;
                continue;
            }
        };
        match title(&bytes) {
            Ok(title) => said_good(name, &title, args.json)?,
            Err(problems) if args.json => {
                good = false;
                let text = String::from_utf8_lossy(&bytes);
                let problems = problems.iter().map(|problem| mistake(&text, problem)).collect();
                finding(name, None, None, problems)?;
            }
            Err(problems) => {
                space(good, args.json);
                good = false;
                sources::show(name, &bytes, &problems);
            }
        }
    }
    if good { Ok(()) } else { Err(Failure::Shown) }
}

/// The title of a good file: a vehicle's if it has an engine, else a scenario's.
fn title(bytes: &[u8]) -> Result<String, Vec<Problem>> {
    if VehicleModel::is_meant(bytes) {
        VehicleModel::parse(bytes).map(|model| model.title().to_owned())
    } else {
        Scenario::parse(bytes).map(|scenario| scenario.title().to_owned())
    }
}

/// An empty line between the problems of one scenario and those of the next.
fn space(first: bool, json: bool) {
    if !first && !json {
        anstream::eprintln!();
    }
}

fn said_good(name: &str, title: &str, json: bool) -> Result<(), Failure> {
    if json {
        return finding(name, Some(title), None, Vec::new());
    }
    output::line(&format!(
        "{}: good: {}",
        output::escape(name),
        output::escape(title)
    ))
}

fn unreadable(name: &str, failure: Failure, json: bool) -> Result<(), Failure> {
    match failure {
        Failure::Input { what, .. } if json => finding(name, None, Some(what), Vec::new()),
        Failure::Input { what, hint } => {
            exit::show(&what, hint.as_deref());
            Ok(())
        }
        other => Err(other),
    }
}

fn finding(
    scenario: &str,
    title: Option<&str>,
    error: Option<String>,
    problems: Vec<Mistake<'_>>,
) -> Result<(), Failure> {
    output::json(&Finding {
        scenario,
        good: title.is_some(),
        title,
        error,
        problems,
    })
}

fn mistake<'a>(text: &str, problem: &'a Problem) -> Mistake<'a> {
    let Range { start, end } = problem.span();
    Mistake {
        from: place(text, start),
        to: place(text, end.max(start)),
        message: problem.to_string(),
        found: problem.found(),
        expected: problem.expected().iter().map(ToString::to_string).collect(),
        nearest: problem.nearest(),
        advice: problem.advice(),
    }
}

/// Line and column of a byte.
fn place(text: &str, at: usize) -> [usize; 2] {
    let before = &text[..text.floor_char_boundary(at)];
    let line_start = before.rfind('\n').map_or(0, |end| end + 1);
    [
        before.matches('\n').count() + 1,
        before[line_start..].chars().count() + 1,
    ]
}
