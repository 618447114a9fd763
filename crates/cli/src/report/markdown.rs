//! A report as Markdown (CommonMark, with tables as the common tools have them).

use std::fmt::Write as _;

use twotrip_host::judge::Tester;

use super::Report;

pub(super) fn text(report: &Report) -> String {
    let mut out = format!("# {}\n\n", cell(&report.title));
    for (name, value) in report.head() {
        let _ = writeln!(out, "- {name}: {}", cell(&value));
    }
    out.push_str("\n## Expectations\n\n");
    if report.expectations.is_empty() {
        out.push_str("None.\n");
    } else {
        out.push_str("| expected | met | found |\n|---|---|---|\n");
        for verdict in &report.expectations {
            let met = if verdict.met { "yes" } else { "**no**" };
            let _ = writeln!(
                out,
                "| {} | {met} | {} |",
                cell(&verdict.expectation),
                cell(&verdict.outcome)
            );
        }
    }
    if !report.disturbances.is_empty() {
        out.push_str("\n## Disturbances\n\n| disturbance | verdict | seen | source |\n|---|---|---|---|\n");
        for disturbed in &report.disturbances {
            let _ = writeln!(
                out,
                "| {}: {} | {} | {} | {} |",
                disturbed.number,
                cell(&disturbed.disturbance),
                disturbed.verdict,
                cell(&disturbed.seen),
                cell(disturbed.source)
            );
        }
    }
    let _ = write!(
        out,
        "\n## What the tester did\n\n{}.\n",
        cell(&report.conduct.headline())
    );
    for tester in &report.conduct.testers {
        write_tester(&mut out, tester);
    }
    let lists = report.conduct.codes_read.lists();
    if lists.iter().any(|(_, list)| list.answers > 0) {
        out.push_str("\n## Codes read\n\n");
        for (name, list) in lists.into_iter().filter(|(_, list)| list.answers > 0) {
            let codes = if list.codes.is_empty() {
                "none".to_owned()
            } else {
                list.codes.join(", ")
            };
            let _ = writeln!(out, "- {name}: {}", cell(&codes));
        }
    }
    let _ = write!(out, "\n{}\n", report.caution);
    out
}

fn write_tester(out: &mut String, tester: &Tester) {
    let _ = write!(
        out,
        "\n### {}\n\n{}.\n",
        cell(&tester.tester),
        cell(&tester.asked())
    );
    if tester.breaches.is_empty() {
        out.push_str("\nNo rule broken.\n");
        return;
    }
    out.push_str("\n| severity | rule | times | first | source |\n|---|---|---|---|---|\n");
    for breaches in &tester.breaches {
        let first = breaches
            .examples
            .first()
            .map_or_else(String::new, ToString::to_string);
        let _ = writeln!(
            out,
            "| {} | {}: {} | {} | {} | {} |",
            breaches.severity,
            breaches.rule,
            cell(&breaches.kept),
            breaches.count,
            cell(&first),
            cell(&breaches.source)
        );
    }
}

/// A text that stays within its cell or line, whatever is in it.
fn cell(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '|' | '#' => out.extend(['\\', character]),
            character if character.is_control() => out.push(' '),
            other => out.push(other),
        }
    }
    out
}
