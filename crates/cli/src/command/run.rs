//! `twotrip run`: the car of a scenario on a bus.

use std::path::Path;

use serde::Serialize;
use twotrip_can::{address::EcuAddress, timing::BitRate};
use twotrip_host::{
    bench::{self, Bench, Watch},
    bus::{Bus, Filter, Name},
    control::{ControlServer, default_path},
    judge::{self, Summary},
    memory_file::{self, MemoryFile, MemoryFileError},
    ready::{notify_ready, notify_stopping},
    recording::{self, Beside, Counts, Header, MEMORY_PREFIX},
    run::{Ending, Notice, Pace, Run, Traffic},
    runtime_dir::RuntimeDir,
    story,
    verdicts::Judged,
};
use twotrip_isotp::Profile;
use twotrip_scenario::{Phrase, Scenario, phrase::Expectation};
use twotrip_sim::{EcuOnBus, Event, MonitorStand, Outcome, Settings, Simulator, Stored, Timing, Why};
use twotrip_units::BusInstant;

use crate::{
    args,
    command::{record, words},
    exit::Failure,
    output,
    report::{self, Report, Verdict},
    sources,
};

/// What the run prints with `--json`.
#[derive(Debug, Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
enum Line<'a> {
    Ready {
        scenario: &'a str,
        bus: String,
        control: String,
        /// Of this process.
        pid: u32,
        seed: u64,
        not_physical: bool,
        #[serde(skip_serializing_if = "Option::is_none")]
        memory: Option<Memory>,
        identifiers: &'static str,
        bit_rate_kbit_per_s: u32,
        ecus: Vec<EcuObject>,
    },
    MemoryNotKept {
        error: String,
    },
    MemoryKept,
    Phrase {
        car_time_s: f64,
        phrase: &'a str,
        ok: bool,
        outcome: &'a str,
        details: &'a [String],
        #[serde(skip_serializing_if = "Option::is_none")]
        why: Option<&'a Why>,
        #[serde(skip_serializing_if = "Option::is_none")]
        monitors: Option<&'a [MonitorStand]>,
    },
    Memory {
        car_time_s: f64,
        text: String,
    },
    Disturbance {
        car_time_s: f64,
        number: u64,
        disturbance: String,
        begins: bool,
        acted: u64,
    },
    BusDown,
    RecordingTrouble {
        text: String,
    },
    Expectation {
        expectation: &'a str,
        met: bool,
        outcome: &'a str,
    },
    Verdict {
        number: u64,
        disturbance: String,
        verdict: &'static str,
        seen: String,
        source: &'static str,
    },
    BusError(words::BusErrorObject),
    TurnedAway {
        text: String,
        more: u64,
    },
    Bench {
        acknowledged: Option<bool>,
    },
    Conduct {
        text: String,
        conduct: &'a Summary,
    },
    End {
        reason: &'static str,
        requests: u64,
        dropped: u64,
        lost_frames: u64,
        ecus: Vec<EcuCounts>,
        bus: BusCounts,
        expectations_met: bool,
        not_physical: bool,
        #[serde(skip_serializing_if = "Option::is_none")]
        recorded: Option<Recorded>,
    },
}

/// Frames of the recording.
#[derive(Debug, Serialize)]
struct Recorded {
    frames: u64,
    dropped: u64,
}

/// An ECU and its identifiers.
#[derive(Debug, Serialize)]
struct EcuObject {
    name: String,
    functional: String,
    request: String,
    response: String,
}

impl From<EcuOnBus> for EcuObject {
    fn from(ecu: EcuOnBus) -> Self {
        let EcuAddress {
            functional,
            request,
            response,
        } = ecu.address;
        Self {
            name: ecu.acronym().to_owned(),
            functional: functional.to_string(),
            request: request.to_string(),
            response: response.to_string(),
        }
    }
}

/// What came to an ECU.
#[derive(Debug, Serialize)]
struct EcuCounts {
    name: String,
    response: String,
    requests: u64,
    dropped: u64,
}

impl From<EcuOnBus> for EcuCounts {
    fn from(ecu: EcuOnBus) -> Self {
        Self {
            name: ecu.acronym().to_owned(),
            response: ecu.address.response.to_string(),
            requests: ecu.counts.requests,
            dropped: ecu.counts.dropped,
        }
    }
}

/// Where the ECU's memory comes from, if it is kept.
#[derive(Clone, Copy, Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
enum Memory {
    New,
    FromFile,
}

