//! Messages made from the program's own tables, read by tshark and scapy, which know nothing of the program
//! (`tests/peers/vectors.py`), and those of an ECU that speaks SAE J1979-2, read by udsoncan (`tests/peers/uds.py`). Needs no
//! guest: only those three.
//!
//! Each vector is a message and what the program reads in it. Every parameter is there at the lowest, the middle and
//! the highest raw number of its fields and with each of its named values, every unit and scaling of service $06
//! likewise, and each kind of request and answer.

mod messages;
mod uds;

use std::{
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
    process::{Command, Stdio},
};

use crate::{guest::target_folder, report::Report};

/// Makes the vectors, has them read, and adds what came of it to the report. `wanted`: the names of these checks.
pub(crate) fn run(report: &mut Report, wanted: &[String]) {
    let Some(target) = target_folder() else {
        report.trouble("this test runs outside a target folder".into());
        return;
    };
    let tests = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let folder = target.join("vectors");
    if let Err(problem) = fresh(&folder) {
        report.trouble(problem);
        return;
    }
    let python = match python(&target) {
        Ok(python) => python,
        Err(reason) => {
            report.skip(wanted, &reason);
            return;
        }
    };
    let vectors = messages::all();
    report.figure(
        "messages made for tshark and scapy",
        &vectors.len().to_string(),
        "messages",
    );
    let on_uds = uds::all();
    report.figure(
        "requests of J1979-2 for udsoncan",
        &on_uds.len().to_string(),
        "messages",
    );
    for (reader, vectors) in [("vectors", vectors), ("uds", on_uds)] {
        let mut lines = String::new();
        for vector in &vectors {
            // Writing into a text cannot fail.
            let _ = writeln!(lines, "{vector}");
        }
        let file = folder.join(format!("{reader}.jsonl"));
        if let Err(error) = fs::write(&file, lines) {
            report.trouble(format!("`{}`: {error}", file.display()));
            return;
        }
        let ran = Command::new(&python)
            .arg(tests.join(format!("peers/{reader}.py")))
            .arg(&folder)
            .env("PYTHONDONTWRITEBYTECODE", "1")
            .stdin(Stdio::null())
            .output();
        match ran {
            Ok(ran) if ran.status.success() => {}
            Ok(ran) => report.trouble(format!(
                "the readers of vectors: {}",
                String::from_utf8_lossy(&ran.stderr)
            )),
            Err(error) => report.trouble(format!("the readers of vectors do not start: {error}")),
        }
    }
    report.read(&folder);
}

/// An empty folder.
fn fresh(folder: &Path) -> Result<(), String> {
    if folder.exists() {
        fs::remove_dir_all(folder).map_err(|error| format!("`{}`: {error}", folder.display()))?;
    }
    fs::create_dir_all(folder).map_err(|error| format!("`{}`: {error}", folder.display()))
}

/// A Python that has scapy and udsoncan, beside a tshark: the one that the guest's preparation made, or the system's.
fn python(target: &Path) -> Result<PathBuf, String> {
    let succeeds = |program: &Path, arguments: &[&str]| {
        Command::new(program)
            .args(arguments)
            .stdin(Stdio::null())
            .output()
            .is_ok_and(|ran| ran.status.success())
    };
    if !succeeds(Path::new("tshark"), &["--version"]) {
        return Err("missing tshark (`sh tests/run` as root installs it)".into());
    }
    [target.join("guest/venv/bin/python"), PathBuf::from("python3")]
        .into_iter()
        .find(|python| succeeds(python, &["-c", "import scapy, udsoncan"]))
        .ok_or_else(|| {
            "no Python with scapy and udsoncan (`sh tests/guest/prepare target/guest` makes one)".into()
        })
}
