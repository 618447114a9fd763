//! What each defect comes to in a car that has the part: the codes it ends in, and from which size on, as a table that a test
//! made by driving the car and that a test holds (`tests/fleet/sweep.rs`).

use twotrip_vehicle::defect::Entry;

/// The table.
const TABLE: &str = include_str!("defects.tsv");

/// What is known of one defect.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Finding {
    /// The largest amount that was never found, as written in the table; none where all or no size was found.
    pub never: Option<&'static str>,
    /// The smallest amount that was always found.
    pub always: Option<&'static str>,
    codes: &'static str,
}

impl Finding {
    /// The codes that it can end in; none if no monitor finds it.
    pub fn codes(&self) -> impl Iterator<Item = &'static str> {
        self.codes.split(' ').filter(|code| *code != "-")
    }
}

/// What the table says of a defect.
#[must_use]
pub fn finding(entry: &Entry) -> Option<Finding> {
    TABLE
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| line.split('\t').collect::<Vec<_>>())
        .find_map(|cells| match *cells.as_slice() {
            [part, kind, _, never, always, codes] if part == entry.part.name() && kind == entry.kind => {
                let amount = |text| (text != "-").then_some(text);
                Some(Finding {
                    never: amount(never),
                    always: amount(always),
                    codes,
                })
            }
            _ => None,
        })
}
