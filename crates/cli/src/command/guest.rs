//! `twotrip guest`: runs a SocketCAN program where the kernel has no CAN, in a small guest under an emulator.
//!
//! The scripts are those of this project's own tests on a real vcan (`crates/cli/guest`); the program carries them along and
//! lays them down in the user's cache.

use std::{
    env,
    ffi::{OsStr, OsString},
    fs::{self, DirBuilder, File},
    io::{self, BufRead as _, IsTerminal as _, Read as _, Write as _},
    os::unix::{ffi::OsStrExt as _, fs::DirBuilderExt as _},
    path::{Path, PathBuf},
    process::{self, Command, Stdio},
    time::Duration,
};

use twotrip_host::tool::{Ended, Tool};

use crate::{args, command::words, exit::Failure, output, sources};

/// The scripts, by their names.
const SCRIPTS: [(&str, &str); 3] = [
    ("boot", include_str!("../../guest/boot")),
    ("init", include_str!("../../guest/init")),
    ("kernel", include_str!("../../guest/kernel")),
];
/// What a prepared folder has.
const PREPARED: [&str; 3] = ["vmlinuz", "modules.made-from", "kernel-release"];
/// Programs that have to be there, and Debian's packages with them.
const PROGRAMS: [(&str, &str); 3] = [
    ("qemu-system-x86_64", "qemu-system-x86"),
    ("busybox", "busybox-static"),
    ("sh", "dash"),
];
/// How often the outputs of the command are looked at.
const LOOK: Duration = Duration::from_millis(50);
/// What the guest is given to end by itself beyond its time.
const GRACE: Duration = Duration::from_secs(10);
/// The guest's own bus.
const BUS: &str = "vcan0";
/// Of the environment, what would be wrong inside: folders that are others there.
const NOT_HANDED_ON: [&str; 6] = ["TMPDIR", "XDG_RUNTIME_DIR", "PWD", "OLDPWD", "NOTIFY_SOCKET", "_"];

/// Runs the command.
pub(super) async fn run(args: &args::Guest) -> Result<(), Failure> {
    if let Some(scenario) = &args.scenario {
        sources::scenario_with(scenario, args.vehicle.as_deref())?;
    }
    let writable = args.writable.as_deref().map(writable).transpose()?;
    let cache = cache()?;
    prepare(&cache, args.fetch)?;
    let results = Results::make()?;
    let script = script(args)?;
    let mut words: Vec<OsString> = vec!["sh".into(), cache.join("scripts/boot").into()];
    if let Some(folder) = writable {
        words.extend(["--writable".into(), folder.into()]);
    }
    let seconds = args.timeout.as_secs().max(1).to_string();
    words.extend([cache.into(), results.0.clone().into(), seconds.into(), script]);
    let mut boot = Tool::start(&words, [])?;
    let mut followed = [Followed::stdout(&results.0), Followed::stderr(&results.0)];
    let stopped = words::stopped()?;
    let mut stopped = std::pin::pin!(stopped);
    let ended = {
        let mut waited = std::pin::pin!(boot.wait(args.timeout + GRACE));
        loop {
            tokio::select! {
                ended = &mut waited => break Some(ended?),
                () = &mut stopped => break None,
                () = tokio::time::sleep(LOOK) => for file in &mut followed {
                    file.hand_on()?;
                },
            }
        }
    };
    if ended.is_none() {
        boot.end().await;
    }
    for file in &mut followed {
        file.hand_on()?;
    }
    judge(&results.0, ended, &boot)
}

/// What the command's end means for ours.
fn judge(results: &Path, ended: Option<Ended>, boot: &Tool) -> Result<(), Failure> {
    let status = fs::read_to_string(results.join("exit")).ok();
    match (status.and_then(|text| text.trim().parse::<u8>().ok()), ended) {
        (Some(0), _) => Ok(()),
        (Some(NO_BUS), _) if !results.join("began").exists() => Err(Failure::system(
            format!("the guest has no car on {BUS}"),
            Some(tail(&fs::read(results.join("car.log")).unwrap_or_default())),
        )),
        (Some(status), _) => Err(Failure::Status(status)),
        (None, None) => Err(Failure::system("stopped", None)),
        (None, Some(_)) => Err(Failure::system(
            "the guest ended before the command did",
            Some(tail(&boot.said().bytes())),
        )),
    }
}

