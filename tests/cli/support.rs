//! Running the program as a user does; a failure shows command, status and both outputs.

use std::{
    ffi::OsString,
    fs,
    io::{BufRead as _, BufReader, Read as _},
    path::{Path, PathBuf},
    process::{Child, Command, Output, Stdio},
    sync::atomic::{AtomicU32, Ordering},
    time::{Duration, Instant},
};

use twotrip_can::Frame;
use twotrip_capture::write;

/// The program with arguments, its runtime folder private to this test run.
pub(crate) fn twotrip(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_twotrip"));
    command
        .args(arguments)
        .current_dir(runtime_dir())
        .env("XDG_RUNTIME_DIR", runtime_dir())
        .env("PATH", path())
        .env_remove("NO_COLOR");
    command
}

/// The path with the program on it, as after an installation.
pub(crate) fn path() -> OsString {
    let program = Path::new(env!("CARGO_BIN_EXE_twotrip"))
        .parent()
        .expect("it is in a folder");
    let others = std::env::var_os("PATH").unwrap_or_default();
    let folders = std::iter::once(program.to_owned()).chain(std::env::split_paths(&others));
    std::env::join_paths(folders).expect("no colon in the folder's name")
}

/// A folder for sockets, one for each test: a test runs in a thread of its own, and sees only its own cars.
pub(crate) fn runtime_dir() -> PathBuf {
    thread_local! {
        static FOLDER: tempfile::TempDir = tempfile::tempdir().expect("a temporary folder can be made");
    }
    FOLDER.with(|folder| folder.path().to_owned())
}

/// The folder of the committed captures and what is said of them.
pub(crate) fn captures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/cli/captures")
}

/// A committed capture, by its name without the ending.
pub(crate) fn capture(name: &str) -> String {
    let path = captures().join(format!("{name}.pcapng"));
    path.to_str().expect("UTF-8").to_owned()
}

/// Writes a recording of these buses into the folder of the test. Of each frame: the bus, when (nanoseconds since 1970), what.
pub(crate) fn recording(
    name: &str,
    buses: &[&str],
    frames: impl IntoIterator<Item = (u32, u64, Frame)>,
) -> PathBuf {
    let mut bytes = Vec::new();
    write::section(&mut bytes, &write::Section::default());
    for &name in buses {
        let interface = write::Interface {
            name,
            ..Default::default()
        };
        write::interface(&mut bytes, &interface);
    }
    for (interface, at, frame) in frames {
        let packet = write::Packet {
            interface,
            at,
            direction: None,
            dropped: 0,
            frame: &frame,
        };
        write::packet(&mut bytes, &packet, []);
    }
    let path = runtime_dir().join(name);
    fs::write(&path, bytes).expect("writable");
    path
}

/// What a finished program said.
pub(crate) struct Ran {
    command: String,
    pub(crate) code: Option<i32>,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl Ran {
    fn new(command: &Command, output: &Output) -> Self {
        Self {
            command: format!("{command:?}"),
            code: output.status.code(),
            stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
            stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }

    /// Everything, for a failure.
    pub(crate) fn tale(&self) -> String {
        format!(
            "{}\nexit {:?}\n--- stdout\n{}\n--- stderr\n{}",
            self.command, self.code, self.stdout, self.stderr
        )
    }

    pub(crate) fn expect(self, code: i32) -> Self {
        assert_eq!(self.code, Some(code), "expected exit {code}:\n{}", self.tale());
        self
    }

    pub(crate) fn says(self, text: &str) -> Self {
        assert!(
            self.stdout.contains(text),
            "stdout lacks {text:?}:\n{}",
            self.tale()
        );
        self
    }

    pub(crate) fn complains(self, text: &str) -> Self {
        assert!(
            self.stderr.contains(text),
            "stderr lacks {text:?}:\n{}",
            self.tale()
        );
        self
    }

    /// Each line of standard output as JSON.
    pub(crate) fn json_lines(&self) -> Vec<serde_json::Value> {
        let parse = |line| {
            serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}\n{}", self.tale()))
        };
        self.stdout.lines().map(parse).collect()
    }
}

/// The program under a limit on the size of the files that it writes, in blocks of 512 bytes, in place of a disk that is
/// full: a write beyond it fails as long as the signal is ignored (setrlimit(2)).
pub(crate) fn with_room_for(blocks: u64, arguments: &[&str]) -> Command {
    let mut command = Command::new("sh");
    command
        .args(["-c", "trap '' XFSZ; ulimit -f $0; exec \"$@\""])
        .args([&blocks.to_string(), env!("CARGO_BIN_EXE_twotrip")])
        .args(arguments)
        .env("XDG_RUNTIME_DIR", runtime_dir());
    command
}

/// The program with little address space, in kilobytes (setrlimit(2)): more than it ever needs, less than a file could
/// make it want.
pub(crate) fn within_memory(arguments: &[&str]) -> Command {
    const KILOBYTES: &str = "120000";
    let mut command = Command::new("sh");
    command
        .args([
            "-c",
            "ulimit -v $0; exec \"$@\"",
            KILOBYTES,
            env!("CARGO_BIN_EXE_twotrip"),
        ])
        .args(arguments);
    command
}

/// Runs the program to its end.
pub(crate) fn run(arguments: &[&str]) -> Ran {
    run_command(twotrip(arguments))
}

/// Runs a command to its end.
pub(crate) fn run_command(mut command: Command) -> Ran {
    let output = command.stdin(Stdio::null()).output().expect("the program starts");
    Ran::new(&command, &output)
}

/// A Python with these modules in it: that of the guest's folder, or the system's. Without one the test is skipped, which is
/// said here, and which CI does not allow.
pub(crate) fn python_or_skip(modules: &str) -> Option<PathBuf> {
    let python = python(modules);
    if python.is_none() {
        let reason = format!("no Python with {modules}: sh tests/guest/prepare target/guest");
        assert!(
            std::env::var_os("CI").is_none(),
            "skipped, which CI does not allow: {reason}"
        );
        eprintln!("skipped: {reason}");
    }
    python
}

fn python(modules: &str) -> Option<PathBuf> {
    let program = Path::new(env!("CARGO_BIN_EXE_twotrip"));
    let target = program
        .ancestors()
        .nth(2)
        .map(|target| target.join("guest/venv/bin/python"));
    target
        .into_iter()
        .chain(["/usr/bin/python3".into(), "python3".into()])
        .find(|python| {
            Command::new(python)
                .args(["-c", &format!("import {modules}")])
                .output()
                .is_ok_and(|ran| ran.status.success())
        })
}

/// A bus name that no other test of this run uses.
pub(crate) fn bus() -> String {
    static NEXT: AtomicU32 = AtomicU32::new(0);
    format!(
        "local:t{}-{}",
        std::process::id(),
        NEXT.fetch_add(1, Ordering::Relaxed)
    )
}

/// A car that runs in the background until it is dropped.
pub(crate) struct Car {
    child: Child,
    pub(crate) ready: String,
    stdout: BufReader<std::process::ChildStdout>,
}

impl Car {
    /// Starts a car and waits for its `ready` line.
    pub(crate) fn start(arguments: &[&str]) -> Self {
        Self::spawn(twotrip(arguments))
    }

