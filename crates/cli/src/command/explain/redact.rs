//! `twotrip explain FILE --redact OUT`: a copy with stand-ins, and what was replaced how often.

use std::path::Path;

use serde::Serialize;
use twotrip_host::recording::{RedactError, Redaction, redact};

use crate::{command::recorded::failure, exit::Failure, output};

#[derive(Debug, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
enum Line<'a> {
    Redacted {
        out: String,
        frames: u64,
        replaced: Vec<Replaced<'a>>,
        texts: u64,
        left_out: u64,
        blanked: u64,
    },
    Damage {
        text: String,
    },
}

#[derive(Debug, Serialize)]
struct Replaced<'a> {
    what: &'a str,
    different: u64,
    times: u64,
}

/// Runs it.
pub(super) fn run(source: &Path, out: &Path, json: bool) -> Result<(), Failure> {
    let done = redact(source, out).map_err(|error| reason(&error))?;
    if json {
        objects(out, &done)
    } else {
        words(out, &done)
    }
}

fn words(out: &Path, done: &Redaction) -> Result<(), Failure> {
    let shown = output::escape(&out.display().to_string());
    output::line(&format!(
        "{shown}: {} frames, read back and compared",
        done.frames
    ))?;
    for replaced in &done.replaced {
        let what = replaced.identity.name();
        output::line(&match replaced.times {
            0 => format!("  {what}: none found"),
            1 => format!("  {what}: replaced once"),
            times => format!(
                "  {what}: {} different, replaced {times} times",
                replaced.different
            ),
        })?;
    }
    for (count, what) in [
        (
            done.texts,
            "comments, names and descriptions: letters and digits replaced in",
        ),
        (
            done.left_out,
            "options and blocks that may hold anything: left out",
        ),
        (done.blanked, "packets that are no frames: set to zero"),
    ] {
        if count > 0 {
            output::line(&format!("  {what} {count}"))?;
        }
    }
    if let Some(damage) = &done.damage {
        let damage = output::escape(&damage.to_string());
        anstream::eprintln!("the copy ends where the recording is damaged: {damage}");
    }
    Ok(())
}

fn objects(out: &Path, done: &Redaction) -> Result<(), Failure> {
    output::json(&Line::Redacted {
        out: out.display().to_string(),
        frames: done.frames,
        replaced: done
            .replaced
            .iter()
            .map(|replaced| Replaced {
                what: replaced.identity.name(),
                different: replaced.different,
                times: replaced.times,
            })
            .collect(),
        texts: done.texts,
        left_out: done.left_out,
        blanked: done.blanked,
    })?;
    done.damage.as_ref().map_or(Ok(()), |damage| {
        output::json(&Line::Damage {
            text: damage.to_string(),
        })
    })
}

fn reason(error: &RedactError) -> Failure {
    let text = output::escape(&error.to_string());
    match error {
        RedactError::Read(error) => failure(error),
        RedactError::NoFile(_) | RedactError::Exists(_) | RedactError::TooMuch => Failure::input(text, None),
        RedactError::Write { .. } | RedactError::Check { .. } => Failure::system(text, None),
    }
}
