//! Where a scenario comes from: built in, by name, or a file; its problems shown at once.

use std::{fs::File, io::Read as _, path::Path};

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
    let shown = crate::output::escape(name);
    let cannot = |error: std::io::Error| Failure::input(format!("cannot read `{shown}`: {error}"), None);
    let file = File::open(path).map_err(cannot)?;
    let metadata = file.metadata().map_err(cannot)?;
    if metadata.is_dir() {
        let what = format!("`{shown}` is a folder, not a scenario");
        let hint = format!("the files in it: {shown}/*.toml");
        return Err(Failure::input(what, Some(hint)));
    }
    // A pipe or a device does not say how much will come, and may never end.
    let mut bytes = Vec::new();
    let most = u64::try_from(FILE_BYTES).unwrap_or(u64::MAX);
    file.take(most.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(cannot)?;
    if bytes.len() > FILE_BYTES {
        let size = match metadata.len() {
            0 => "too many".to_owned(),
            size => size.to_string(),
        };
        let what = format!("`{shown}` has {size} bytes; a scenario has at most {FILE_BYTES}");
        return Err(Failure::input(what, None));
    }
    Ok(bytes)
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
