//! `twotrip explain`: a recording, or a bus as it goes, in plain words.
//!
//! `heard` is one frame with what is known of it, `teller` what is shown at each level, `story` the loop as a human tells
//! it; `lines` and `phrases` are what lines are made of, `relay` does both at once; `redact` writes a copy that can be
//! shown to others, `against` compares two.

mod against;
mod heard;
mod lines;
mod phrases;
mod redact;
mod relay;
mod setting;
mod story;
mod teller;

use std::{path::Path, time::Duration};

use twotrip_host::{
    bus::{Bus, BusEvent, Name, Origin},
    recording::{ReadError, Reader},
};

use self::{
    heard::{Listener, Whence},
    teller::Teller,
};
use crate::{
    args,
    command::{recorded::failure, words},
    exit::Failure,
    output,
};

/// How often a growing file is looked at.
const FOLLOW: Duration = Duration::from_millis(200);

/// Runs the command.
pub(super) async fn run(args: &args::Explain) -> Result<(), Failure> {
    if let (Some(path), Some(out)) = (&args.file, &args.redact) {
        return redact::run(path, out, args.json);
    }
    if let (Some(path), Some(other)) = (&args.file, &args.against) {
        return against::run(path, other, args);
    }
    let mut listener = Listener::new(args.selection.selection(), args.level, args.from, args.to);
    let mut teller = Teller::new(args.level, args.json);
    match (&args.file, &args.bus) {
        (Some(path), None) => file(path, args.follow, &mut listener, &mut teller).await?,
        (None, Some(bus)) => live(bus, &mut listener, &mut teller).await?,
        // The command line allows nothing else.
        _ => return Err(Failure::input("a file, or --bus", None)),
    }
    listener.end();
    teller.tell(&mut listener)?;
    teller.end(&listener)
}

async fn file(
    path: &Path,
    follow: bool,
    listener: &mut Listener,
    teller: &mut Teller,
) -> Result<(), Failure> {
    let mut reader = Reader::open(path).map_err(|error| failure(&error))?;
    let held = output::Held::new();
    // Only who follows looks for a signal: reading alone is ended by it as any program is.
    let stopped = follow.then(words::stopped).transpose()?;
    let mut stop = std::pin::pin!(async move {
        match stopped {
            Some(stopped) => stopped.await,
            None => std::future::pending().await,
        }
    });
    loop {
        let read = match relay::relay(&mut reader, listener, teller, &held)? {
            Ok(()) if listener.is_over() => return Ok(()),
            Ok(()) if follow => {
                tokio::select! {
                    () = &mut stop => return Ok(()),
                    () = tokio::time::sleep(FOLLOW) => continue,
                }
            }
            Ok(()) => reader.end(),
            Err(error) => Err(error),
        };
        return match read {
            Ok(()) => Ok(()),
            // What stands before it is worth telling all the same.
            Err(error @ ReadError::Damage { .. }) if listener.has_heard() => teller.damage(&error),
            Err(error) => Err(failure(&error)),
        };
    }
}

async fn live(bus: &str, listener: &mut Listener, teller: &mut Teller) -> Result<(), Failure> {
    let name: Name = bus
        .parse()
        .map_err(|error| Failure::input(format!("--bus: {error}"), None))?;
    let mut bus = Bus::listen(&name).await.map_err(words::system)?;
    bus.want_detail().map_err(words::system)?;
    listener.on_bus(&name.to_string());
    let mut stop = std::pin::pin!(words::stopped()?);
    loop {
        let event = tokio::select! {
            () = &mut stop => return Ok(()),
            event = bus.recv() => event.map_err(words::system)?,
        };
        let (BusEvent::Frame(received) | BusEvent::Passed(received)) = event else {
            continue;
        };
        let whence = Whence {
            interface: 0,
            at: bus.detail().unwrap_or_default().unix_nanos(),
            outbound: Some(received.origin == Origin::ThisComputer),
            dropped: 0,
        };
        listener.on_frame(whence, &received.frame, std::iter::empty());
        teller.tell(listener)?;
        if listener.is_over() {
            return Ok(());
        }
    }
}
