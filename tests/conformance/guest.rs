//! Builds the program, boots the guest, has the recordings read: the scripts of `tests/guest` and `tests/peers` do the work.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread;
use std::time::Instant;

use crate::report::Report;

/// Seconds until a guest that hangs is stopped. The longest takes some six minutes on two cores.
const GUEST_SECONDS: &str = "900";

/// No guest can be had here; the text says why and what to do.
pub(crate) struct Unavailable(pub(crate) String);

/// One boot of the guest.
struct Boot {
    /// What it is called in the report.
    called: &'static str,
    /// The folder that it writes, below the guest's.
    results: &'static str,
    /// Whether its clock counts instructions carried out, and not time as the machine around it lets it pass.
    counts: bool,
}

/// The analysers read what it recorded; what is timed is timed there.
const TIMED: Boot = Boot {
    called: "guest",
    results: "results",
    counts: false,
};
const COUNTED: Boot = Boot {
    called: "guest that counts",
    results: "results-counted",
    counts: true,
};
const BESIDE: Boot = Boot {
    called: "guest beside",
    results: "results-beside",
    counts: false,
};

/// A guest that can be booted.
pub(crate) struct Guest {
    /// The package `tests/`.
    tests: PathBuf,
    /// Kernel, RAM disk, Python environment.
    folder: PathBuf,
    /// Where the release build of the program is.
    release: PathBuf,
}

impl Guest {
    /// Fetches and builds what is missing, apart from Debian packages: those only `tests/run` installs.
    ///
    /// # Errors
    /// [`Unavailable`] if packages are missing, or the kernel or the Python packages cannot be fetched.
    pub(crate) fn prepare() -> Result<Self, Unavailable> {
        let tests = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
        let target =
            target_folder().ok_or_else(|| Unavailable("this test runs outside a target folder".into()))?;
        let folder = target.join("guest");
        let prepared = Command::new("sh")
            .arg(tests.join("guest/prepare"))
            .args([OsStr::new("--without-packages"), folder.as_os_str()])
            .stdout(Stdio::inherit())
            .output()
            .map_err(|error| Unavailable(format!("`sh` does not start: {error}")))?;
        if !prepared.status.success() {
            let said = String::from_utf8_lossy(&prepared.stderr);
            let reason = said
                .lines()
                .next_back()
                .unwrap_or("tests/guest/prepare failed")
                .to_owned();
            return Err(Unavailable(reason));
        }
        Ok(Self {
            release: target.join("release"),
            tests,
            folder,
        })
    }

    /// Runs the checks named, those of `counted` in a guest whose clock counts instructions, those of `beside` in one for
    /// them alone, and gathers what they reported. What goes wrong from here on is a failure, and stands in the report.
    pub(crate) fn run(
        &self,
        [timed, counted, beside]: &[Vec<String>; 3],
        with_analysers: bool,
        report: &mut Report,
    ) {
        if let Err(problem) = self.build() {
            report.trouble(problem);
            return;
        }
        // Two side by side: what is counted is the same whatever else the machine does, and what is timed has a
        // processor of its own on two.
        let booted = thread::scope(|scope| {
            let others = scope.spawn(|| [self.boot(&COUNTED, counted), self.boot(&BESIDE, beside)]);
            let timed = self.boot(&TIMED, timed);
            let [counted, beside] = others.join().unwrap_or_else(|_| {
                ["that counts", "beside"].map(|guest| Booted {
                    figures: Vec::new(),
                    problem: Some(format!("the thread of the guest {guest} panicked")),
                })
            });
            [timed, counted, beside]
        });
        for Booted { figures, problem } in booted {
            for (name, seconds) in figures {
                report.figure(&name, &seconds, "s");
            }
            if let Some(problem) = problem {
                report.trouble(problem);
            }
        }
        if with_analysers {
            let started = Instant::now();
            let ran = self
                .python(&self.tests.join("peers/main.py"))
                .arg(self.release.join("twotrip"))
                .args([self.results(&TIMED), self.results(&COUNTED)])
                .output();
            match ran {
                Ok(ran) if ran.status.success() => {}
                Ok(ran) => report.trouble(format!("the analysers: {}", String::from_utf8_lossy(&ran.stderr))),
                Err(error) => report.trouble(format!("the analysers do not start: {error}")),
            }
            report.figure(
                "analysers",
                &format!("{:.1}", started.elapsed().as_secs_f64()),
                "s",
            );
        }
        for (boot, names) in [(&TIMED, timed), (&BESIDE, beside), (&COUNTED, counted)] {
            // One that was not booted left what it wrote another time.
            if !names.is_empty() {
                report.read(&self.results(boot));
            }
        }
    }

