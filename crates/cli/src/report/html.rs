//! Reports as one page of HTML, without anything that it would have to load: of a run, and what pages of several cars share.

use std::fmt::Write as _;

use twotrip_host::judge::Tester;

use super::{Report, escaped};

const STYLE: &str = "body{font:16px/1.5 system-ui,sans-serif;margin:2rem auto;max-width:60rem;padding:0 1rem;color:#1b1b1b;background:#fff}\
    table{border-collapse:collapse;width:100%}th,td{border:1px solid #bbb;padding:.3rem .5rem;text-align:left;vertical-align:top}\
    th{background:#f0f0f0}pre{white-space:pre-wrap;overflow-wrap:anywhere;background:#f6f6f6;padding:.5rem}.violation,.no{color:#a40000;font-weight:bold}.unwise{color:#7a4b00}footer{margin-top:2rem;color:#555}";

/// A page up to its first heading.
pub(crate) fn begin(title: &str) -> String {
    let title = escaped(title);
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
        <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n\
        <style>{STYLE}</style>\n</head>\n<body>\n<h1>{title}</h1>\n"
    )
}

/// The rest of a page: what to mind.
pub(crate) fn end(out: &mut String, caution: &str) {
    let _ = writeln!(
        out,
        "<footer><p>{}</p></footer>\n</body>\n</html>",
        escaped(caution)
    );
}

/// A table up to its first row of values.
pub(crate) fn head(out: &mut String, names: &[&str]) {
    out.push_str("<table>\n<tr>");
    for name in names {
        let _ = write!(out, "<th scope=\"col\">{name}</th>");
    }
    out.push_str("</tr>\n");
}

pub(super) fn text(report: &Report) -> String {
    let mut out = begin(&report.title);
    out.push_str("<table>\n");
    for (name, value) in report.head() {
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{name}</th><td>{}</td></tr>",
            escaped(&value)
        );
    }
    out.push_str("</table>\n<h2>Expectations</h2>\n");
    if report.expectations.is_empty() {
        out.push_str("<p>None.</p>\n");
    } else {
        head(&mut out, &["expected", "met", "found"]);
        for verdict in &report.expectations {
            let met = if verdict.met {
                "<td>yes</td>"
            } else {
                "<td class=\"no\">no</td>"
            };
            let _ = writeln!(
                out,
                "<tr><td>{}</td>{met}<td>{}</td></tr>",
                escaped(&verdict.expectation),
                escaped(&verdict.outcome)
            );
        }
        out.push_str("</table>\n");
    }
    if !report.disturbances.is_empty() {
        out.push_str("<h2>Disturbances</h2>\n");
        head(&mut out, &["disturbance", "verdict", "seen", "source"]);
        for disturbed in &report.disturbances {
            let _ = writeln!(
                out,
                "<tr><td>{}: {}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
                disturbed.number,
                escaped(&disturbed.disturbance),
                disturbed.verdict,
                escaped(&disturbed.seen),
                escaped(disturbed.source)
            );
        }
        out.push_str("</table>\n");
    }
    let _ = writeln!(
        out,
        "<h2>What the tester did</h2>\n<p>{}.</p>",
        escaped(&report.conduct.headline())
    );
    for tester in &report.conduct.testers {
        write_tester(&mut out, tester);
    }
    for (name, list) in report.conduct.codes_read.lists() {
        if list.answers > 0 {
            let codes = if list.codes.is_empty() {
                "none".to_owned()
            } else {
                list.codes.join(", ")
            };
            let _ = writeln!(out, "<p>Codes read, {name}: {}</p>", escaped(&codes));
        }
    }
    end(&mut out, report.caution);
    out
}

/// A tester, and the rules that it broke.
pub(crate) fn write_tester(out: &mut String, tester: &Tester) {
    let _ = writeln!(
        out,
        "<h3>{}</h3>\n<p>{}.</p>",
        escaped(&tester.tester),
        escaped(&tester.asked())
    );
    if tester.breaches.is_empty() {
        out.push_str("<p>No rule broken.</p>\n");
        return;
    }
    head(out, &["severity", "rule", "times", "first ones", "source"]);
    for breaches in &tester.breaches {
        let examples = breaches.examples.iter();
        let examples: Vec<String> = examples.map(|example| escaped(&example.to_string())).collect();
        let _ = writeln!(
            out,
            "<tr><td class=\"{0}\">{0}</td><td>{1}: {2}</td><td>{3}</td><td>{4}</td><td>{5}</td></tr>",
            escaped(&breaches.severity),
            escaped(&breaches.rule),
            escaped(&breaches.kept),
            breaches.count,
            examples.join("<br>"),
            escaped(&breaches.source)
        );
    }
    out.push_str("</table>\n");
}