/// The script's own status where there is no car for the command.
const NO_BUS: u8 = 125;

/// The end of what a script has said.
fn tail(said: &[u8]) -> String {
    let text = String::from_utf8_lossy(said);
    let lines: Vec<String> = text.lines().map(output::escape).collect();
    lines[lines.len().saturating_sub(20)..].join("\n")
}

/// What the shell of the guest does: a bus, the car, the command.
fn script(args: &args::Guest) -> Result<OsString, Failure> {
    let mut script = OsString::from(
        "busybox ip link add dev vcan0 type vcan && busybox ip link set dev vcan0 up || exit 125\n\
         mkdir -m 700 /run/user && export XDG_RUNTIME_DIR=/run/user || exit 125\n",
    );
    let folder = env::current_dir()?;
    if folder.starts_with("/run") {
        let hint = "its own files are there: go to another folder, such as one in /tmp".to_owned();
        return Err(Failure::input(
            "the guest does not see what is in /run",
            Some(hint),
        ));
    }
    script.push("cd ");
    script.push(quoted(folder.as_os_str()));
    script.push(" || exit 125\n");
    for (name, value) in env::vars_os() {
        if is_variable(&name) && !NOT_HANDED_ON.iter().any(|other| name == *other) {
            script.push("export ");
            script.push(&name);
            script.push("=");
            script.push(quoted(&value));
            script.push("\n");
        }
    }
    if let Some(scenario) = &args.scenario {
        let program = quoted(env::current_exe()?.as_os_str());
        let mut car: Vec<OsString> = ["run", scenario, "--bus", BUS, "--control", "/run/car"]
            .map(OsString::from)
            .into();
        if let Some(vehicle) = &args.vehicle {
            car.extend(["--vehicle".into(), vehicle.into()]);
        }
        if let Some(seed) = args.seed {
            car.extend(["--seed".into(), seed.to_string().into()]);
        }
        if args.timing == args::Timing::Fast {
            car.extend(["--timing".into(), "fast".into()]);
        }
        script.push("(");
        script.push(&program);
        for word in &car {
            script.push(" ");
            script.push(quoted(word));
        }
        script.push(" --until-exit $$ >/run/results/car.log 2>&1; : >/run/no-car) &\n(");
        script.push(&program);
        // Whichever comes first: a car that cannot be is not waited for.
        script.push(
            " tell --wait-ready=600s --control /run/car >>/run/results/car.log 2>&1 && : >/run/ready || : >/run/no-car) &\n\
             until [ -e /run/ready ]; do [ ! -e /run/no-car ] || exit 125; sleep 0.1; done\n\
             export TWOTRIP_CONTROL=/run/car\n",
        );
    }
    script.push("export TWOTRIP_BUS=vcan0\n: >/run/results/began\n");
    for word in &args.command {
        script.push(quoted(&put_in(word)));
        script.push(" ");
    }
    // The shell stays, and the car with it, until the command has ended.
    script.push(">/run/results/stdout 2>/run/results/stderr\nexit $?");
    Ok(script)
}

/// `{bus}` in an argument, as in `try`.
fn put_in(word: &OsStr) -> OsString {
    word.to_str()
        .map_or_else(|| word.to_owned(), |word| word.replace("{bus}", BUS).into())
}

/// A word as the guest's shell reads it.
fn quoted(word: &OsStr) -> OsString {
    let mut quoted = vec![b'\''];
    for byte in word.as_bytes() {
        if *byte == b'\'' {
            quoted.extend_from_slice(br"'\''");
        } else {
            quoted.push(*byte);
        }
    }
    quoted.push(b'\'');
    OsStr::from_bytes(&quoted).to_owned()
}

/// Whether a shell can have a variable of this name.
fn is_variable(name: &OsStr) -> bool {
    let bytes = name.as_bytes();
    !bytes.is_empty()
        && !bytes[0].is_ascii_digit()
        && bytes
            .iter()
            .all(|byte| byte.is_ascii_alphanumeric() || *byte == b'_')
}

