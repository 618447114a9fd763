//! The one file of exceptions, `tests/exceptions.tsv`: which check lets what through, of which subject, and why.

/// A row: check, subject, what is let through, why.
pub type Row = [&'static str; 4];

/// All rows.
///
/// # Panics
/// If a row has not four cells.
pub fn rows() -> impl Iterator<Item = Row> {
    let lines = include_str!("../exceptions.tsv").lines();
    lines
        .filter(|line| !line.starts_with('#') && !line.is_empty())
        .map(|line| {
            let cells: Vec<&str> = line.split('\t').collect();
            cells
                .try_into()
                .unwrap_or_else(|_| panic!("{line}: check, subject, what, why"))
        })
}

/// What a check lets through of a subject.
#[must_use]
pub fn of(check: &str, subject: &str) -> Vec<&'static str> {
    let found = rows().filter(|row| row[0] == check && row[1] == subject);
    found.map(|row| row[2]).collect()
}
