//! The README says how many exceptions there are.

#[test]
fn the_readme_counts_the_exceptions() {
    let rows = include_str!("../exceptions.tsv");
    let rows = rows
        .lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
        .count();
    let readme = include_str!("../../README.md");
    assert!(
        readme.contains(&format!("Exceptions: {rows}, each with its reason")),
        "{rows} rows"
    );
}
