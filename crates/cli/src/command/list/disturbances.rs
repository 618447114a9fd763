//! `twotrip list disturbances`: what can go wrong on cue, and what a good tool does about it.

use serde::Serialize;
use twotrip_scenario::disturbance::{Kind, Occurrence, Often, Picks, Row, Size};

use crate::{
    exit::Failure,
    output::{self, PLAIN, STRONG, WIDTH},
};

/// A row, for machines.
#[derive(Debug, Serialize)]
struct Object {
    name: &'static str,
    subject: &'static str,
    /// What an identifier behind the name picks out.
    identifier: Option<&'static str>,
    size: Option<SizeObject>,
    /// Whether `N times`, `once` or a share may be said; what it is if nothing is.
    counted: bool,
    usually: &'static str,
    meaning: &'static str,
    good_tool: &'static str,
    source: &'static str,
    example: &'static str,
}

#[derive(Debug, Serialize)]
struct SizeObject {
    what: &'static str,
    unit: &'static str,
    least: f64,
    most: f64,
    usual: Option<f64>,
}

impl From<Size> for SizeObject {
    fn from(size: Size) -> Self {
        let [least, most] = size.range;
        Self {
            what: size.what,
            unit: size.unit,
            least,
            most,
            usual: size.usual,
        }
    }
}

impl From<&'static Row> for Object {
    fn from(row: &'static Row) -> Self {
        Self {
            name: row.name,
            subject: row.subject.name(),
            identifier: match row.picks {
                Picks::Nothing => None,
                Picks::Frames => Some("frames"),
                Picks::AnEcu => Some("ECU"),
            },
            size: row.size.map(SizeObject::from),
            counted: row.often != Often::Lasting,
            usually: usually(row),
            meaning: row.meaning,
            good_tool: row.good_tool,
            source: row.source,
            example: row.example,
        }
    }
}

fn usually(row: &Row) -> &'static str {
    match row.often {
        Often::Lasting => "until it is off",
        Often::Counted(Occurrence::Times(1)) => "once",
        Often::Counted(_) => "each time",
    }
}

/// How a row is written.
fn pattern(row: &Row) -> String {
    let mut text = row.name.to_owned();
    if row.picks != Picks::Nothing {
        text += " [ID]";
    }
    match row.size {
        Some(Size { usual: Some(_), .. }) => text += " [SIZE]",
        Some(_) => text += " SIZE",
        None => {}
    }
    if row.often != Often::Lasting {
        text += " [P % | N times | once]";
    }
    text
}

/// Prints the list.
pub(super) fn list(json: bool) -> Result<(), Failure> {
    for row in Kind::ALL.iter().map(|kind| kind.row()) {
        if json {
            output::json(&Object::from(row))?;
            continue;
        }
        output::line(&format!("{STRONG}{}{PLAIN}", pattern(row)))?;
        let identifier = match row.picks {
            Picks::Nothing => "",
            Picks::Frames => "; ID: only frames with this identifier",
            Picks::AnEcu => "; ID: only the ECU that answers by it",
        };
        let size = row.size.map_or_else(String::new, |size| {
            let [least, most] = size.range;
            let usual = size
                .usual
                .map_or_else(String::new, |usual| format!(", {usual} if not said"));
            format!("; SIZE: {}, {least} to {most} {}{usual}", size.what, size.unit)
        });
        let lines = [
            format!(
                "{} ({}{identifier}{size}; usually {})",
                row.meaning,
                row.subject.name(),
                usually(row)
            ),
            format!("a good tool: {} ({})", row.good_tool, row.source),
            format!("example: {}", row.example),
        ];
        for line in lines.iter().flat_map(|line| output::wrap(line, 4, WIDTH)) {
            output::line(&line)?;
        }
    }
    Ok(())
}