    /// The same, by this command.
    pub(crate) fn spawn(mut command: Command) -> Self {
        let mut child = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut stdout = BufReader::new(child.stdout.take().expect("it is piped"));
        let mut ready = String::new();
        loop {
            let mut line = String::new();
            let read = stdout.read_line(&mut line).expect("the car speaks UTF-8");
            let begins = [
                "ready",
                "recording",
                "{\"event\":\"ready\"",
                "{\"event\":\"recording\"",
            ];
            if begins.iter().any(|begin| line.starts_with(begin)) {
                ready.push_str(&line);
                break;
            }
            if read == 0 {
                let mut stderr = String::new();
                child
                    .stderr
                    .take()
                    .expect("it is piped")
                    .read_to_string(&mut stderr)
                    .expect("UTF-8");
                panic!("{command:?} ended before it was ready:\n{stderr}");
            }
        }
        Self { child, ready, stdout }
    }

    /// Starts a program that says nothing when it begins.
    pub(crate) fn watching(arguments: &[&str]) -> Self {
        let mut child = twotrip(arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let stdout = BufReader::new(child.stdout.take().expect("it is piped"));
        Self {
            child,
            ready: String::new(),
            stdout,
        }
    }

    /// Ends it as `kill -9` does, and waits until it is gone.
    pub(crate) fn kill(&mut self) {
        self.child.kill().expect("it is our child");
        self.child.wait().expect("it is our child");
    }

    /// What it still says before it ends by itself.
    pub(crate) fn rest(&mut self) -> String {
        let mut rest = String::new();
        self.stdout.read_to_string(&mut rest).expect("UTF-8");
        rest
    }

    /// Sends a signal.
    pub(crate) fn signal(&self, signal: &str) {
        let id = self.child.id().to_string();
        let sent = Command::new("kill")
            .args([signal, &id])
            .status()
            .expect("kill is there");
        assert!(sent.success(), "kill {signal} {id}");
    }

    /// Sends a signal and waits for the end: exit code, the rest of both outputs.
    pub(crate) fn stop(mut self, signal: &str) -> (Option<i32>, String, String) {
        self.signal(signal);
        let (mut stdout, mut stderr) = (String::new(), String::new());
        self.stdout.read_to_string(&mut stdout).expect("UTF-8");
        self.child
            .stderr
            .take()
            .expect("it is piped")
            .read_to_string(&mut stderr)
            .expect("UTF-8");
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("it is our child") {
                return (status.code(), stdout, stderr);
            }
            assert!(
                begun.elapsed() < Duration::from_secs(10),
                "the car does not end after {signal}"
            );
            std::thread::yield_now();
        }
    }
}

impl Drop for Car {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What a cold car does after a repair until the leak test has judged it, told to the running car.
pub(crate) const PROVING_DRIVE: [&str; 6] = [
    "tell",
    "soak 9 h",
    "drive udds",
    "drive hwfet",
    "soak 1 h",
    "key on",
];
