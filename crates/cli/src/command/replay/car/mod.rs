//! `replay --as car`: the ECUs of a recording answer a live tester.
//!
//! `beside` reads the frames that nobody asks for; `tell` is what is said while they answer, `summary` at the end,
//! `lines` how that never holds them up.

mod beside;
mod lines;
mod summary;
mod tell;

use std::time::Duration;

use twotrip_can::{
    Frame,
    timing::{self, BitRate},
};
use twotrip_dialogue::{AfterLast, Answers, Learner, LeftOut, Settings, StandIn};
use twotrip_host::{
    bench::Watch,
    bus::{Bus, Name},
    ready::notify_ready,
    recording::ReadError,
    replay::car::Car,
};
use twotrip_isotp::Profile;
use twotrip_units::BusInstant;

use self::tell::Teller;
use super::{
    lanes::{self, Lanes},
    recorded::{Recorded, Survey, Wanted, failure},
    wanted,
};
use crate::{args, command::words, exit::Failure, output};

/// Answers.
pub(super) async fn run(args: &args::Replay) -> Result<(), Failure> {
    let wanted = wanted(args);
    let survey = Survey::of(&args.file, &wanted)?;
    let (recorded_bus, name) = one_bus(&survey, args)?;
    // The bus first: whoever has no CAN learns it before a long recording is read.
    let bus = open(&name, args.on_a_bench).await?;
    let learned = learn(args, wanted, recorded_bus)?;
    if learned.answers.questions().next().is_none() {
        let what = format!(
            "`{}` holds no question of a tester",
            output::escape(&args.file.display().to_string())
        );
        let hint = "`explain` shows what it holds; `replay` without `--as` sends its frames".to_owned();
        return Err(Failure::input(what, Some(hint)));
    }
    let settings = settings(args, &bus, survey.buses[recorded_bus].bit_rate);
    let stop = words::stopped()?;
    let watch = args.on_a_bench.then_some(Watch);
    let Learned {
        answers,
        left_out,
        lost,
    } = learned;
    let mut car = Car::new(StandIn::new(answers, settings), bus, watch).map_err(words::system)?;
    let broadcasts = args.car.broadcasts == Some(args::Switch::On);
    if broadcasts && !car.broadcast(beside::frames(args, survey, recorded_bus)?) {
        anstream::eprintln!("the recording has no frames but those of diagnostics: none are sent unasked");
    }
    let mut teller = Teller::new(args.json);
    teller.ready(&args.file, &name, car.stand_in().answers(), left_out, lost)?;
    if let Err(error) = notify_ready(&format!("a recorded car on {name}")) {
        anstream::eprintln!("the supervisor named in NOTIFY_SOCKET cannot be told: {error}");
    }
    let ending = car
        .play(args.car.lasting, stop, |notice| teller.tell(&notice))
        .await;
    teller.end(&car, ending.as_ref().ok().copied())?;
    ending.map(|_| ()).map_err(words::system)
}

/// The one recorded bus that is answered from, and where.
fn one_bus(survey: &Survey, args: &args::Replay) -> Result<(usize, Name), Failure> {
    if survey.buses.iter().all(|bus| bus.frames == 0) {
        let hint = "`explain --level frames` shows what it holds".to_owned();
        return Err(Failure::input("no frame of the recording is wanted", Some(hint)));
    }
    let mut lanes = Lanes::assign(survey, &args.bus, &args.bus_of)?;
    let recorded: Vec<usize> = (0..lanes.of.len())
        .filter(|&place| lanes.of[place].is_some())
        .collect();
    match (&recorded[..], lanes.names.pop()) {
        (&[one], Some(name)) => Ok((one, name)),
        ([], _) | (_, None) => Err(Failure::input(
            "the recording has no frames that are wanted",
            None,
        )),
        _ => Err(Failure::input(
            "a car answers on one bus",
            Some(
                "`--bus-of RECORDED=BUS` alone says which; another `replay --as car` answers on another one"
                    .to_owned(),
            ),
        )),
    }
}

/// As for a car: an embedded bus is hosted, a wire has nobody else on it.
async fn open(name: &Name, on_a_bench: bool) -> Result<Bus, Failure> {
    if on_a_bench {
        return lanes::bench(name).await;
    }
    Bus::host(name).map_err(words::system)
}

/// What a recording holds.
struct Learned {
    answers: Answers,
    left_out: LeftOut,
    /// Frames that its recorder has lost.
    lost: u64,
}

/// Keeps what was answered to what.
fn learn(args: &args::Replay, wanted: Wanted, bus: usize) -> Result<Learned, Failure> {
    let mut recorded = Recorded::open(&args.file, wanted)?;
    let mut learner = Learner::default();
    let mut first = None;
    loop {
        let entry = match recorded.next() {
            Ok(Some(entry)) => entry,
            Ok(None) => break,
            // The survey has seen that it is a recording; the last block may be being written.
            Err(error @ ReadError::Damage { .. }) => {
                anstream::eprintln!("{}", output::escape(&error.to_string()));
                break;
            }
            Err(error) => return Err(failure(&error)),
        };
        let since = |at: u64, first: u64| BusInstant::from_nanos(at.saturating_sub(first));
        if entry.begins
            && let Some(before) = first.take()
        {
            learner.on_break(since(recorded.section_ended(), before));
        }
        let at = since(entry.at, *first.get_or_insert(entry.at));
        if entry.bus != bus {
            continue;
        }
        learner.on_frame(at, &entry.frame).map_err(|full| {
            let hint = "`--from` and `--to` take a part of it".to_owned();
            Failure::input(
                format!("the recording is too large to answer from: {full}"),
                Some(hint),
            )
        })?;
    }
    let ended = recorded.ended().saturating_sub(first.unwrap_or_default());
    let (answers, left_out) = learner.finish(BusInstant::from_nanos(ended));
    Ok(Learned {
        answers,
        left_out,
        lost: recorded.lost(),
    })
}

fn settings(args: &args::Replay, bus: &Bus, recorded: Option<u64>) -> Settings {
    let Profile { timers, pad, dlc, .. } = args.transport.profile();
    let rate = |bits: u64| {
        if bits == 250_000 {
            BitRate::Kbit250
        } else {
            BitRate::Kbit500
        }
    };
    let (spacing, lead) = if bus.is_paced() {
        let frame = Frame::padded(twotrip_can::CanId::Standard(0x7E8), &[], pad);
        let rate = rate(bus.bit_rate().map_or(0, u64::from));
        (None, timing::frame_time(&frame, rate))
    } else {
        (Some(rate(recorded.unwrap_or(0))), Duration::ZERO)
    };
    Settings {
        timers,
        dlc,
        pad,
        after_last: match args.car.after_last.unwrap_or(args::AfterLast::Last) {
            args::AfterLast::Last => AfterLast::Last,
            args::AfterLast::Anew => AfterLast::Anew,
            args::AfterLast::Silence => AfterLast::Silence,
        },
        any_addressing: args.car.addressing == Some(args::Addressing::Any),
        spacing,
        lead,
    }
}
