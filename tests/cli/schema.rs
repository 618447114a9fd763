//! The schema for editors against the parser: what one takes, the other takes, as far as a schema can tell.

use std::{fs, path::Path, process::Command};

use crate::support::{python_or_skip, run};

const HEAD: &str = "version = 1\ntitle = \"A car\"\nvehicle = \"compact-2.0\"\n";

#[test]
fn the_schema_and_the_parser_agree_on_tables_keys_and_types() {
    let Some(python) = python_or_skip("jsonschema, tomllib") else {
        return;
    };
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let schema = folder.path().join("schema.json");
    let listed = run(&["list", "schema"]).expect(0);
    fs::write(&schema, &listed.stdout).expect("the schema can be written");

    let cue = "[[when]]\nevent = 'ready'\ndo = 'key on'\n";
    let order = "[repair-order]\ncomplaint = 'Lamp.'\n";
    let mut files = Vec::new();
    for (place, (good, text)) in [
        (true, HEAD.to_owned()),
        (
            true,
            format!("{HEAD}seed = 5\nregulation = 'eobd'\n{cue}{cue}{order}"),
        ),
        (true, format!("{HEAD}{cue}after = '1.5 min'\ntimes = 3\n")),
        (
            true,
            format!("{HEAD}{order}cause = 'defect fuel-cap loose'\ncorrection = 'tighten fuel-cap'\n"),
        ),
        (
            true,
            format!("{HEAD}[story]\nbefore = ''\n[verdict]\nexpect = 'expect mil off'\n"),
        ),
        (false, HEAD.replace("version = 1", "version = 2")),
        (false, HEAD.replace("version = 1\n", "")),
        (false, HEAD.replace("A car", " ")),
        (false, HEAD.replace("A car", "A\\ncar")),
        (false, HEAD.replace("\"A car\"", "5")),
        (false, HEAD.replace("compact-2.0", "compakt-2.0")),
        (false, format!("{HEAD}titel = 'x'\n")),
        (false, format!("{HEAD}seed = -1\n")),
        (false, format!("{HEAD}seed = 'five'\n")),
        (false, format!("{HEAD}regulation = 'us-1996'\n")),
        (false, format!("{HEAD}story = 'key on'\n")),
        (false, format!("{HEAD}[story]\n")),
        (false, format!("{HEAD}[story]\nafter = 'key on'\n")),
        (false, format!("{HEAD}[verdict]\n")),
        (false, format!("{HEAD}{order}cause = 'defect fuel-cap loose'\n")),
        (false, format!("{HEAD}[when]\nevent = 'ready'\ndo = 'key on'\n")),
        (false, format!("{HEAD}[[when]]\nevent = 'ready'\n")),
        (false, format!("{HEAD}{cue}times = 0\n")),
        (false, format!("{HEAD}{cue}times = 1001\n")),
        (false, format!("{HEAD}{cue}after = '5'\n")),
        (false, format!("{HEAD}{cue}after = 5\n")),
        (false, format!("{HEAD}{cue}{}", cue.repeat(100))),
    ]
    .into_iter()
    .enumerate()
    {
        let path = folder.path().join(format!("{place}.toml"));
        fs::write(&path, &text).expect("the file can be written");
        files.push((good, path, text));
    }
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../scenarios");
    for entry in fs::read_dir(shipped).expect("the scenarios are there") {
        let path = entry.expect("it can be read").path();
        if path.extension().is_some_and(|extension| extension == "toml") {
            files.push((true, path, String::new()));
        }
    }

    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/cli/schema.py");
    let ran = Command::new(python)
        .arg(script)
        .arg(&schema)
        .args(files.iter().map(|(_, path, _)| path))
        .output()
        .expect("Python starts");
    let said = String::from_utf8_lossy(&ran.stdout).into_owned();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    assert_eq!(said.lines().count(), files.len());
    for ((good, path, text), line) in files.iter().zip(said.lines()) {
        assert_eq!(line.starts_with("good "), *good, "the validator: {line}\n{text}");
        let path = path.to_str().expect("the path is UTF-8");
        run(&["check", path]).expect(if *good { 0 } else { 2 });
    }
}
