//! What is said of a run when it is over.

use twotrip_host::{
    recording::Counts,
    run::{Ending, Run, Traffic},
};

use super::lines::{EcuCounts, Line, Recorded};
use crate::{args, exit::Failure, output};

pub(super) fn end(
    args: &args::Run,
    run: &Run,
    ending: Ending,
    met: bool,
    recorded: Option<Counts>,
) -> Result<(), Failure> {
    let (counts, traffic) = (run.simulator().counts(), run.traffic());
    let reason = ending.name();
    if args.json {
        return output::json(&Line::End {
            reason,
            requests: counts.requests,
            dropped: counts.dropped,
            lost_frames: traffic.lost,
            ecus: run.simulator().ecus().map(EcuCounts::from).collect(),
            bus: traffic.into(),
            expectations_met: met,
            not_physical: run.simulator().not_physical(),
            recorded: recorded.map(|counts| Recorded {
                frames: counts.frames,
                dropped: counts.dropped,
            }),
        });
    }
    let note = if run.simulator().not_physical() {
        "; not physical"
    } else {
        ""
    };
    anstream::eprintln!(
        "{reason}: {} requests taken, {} dropped{note}",
        counts.requests,
        counts.dropped
    );
    anstream::eprintln!("frames: {}", frames(&traffic));
    if let Some(Counts { frames, dropped, .. }) = recorded {
        anstream::eprintln!("recorded: {frames} frames, {dropped} lost");
    }
    Ok(())
}

/// What became of the frames: what is out of the ordinary only where there was some.
pub(crate) fn frames(traffic: &Traffic) -> String {
    let mut text = format!("{} received, {} sent", traffic.received, traffic.sent);
    let rare = [
        (traffic.sent_while_down, "sent while the interface was down"),
        (
            traffic.given_up,
            "given up for want of room in the interface's queue",
        ),
        (
            u64::from(traffic.dropped_by_kernel.unwrap_or(0)),
            "dropped by the kernel",
        ),
        (traffic.lost, "lost (no frame, or not read by a slow client)"),
        (traffic.errors, "error frames of the controller"),
    ];
    for (count, what) in rare {
        if count > 0 {
            text += &format!(", {count} {what}");
        }
    }
    text
}
