//! The program on a real `vcan`, judged by programs that are not ours.
//!
//! Boots a Linux guest (`tests/guest`) that runs the release build against the kernel's ISO-TP socket, a Python client and
//! raw traffic, then reads what it recorded with packet analysers (`tests/peers`). The Python files there hold the
//! checks; this binary builds, boots, and holds the list of what must have been reported: a check that is missing has
//! failed, so a guest that dies early cannot pass. One group reads messages made here (`vectors`) and needs no guest.
//!
//! `cargo conformance [NAME ...]` runs those whose name holds a NAME; `--list` lists them. Where no guest can be had
//! every check is skipped, with the reason; with `CI` set a skip is a failure. `sh tests/run` installs what is missing.
//!
//! Not done by libtest: a skip found out at run time would have to be called passed there.

mod checks;
mod guest;
mod report;
mod vectors;

use std::process::ExitCode;
use std::time::Instant;

use crate::checks::CHECKS;
use crate::guest::{Guest, Unavailable};
use crate::report::Report;

/// How the groups begin that need a guest whose clock counts instructions.
const COUNTED: &str = "counted_";
/// Groups that record nothing for the analysers and measure nothing: in a guest of their own they take no time from the
/// others.
const BESIDE: &[&str] = &[
    "link",
    "link_events",
    "disturbances",
    "bench",
    "kernel_differences",
    "transport_cases",
    "two_ecus",
];
/// The group that needs no guest.
const VECTORS: &str = "vectors";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let names: Vec<String> = arguments
        .iter()
        .filter(|argument| !argument.starts_with('-'))
        .cloned()
        .collect();
    let wanted = wanted_groups(&names);
    if arguments.iter().any(|argument| argument == "--list") {
        for check in &wanted {
            println!("{check}: test");
        }
        return ExitCode::SUCCESS;
    }
    if wanted.is_empty() {
        println!("conformance: 0 passed, 0 failed, 0 skipped");
        return ExitCode::SUCCESS;
    }

    let started = Instant::now();
    let with_analysers = wanted.iter().any(|check| check.starts_with("analysers::"));
    let (outside, inside): (Vec<String>, Vec<String>) = wanted
        .iter()
        .cloned()
        .partition(|check| check.starts_with(VECTORS));
    let mut report = Report::default();
    if !inside.is_empty() {
        match Guest::prepare() {
            Ok(guest) => {
                let (counted, timed): (Vec<String>, Vec<String>) = inside
                    .iter()
                    .cloned()
                    .partition(|check| check.starts_with(COUNTED));
                let (beside, timed) = timed
                    .into_iter()
                    .partition(|check| BESIDE.contains(&check.split("::").next().unwrap_or_default()));
                guest.run(&[timed, counted, beside], with_analysers, &mut report);
            }
            Err(Unavailable(reason)) => report.skip(&inside, &reason),
        }
    }
    if !outside.is_empty() {
        vectors::run(&mut report, &outside);
    }
    report.hold_against(&wanted);
    if std::env::var_os("CI").is_some() {
        report.fail_what_was_skipped();
    }
    report.print(started.elapsed());
    if report.has_failed() {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    }
}

/// The checks to run. Within a group a step builds on those before it, and the analysers read what other groups
/// recorded, so naming one check runs all of its group, and naming an analyser's runs all that need the guest.
fn wanted_groups(names: &[String]) -> Vec<String> {
    let full = |group: &str, check: &str| format!("{group}::{check}");
    let is_named = |group: &str, checks: &[&str]| {
        names.is_empty()
            || checks.iter().any(|check| {
                names
                    .iter()
                    .any(|name| full(group, check).contains(name.as_str()))
            })
    };
    let all = CHECKS
        .iter()
        .any(|(group, checks)| *group == "analysers" && is_named(group, checks));
    CHECKS
        .iter()
        .filter(|(group, checks)| (all && *group != VECTORS) || is_named(group, checks))
        .flat_map(|(group, checks)| checks.iter().map(|check| full(group, check)))
        .collect()
}
