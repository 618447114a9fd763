//! `twotrip record`: what is on a bus, into a file.

use std::{
    path::Path,
    time::{Duration, Instant},
};

use serde::Serialize;
use twotrip_host::{
    bus::{Bus, Name},
    recording::{
        Counts, Found, Header, Notice, Options, Recorder, RecordingError, Rotation, Source, Stop, Writer,
        digest,
    },
};

use crate::{args, command::words, exit::Failure, output, sources};

/// Bit rate of a bus whose own is not known, bit/s: that of legislated diagnostics on most cars (ISO 15765-4).
pub(super) const USUAL_BIT_RATE: u64 = 500_000;

/// What is printed with `--json`.
#[derive(Debug, Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
enum Line<'a> {
    Recording {
        file: &'a str,
        buses: &'a [String],
        #[serde(skip_serializing_if = "Option::is_none")]
        continued_after_bytes: Option<u64>,
        #[serde(skip_serializing_if = "Option::is_none")]
        cut_bytes: Option<u64>,
    },
    Trouble {
        text: String,
    },
    End {
        reason: &'static str,
        frames: u64,
        dropped: u64,
        bytes: u64,
        files: u32,
        seconds: f64,
    },
}

/// Runs the command.
pub(super) async fn run(args: &args::Record) -> Result<(), Failure> {
    let mut sources = Vec::new();
    for bus in &args.bus {
        sources.push(source(bus).await?);
    }
    let names: Vec<String> = sources.iter().map(|source| source.name.clone()).collect();
    let bits_per_second = sources
        .iter()
        .map(|source| source.bit_rate.unwrap_or(USUAL_BIT_RATE))
        .sum::<u64>();
    let rotation = rotation(&args.rotation)?;
    let options = Options {
        path: args.file.clone(),
        rotation,
        selection: args.selection.selection(),
        application: application(),
        header: Vec::new(),
    };
    let stop = words::stopped()?;
    let (mut recorder, found) = Recorder::start(&options, sources).map_err(|error| failure(&error))?;
    begin(args.json, recorder.path(), &names, found)?;
    let begun = Instant::now();
    let ended = recorder
        .record(args.lasting, args.frames, stop, |notice| {
            // Whoever read our output may have gone; the recording goes on.
            let _ = tell(args.json, &notice, begun, bits_per_second);
        })
        .await;
    output::progress("");
    let reason = match &ended {
        Ok(Stop::Asked) => "stopped",
        Ok(Stop::TimeOver) => "time over",
        Ok(Stop::Frames) => "frames complete",
        Err(_) => "bus gone",
    };
    let counts = recorder.finish().map_err(|error| failure(&error))?;
    end(args.json, reason, counts, begun.elapsed(), bits_per_second)?;
    ended.map(|_| ()).map_err(|error| failure(&error))
}

/// A bus to be listened to.
async fn source(text: &str) -> Result<Source, Failure> {
    let name: Name = text
        .parse()
        .map_err(|error| Failure::input(format!("--bus: {error}"), None))?;
    let bus = Bus::listen(&name).await.map_err(words::system)?;
    if bus.is_paced() {
        anstream::eprintln!(
            "{name} may have a wire behind it: nothing is sent, but its controller acknowledges what it hears \
             unless the interface was set up with `listen-only on`"
        );
    }
    Ok(Source {
        name: name.to_string(),
        description: String::new(),
        bit_rate: bus.bit_rate().map(u64::from),
        bus,
    })
}

/// Who records.
pub(super) fn application() -> String {
    format!("twotrip {}", env!("CARGO_PKG_VERSION"))
}

/// A recording of a bus in this process.
pub(super) fn writer(
    path: &Path,
    header: &[String],
    bus: &str,
    bit_rate: Option<u64>,
) -> Result<Writer, Failure> {
    let options = Options {
        path: path.to_owned(),
        application: application(),
        header: header.to_vec(),
        ..Options::default()
    };
    let (writer, found) = Writer::open(&options, bus, bit_rate).map_err(|error| failure(&error))?;
    if let Some(found) = found {
        for line in output::fit(&format!("{}: {}", path.display(), continued(found)), 0) {
            anstream::eprintln!("{line}");
        }
    }
    Ok(writer)
}

/// What a recording says of a run of this scenario, apart from its settings.
pub(super) fn header(scenario: &str, vehicle: Option<&str>) -> Result<Header, Failure> {
    let car = vehicle.map(sources::vehicle_bytes).transpose()?;
    Ok(Header {
        vehicle: vehicle.map(str::to_owned),
        vehicle_crc32: car.map(|text| digest(&text)),
        ..Header::of(scenario, &sources::bytes(scenario)?)
    })
}