/// Frames of the run. `null` where nobody counts.
#[derive(Debug, Serialize)]
pub(super) struct BusCounts {
    received: u64,
    sent: u64,
    sent_while_down: u64,
    given_up: u64,
    dropped_by_kernel: Option<u32>,
    error_frames: u64,
}

impl From<Traffic> for BusCounts {
    fn from(traffic: Traffic) -> Self {
        Self {
            received: traffic.received,
            sent: traffic.sent,
            sent_while_down: traffic.sent_while_down,
            given_up: traffic.given_up,
            dropped_by_kernel: traffic.dropped_by_kernel,
            error_frames: traffic.errors,
        }
    }
}

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
    run.let_pass().await;
    let recording = match &args.record {
        Some(path) => {
            let header = header(args, &settings, content.as_ref(), run.simulator().not_physical())?;
            Some(record(args, &mut run, path, &name, settings.bit_rate, header).await?)
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
    let recorded = recorded.map_err(|error| record::failure(&error))?;
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

/// What was judged in a run.
#[derive(Debug, Default)]
struct Expectations {
    verdicts: Vec<Verdict>,
    /// Something was not as expected, or of the story could not be done.
    missed: bool,
}

impl Expectations {
    /// Verdicts kept: a control socket may ask for any number.
    const MOST: usize = 10_000;

    /// An expectation was judged.
    fn on(&mut self, expectation: &Phrase, outcome: &Outcome) {
        self.missed |= !outcome.ok;
        if self.verdicts.len() < Self::MOST {
            self.verdicts.push(Verdict {
                expectation: expectation.to_string(),
                met: outcome.ok,
                outcome: outcome.text.clone(),
            });
        }
    }

    const fn met(&self) -> bool {
        !self.missed
    }
}

/// What testers did, once there were any.
fn tell_conduct(json: bool, conduct: &Summary) -> Result<(), Failure> {
    if json {
        return output::json(&Line::Conduct {
            text: conduct.headline(),
            conduct,
        });
    }
    if conduct.testers.is_empty() {
        return Ok(());
    }
    anstream::eprintln!("what the tester did: {}", conduct.headline());
    for line in conduct.lines() {
        for piece in output::fit(&output::escape(&line), 2) {
            anstream::eprintln!("{piece}");
        }
    }
    Ok(())
}

/// Begins to record the car's bus.
async fn record(
    args: &args::Run,
    run: &mut Run,
    path: &Path,
    name: &Name,
    bit_rate: BitRate,
    header: Vec<String>,
) -> Result<Beside, Failure> {
    let options = recording::Options {
        path: path.to_owned(),
        application: record::application(),
        header,
        ..recording::Options::default()
    };
    // A wire has a bit rate of its own; without one it is the car's.
    let bit_rate = u64::from(bit_rate.kbit_per_second()) * 1000;
    let json = args.json;
    let start = Beside::start(options, name.clone(), Some(bit_rate), move |notice| {
        // Whoever read our output may have gone; the recording goes on.
        let _ = record::trouble(&notice).map_or(Ok(()), |text| {
            if json {
                return output::json(&Line::RecordingTrouble { text });
            }
            anstream::eprintln!("the recording: {}; the car goes on", output::escape(&text));
            Ok(())
        });
    });
    let (beside, tap, found) = run
        .serve_during(start)
        .await
        .map_err(|error| record::failure(&error))?;
    if let Some(found) = found {
        for line in output::fit(&format!("{}: {}", path.display(), record::continued(found)), 0) {
            anstream::eprintln!("{line}");
        }
    }
    run.record(tap);
    Ok(beside)
}

/// What a recording says of the run, for machines; the memory that came from a file is a line of its own.
fn header(
    args: &args::Run,
    settings: &Settings,
    content: Option<&Stored>,
    not_physical: bool,
) -> Result<Vec<String>, Failure> {
    let header = Header {
        pace: pace(args.pace).to_string(),
        not_physical,
        memory: content.is_some(),
        ..record::header(&args.scenario, args.vehicle.as_deref())?
    };
    let mut lines = vec![header.with(settings).comment()];
    if let Some(content) = content {
        let json =
            serde_json::to_string(content).map_err(|error| Failure::system(error.to_string(), None))?;
        lines.push(format!("{MEMORY_PREFIX}{json}"));
    }
    Ok(lines)
}

/// Takes the memory file and reads it.
fn memory_file(args: &args::Run, path: &Path) -> Result<(Option<MemoryFile>, Option<Stored>), Failure> {
    let options = memory_file::Options {
        reset: args.reset_memory,
        durable: args.durable,
    };
    let (file, content) = MemoryFile::open(path, options).map_err(|error| memory_failure(&error))?;
    Ok((Some(file), content))
}

/// Gives the ECU the memory of the file, in place of what the story has left in it.
fn put_back(
    simulator: &mut Simulator,
    file: Option<&MemoryFile>,
    content: Option<&Stored>,
) -> Result<Option<Memory>, Failure> {
    match (file, content) {
        (None, _) => Ok(None),
        (Some(_), None) => Ok(Some(Memory::New)),
        (Some(file), Some(content)) => {
            file.fit(content, simulator)
                .map_err(|error| memory_failure(&error))?;
            Ok(Some(Memory::FromFile))
        }
    }
}

/// A failure of the memory file: what it is, then, a line each, what to try.
pub(crate) fn memory_failure(error: &MemoryFileError) -> Failure {
    match words::system(error) {
        Failure::System { what, hint } if error.is_bad_input() => Failure::Input { what, hint },
        other => other,
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

/// What is judged at the end.
fn expectations(scenario: &Scenario) -> impl Iterator<Item = Expectation> + '_ {
    scenario
        .expectations()
        .iter()
        .filter_map(|phrase| match phrase.value {
            Phrase::Expect(expectation) => Some(expectation),
            _ => None,
        })
}

/// Says what became of the expectations of the verdict.
fn judge(json: bool, simulator: &Simulator, judged: &mut Expectations) -> Result<(), Failure> {
    for (expectation, outcome) in simulator.verdict() {
        let phrase = Phrase::Expect(expectation);
        judged.on(&phrase, &outcome);
        let phrase = phrase.to_string();
        if json {
            output::json(&Line::Expectation {
                expectation: &phrase,
                met: outcome.ok,
                outcome: &outcome.text,
            })?;
        } else {
            say(json, simulator.car().now().as_secs_f64(), &phrase, &outcome)?;
        }
    }
    Ok(())
}

/// Says what the tool did about each disturbance.
fn tell_verdicts(json: bool, judged: &[Judged]) -> Result<(), Failure> {
    for Judged {
        number,
        disturbance,
        finding,
    } in judged
    {
        let disturbance = disturbance.to_string();
        if json {
            output::json(&Line::Verdict {
                number: *number,
                disturbance,
                verdict: finding.verdict.name(),
                seen: finding.seen.clone(),
                source: finding.source,
            })?;
            continue;
        }
        let head = format!("{}: disturbance {number}, {disturbance}", finding.verdict);
        output::line(&head)?;
        for line in [finding.seen.as_str(), finding.source]
            .iter()
            .flat_map(|text| output::fit(text, DETAIL_INDENT))
        {
            output::line(&line)?;
        }
    }
    Ok(())
}

/// Lives through the story at full speed; answers what it asks.
fn live_through(
    simulator: &mut Simulator,
    scenario: &Scenario,
    json: bool,
    judged: &mut Expectations,
) -> Result<(), Failure> {
    let mut said = Ok(());
    story::live_through(simulator, scenario, |event| {
        if let Event::Finished {
            at, phrase, outcome, ..
        } = event
        {
            match phrase {
                Phrase::Expect(_) => judged.on(phrase, outcome),
                _ => judged.missed |= !outcome.ok,
            }
            if said.is_ok() && (!outcome.ok || asks(phrase)) {
                said = say(json, at.as_secs_f64(), &phrase.to_string(), outcome);
            }
        }
    });
    said
}

/// Whether a phrase is there for its answer.
const fn asks(phrase: &Phrase) -> bool {
    matches!(
        phrase,
        Phrase::Why(_)
            | Phrase::WhyNot(_)
            | Phrase::Monitors
            | Phrase::Measure(_)
            | Phrase::MeasureWhile(..)
            | Phrase::Compare(_)
            | Phrase::Inspect(_)
    )
}

fn ready(
    args: &args::Run,
    name: &Name,
    control: &Path,
    settings: &Settings,
    car: &Simulator,
    memory: Option<Memory>,
) -> Result<(), Failure> {
    let not_physical = car.not_physical();
    if args.json {
        return output::json(&Line::Ready {
            scenario: &args.scenario,
            bus: name.to_string(),
            control: control.display().to_string(),
            pid: std::process::id(),
            seed: settings.seed,
            not_physical,
            memory,
            identifiers: settings.identifiers.word(),
            bit_rate_kbit_per_s: settings.bit_rate.kbit_per_second(),
            ecus: car.ecus().map(EcuObject::from).collect(),
        });
    }
    let note = if not_physical { " (not physical)" } else { "" };
    let memory = match memory {
        None => "",
        Some(Memory::New) => ", with a new memory",
        Some(Memory::FromFile) => ", with the memory of the file",
    };
    let ecus = match words::ecus(car) {
        Some(ecus) => format!(": {ecus}"),
        None => String::new(),
    };
    output::line(&format!(
        "ready: {} on {name}{memory}{note}{ecus}",
        output::escape(&args.scenario)
    ))
}

/// Prints what happened while the car was on the bus.
fn tell(json: bool, notice: &Notice<'_>, judged: &mut Expectations) -> Result<(), Failure> {
    match notice {
        Notice::BusDown if json => output::json(&Line::BusDown),
        Notice::BusDown => {
            anstream::eprintln!("the interface is down; the car is back on the bus when it is up again");
            Ok(())
        }
        Notice::MemoryNotKept(error) if json => output::json(&Line::MemoryNotKept {
            error: error.to_string(),
        }),
        Notice::MemoryNotKept(error) => {
            anstream::eprintln!("{error}\nthe car is silent until its memory can be kept again");
            Ok(())
        }
        Notice::MemoryKept if json => output::json(&Line::MemoryKept),
        Notice::MemoryKept => {
            anstream::eprintln!("the memory is kept again, the car answers");
            Ok(())
        }
        Notice::BusError { error, more } if json => {
            output::json(&Line::BusError(words::BusErrorObject::of(*error, *more)))
        }
        Notice::BusError { error, more } => {
            anstream::eprintln!("{}", words::bus_error(*error, *more));
            Ok(())
        }
        Notice::TurnedAway { why, more } if json => output::json(&Line::TurnedAway {
            text: why.to_string(),
            more: *more,
        }),
        Notice::TurnedAway { why, more } => {
            anstream::eprintln!("{}", words::turned_away(*why, *more));
            Ok(())
        }
        Notice::Event(Event::Finished {
            at, outcome, phrase, ..
        }) => {
            if matches!(phrase, Phrase::Expect(_)) {
                judged.on(phrase, outcome);
            }
            say(json, at.as_secs_f64(), &phrase.to_string(), outcome)
        }
        Notice::Event(Event::Disturbance {
            at,
            number,
            disturbance,
            begins,
            acted,
        }) => {
            if json {
                return output::json(&Line::Disturbance {
                    car_time_s: at.as_secs_f64(),
                    number: *number,
                    disturbance: disturbance.to_string(),
                    begins: *begins,
                    acted: *acted,
                });
            }
            let clock = words::car_clock(at.as_secs_f64());
            let times = words::counted(*acted, "time", "times");
            output::line(&if *begins {
                format!("{clock}  disturbance {number} begins: {disturbance}")
            } else {
                format!("{clock}  disturbance {number} ends: {disturbance}, it acted {times}")
            })
        }
        Notice::Event(Event::Memory { at, effect }) => {
            let Some((text, _)) = words::effect(*effect) else {
                return Ok(());
            };
            if json {
                return output::json(&Line::Memory {
                    car_time_s: at.as_secs_f64(),
                    text,
                });
            }
            output::line(&format!("{}  {text}", words::car_clock(at.as_secs_f64())))
        }
        Notice::Event(_) => Ok(()),
    }
}

fn say(json: bool, car_time_s: f64, phrase: &str, outcome: &Outcome) -> Result<(), Failure> {
    if json {
        let Outcome {
            ok,
            text,
            details,
            why,
            monitors,
        } = outcome;
        return output::json(&Line::Phrase {
            car_time_s,
            phrase,
            ok: *ok,
            outcome: text,
            details,
            why: why.as_deref(),
            monitors: monitors.as_deref(),
        });
    }
    let head = format!("{}  > {phrase}", words::car_clock(car_time_s));
    let whole = format!("{head}   {}", outcome.text);
    if whole.chars().count() <= output::WIDTH {
        output::line(&whole)?;
    } else {
        output::line(&head)?;
        for line in output::fit(&outcome.text, DETAIL_INDENT) {
            output::line(&line)?;
        }
    }
    for line in outcome
        .details
        .iter()
        .flat_map(|detail| output::fit(detail, DETAIL_INDENT))
    {
        output::line(&line)?;
    }
    Ok(())
}

/// Columns before the lines that belong to a phrase: below the phrase itself.
const DETAIL_INDENT: usize = 16;

fn end(
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
pub(super) fn frames(traffic: &Traffic) -> String {
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
