//! Every frame of the recording, at its recorded time.
//!
//! Error message frames are reports of a controller, not frames of a node: they are counted and not sent.

use std::{
    pin::pin,
    time::{Duration, Instant, SystemTime},
};

use serde::Serialize;
use twotrip_can::FrameKind;
use twotrip_host::{
    bench::Watch,
    bus::Name,
    ready::notify_ready,
    recording::ReadError,
    replay::frames::{Counts, Ending, Entry, Lane, Lateness, Notice, PlayError, Player, Speed, Wire},
};

use super::{
    lanes::{self, Lanes},
    recorded::{self, Recorded, Survey, Wanted},
    wanted,
};
use crate::{
    args::{self, BitRate, Pace},
    command::{record::USUAL_BIT_RATE, words},
    exit::Failure,
    output,
};

/// What is printed with `--json`.
#[derive(Debug, Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
enum Line<'a> {
    /// Buses are made here, and nobody is on them yet.
    Ready {
        buses: Vec<String>,
    },
    Replaying {
        file: &'a str,
        buses: Vec<Way<'a>>,
        frames: u64,
        seconds: f64,
        /// How much faster than recorded, where that was worked out.
        #[serde(skip_serializing_if = "Option::is_none")]
        pace: Option<f64>,
    },
    Damage {
        text: String,
    },
    Trouble {
        text: String,
    },
    End {
        reason: &'static str,
        sent: u64,
        passes: u64,
        error_frames: u64,
        left_out: u64,
        no_frames: u64,
        not_carried: u64,
        lost_while_down: u64,
        lost_by_clients: u64,
        waits_for_room: u64,
        seconds: f64,
        due_from_unix_ns: u64,
        #[serde(skip_serializing_if = "Option::is_none")]
        lateness: Option<Late>,
    },
}

/// Where a recorded bus goes.
#[derive(Debug, Serialize)]
struct Way<'a> {
    recorded: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    bus: Option<String>,
    frames: u64,
}

/// How late frames were.
#[derive(Clone, Copy, Debug, Serialize)]
struct Late {
    frames: u64,
    median_us: f64,
    p99_us: f64,
    max_us: f64,
}

impl Late {
    fn of(lateness: &Lateness) -> Option<Self> {
        let micros = |span: Duration| span.as_secs_f64() * 1e6;
        Some(Self {
            frames: lateness.count(),
            median_us: micros(lateness.quantile(500)?),
            p99_us: micros(lateness.quantile(990)?),
            max_us: micros(lateness.max()),
        })
    }
}

/// Sends it.
pub(super) async fn run(args: &args::Replay) -> Result<(), Failure> {
    let mut speed = speed(args.pace)?;
    let wanted = wanted(args);
    let survey = Survey::of(&args.file, &wanted)?;
    let lanes = Lanes::assign(&survey, &args.bus, &args.bus_of)?;
    let frames = frames(&survey, &lanes)?;
    let mut stop = pin!(words::stopped()?);
    let mut open = Vec::new();
    for (number, name) in lanes.names.iter().enumerate() {
        let mut bus = lanes::open(name, args.on_a_bench).await?;
        if !args.on_a_bench {
            // On a bench all has to be heard; elsewhere what others say is nobody's business here.
            bus.set_filters(&[]).map_err(words::system)?;
        }
        let recorded = survey.buses.iter().zip(&lanes.of);
        let recorded = recorded
            .filter(|(_, lane)| **lane == Some(number))
            .find_map(|(bus, _)| bus.bit_rate);
        let wire = wire(args.bit_rate, bus.bit_rate().map(u64::from), recorded);
        if let Some(load) = args.load {
            speed = Speed::Times(times(load, wire, &survey, &lanes, number)?);
        }
        let watch = args.on_a_bench.then_some(Watch);
        open.push(Lane { bus, wire, watch });
    }
    let mut player = Player::new(open, speed);
    if !ready(args.json, &mut player, &lanes.names, stop.as_mut()).await? {
        return Ok(());
    }
    begin(args, &survey, &lanes, frames, speed)?;
    let passes = (args.passes > 0).then_some(args.passes);
    let mut film =
        Film::open(args, wanted, &survey, &lanes, passes).map_err(|error| recorded::failure(&error))?;
    let begun = Instant::now();
    let total = passes.map(|passes| frames.saturating_mul(passes));
    let ended = player
        .play(
            || film.next(),
            stop,
            |notice| {
                // Whoever read our output may have gone; the frames go on.
                let _ = tell(args.json, &notice, &lanes.names, begun, total);
            },
        )
        .await;
    output::progress("");
    let reason = match &ended {
        Ok(Ending::Complete) => "complete",
        Ok(Ending::Asked) => "stopped",
        Err(_) => "broken off",
    };
    end(args.json, reason, &player, &film, begun.elapsed())?;
    match ended {
        Ok(_) => Ok(()),
        Err(PlayError::Recording(error)) => Err(recorded::failure(&error)),
        Err(error) => Err(words::system(error)),
    }
}