/// A folder that the guest may write into, by its whole path.
fn writable(folder: &Path) -> Result<PathBuf, Failure> {
    let shown = output::escape(&folder.display().to_string());
    let whole = fs::canonicalize(folder)
        .map_err(|error| Failure::input(format!("--writable: cannot find `{shown}`: {error}"), None))?;
    if !whole.is_dir() || whole.as_os_str().as_bytes().contains(&b',') {
        let what = format!("--writable: `{shown}` is no folder, or has a comma in its path");
        return Err(Failure::input(what, None));
    }
    Ok(whole)
}

/// The folder of kernel and scripts.
fn cache() -> Result<PathBuf, Failure> {
    let absolute = |name: &str| {
        env::var_os(name)
            .map(PathBuf::from)
            .filter(|path| path.is_absolute())
    };
    let base = absolute("XDG_CACHE_HOME")
        .or_else(|| absolute("HOME").map(|home| home.join(".cache")))
        .ok_or_else(|| {
            Failure::system(
                "no folder for the guest: neither XDG_CACHE_HOME nor HOME is set",
                None,
            )
        })?;
    Ok(base.join("twotrip/guest"))
}

/// Lays down the scripts, and gets the kernel if it is not there.
fn prepare(cache: &Path, may_fetch: bool) -> Result<(), Failure> {
    if env::consts::ARCH != "x86_64" {
        let hint = "on other machines use `--bus local:NAME`, or a kernel with vcan".to_owned();
        return Err(Failure::system("the guest is there for x86-64 only", Some(hint)));
    }
    let missing: Vec<_> = PROGRAMS
        .into_iter()
        .filter(|(program, _)| !is_on_path(program))
        .collect();
    if !missing.is_empty() {
        let names: Vec<_> = missing.iter().map(|(program, _)| *program).collect();
        let packages: Vec<_> = missing.iter().map(|(_, package)| *package).collect();
        return Err(Failure::system(
            format!("the guest needs {}", names.join(" and ")),
            Some(format!(
                "on Debian: apt-get install --no-install-recommends {}",
                packages.join(" ")
            )),
        ));
    }
    let cannot = |error: io::Error| {
        Failure::system(
            format!("cannot use the cache `{}`: {error}", cache.display()),
            None,
        )
    };
    let scripts = cache.join("scripts");
    fs::create_dir_all(&scripts).map_err(cannot)?;
    let lock = File::create(cache.join("lock")).map_err(cannot)?;
    lock.lock().map_err(cannot)?;
    for (name, text) in SCRIPTS {
        let path = scripts.join(name);
        if fs::read_to_string(&path).is_ok_and(|found| found == text) {
            continue;
        }
        let new = scripts.join(format!("{name}.new"));
        fs::write(&new, text)
            .and_then(|()| fs::rename(&new, &path))
            .map_err(cannot)?;
    }
    let kernel = |plan: bool| {
        let mut command = Command::new("sh");
        command
            .arg(scripts.join("kernel"))
            .args(plan.then_some("--plan"))
            .arg(cache)
            .stdin(Stdio::null());
        command
    };
    if PREPARED.iter().any(|name| !cache.join(name).exists()) {
        let plan = said(kernel(true))?;
        ask(&plan, cache, may_fetch)?;
    }
    // Nothing of it is fetched where everything is there; a RAM disk of older scripts is packed anew.
    said(kernel(false)).map(|_| ())
}

/// What a script has printed; its last words if it failed.
fn said(mut command: Command) -> Result<String, Failure> {
    let ran = command
        .output()
        .map_err(|error| Failure::system(format!("`sh` does not start: {error}"), None))?;
    if ran.status.success() {
        return Ok(String::from_utf8_lossy(&ran.stdout).into_owned());
    }
    let text = String::from_utf8_lossy(&ran.stderr).into_owned();
    let last = text.lines().next_back().unwrap_or("it does not say why");
    Err(Failure::system(
        format!("the guest's kernel cannot be had: {}", output::escape(last)),
        None,
    ))
}

