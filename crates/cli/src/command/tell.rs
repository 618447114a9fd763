//! `twotrip tell`: gives the running car action phrases.

use std::time::{Duration, Instant};

use serde::Serialize;
use tokio::time::{sleep, timeout};
use twotrip_host::{
    control::{ControlClient, ControlError, Outcome, Progress},
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
    let mut client = match args.wait_ready {
        Some(patience) => ready(args, &folder, patience).await?,
        None => ControlClient::find(args.control.as_deref(), &folder)
            .await
            .map_err(words::system)?,
    };
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

/// Waits for a car until it is on its bus.
async fn ready(args: &args::Tell, folder: &RuntimeDir, patience: Duration) -> Result<ControlClient, Failure> {
    let end = Instant::now() + patience;
    let mut client = loop {
        match ControlClient::find(args.control.as_deref(), folder).await {
            Ok(client) => break client,
            Err(ControlError::NoCar { .. } | ControlError::NoneRunning) if Instant::now() < end => {
                sleep(LOOK_AGAIN.min(end.saturating_duration_since(Instant::now()))).await;
            }
            Err(error) => return Err(words::system(error)),
        }
    };
    // Its socket is there while it lives through its story; what it is asked it answers when it is on the bus.
    let left = end.saturating_duration_since(Instant::now());
    match timeout(left, client.snapshot()).await {
        Ok(Ok(snapshot)) => {
            if args.phrases.is_empty() && args.json {
                output::json(&snapshot)?;
            }
            Ok(client)
        }
        Ok(Err(error)) => Err(words::system(error)),
        Err(_) => Err(Failure::system(
            format!(
                "the car at `{}` is not on its bus after {patience:?}",
                client.path().display()
            ),
            Some("it still lives through its story: --wait-ready=TIME waits longer".to_owned()),
        )),
    }
}

/// How often a car that is not there is looked for.
const LOOK_AGAIN: Duration = Duration::from_millis(50);

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
