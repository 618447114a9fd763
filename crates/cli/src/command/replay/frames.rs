//! Every frame of the recording, at its recorded time.

use std::{pin::pin, time::Duration};

use tokio::time::{Instant, sleep_until};
use twotrip_can::FrameKind;
use twotrip_host::bus::Sent;

use super::{
    lanes::{self, Lanes},
    recorded::{Recorded, Survey, Wanted, failure},
};
use crate::{args, command::words, exit::Failure, output};

/// Sends it.
pub(super) async fn run(args: &args::Replay) -> Result<(), Failure> {
    let wanted = Wanted::of(args);
    let survey = Survey::of(&args.file, &wanted)?;
    let lanes = Lanes::assign(&survey, &args.bus, &args.bus_of)?;
    let mut buses = Vec::new();
    for name in &lanes.names {
        buses.push(lanes::open(name, args.on_a_bench).await?);
    }
    let mut stop = pin!(words::stopped()?);
    let mut recorded = Recorded::open(&args.file, wanted)?;
    let (mut begun, mut zero, mut sent) = (Instant::now(), None, 0_u64);
    loop {
        let entry = match recorded.next() {
            Ok(Some(entry)) => entry,
            Ok(None) => break,
            Err(error) if survey.damage.is_some() => {
                anstream::eprintln!("{}", output::escape(&error.to_string()));
                break;
            }
            Err(error) => return Err(failure(&error)),
        };
        if entry.begins {
            zero = None;
            begun = Instant::now();
        }
        let since = entry.at.saturating_sub(*zero.get_or_insert(entry.at));
        tokio::select! {
            () = &mut stop => break,
            () = sleep_until(begun + Duration::from_nanos(since)) => {}
        }
        if let Some(lane) = lanes.of[entry.bus]
            && entry.frame.kind() != FrameKind::Error
        {
            let gone = buses[lane].send(&entry.frame).await.map_err(words::system)?;
            sent += u64::from(gone != Sent::Down);
        }
    }
    output::line(&format!(
        "{sent} of {} frames sent; {} error frames are reports and are not sent",
        survey.frames(),
        survey.errors
    ))
}
