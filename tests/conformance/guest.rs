//! Builds the program, boots the guest, has the recordings read: the scripts of `tests/guest` and `tests/peers` do the work.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread;
use std::time::Instant;

use crate::report::Report;

/// Seconds until a guest that hangs is stopped. A whole run takes ten to eleven minutes on two cores.
const GUEST_SECONDS: &str = "900";

/// No guest can be had here; the text says why and what to do.
pub(crate) struct Unavailable(pub(crate) String);

/// What the guest's clock counts.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Clock {
    /// Time, as the machine around it lets it pass.
    Time,
    /// Instructions carried out.
    Instructions,
}

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

    /// Runs the checks named, those of `counted` in a guest whose clock counts instructions, and gathers what they
    /// reported. What goes wrong from here on is a failure, and stands in the report.
    pub(crate) fn run(
        &self,
        timed: &[String],
        counted: &[String],
        with_analysers: bool,
        report: &mut Report,
    ) {
        if let Err(problem) = self.build() {
            report.trouble(problem);
            return;
        }
        // Side by side: what is counted is the same whatever else the machine does, and what is timed has a processor
        // of its own on two.
        let booted = thread::scope(|scope| {
            let beside = scope.spawn(|| self.boot(Clock::Instructions, counted));
            let timed = self.boot(Clock::Time, timed);
            let beside = beside.join().unwrap_or_else(|_| Booted {
                figures: Vec::new(),
                problem: Some("the thread of the guest that counts panicked".to_owned()),
            });
            [timed, beside]
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
                .arg(self.results(Clock::Time))
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
        report.read(&self.results(Clock::Time));
        report.read(&self.results(Clock::Instructions));
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
    fn results(&self, clock: Clock) -> PathBuf {
        self.folder.join(match clock {
            Clock::Time => "results",
            Clock::Instructions => "results-counted",
        })
    }

    /// Boots a guest and lets it run the checks, if there are some.
    fn boot(&self, clock: Clock, names: &[String]) -> Booted {
        let mut figures = Vec::new();
        let ran = if names.is_empty() {
            Ok(())
        } else {
            self.run_in_guest(clock, names, &mut figures)
        };
        Booted {
            figures,
            problem: ran.err(),
        }
    }

    fn run_in_guest(
        &self,
        clock: Clock,
        names: &[String],
        figures: &mut Vec<(String, String)>,
    ) -> Result<(), String> {
        let results = self.results(clock);
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

        let (variable, called) = match clock {
            Clock::Time => ("", "guest"),
            Clock::Instructions => ("GUEST_CLOCK=instructions", "guest that counts"),
        };
        let started = Instant::now();
        let ran = Command::new("sh")
            .arg(self.tests.join("guest/boot"))
            .args((clock == Clock::Instructions).then_some("--counted"))
            .args([
                self.folder.as_os_str(),
                results.as_os_str(),
                OsStr::new(GUEST_SECONDS),
            ])
            .arg(format!(
                "PYTHONDONTWRITEBYTECODE=1 {variable} exec {}",
                line.join(" ")
            ))
            .stdin(Stdio::null())
            .output()
            .map_err(|error| format!("`sh` does not start: {error}"))?;
        let boot = fs::read_to_string(results.join("boot-seconds")).unwrap_or_default();
        let whole = format!("{:.1}", started.elapsed().as_secs_f64());
        figures.push((format!("boot of the {called}"), boot.trim().to_owned()));
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
