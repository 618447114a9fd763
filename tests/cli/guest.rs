//! `twotrip guest`: an unmodified SocketCAN program in a small guest. Boots one where the tests have a kernel for it.

use std::{
    fs,
    os::unix::fs::{PermissionsExt as _, symlink},
    path::{Path, PathBuf},
    process::{Command, Stdio},
};

use crate::support::{run_command, runtime_dir, twotrip};

/// The guest of the conformance tests, as the program's cache.
fn cache() -> Option<PathBuf> {
    let target = Path::new(env!("CARGO_BIN_EXE_twotrip")).ancestors().nth(2)?;
    let guest = target.join("guest");
    if !guest.join("modules.made-from").exists() {
        let reason = "no kernel for a guest: sh tests/guest/prepare target/guest";
        assert!(
            std::env::var_os("CI").is_none(),
            "skipped, which CI does not allow: {reason}"
        );
        eprintln!("skipped: {reason}");
        return None;
    }
    let cache = runtime_dir().join("cache");
    fs::create_dir_all(cache.join("twotrip")).expect("made");
    symlink(guest, cache.join("twotrip/guest")).expect("linked");
    Some(cache)
}

fn guest(cache: &Path, arguments: &[&str]) -> Command {
    let mut command = twotrip(&[&["guest"], arguments].concat());
    command.env("XDG_CACHE_HOME", cache).env("TMPDIR", runtime_dir());
    command
}

#[test]
fn a_socketcan_tool_reads_the_car_and_its_status_is_ours() {
    let Some(cache) = cache() else { return };
    let tool = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/cli/tools/socketcan.py");
    let tool = tool.to_str().expect("UTF-8");
    let folder = runtime_dir().join("it's writable");
    fs::create_dir(&folder).expect("made");
    let folder = folder.to_str().expect("UTF-8");
    let script =
        "python3 \"$0\" \"$1\" && echo kept >\"$2/note\" && echo complaint >&2 && ! touch /no && exit 7";
    let mut command = guest(
        &cache,
        &[
            "codes-on-demand",
            "--timing",
            "fast",
            "--writable",
            folder,
            "--",
            "sh",
            "-c",
            script,
            tool,
            "{bus}",
            folder,
        ],
    );
    command.env("ODD", "it's $odd");
    let ran = run_command(command)
        .expect(7)
        .says("codes: P0301 P0302\n")
        .complains("complaint");
    assert!(!ran.stdout.contains("guest:"), "{}", ran.tale());
    assert_eq!(
        fs::read_to_string(Path::new(folder).join("note")).expect("written"),
        "kept\n"
    );
    let left = fs::read_dir(runtime_dir()).expect("readable").flatten();
    assert!(
        left.into_iter()
            .all(|entry| !entry.file_name().to_string_lossy().starts_with("twotrip-guest"))
    );
}

/// A checkout with `my-tool` in it, an unmodified SocketCAN program, and a command that runs in it with the program on its path.
fn checkout(cache: &Path, program: &str, arguments: &[&str]) -> (PathBuf, Command) {
    let folder = runtime_dir().join("checkout");
    fs::create_dir(&folder).expect("made");
    let tool = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/cli/tools/socketcan.py");
    let text = format!("#!/bin/sh\nexec python3 '{}' \"$@\"\n", tool.display());
    fs::write(folder.join("my-tool"), text).expect("written");
    fs::set_permissions(folder.join("my-tool"), fs::Permissions::from_mode(0o755)).expect("made one to run");
    let ours = Path::new(env!("CARGO_BIN_EXE_twotrip"))
        .parent()
        .expect("a folder");
    let path = std::env::var("PATH").expect("there is one");
    let mut command = Command::new(program);
    command
        .args(arguments)
        .current_dir(&folder)
        .env("PATH", format!("{}:{path}", ours.display()))
        .env("XDG_CACHE_HOME", cache)
        .env("XDG_RUNTIME_DIR", runtime_dir())
        .env("TMPDIR", runtime_dir());
    (folder, command)
}

