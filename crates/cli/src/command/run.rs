//! `twotrip run`: the car of a scenario on a bus.

mod end;
mod judged;
mod lines;
mod memory;
mod notices;
mod ready;
mod record;

use twotrip_host::{
    bench::{self, Bench, Watch},
    bus::{Bus, Filter, Name},
    control::{ControlServer, default_path},
    judge,
    ready::{notify_ready, notify_stopping},
    recording::Beside,
    run::{Pace, Run},
    runtime_dir::RuntimeDir,
};
use twotrip_isotp::Profile;
use twotrip_sim::{Settings, Simulator, Timing};
use twotrip_units::BusInstant;

use self::{
    end::end,
    judged::{Expectations, expectations, judge, live_through, tell_conduct, tell_verdicts},
    lines::Line,
    memory::{memory_file, put_back},
    notices::tell,
    ready::ready,
};
pub(crate) use self::{end::frames, lines::BusCounts, memory::memory_failure};
use crate::{
    args,
    command::words,
    exit::Failure,
    output,
    report::{self, Report},
    sources,
};

/// Runs the command.
pub(super) async fn run(args: &args::Run) -> Result<(), Failure> {
    let scenario = sources::scenario_with(&args.scenario, args.vehicle.as_deref())?;
    let name: Name = args
        .bus
        .parse()
        .map_err(|error| Failure::input(format!("--bus: {error}"), None))?;
    let seed = args.seed.unwrap_or_else(|| scenario.seed());
    let format = args.report.as_deref().map(report::Format::of).transpose()?;
    let (file, content) = match &args.memory {
        Some(path) => memory_file(args, path)?,
        None => (None, None),
    };
    args.report.as_deref().map_or(Ok(()), report::prepare)?;
    // The bus first: whoever has no CAN learns it before the story is lived through.
    let mut bus = open(args, &name).await?;
    let timing = match args.timing {
        args::Timing::Real if bus.is_paced() => Timing::REAL_ON_PACED_BUS,
        args::Timing::Real => Timing::REAL,
        args::Timing::Fast => Timing::FAST,
    };
    let control_path = match &args.control {
        Some(path) => path.clone(),
        None => default_path(&name, &RuntimeDir::of_user().map_err(words::system)?),
    };
    let control = ControlServer::bind(&control_path).map_err(words::system)?;

    let of_vehicle = Settings::of(&scenario, seed, timing);
    let settings = Settings {
        transport: Profile {
            frames: args.fd.frames(),
            ..args.transport.profile()
        },
        broadcasts: args
            .broadcasts
            .map_or_else(|| scenario.broadcasts(), |switch| switch == args::Switch::On),
        identifiers: args.identifiers.map_or(of_vehicle.identifiers, Into::into),
        bit_rate: args.bit_rate.map_or(of_vehicle.bit_rate, Into::into),
        ..of_vehicle
    };
    if !args.on_a_bench {
        // Traffic of others does not wake the car; on a bench it has to be heard.
        let hears = settings.hears().into_iter().map(Filter::exact);
        // What else testers do is the judge's.
        let hears: Vec<Filter> = hears.chain(judge::IDENTIFIERS).collect();
        bus.set_filters(&hears).map_err(words::system)?;
    }
    let mut simulator = Simulator::new(settings.clone());
    let mut judged = Expectations::default();
    live_through(&mut simulator, &scenario, args.json, &mut judged)?;
    let memory = put_back(&mut simulator, file.as_ref(), content.as_ref())?;
    simulator.go_live(BusInstant::ZERO, scenario.cues(), expectations(&scenario));
    let mut run = Run::new(simulator, bus, control, pace(args.pace)).map_err(words::system)?;
    if let Some(file) = file {
        run.keep_memory_in(file).map_err(|error| memory_failure(&error))?;
    }
    if args.on_a_bench {
        run.watch(Watch);
    }
    // On an embedded bus it costs nothing.
    if args.report.is_some() || args.record.is_some() || matches!(name, Name::Local(_)) {
        run.judge_by_noted_times().map_err(words::system)?;
    }
    run.let_pass().await;
    let recording = match &args.record {
        Some(path) => {
            let header = record::header(args, &settings, content.as_ref(), run.simulator().not_physical())?;
            Some(record::begin(args, &mut run, path, &name, settings.bit_rate, header).await?)
        }
        None => None,
    };
    if let Some(patience) = args.until_idle {
        run.until_idle(patience);
    }
    if let Some(process) = args.until_exit {
        let watched = run.until_exit(process);
        watched.map_err(|error| Failure::system(format!("cannot watch process {process}: {error}"), None))?;
    }
    ready(args, &name, &control_path, &settings, run.simulator(), memory)?;
    told_supervisor(notify_ready(&format!("{} on {name}", args.scenario)));

    let ending = run
        .drive(args.lasting, |notice| {
            // Whoever read our output may have gone; the car stays.
            let _ = tell(args.json, &notice, &mut judged);
        })
        .await;
    told_supervisor(notify_stopping("the car leaves the bus"));
    run.finish().await;
    let kept = run.let_go_of_memory();
    let recorded = recording.map(Beside::finish).transpose();
    let ending = ending.map_err(words::system)?;
    judge(args.json, run.simulator(), &mut judged)?;
    let disturbed = run.judged();
    tell_verdicts(args.json, &disturbed)?;
    let recorded = recorded.map_err(|error| super::record::failure(&error))?;
    let conduct = run.conduct();
    tell_conduct(args.json, &conduct)?;
    let met = judged.met();
    end(args, &run, ending, met, recorded)?;
    if let (Some(path), Some(format)) = (&args.report, format) {
        let report = Report {
            scenario: args.scenario.clone(),
            title: scenario.title().to_owned(),
            seed,
            version: env!("CARGO_PKG_VERSION"),
            not_physical: run.simulator().not_physical(),
            ended: ending.name(),
            expectations: judged.verdicts,
            disturbances: disturbed.into_iter().map(Into::into).collect(),
            conduct,
            caution: report::CAUTION,
        };
        report::write(path, &report.text(format)?)?;
    }
    kept.map_err(|error| memory_failure(&error))?;
    if met { Ok(()) } else { Err(Failure::NotMet) }
}

/// A supervisor that cannot be told does not keep the car from its bus.
fn told_supervisor(told: std::io::Result<bool>) {
    if let Err(error) = told {
        anstream::eprintln!("the supervisor named in NOTIFY_SOCKET cannot be told: {error}");
    }
}

/// Opens the bus; on a bench makes sure that nobody else is there.
async fn open(args: &args::Run, name: &Name) -> Result<Bus, Failure> {
    if !args.on_a_bench {
        return Bus::host(name).map_err(words::system);
    }
    let mut bus = Bus::on_a_bench(name).map_err(words::system)?;
    anstream::eprintln!(
        "listening on {name} for {} s, then asking once who is there",
        bench::LISTEN.as_secs()
    );
    let Bench { acknowledged } = bench::look(&mut bus).await.map_err(words::system)?;
    if args.json {
        output::json(&Line::Bench { acknowledged })?;
    } else {
        anstream::eprintln!("nobody else is there; the car leaves when anything but testers is heard");
    }
    if acknowledged == Some(false) {
        anstream::eprintln!(
            "no other node acknowledges frames yet: the tester is off, or the wiring is wrong"
        );
    }
    Ok(bus)
}

const fn pace(pace: Option<args::Pace>) -> Pace {
    match pace {
        None => Pace::Live,
        Some(args::Pace::Max) => Pace::Max,
        Some(args::Pace::Times(times)) => Pace::Times(times),
    }
}
