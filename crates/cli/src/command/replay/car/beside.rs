//! The frames of a recording that are no diagnostics: read as they are needed, from its beginning on, over and over.

use std::time::Duration;

use twotrip_can::FrameKind;
use twotrip_dialogue::Role;
use twotrip_host::replay::car::Broadcasts;

use super::super::{
    recorded::{Recorded, Survey, failure},
    wanted,
};
use crate::{args, exit::Failure};

/// Least time from the beginning of a recording to that of the next round: it may be of one instant.
const ROUND: Duration = Duration::from_millis(10);

/// Those of one recorded bus, each with its time since the beginning.
pub(super) fn frames(args: &args::Replay, survey: Survey, bus: usize) -> Result<Broadcasts, Failure> {
    let (path, wanted) = (args.file.clone(), wanted(args));
    let open = move || Recorded::surveyed(&path, wanted.clone(), &survey);
    let mut recorded = open().map_err(|error| failure(&error))?;
    // When this section begins, since the beginning of all; the time of its first frame; frames of this round.
    let (mut base, mut zero, mut found) = (Duration::ZERO, None, 0_u64);
    Ok(Box::new(move || {
        loop {
            // What is damaged has been told when the answers were read; it ends the round here as there.
            let Ok(Some(entry)) = recorded.next() else {
                if found == 0 {
                    return None;
                }
                base += span(recorded.ended(), zero.take()).max(ROUND);
                found = 0;
                recorded = open().ok()?;
                continue;
            };
            if entry.begins && zero.is_some() {
                base += span(recorded.section_ended(), zero.take());
            }
            let since = span(entry.at, Some(*zero.get_or_insert(entry.at)));
            let is_asked_for = Role::of(entry.frame.id()).is_some();
            if entry.bus == bus && !is_asked_for && entry.frame.kind() != FrameKind::Error {
                found += 1;
                return Some((base + since, entry.frame));
            }
        }
    }))
}

fn span(at: u64, zero: Option<u64>) -> Duration {
    Duration::from_nanos(zero.map_or(0, |zero| at.saturating_sub(zero)))
}
