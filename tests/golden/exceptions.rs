//! The README says how many exceptions there are.

#[test]
fn the_readme_counts_the_exceptions() {
    let rows = twotrip_tests::exceptions::rows().count();
    let readme = include_str!("../../README.md");
    assert!(
        readme.contains(&format!("Exceptions: {rows}, each with its reason")),
        "{rows} rows"
    );
}
