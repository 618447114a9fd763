//! Which cars a tool is tried against, and how it is started for each.

use std::{
    ffi::{OsStr, OsString},
    os::unix::ffi::{OsStrExt as _, OsStringExt as _},
    path::Path,
    time::Duration,
};

use twotrip_host::bus::Name;
use twotrip_scenario::Scenario;

use crate::{args, exit::Failure, sources};

/// A car to be tried.
#[derive(Clone, Debug)]
pub(super) struct Trial {
    /// Its number, from 0.
    pub(super) number: usize,
    /// The scenario as the user named it.
    pub(super) name: String,
    pub(super) scenario: Scenario,
    pub(super) seed: u64,
    /// How long its tool may take.
    pub(super) patience: Duration,
}

impl Trial {
    /// Names of its folder and in reports: the scenario's name without what a file name cannot have, and the seed.
    pub(super) fn slug(&self) -> String {
        let stem = Path::new(&self.name).file_stem().unwrap_or_default();
        let plain: String = stem
            .to_string_lossy()
            .chars()
            .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
            .take(64)
            .collect();
        format!("{plain}-seed-{}", self.seed)
    }
}

/// All cars of this part of the work, in the order in which they are named.
pub(super) fn trials(args: &args::Try) -> Result<Vec<Trial>, Failure> {
    let mut trials = Vec::new();
    let mut number = 0;
    for name in &args.scenarios {
        let scenario = sources::scenario_with(name, args.vehicle.as_deref())?;
        let first = args.seed.unwrap_or_else(|| scenario.seed());
        for more in 0..args.seeds {
            if args.shard.is_none_or(|shard| shard.has(number)) {
                trials.push(Trial {
                    number,
                    name: name.clone(),
                    scenario: scenario.clone(),
                    seed: first.wrapping_add(more),
                    patience: args.timeout,
                });
            }
            number += 1;
        }
    }
    Ok(trials)
}

/// What stands for what in the tool's arguments, and in its environment.
#[derive(Clone, Debug)]
pub(super) struct Words([(&'static str, &'static str, OsString); 5]);

impl Words {
    pub(super) fn new(trial: &Trial, bus: &Name, control: &Path, folder: &Path) -> Self {
        Self([
            ("{bus}", "TWOTRIP_BUS", bus.to_string().into()),
            ("{control}", "TWOTRIP_CONTROL", control.into()),
            ("{scenario}", "TWOTRIP_SCENARIO", trial.name.clone().into()),
            ("{seed}", "TWOTRIP_SEED", trial.seed.to_string().into()),
            ("{folder}", "TWOTRIP_FOLDER", folder.into()),
        ])
    }

    /// The words with everything put in. What was put in is not looked at again.
    pub(super) fn put_in(&self, words: &[OsString]) -> Vec<OsString> {
        words.iter().map(|word| self.put_into(word)).collect()
    }

    fn put_into(&self, word: &OsStr) -> OsString {
        let mut rest = word.as_bytes();
        let mut out = Vec::with_capacity(rest.len());
        while let Some((first, after)) = rest.split_first() {
            let found = self
                .0
                .iter()
                .find(|(mark, _, _)| rest.starts_with(mark.as_bytes()));
            match found {
                Some((mark, _, value)) => {
                    out.extend_from_slice(value.as_bytes());
                    rest = &rest[mark.len()..];
                }
                None => {
                    out.push(*first);
                    rest = after;
                }
            }
        }
        OsString::from_vec(out)
    }

    /// For its environment.
    pub(super) fn environment(&self) -> impl Iterator<Item = (&'static str, OsString)> + '_ {
        self.0.iter().map(|(_, name, value)| (*name, value.clone()))
    }
}

/// The one command that tries this car again.
pub(super) fn again(args: &args::Try, name: &str, seed: u64) -> String {
    let mut words: Vec<OsString> = vec!["twotrip".into(), "try".into(), name.into()];
    let mut option = |name: &str, value: &OsStr| words.extend([name.into(), value.to_owned()]);
    option("--seed", seed.to_string().as_ref());
    if let Some(vehicle) = &args.vehicle {
        option("--vehicle", vehicle.as_ref());
    }
    if let Some(bus) = args.bus.first() {
        option("--bus", bus.as_ref());
    }
    match args.codes {
        args::Codes::OnBus => {}
        args::Codes::InOutput => option("--codes", "in-output".as_ref()),
        args::Codes::Off => option("--codes", "off".as_ref()),
    }
    if args.strict {
        words.push("--strict".into());
    }
    let mut option = |name: &str, value: &OsStr| words.extend([name.into(), value.to_owned()]);
    match args.pace {
        None => {}
        Some(args::Pace::Max) => option("--pace", "max".as_ref()),
        Some(args::Pace::Times(times)) => option("--pace", times.to_string().as_ref()),
    }
    if args.timing == args::Timing::Fast {
        option("--timing", "fast".as_ref());
    }
    if args.timeout != USUAL_TIMEOUT {
        option("--timeout", format!("{}s", args.timeout.as_secs_f64()).as_ref());
    }
    words.push("--".into());
    words.extend(args.tool.iter().cloned());
    let quoted: Vec<String> = words.iter().map(|word| quoted(&word.to_string_lossy())).collect();
    quoted.join(" ")
}

/// What `--timeout` has if nothing is said.
const USUAL_TIMEOUT: Duration = Duration::from_secs(60);

/// A word as a shell reads it.
pub(super) fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./:=,+@%{}".contains(c);
    // A brace expands only around a comma or two dots.
    let expands = word.contains('{') && (word.contains(',') || word.contains(".."));
    if !word.is_empty() && word.chars().all(plain) && !expands {
        return word.to_owned();
    }
    format!("'{}'", word.replace('\'', r"'\''"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words() -> Words {
        let text = "version = 1\ntitle = \"x\"\nvehicle = \"compact-2.0\"\n";
        let trial = Trial {
            number: 0,
            name: "{seed} a.toml".to_owned(),
            scenario: Scenario::parse(text.as_bytes()).expect("good"),
            seed: 7,
            patience: USUAL_TIMEOUT,
        };
        assert_eq!(trial.slug(), "-seed--a-seed-7");
        let bus = "local:x".parse().expect("a bus");
        Words::new(&trial, &bus, Path::new("/c"), Path::new("/f"))
    }

    #[test]
    fn placeholders_are_replaced_once_and_everything_else_stays() {
        for (given, put_in) in [
            ("{bus}", "local:x"),
            ("--bus={bus},{seed}", "--bus=local:x,7"),
            ("{scenario}", "{seed} a.toml"),
            ("{control} {folder}", "/c /f"),
            ("{} {other} {bus {{bus}}", "{} {other} {bus {local:x}"),
            ("", ""),
        ] {
            assert_eq!(
                words().put_in(&[given.into()]),
                [OsString::from(put_in)],
                "{given}"
            );
        }
        let odd = OsString::from_vec(vec![0xFF, b'{', b's', b'e', b'e', b'd', b'}']);
        assert_eq!(words().put_in(&[odd]), [OsString::from_vec(vec![0xFF, b'7'])]);
    }

    #[test]
    fn words_are_quoted_as_a_shell_needs_it() {
        for (word, wanted) in [
            ("tool.py", "tool.py"),
            ("{bus}", "{bus}"),
            ("{a,b}", "'{a,b}'"),
            ("{1..3}", "'{1..3}'"),
            ("", "''"),
            ("a b", "'a b'"),
            ("it's", r"'it'\''s'"),
            ("$HOME", "'$HOME'"),
        ] {
            assert_eq!(quoted(word), wanted);
        }
    }
}
