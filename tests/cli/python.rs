//! The Python client, its pytest fixture and python-can's interface: installed as a user does, tested by pytest.

use std::{path::Path, process::Command};

use crate::support::{python_or_skip, run_command, runtime_dir};

#[test]
fn the_python_client_does_what_it_says() {
    let Some(python) = python_or_skip("can, isotp, pytest, setuptools") else {
        return;
    };
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    // Setuptools writes beside what it builds: the checkout stays as it is.
    let source = runtime_dir().join("client");
    let copied = Command::new("cp")
        .arg("-r")
        .arg(here.join("python"))
        .arg(&source)
        .status();
    assert!(copied.expect("cp is there").success());
    let site = runtime_dir().join("site");
    let mut install = Command::new(&python);
    install
        .args([
            "-m",
            "pip",
            "install",
            "--quiet",
            "--no-deps",
            "--no-build-isolation",
            "--no-index",
            "--target",
        ])
        .args([&site, &source]);
    run_command(install).expect(0);
    let mut test = Command::new(&python);
    test.args(["-m", "pytest", "-q", "-p", "no:cacheprovider"])
        .arg(here.join("../../tests/cli/tools/test_client.py"))
        .env("PYTHONPATH", &site)
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .env("XDG_RUNTIME_DIR", runtime_dir())
        .env("TWOTRIP", env!("CARGO_BIN_EXE_twotrip"));
    run_command(test).expect(0).says("7 passed");
}
