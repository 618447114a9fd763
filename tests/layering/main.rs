//! Holds the arrows between the crates: who may import whom, and which crates know neither clock nor file.

use std::{collections::BTreeMap, path::Path, process::Command};

use serde_json::Value;

/// The import table: a crate of this project and the crates of this project that it may import.
const MAY_IMPORT: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("can", &["units"]),
    ("obd", &["units"]),
    ("isotp", &["units", "can"]),
    ("harness", &["units"]),
    ("vehicle", &["units", "harness"]),
    ("ecu", &["units", "obd", "harness"]),
    ("tester", &["units", "can", "isotp", "obd"]),
    ("dialogue", &["units", "can", "isotp", "obd"]),
    ("scenario", &["units", "obd", "harness", "vehicle", "ecu"]),
    ("capture", &["units", "can"]),
    (
        "sim",
        &[
            "units", "can", "isotp", "obd", "harness", "vehicle", "ecu", "scenario",
        ],
    ),
    (
        "facade",
        &[
            "units", "can", "obd", "ecu", "tester", "dialogue", "scenario", "sim",
        ],
    ),
    (
        "host",
        &[
            "units", "can", "isotp", "obd", "harness", "vehicle", "ecu", "tester", "dialogue", "scenario",
            "capture", "sim", "facade",
        ],
    ),
    (
        "cli",
        &[
            "units", "can", "isotp", "obd", "harness", "vehicle", "ecu", "tester", "dialogue", "scenario",
            "capture", "sim", "facade", "host",
        ],
    ),
];

/// Crates that compile without `std`, so that a clock, a socket or a file in them does not build.
const WITHOUT_STD: &[&str] = &[
    "units", "can", "isotp", "obd", "harness", "vehicle", "ecu", "tester", "dialogue",
];

/// Third-party crates that bring clocks, sockets or files; only these members may name them.
const OUTSIDE_WORLD: &[(&str, &[&str])] = &[
    ("tokio", &["host", "cli"]),
    ("socketcan", &["host"]),
    ("libc", &["host"]),
    ("bytes", &["host"]),
];

fn metadata() -> Value {
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR")).join("../Cargo.toml");
    let output = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version=1",
            "--no-deps",
            "--offline",
            "--manifest-path",
        ])
        .arg(manifest)
        .output()
        .expect("cargo runs, since it runs this test");
    assert!(
        output.status.success(),
        "cargo metadata: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).expect("cargo metadata prints JSON")
}

/// The folder of a package of this project; the one for users has the project's own name.
fn short(package: &str) -> Option<&str> {
    match package {
        "twotrip" => Some("facade"),
        other => other.strip_prefix("twotrip-"),
    }
}

/// Every member below `crates/` with the names of its dependencies, development ones too.
fn members() -> BTreeMap<String, Vec<String>> {
    let metadata = metadata();
    let packages = metadata["packages"].as_array().expect("packages are a list");
    let mut members = BTreeMap::new();
    for package in packages {
        let name = package["name"].as_str().expect("a package has a name");
        let path = package["manifest_path"].as_str().expect("a package has a path");
        if !path.contains("/crates/") {
            continue;
        }
        let short = short(name).expect("packages carry the project's name");
        assert!(
            path.ends_with(&format!("/crates/{short}/Cargo.toml")),
            "{name} lives in another folder: {path}"
        );
        let dependencies = package["dependencies"]
            .as_array()
            .expect("dependencies are a list");
        let names = dependencies
            .iter()
            .filter_map(|dependency| dependency["name"].as_str())
            .map(String::from);
        members.insert(short.to_owned(), names.collect());
    }
    members
}

#[test]
fn crates_import_only_what_the_table_allows() {
    let members = members();
    assert!(members.len() >= 12, "only {} crates found", members.len());
    for (member, dependencies) in &members {
        let Some((_, allowed)) = MAY_IMPORT.iter().find(|(name, _)| name == member) else {
            panic!("crate `{member}` is not in the import table of tests/layering: give it a row");
        };
        for dependency in dependencies.iter().filter_map(|name| short(name)) {
            assert!(
                allowed.contains(&dependency),
                "`{member}` imports `{dependency}`, which the table forbids"
            );
        }
    }
}

#[test]
fn the_outside_world_enters_through_host_alone() {
    for (member, dependencies) in &members() {
        for (crate_name, allowed) in OUTSIDE_WORLD {
            let names_it = dependencies.iter().any(|name| name == crate_name);
            assert!(
                !names_it || allowed.contains(&member.as_str()),
                "`{member}` depends on `{crate_name}`"
            );
        }
    }
}

#[test]
fn lower_floors_are_built_without_std() {
    for member in members()
        .keys()
        .filter(|member| WITHOUT_STD.contains(&member.as_str()))
    {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../crates/{member}/src/lib.rs"));
        let text = std::fs::read_to_string(&path).expect("a crate has a root");
        assert!(
            text.lines().any(|line| line == "#![no_std]"),
            "crates/{member}/src/lib.rs lacks #![no_std]"
        );
    }
}
