//! `twotrip tell`: gives the running car action phrases.

use serde::Serialize;
use twotrip_host::{
    control::{ControlClient, Outcome, Progress},
    runtime_dir::RuntimeDir,
};

use crate::{
    args,
    command::words,
    exit::Failure,
    output::{self, BAD, PLAIN},
};

#[derive(Serialize)]
struct Line<'a, T> {
    phrase: &'a str,
    #[serde(flatten)]
    reply: &'a T,
}

/// Runs the command: one phrase after the other, until one cannot be done.
pub(super) async fn run(args: &args::Tell) -> Result<(), Failure> {
    let folder = RuntimeDir::of_user().map_err(words::system)?;
    let mut client = ControlClient::find(args.control.as_deref(), &folder)
        .await
        .map_err(words::system)?;
    for phrase in &args.phrases {
        let outcome = client
            .tell(phrase, |progress| show_progress(args.json, phrase, progress))
            .await
            .map_err(words::system)?;
        output::progress("");
        show(args.json, phrase, &outcome)?;
        if !outcome.ok {
            // What nobody could have understood is no expectation that was not met.
            let understood = twotrip_scenario::parse_phrase(phrase).is_ok();
            return Err(if understood {
                Failure::NotMet
            } else {
                Failure::Shown
            });
        }
    }
    Ok(())
}

fn show(json: bool, phrase: &str, outcome: &Outcome) -> Result<(), Failure> {
    if json {
        return output::json(&Line {
            phrase,
            reply: outcome,
        });
    }
    let text = output::escape(&outcome.text);
    if outcome.ok {
        for line in output::fit(&text, 0) {
            output::line(&line)?;
        }
    } else {
        let said = if text.starts_with("not ") {
            text
        } else {
            format!("not done: {text}")
        };
        for line in output::fit(&said, 0) {
            output::line(&format!("{BAD}{line}{PLAIN}"))?;
        }
    }
    for line in outcome
        .lines
        .iter()
        .flat_map(|line| output::fit(&output::escape(line), 2))
    {
        output::line(&line)?;
    }
    Ok(())
}

/// A phrase that takes long says how far it has come: on a terminal, or as JSON.
fn show_progress(json: bool, phrase: &str, progress: &Progress) {
    if json {
        // Nothing can be done about a reader that has gone; the outcome will tell.
        let _ = output::json(&Line {
            phrase,
            reply: progress,
        });
        return;
    }
    if let Some(fraction) = progress.fraction {
        output::progress(&format!("{phrase}: {:.0} %", fraction * 100.0));
    }
}