    /// The release build of the program and of the two processes it is measured with.
    fn build(&self) -> Result<(), String> {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let target = self.release.parent().unwrap_or(&self.release);
        let mut command = Command::new(cargo);
        command.args([
            "build",
            "--release",
            "--quiet",
            "-p",
            "twotrip-cli",
            "-p",
            "twotrip-tests",
            "--bins",
        ]);
        command.arg("--target-dir").arg(target).current_dir(&self.tests);
        let built = command
            .status()
            .map_err(|error| format!("`cargo` does not start: {error}"))?;
        if built.success() {
            Ok(())
        } else {
            Err("the release build failed".into())
        }
    }

    /// What a guest wrote.
    fn results(&self, boot: &Boot) -> PathBuf {
        self.folder.join(boot.results)
    }

    /// Boots a guest and lets it run the checks, if there are some.
    fn boot(&self, boot: &Boot, names: &[String]) -> Booted {
        let mut figures = Vec::new();
        let ran = if names.is_empty() {
            Ok(())
        } else {
            self.run_in_guest(boot, names, &mut figures)
        };
        Booted {
            figures,
            problem: ran.err(),
        }
    }

    fn run_in_guest(
        &self,
        boot: &Boot,
        names: &[String],
        figures: &mut Vec<(String, String)>,
    ) -> Result<(), String> {
        let results = self.results(boot);
        let failed = |error: std::io::Error| format!("`{}`: {error}", results.display());
        if results.exists() {
            fs::remove_dir_all(&results).map_err(failed)?;
        }
        fs::create_dir_all(&results).map_err(failed)?;
        let mut inside = vec![
            self.folder.join("venv/bin/python").into_os_string(),
            "-u".into(),
            self.tests.join("guest/checks/main.py").into(),
            self.release.join("twotrip").into(),
            self.release.clone().into(),
            "/run/results".into(),
        ];
        inside.extend(names.iter().map(Into::into));
        let line: Vec<String> = inside
            .iter()
            .map(|word| quoted(&word.to_string_lossy()))
            .collect();

        let (mut variables, called) = (String::new(), boot.called);
        if boot.counts {
            variables.push_str("GUEST_CLOCK=instructions");
            if let Ok(seconds) = std::env::var("TWOTRIP_FLOOD") {
                variables.push_str(&format!(" FLOOD_SECONDS={}", quoted(&seconds)));
            }
        }
        let started = Instant::now();
        let ran = Command::new("sh")
            .arg(self.tests.join("../crates/cli/guest/boot"))
            .args(boot.counts.then_some("--counted"))
            .args([
                self.folder.as_os_str(),
                results.as_os_str(),
                OsStr::new(GUEST_SECONDS),
            ])
            .arg(format!(
                "PYTHONDONTWRITEBYTECODE=1 {variables} exec {}",
                line.join(" ")
            ))
            .stdin(Stdio::null())
            .output()
            .map_err(|error| format!("`sh` does not start: {error}"))?;
        let boot_seconds = fs::read_to_string(results.join("boot-seconds")).unwrap_or_default();
        let whole = format!("{:.1}", started.elapsed().as_secs_f64());
        figures.push((format!("boot of the {called}"), boot_seconds.trim().to_owned()));
        figures.push((format!("{called}, boot to power-off"), whole));
        if ran.status.success() {
            return Ok(());
        }
        let (out, err) = (
            String::from_utf8_lossy(&ran.stdout),
            String::from_utf8_lossy(&ran.stderr),
        );
        Err(format!("the guest ended with {}\n{out}{err}", ran.status))
    }

    /// The Python of the environment that holds the outside packages.
    fn python(&self, script: &Path) -> Command {
        let mut command = Command::new(self.folder.join("venv/bin/python"));
        command
            .arg(script)
            .env("PYTHONDONTWRITEBYTECODE", "1")
            .stdin(Stdio::null());
        command
    }
}

/// What came of a guest.
struct Booted {
    /// Names, and seconds.
    figures: Vec<(String, String)>,
    problem: Option<String>,
}

/// `target` or what stands for it: this binary is `target/PROFILE/deps/conformance-HASH`.
pub(crate) fn target_folder() -> Option<PathBuf> {
    let binary = std::env::current_exe().ok()?;
    binary.ancestors().nth(3).map(Path::to_path_buf)
}

/// A word as the shell must read it.
fn quoted(word: &str) -> String {
    format!("'{}'", word.replace('\'', r"'\''"))
}