fn has_passed(report: &Path) {
    let report = fs::read_to_string(report).expect("written");
    for part in ["P0455 is read", "failures=\"0\""] {
        assert!(report.contains(part), "{part}: {report}");
    }
}

/// The README's pipeline, to the letter: on vcan where the kernel has it, otherwise in the guest.
#[test]
fn the_pipeline_of_the_readme_tries_a_tool() {
    let Some(cache) = cache() else { return };
    let readme = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../README.md"));
    let (_, script) = readme.split_once("```text\nif ip link").expect("it is there");
    let (script, _) = script.split_once("```").expect("it ends");
    let (folder, command) = checkout(&cache, "sh", &["-e", "pipeline"]);
    fs::write(folder.join("pipeline"), format!("if ip link{script}")).expect("written");
    run_command(command).expect(0).says("1 car: 1 passed");
    has_passed(&folder.join("result.xml"));
}

/// Two jobs at a time, each with a vcan0 in a network namespace of its own.
#[test]
fn jobs_in_namespaces_do_not_hear_each_other() {
    let Some(cache) = cache() else { return };
    let job = r#"ip link add dev vcan0 type vcan && ip link set vcan0 up &&
        exec twotrip try loose-fuel-cap --bus vcan0 --report "$0.xml" -- ./my-tool vcan0"#;
    let jobs = r#"for job in one two; do unshare --net sh -c "$0" $job & done; wait"#;
    let arguments = ["guest", "--writable", ".", "--", "sh", "-c", jobs, job];
    let (folder, command) = checkout(&cache, "twotrip", &arguments);
    let ran = run_command(command).expect(0);
    assert_eq!(ran.stdout.matches("1 car: 1 passed").count(), 2, "{}", ran.tale());
    for name in ["one.xml", "two.xml"] {
        has_passed(&folder.join(name));
    }
}

#[test]
fn what_is_missing_is_said_and_nothing_is_fetched_unasked() {
    let empty = runtime_dir().join("empty");
    let ran = run_command(guest(&empty, &["no-such-car", "--", "true"])).expect(2);
    assert!(ran.stderr.contains("no scenario"), "{}", ran.tale());
    run_command(guest(&empty, &["--writable", "/no/such", "--", "true"]))
        .expect(2)
        .complains("--writable");
    // No programs on the path.
    let mut command = guest(&empty, &["--", "true"]);
    command.env("PATH", "/nonexistent");
    run_command(command)
        .expect(3)
        .complains("the guest needs qemu-system-x86_64 and busybox and sh")
        .complains("apt-get install");
    // A stand-in for apt-get that tells of a package and notes what it is asked.
    let programs = runtime_dir().join("programs");
    fs::create_dir(&programs).expect("made");
    let stand_in = |name: &str, text: &str| {
        let path = programs.join(name);
        fs::write(&path, format!("#!/bin/sh\n{text}\n")).expect("written");
        let made = Command::new("chmod")
            .arg("+x")
            .arg(&path)
            .stdin(Stdio::null())
            .status();
        assert!(made.expect("chmod is there").success());
    };
    stand_in("qemu-system-x86_64", "exit 1");
    stand_in("busybox", "exit 1");
    stand_in("apt-cache", "echo '  Depends: linux-image-9-amd64'");
    let asked = runtime_dir().join("asked");
    stand_in(
        "apt-get",
        &format!(
            "echo \"$@\" >>'{}'; echo \"'http://deb.example/l.deb' l.deb 70000000 SHA256:00\"",
            asked.display()
        ),
    );
    let mut command = guest(&empty, &["--", "true"]);
    let path = std::env::var("PATH").expect("there is one");
    command.env("PATH", format!("{}:{path}", programs.display()));
    let ran = run_command(command).expect(3);
    for part in [
        "the guest needs Debian's kernel, 70 MB, once",
        "http://deb.example/l.deb",
        "--fetch",
    ] {
        assert!(ran.stderr.contains(part), "{part}: {}", ran.tale());
    }
    let asked = fs::read_to_string(asked).expect("it was asked");
    assert!(
        asked
            .lines()
            .all(|line| line.contains(" update") || line.contains("--print-uris")),
        "{asked}"
    );
}
