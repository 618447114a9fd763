//! The list of checks against the files that make them, without a guest: a name forgotten on either side shows in a second.

mod checks;

use std::{
    collections::BTreeSet,
    path::{Path, PathBuf},
    process::Command,
};

/// The Python that the guest has, where `tests/guest/prepare` has made it: this binary is `target/PROFILE/deps/listed-HASH`.
fn python() -> Option<PathBuf> {
    let binary = std::env::current_exe().ok()?;
    let python = binary.ancestors().nth(3)?.join("guest/venv/bin/python");
    python.exists().then_some(python)
}

#[test]
fn every_check_that_is_made_is_listed_and_the_other_way_round() {
    let Some(python) = python() else {
        let reason = "no Python environment: sh tests/guest/prepare target/guest";
        assert!(
            std::env::var_os("CI").is_none(),
            "skipped, which CI does not allow: {reason}"
        );
        eprintln!("skipped: {reason}");
        return;
    };
    let ran = Command::new(python)
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("conformance/listed.py"))
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .output()
        .expect("Python starts");
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let said = String::from_utf8(ran.stdout).expect("UTF-8");
    let made: BTreeSet<String> = said.lines().map(str::to_owned).collect();
    let listed: BTreeSet<String> = checks::CHECKS
        .iter()
        .flat_map(|(group, checks)| checks.iter().map(move |check| format!("{group}::{check}")))
        .collect();
    let only = |these: &BTreeSet<String>, those| these.difference(those).cloned().collect::<Vec<_>>();
    assert_eq!(
        (only(&made, &listed), only(&listed, &made)),
        (Vec::new(), Vec::new()),
        "made but not listed in `tests/conformance/checks.rs`; listed but not made"
    );
}