/// How fast. A recording that stands would never end.
fn speed(pace: Pace) -> Result<Speed, Failure> {
    match pace {
        Pace::Max => Ok(Speed::Max),
        Pace::Times(times) if times > 0.0 => Ok(Speed::Times(times)),
        Pace::Times(_) => Err(Failure::input(
            "--pace 0 would never send anything",
            Some("1 is as recorded, 0.1 ten times as slow".to_owned()),
        )),
    }
}

/// How much faster than recorded a lane carries this load, percent. Of several the last is told how: they keep one time.
fn times(load: u8, wire: Wire, survey: &Survey, lanes: &Lanes, number: usize) -> Result<f64, Failure> {
    let rate = match wire {
        Wire::Known(rate) | Wire::Thought(rate) => rate,
        Wire::None => USUAL_BIT_RATE,
    };
    let recorded = survey.buses.iter().zip(&lanes.of);
    let taken: Duration = recorded
        .filter(|(_, lane)| **lane == Some(number))
        .map(|(bus, _)| bus.on_the_wire)
        .sum();
    #[expect(clippy::cast_precision_loss, reason = "bit rates are small")]
    let taken = taken.as_secs_f64() * 500_000.0 / rate as f64;
    let span = survey.span.as_secs_f64();
    let found = taken / span;
    if !(found > 0.0 && found.is_finite()) {
        return Err(Failure::input(
            "--load: the recording has no two frames but those of diagnostics, so no load",
            Some(
                "`twotrip run healthy --broadcasts on --record FILE` records a car's own traffic".to_owned(),
            ),
        ));
    }
    Ok(f64::from(load) / 100.0 / found)
}

/// How fast frames may follow each other. On a bus without a wire frames that were recorded closer together may be so
/// again: the recording comes first.
fn wire(asked: Option<BitRate>, own: Option<u64>, recorded: Option<u64>) -> Wire {
    match (asked, own) {
        (Some(BitRate::Kbit250), _) => Wire::Known(250_000),
        (Some(BitRate::Kbit500), _) => Wire::Known(500_000),
        (Some(BitRate::None), _) => Wire::None,
        (None, Some(rate)) => Wire::Known(rate),
        (None, None) => Wire::Thought(recorded.filter(|&rate| rate > 0).unwrap_or(USUAL_BIT_RATE)),
    }
}

/// Frames of one pass.
fn frames(survey: &Survey, lanes: &Lanes) -> Result<u64, Failure> {
    let ways = survey.buses.iter().zip(&lanes.of);
    let frames = ways.filter(|(_, lane)| lane.is_some()).map(|(bus, _)| bus.frames);
    Some(frames.sum())
        .filter(|&frames| frames > 0)
        .ok_or_else(|| lanes::nothing(survey))
}

/// The recording, pass after pass, without what is not sent.
#[derive(Debug)]
struct Film<'a> {
    args: &'a args::Replay,
    wanted: Wanted,
    survey: &'a Survey,
    lanes: &'a Lanes,
    recorded: Recorded,
    /// Passes begun.
    passes: u64,
    /// How many there will be; `None`: no end.
    wanted_passes: Option<u64>,
    begins: bool,
    errors: u64,
    left_out: u64,
}

