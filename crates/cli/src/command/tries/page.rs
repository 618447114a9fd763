//! All cars on one page of HTML: the list, and of each that failed what is needed to repeat it.

use std::fmt::Write as _;

use super::{
    report::beside,
    told::{Car, Summary},
};
use crate::report::{
    CAUTION, escaped,
    html::{begin, end, head, write_tester},
};

pub(super) fn text(cars: &[Car], summary: &Summary) -> String {
    let mut out = begin("Cars");
    let _ = writeln!(
        out,
        "<p>{} cars: {} passed, {} failed, {} not tried.</p>",
        summary.cars, summary.passed, summary.failed, summary.left
    );
    head(
        &mut out,
        &["car", "seed", "", "what failed", "checks", "requests"],
    );
    for car in cars {
        let failed: Vec<String> = car
            .failed()
            .map(|case| escaped(&format!("{}, {}", case.subject.name(), case.name)))
            .collect();
        let verdict = if car.passed {
            "<td>passed</td>"
        } else {
            "<td class=\"no\">failed</td>"
        };
        let _ = writeln!(
            out,
            "<tr><td>{}</td><td>{}</td>{verdict}<td>{}</td><td>{}</td><td>{}</td></tr>",
            escaped(&car.scenario),
            car.seed,
            failed.join("<br>"),
            car.cases.len(),
            car.requests
        );
    }
    out.push_str("</table>\n");
    for car in cars.iter().filter(|car| !car.passed) {
        write_car(&mut out, car);
    }
    end(&mut out, CAUTION);
    out
}

fn write_car(out: &mut String, car: &Car) {
    let _ = writeln!(out, "<h2>{}, seed {}</h2>", escaped(&car.scenario), car.seed);
    head(out, &["", "expected", "found"]);
    for case in car.failed() {
        let _ = writeln!(
            out,
            "<tr><td>{}</td><td>{}</td><td>{}</td></tr>",
            case.subject.name(),
            escaped(&case.name),
            escaped(&case.found)
        );
    }
    out.push_str("</table>\n");
    let _ = writeln!(out, "<pre>{}</pre>", preformatted(beside(car, "").trim()));
    if !car.last_lines.is_empty() {
        let said = preformatted(&car.last_lines.join("\n"));
        let _ = writeln!(out, "<p>The end of what the tool said:</p>\n<pre>{said}</pre>");
    }
    for tester in &car.conduct.testers {
        write_tester(out, tester);
    }
}

/// Text whose lines stay lines.
fn preformatted(text: &str) -> String {
    text.lines().map(escaped).collect::<Vec<_>>().join("\n")
}
