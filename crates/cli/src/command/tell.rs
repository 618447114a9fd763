//! `twotrip tell`: gives the running car action phrases.

use std::io::{IsTerminal as _, Write as _};

use serde::Serialize;
use twotrip_host::control::{ControlClient, Reply};

use crate::{
    args,
    command::words,
    exit::Failure,
    output::{self, BAD, GOOD, PLAIN},
};

#[derive(Serialize)]
struct Line<'a> {
    phrase: &'a str,
    #[serde(flatten)]
    reply: &'a Reply,
}

/// Runs the command: one phrase after the other, until one cannot be done.
pub(super) async fn run(args: &args::Tell) -> Result<(), Failure> {
    let mut client = ControlClient::connect(args.control.as_deref()).await.map_err(words::control_failure)?;
    for phrase in &args.phrases {
        let reply = client
            .tell(phrase, |progress| show_progress(args.json, phrase, progress))
            .await
            .map_err(words::control_failure)?;
        let Reply::Outcome { ok, text, details } = &reply else { continue };
        if args.json {
            output::json(&Line { phrase, reply: &reply })?;
        } else {
            let (mark, colour) = if *ok { ("", GOOD) } else { ("not done: ", BAD) };
            output::line(&format!("{colour}{mark}{PLAIN}{}", output::escape(text)))?;
            for detail in details {
                output::line(&format!("  {}", output::escape(detail)))?;
            }
        }
        if !ok {
            return Err(Failure::NotMet);
        }
    }
    Ok(())
}

/// A phrase that takes long says how far it has come: on a terminal, or as JSON.
fn show_progress(json: bool, phrase: &str, reply: &Reply) {
    if json {
        // Nothing can be done about a reader that has gone; the outcome will tell.
        let _ = output::json(&Line { phrase, reply });
        return;
    }
    let Reply::Progress { passed_s, planned_s } = reply else { return };
    let mut stderr = std::io::stderr();
    if stderr.is_terminal() && *planned_s > 0.0 {
        let percent = (passed_s / planned_s * 100.0).clamp(0.0, 100.0);
        let _ = write!(stderr, "\r{phrase}: {percent:.0} % \x1b[K\r");
    }
}