impl<'a> Film<'a> {
    fn open(
        args: &'a args::Replay,
        wanted: Wanted,
        survey: &'a Survey,
        lanes: &'a Lanes,
        wanted_passes: Option<u64>,
    ) -> Result<Self, ReadError> {
        Ok(Self {
            recorded: Recorded::surveyed(&args.file, wanted.clone(), survey)?,
            args,
            wanted,
            survey,
            lanes,
            passes: 1,
            wanted_passes,
            begins: false,
            errors: 0,
            left_out: 0,
        })
    }

    fn next(&mut self) -> Result<Option<Entry>, ReadError> {
        loop {
            let next = match self.recorded.next() {
                // It was said at the start that it ends here.
                Err(ReadError::Damage { .. }) => None,
                other => other?,
            };
            let Some(next) = next else {
                if Some(self.passes) == self.wanted_passes {
                    return Ok(None);
                }
                self.passes += 1;
                self.recorded = Recorded::surveyed(&self.args.file, self.wanted.clone(), self.survey)?;
                self.begins = true;
                continue;
            };
            self.begins |= next.begins;
            if next.frame.kind() == FrameKind::Error {
                self.errors += 1;
                continue;
            }
            let Some(lane) = self.lanes.of.get(next.bus).copied().flatten() else {
                self.left_out += 1;
                continue;
            };
            return Ok(Some(Entry {
                lane,
                at: next.at,
                begins: std::mem::take(&mut self.begins),
                frame: next.frame,
            }));
        }
    }
}

/// Waits until somebody hears the first frame on the buses that are made here; `false` if stopped before.
async fn ready(
    json: bool,
    player: &mut Player,
    names: &[Name],
    stop: std::pin::Pin<&mut impl Future<Output = ()>>,
) -> Result<bool, Failure> {
    let made: Vec<String> = player
        .made()
        .filter_map(|lane| names.get(lane))
        .map(ToString::to_string)
        .collect();
    if made.is_empty() {
        return Ok(true);
    }
    if json {
        output::json(&Line::Ready { buses: made })?;
    } else {
        output::line(&format!(
            "ready: {} is made here; the first frame goes once somebody has joined",
            made.join(", ")
        ))?;
    }
    if let Err(error) = notify_ready("waiting for somebody to hear the recording") {
        anstream::eprintln!("the supervisor named in NOTIFY_SOCKET cannot be told: {error}");
    }
    let ending = player.await_clients::<ReadError>(stop).await;
    Ok(ending.map_err(words::system)? == Ending::Complete)
}

fn begin(
    args: &args::Replay,
    survey: &Survey,
    lanes: &Lanes,
    frames: u64,
    speed: Speed,
) -> Result<(), Failure> {
    // That of a load is worked out.
    let pace = match speed {
        Speed::Times(times) if args.load.is_some() => Some(times),
        _ => None,
    };
    let file = args.file.display().to_string();
    let ways = survey.buses.iter().zip(&lanes.of);
    let ways: Vec<Way<'_>> = ways
        .map(|(bus, lane)| Way {
            recorded: &bus.name,
            bus: lane
                .and_then(|lane| lanes.names.get(lane))
                .map(ToString::to_string),
            frames: bus.frames,
        })
        .collect();
    let seconds = survey.span.as_secs_f64();
    if args.json {
        output::json(&Line::Replaying {
            file: &file,
            buses: ways,
            frames,
            seconds,
            pace,
        })?;
    } else {
        let names: Vec<String> = lanes.names.iter().map(ToString::to_string).collect();
        output::line(&format!(
            "replaying {} on {}: {frames} frames of {seconds:.1} s{}",
            output::escape(&file),
            names.join(", "),
            pace.map_or_else(String::new, |pace| format!(", {pace:.2} times as fast"))
        ))?;
        for way in ways.iter().filter(|way| way.bus.is_none() && way.frames > 0) {
            output::line(&format!("  `{}` is left out", output::escape(way.recorded)))?;
        }
    }
    let Some(damage) = &survey.damage else {
        return Ok(());
    };
    let text = output::escape(&damage.to_string());
    if args.json {
        return output::json(&Line::Damage { text });
    }
    for line in output::fit(&format!("{text}; what stands before it is sent"), 0) {
        anstream::eprintln!("{line}");
    }
    Ok(())
}