/// Says what would be fetched, and waits for a yes.
fn ask(plan: &str, cache: &Path, may_fetch: bool) -> Result<(), Failure> {
    // `'ADDRESS' FILE BYTES CHECKSUM`, as apt-get prints it.
    let line = plan.lines().next_back().unwrap_or_default();
    let mut fields = line.split_whitespace();
    let address = fields.next().unwrap_or_default().trim_matches('\'');
    let bytes: f64 = fields.nth(1).and_then(|bytes| bytes.parse().ok()).unwrap_or(0.0);
    let what = format!("the guest needs Debian's kernel, {:.0} MB, once:", bytes / 1e6);
    let from = format!("from  {}", output::escape(address));
    let to = format!("to    {}", output::escape(&cache.display().to_string()));
    if may_fetch {
        anstream::eprintln!("{what}\n  {from}\n  {to}");
        return Ok(());
    }
    if !io::stdin().is_terminal() || !io::stderr().is_terminal() {
        let hint = format!("{from}\n{to}\nto have it fetched: `twotrip guest --fetch ...`");
        return Err(Failure::system(what.trim_end_matches(':'), Some(hint)));
    }
    anstream::eprint!("{what}\n  {from}\n  {to}\nFetch it? [y/N] ");
    let mut answer = String::new();
    io::stdin().lock().read_line(&mut answer)?;
    if matches!(answer.trim(), "y" | "Y" | "yes") {
        return Ok(());
    }
    Err(Failure::system("without a kernel there is no guest", None))
}

fn is_on_path(program: &str) -> bool {
    let folders = env::var_os("PATH").unwrap_or_default();
    env::split_paths(&folders).any(|folder| folder.join(program).is_file())
}

/// The folder that the guest writes into; it goes with the value.
struct Results(PathBuf);

impl Results {
    fn make() -> Result<Self, Failure> {
        let path = env::temp_dir().join(format!("twotrip-guest-{}", process::id()));
        let made = DirBuilder::new().mode(0o700).create(&path);
        made.map_err(|error| Failure::system(format!("cannot make `{}`: {error}", path.display()), None))?;
        Ok(Self(path))
    }
}

impl Drop for Results {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// An output of the command, handed on as it grows.
struct Followed {
    path: PathBuf,
    file: Option<File>,
    to: Box<dyn io::Write>,
}

impl Followed {
    fn stdout(results: &Path) -> Self {
        Self::new(results.join("stdout"), Box::new(io::stdout()))
    }

    fn stderr(results: &Path) -> Self {
        Self::new(results.join("stderr"), Box::new(io::stderr()))
    }

    fn new(path: PathBuf, to: Box<dyn io::Write>) -> Self {
        Self { path, file: None, to }
    }

    fn hand_on(&mut self) -> Result<(), Failure> {
        if self.file.is_none() {
            self.file = File::open(&self.path).ok();
        }
        let Some(file) = &mut self.file else {
            return Ok(());
        };
        let mut piece = [0; 1 << 14];
        loop {
            let count = file.read(&mut piece)?;
            if count == 0 {
                break;
            }
            self.to.write_all(&piece[..count])?;
        }
        Ok(self.to.flush()?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_reach_the_guests_shell_as_they_are() {
        for word in ["plain", "it's", "a b", "$x `y` \"z\"", "", "-n", "a\nb"] {
            let script = format!("printf %s {}", quoted(word.as_ref()).to_string_lossy());
            let ran = Command::new("sh")
                .args(["-c", &script])
                .output()
                .expect("a shell");
            assert_eq!(String::from_utf8_lossy(&ran.stdout), word);
        }
        assert_eq!(put_in("{bus}:{x}".as_ref()), "vcan0:{x}");
        for (name, wanted) in [
            ("PATH", true),
            ("_x1", true),
            ("1x", false),
            ("", false),
            ("A-B", false),
            ("BASH_FUNC%%", false),
        ] {
            assert_eq!(is_variable(name.as_ref()), wanted, "{name}");
        }
    }
}