fn rotation(args: &args::Rotation) -> Result<Rotation, Failure> {
    let rotation = Rotation {
        size: args.rotate_size,
        every: args.rotate_every,
        keep: args.keep,
    };
    if rotation.keep.is_some() && !rotation.is_wanted() {
        let hint = "`--rotate-size 10MB --keep 100MB` keeps the last ten files".to_owned();
        return Err(Failure::input(
            "--keep lets the oldest files go, but there is only one",
            Some(hint),
        ));
    }
    Ok(rotation)
}

/// What kind of failure it is, and what to try.
pub(super) fn failure(error: &RecordingError) -> Failure {
    match words::system(error) {
        Failure::System { what, hint } if matches!(error, RecordingError::NotOurs { .. }) => {
            Failure::Input { what, hint }
        }
        other => other,
    }
}

/// What is said of a file that was there before.
pub(super) fn continued(found: Found) -> String {
    let mut text = format!("it goes on behind the {} bytes that are there", found.kept);
    if found.cut > 0 {
        text += &format!(
            "; {} bytes from byte {} on were no whole block (a recording that was broken off) and are gone",
            found.cut, found.kept
        );
    }
    text
}

fn begin(json: bool, path: &Path, buses: &[String], found: Option<Found>) -> Result<(), Failure> {
    let file = path.display().to_string();
    if json {
        return output::json(&Line::Recording {
            file: &file,
            buses,
            continued_after_bytes: found.map(|found| found.kept),
            cut_bytes: found.map(|found| found.cut),
        });
    }
    output::line(&format!(
        "recording {} into {}",
        output::escape(&buses.join(", ")),
        output::escape(&file)
    ))?;
    if let Some(found) = found {
        for line in output::fit(&continued(found), 2) {
            anstream::eprintln!("{line}");
        }
    }
    Ok(())
}

fn tell(json: bool, notice: &Notice<'_>, begun: Instant, bits_per_second: u64) -> Result<(), Failure> {
    if let Notice::Progress(counts) = notice
        && !json
    {
        output::progress(&told(*counts, begun.elapsed(), bits_per_second));
    }
    let Some(text) = trouble(notice) else {
        return Ok(());
    };
    if json {
        return output::json(&Line::Trouble { text });
    }
    output::progress("");
    anstream::eprintln!("{}", output::escape(&text));
    Ok(())
}

/// What a recorder has to say besides how far it is.
pub(super) fn trouble(notice: &Notice<'_>) -> Option<String> {
    Some(match notice {
        Notice::Progress(_) => return None,
        Notice::DiskFails(error) => {
            format!(
                "the file cannot be written: {error}; frames wait for a while, then they are lost and counted"
            )
        }
        Notice::DiskWorks => "the file can be written again".to_owned(),
        Notice::Down(name) => format!("{name} is down; it is listened to again when it is up"),
        Notice::Gone(name, error) => format!("{name} is gone: {error}"),
    })
}

/// Frames, load, losses, size.
fn told(counts: Counts, span: Duration, bits_per_second: u64) -> String {
    #[expect(clippy::cast_precision_loss, reason = "a percentage for people")]
    let load = counts.bits as f64 / (span.as_secs_f64() * bits_per_second as f64).max(1.0);
    format!(
        "{:.0} s: {} frames, bus load {:.1} %, {} lost, {}",
        span.as_secs_f64(),
        counts.frames,
        load * 100.0,
        counts.dropped,
        size(counts.bytes)
    )
}

/// A number of bytes for people.
fn size(bytes: u64) -> String {
    match bytes {
        0..10_000 => format!("{bytes} bytes"),
        10_000..10_000_000 => format!("{} kB", bytes / 1000),
        _ => format!("{} MB", bytes / 1_000_000),
    }
}

fn end(
    json: bool,
    reason: &'static str,
    counts: Counts,
    span: Duration,
    bits_per_second: u64,
) -> Result<(), Failure> {
    if json {
        return output::json(&Line::End {
            reason,
            frames: counts.frames,
            dropped: counts.dropped,
            bytes: counts.bytes,
            files: counts.files,
            seconds: span.as_secs_f64(),
        });
    }
    let files = if counts.files > 1 {
        format!(" in {} files", counts.files)
    } else {
        String::new()
    };
    output::line(&format!(
        "{reason} after {}{files}",
        told(counts, span, bits_per_second)
    ))
}
