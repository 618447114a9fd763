//! Where a scenario comes from: built in, by name, or a file; its problems shown at once.

use std::path::Path;

use twotrip_scenario::{Problem, Scenario, limits::FILE_BYTES, shipped};

use crate::{diagnostic, exit::Failure};

/// The bytes of a scenario: a shipped one by name, else a file.
pub(crate) fn bytes(name: &str) -> Result<Vec<u8>, Failure> {
    if let Some(found) = shipped::find(name) {
        return Ok(found.text.as_bytes().to_vec());
    }
    let path = Path::new(name);
    let is_a_path = name.contains(std::path::MAIN_SEPARATOR) || name.ends_with(".toml") || path.exists();
    if !is_a_path {
        let nearest = shipped::nearest(name)
            .map(|near| format!("nearest name: {near}\n"))
            .unwrap_or_default();
        let hint =
            format!("{nearest}`twotrip list scenarios` shows those that are built in; a file ends in .toml");
        return Err(Failure::input(
            format!("no scenario `{}` is built in", crate::output::escape(name)),
            Some(hint),
        ));
    }
    let cannot =
        |error: std::io::Error| Failure::input(format!("cannot read `{}`: {error}", path.display()), None);
    let size = std::fs::metadata(path).map_err(cannot)?.len();
    if usize::try_from(size).is_ok_and(|size| size > FILE_BYTES) {
        let what = format!(
            "`{}` has {size} bytes; a scenario has at most {FILE_BYTES}",
            path.display()
        );
        return Err(Failure::input(what, None));
    }
    std::fs::read(path).map_err(cannot)
}

/// A checked scenario; its problems are shown on standard error, all at once.
pub(crate) fn scenario(name: &str) -> Result<Scenario, Failure> {
    let bytes = bytes(name)?;
    Scenario::parse(&bytes).map_err(|problems| {
        show(name, &bytes, &problems);
        Failure::Shown
    })
}

/// Shows problems with their lines and carets.
pub(crate) fn show(name: &str, bytes: &[u8], problems: &[Problem]) {
    let text = String::from_utf8_lossy(bytes);
    anstream::eprintln!("{}", diagnostic::render(name, &text, problems, true));
}
