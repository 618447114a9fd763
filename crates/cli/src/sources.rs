//! Where a scenario or a vehicle comes from: built in, by name, or a file; its problems shown at once.

use std::{fs::File, io::Read as _, path::Path};

use twotrip_scenario::{Problem, Scenario, VehicleModel, limits::FILE_BYTES, shipped, vehicle};

use crate::{diagnostic, exit::Failure};

/// What can be built in or come from a file.
struct Kind {
    word: &'static str,
    built_in: fn(&str) -> Option<&'static str>,
    nearest: fn(&str) -> Option<&'static str>,
    list: &'static str,
}

const SCENARIO: Kind = Kind {
    word: "scenario",
    built_in: |name| shipped::find(name).map(|found| found.text),
    nearest: shipped::nearest,
    list: "twotrip list scenarios",
};

const VEHICLE: Kind = Kind {
    word: "vehicle",
    built_in: |name| {
        let mut all = vehicle::SHIPPED.into_iter();
        all.find(|shipped| shipped.name == name).map(|found| found.text)
    },
    nearest: vehicle::nearest,
    list: "twotrip list vehicles",
};

/// The bytes of a scenario: a shipped one by name, else a file.
pub(crate) fn bytes(name: &str) -> Result<Vec<u8>, Failure> {
    bytes_of(&SCENARIO, name)
}

/// The bytes of a vehicle, likewise.
pub(crate) fn vehicle_bytes(name: &str) -> Result<Vec<u8>, Failure> {
    bytes_of(&VEHICLE, name)
}

fn bytes_of(kind: &Kind, name: &str) -> Result<Vec<u8>, Failure> {
    if let Some(text) = (kind.built_in)(name) {
        return Ok(text.as_bytes().to_vec());
    }
    let word = kind.word;
    let path = Path::new(name);
    let is_a_path = name.contains(std::path::MAIN_SEPARATOR) || name.ends_with(".toml") || path.exists();
    if !is_a_path {
        let nearest = (kind.nearest)(name)
            .map(|near| format!("nearest name: {near}\n"))
            .unwrap_or_default();
        let hint = format!(
            "{nearest}`{}` shows those that are built in; a file ends in .toml",
            kind.list
        );
        return Err(Failure::input(
            format!("no {word} `{}` is built in", crate::output::escape(name)),
            Some(hint),
        ));
    }
    let shown = crate::output::escape(name);
    let cannot = |error: std::io::Error| Failure::input(format!("cannot read `{shown}`: {error}"), None);
    let file = File::open(path).map_err(cannot)?;
    let metadata = file.metadata().map_err(cannot)?;
    if metadata.is_dir() {
        let what = format!("`{shown}` is a folder, not a {word}");
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
        let what = format!("`{shown}` has {size} bytes; a {word} has at most {FILE_BYTES}");
        return Err(Failure::input(what, None));
    }
    Ok(bytes)
}

/// A checked scenario in which another car takes the part of its own, if one is named.
pub(crate) fn scenario_with(name: &str, car: Option<&str>) -> Result<Scenario, Failure> {
    let scenario = scenario(name)?;
    let Some(car) = car else {
        return Ok(scenario);
    };
    let bytes = bytes_of(&VEHICLE, car)?;
    let model = VehicleModel::parse(&bytes).map_err(|problems| {
        show(car, &bytes, &problems);
        Failure::Shown
    })?;
    Ok(scenario.with_vehicle(model))
}

/// A checked scenario; its problems are shown on standard error, all at once.
fn scenario(name: &str) -> Result<Scenario, Failure> {
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
