//! The table of sensitivities, `crates/scenario/src/defects.tsv`, which `list defects` shows: rows, reading, writing.
//!
//! A row: part, word, unit, the largest amount that was never found, the smallest that was always found, the codes that it
//! came to. Between the two amounts lies the grey zone.

use std::{collections::BTreeSet, fs};

use twotrip_vehicle::defect::{Entry, catalogue};

const PATH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../crates/scenario/src/defects.tsv");

/// A row of the table.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Row {
    pub(crate) part: String,
    pub(crate) kind: String,
    pub(crate) unit: String,
    /// The largest amount that was never found.
    pub(crate) never: Option<f64>,
    /// The smallest that was always found.
    pub(crate) always: Option<f64>,
    pub(crate) codes: BTreeSet<String>,
}

impl Row {
    pub(crate) fn entry(&self) -> Option<&'static Entry> {
        catalogue().find(|entry| entry.part.name() == self.part && entry.kind == self.kind)
    }

    pub(crate) fn text(&self) -> String {
        let codes = if self.codes.is_empty() {
            "-".to_owned()
        } else {
            self.codes.iter().cloned().collect::<Vec<_>>().join(" ")
        };
        let (never, always) = (number(self.never), number(self.always));
        format!(
            "{}\t{}\t{}\t{never}\t{always}\t{codes}",
            self.part, self.kind, self.unit
        )
    }

    pub(crate) fn parse(line: &str) -> Self {
        let cells: Vec<&str> = line.split('\t').collect();
        assert_eq!(cells.len(), 6, "{line}");
        let amount = |text: &str| (text != "-").then(|| text.parse().expect("a number"));
        Self {
            part: cells[0].to_owned(),
            kind: cells[1].to_owned(),
            unit: cells[2].to_owned(),
            never: amount(cells[3]),
            always: amount(cells[4]),
            codes: cells[5]
                .split(' ')
                .filter(|code| *code != "-")
                .map(str::to_owned)
                .collect(),
        }
    }
}

/// An amount as the table writes it.
pub(crate) fn number(value: Option<f64>) -> String {
    value.map_or_else(|| "-".to_owned(), |value| format!("{value}"))
}

/// The table as it stands.
pub(crate) fn rows() -> Vec<Row> {
    let table = fs::read_to_string(PATH).expect("the table of sensitivities");
    table
        .lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
        .map(Row::parse)
        .collect()
}

/// Writes it.
pub(crate) fn write(rows: &[Row]) {
    let mut text = String::from(
        "# What each defect comes to in the exam of tests/fleet/sweep.rs, in the compact car or the first that has the part; made by its `write_the_table`.\n\
         # Between the two amounts lies the grey zone: whether it is found there depends on the car. Held by tests/fleet/ends.rs.\n\
         # part\tword\tunit\tlargest never found\tsmallest always found\tcodes\n",
    );
    for row in rows {
        text += &row.text();
        text.push('\n');
    }
    fs::write(PATH, text).expect("the table is written");
}