fn tell(
    json: bool,
    notice: &Notice<'_>,
    names: &[Name],
    begun: Instant,
    total: Option<u64>,
) -> Result<(), Failure> {
    let name = |lane: usize| names.get(lane).map(ToString::to_string).unwrap_or_default();
    let text = match notice {
        Notice::Progress(counts) => {
            if !json {
                output::progress(&told(*counts, begun.elapsed(), total));
            }
            return Ok(());
        }
        Notice::Down(lane) => format!("{} is down: frames are lost until it is up", name(*lane)),
        Notice::NoFd(_, error) => format!("FD frames are left out: {error}"),
        Notice::Stuck(lane) => format!(
            "{} takes no frames: is another node on the bus, powered and at the same bit rate? `ip -details link show` \
             tells the state of the controller",
            name(*lane)
        ),
    };
    if json {
        return output::json(&Line::Trouble { text });
    }
    output::progress("");
    for line in output::fit(&text, 0) {
        anstream::eprintln!("{line}");
    }
    Ok(())
}

fn told(counts: Counts, span: Duration, total: Option<u64>) -> String {
    let of = total.map_or_else(String::new, |total| format!(" of {total}"));
    format!("{:.0} s: {}{of} frames sent", span.as_secs_f64(), counts.done())
}

fn end(
    json: bool,
    reason: &'static str,
    player: &Player,
    film: &Film<'_>,
    span: Duration,
) -> Result<(), Failure> {
    let counts = player.counts();
    let late = Late::of(player.lateness());
    if json {
        let began = player.began().duration_since(SystemTime::UNIX_EPOCH);
        return output::json(&Line::End {
            reason,
            sent: counts.sent,
            passes: film.passes,
            error_frames: film.errors,
            left_out: film.left_out,
            no_frames: film.survey.strangers,
            not_carried: counts.not_carried,
            lost_while_down: counts.down,
            lost_by_clients: player.lost(),
            waits_for_room: counts.waits,
            seconds: span.as_secs_f64(),
            due_from_unix_ns: u64::try_from(began.unwrap_or_default().as_nanos()).unwrap_or(u64::MAX),
            lateness: late,
        });
    }
    let passes = match film.passes {
        1 => String::new(),
        passes => format!(" in {passes} passes"),
    };
    output::line(&format!(
        "{reason} after {:.1} s: {} frames sent{passes}",
        span.as_secs_f64(),
        counts.sent
    ))?;
    if let Some(late) = late {
        output::line(&format!(
            "  late: median {}, 99 % within {}, at most {}",
            micros(late.median_us),
            micros(late.p99_us),
            micros(late.max_us)
        ))?;
    }
    let losses = [
        (
            film.errors,
            "error frames not sent: they are reports of a controller",
        ),
        (film.left_out, "frames of other buses left out"),
        (counts.not_carried, "FD frames not sent: the interface takes none"),
        (counts.down, "frames lost while the interface was down"),
        (player.lost(), "frames lost by clients that were too slow"),
        (counts.waits, "times the bus had no room, and was waited for"),
    ];
    for (count, what) in losses.iter().filter(|(count, _)| *count > 0) {
        output::line(&format!("  {count} {what}"))?;
    }
    Ok(())
}

/// A span for people.
fn micros(micros: f64) -> String {
    match micros {
        0.0..1e3 => format!("{micros:.0} us"),
        1e3..1e6 => format!("{:.1} ms", micros / 1e3),
        _ => format!("{:.1} s", micros / 1e6),
    }
}
