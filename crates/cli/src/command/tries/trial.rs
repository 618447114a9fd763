//! One car: it lives through its story, the tool is started beside it, both are judged.

use std::{
    ffi::OsString,
    fs, io,
    path::{Path, PathBuf},
    process,
    sync::atomic::{AtomicBool, Ordering},
    time::{Duration, Instant},
};

use twotrip_dialogue::verdict::Verdict;
use twotrip_host::{
    bus::{Bus, Filter, Name},
    control::{ControlServer, default_path},
    judge::{self, Summary},
    recording::{self, Beside},
    run::{Notice, Pace, Run},
    runtime_dir::RuntimeDir,
    story,
    tool::{Ended, Tool},
};
use twotrip_scenario::{Phrase, phrase::Expectation};
use twotrip_sim::{Event, Outcome, Settings, Simulator, Timing};
use twotrip_units::BusInstant;

use super::{
    cases::{Case, Subject},
    codes::{Answered, Stored},
    plan::{Trial, Words},
};
use crate::{
    args,
    command::{record, words},
    exit::Failure,
    output,
};

/// The recording of a car, and what its tool has said, in the car's folder.
pub(super) const RECORDING: &str = "bus.pcapng";
pub(super) const OUTPUT: &str = "output.txt";

/// What came of a car.
#[derive(Debug)]
pub(super) struct Found {
    pub(super) cases: Vec<Case>,
    /// From the tool's start to its end.
    pub(super) took: Duration,
    /// What the tool has said, and the bytes left out of it.
    pub(super) said: Vec<u8>,
    /// What it did by the rules of good conduct.
    pub(super) conduct: Summary,
    pub(super) requests: u64,
    pub(super) not_physical: bool,
    /// Where recording and output are.
    pub(super) folder: PathBuf,
}

impl Found {
    pub(super) fn passed(&self) -> bool {
        self.cases.iter().all(|case| case.passed)
    }

    pub(super) fn failed(&self) -> impl Iterator<Item = &Case> {
        self.cases.iter().filter(|case| !case.passed)
    }
}

/// Tries the tool against one car; `None` if everything is to stop.
pub(super) fn run(
    args: &args::Try,
    trial: &Trial,
    bus: &Name,
    folder: &Path,
    stop: &AtomicBool,
) -> Result<Option<Found>, Failure> {
    let timing = match args.timing {
        args::Timing::Real => Timing::REAL,
        args::Timing::Fast => Timing::FAST,
    };
    let mut settings = Settings::of(&trial.scenario, trial.seed, timing);
    settings.broadcasts = trial.scenario.broadcasts();
    let mut simulator = Simulator::new(settings.clone());
    let mut cases = Vec::new();
    story::live_through(&mut simulator, &trial.scenario, |event| {
        if let Event::Finished { phrase, outcome, .. } = event
            && !outcome.ok
        {
            cases.push(case(Subject::Story, &phrase.to_string(), outcome));
        }
    });
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    if stop.load(Ordering::Relaxed) {
        return Ok(None);
    }
    make(folder)
        .map_err(|error| Failure::system(format!("cannot use `{}`: {error}", folder.display()), None))?;
    runtime.block_on(beside(args, trial, bus, folder, simulator, &settings, cases))
}

/// The folder of a car, without what an earlier run has left in it.
fn make(folder: &Path) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    for name in [RECORDING, OUTPUT] {
        match fs::remove_file(folder.join(name)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
    }
    Ok(())
}

/// The car on its bus with the tool beside it.
async fn beside(
    args: &args::Try,
    trial: &Trial,
    name: &Name,
    folder: &Path,
    mut simulator: Simulator,
    settings: &Settings,
    mut cases: Vec<Case>,
) -> Result<Option<Found>, Failure> {
    let mut bus = Bus::host(name).map_err(words::system)?;
    let hears = settings.hears().into_iter().map(Filter::exact);
    let hears: Vec<Filter> = hears.chain(judge::IDENTIFIERS).collect();
    bus.set_filters(&hears).map_err(words::system)?;
    // Jobs in network namespaces of their own share a folder, and each has an interface of this name.
    let control_name = Name::Local(format!("try-{}-{}", process::id(), trial.number));
    let control_path = default_path(&control_name, &RuntimeDir::of_user().map_err(words::system)?);
    let control = ControlServer::bind(&control_path).map_err(words::system)?;
    let mut stored = Stored::of(&simulator);
    simulator.go_live(BusInstant::ZERO, trial.scenario.cues(), expectations(trial));
    let pace = pace(args.pace);
    let mut car = Run::new(simulator, bus, control, pace).map_err(words::system)?;
    car.judge_by_noted_times().map_err(words::system)?;
    car.let_pass().await;

    let recording = folder.join(RECORDING);
    let header = recording::Header {
        pace: pace.to_string(),
        not_physical: car.simulator().not_physical(),
        ..record::header(&trial.name, args.vehicle.as_deref())?
    };
    let options = recording::Options {
        path: recording.clone(),
        application: record::application(),
        header: vec![header.with(settings).comment()],
        ..recording::Options::default()
    };
    let bit_rate = u64::from(settings.bit_rate.kbit_per_second()) * 1000;
    let start = Beside::start(options, name.clone(), Some(bit_rate), |_| {});
    let (recorder, tap, _) = car
        .serve_during(start)
        .await
        .map_err(|error| record::failure(&error))?;
    car.record(tap);

    let words = Words::new(trial, name, &control_path, folder);
    let tool = words.put_in(&args.tool);
    let begun = Instant::now();
    let mut tool = Tool::start(&tool, words.environment()).map_err(|error| cannot_start(&tool, &error))?;
    let drive = car.drive(None, |notice| {
        if let Notice::Event(Event::Finished { phrase, outcome, .. }) = &notice
            && matches!(phrase, Phrase::Expect(_))
        {
            cases.push(case(Subject::Expectation, &phrase.to_string(), outcome));
        }
    });
    let ended = tokio::select! {
        ended = tool.wait(trial.patience) => Ok(ended?),
        ending = drive => Err(ending),
    };
    let took = begun.elapsed();
    let ended = match ended {
        Ok(ended) => ended,
        Err(ending) => {
            tool.end().await;
            return match ending {
                Ok(_) => Ok(None),
                Err(error) => Err(words::system(error)),
            };
        }
    };
    car.finish().await;
    recorder.finish().map_err(|error| record::failure(&error))?;
    let said = tool.said().bytes();
    fs::write(folder.join(OUTPUT), &said)?;

    car.tool_is_gone();
    cases.insert(0, tool_case(ended));
    stored.add(car.simulator());
    match args.codes {
        args::Codes::OnBus => {
            let answered = Answered::read(&recording).map_err(words::system)?;
            cases.extend(stored.on_bus(&answered));
        }
        args::Codes::InOutput => cases.extend(stored.in_output(&String::from_utf8_lossy(&said))),
        args::Codes::Off => {}
    }
    for (expectation, outcome) in car.simulator().verdict() {
        let phrase = Phrase::Expect(expectation).to_string();
        cases.push(case(Subject::Expectation, &phrase, &outcome));
    }
    let verdicts = car.judged().into_iter().map(|judged| {
        Case::new(
            Subject::Disturbance,
            format!("disturb {}", judged.disturbance),
            judged.finding.verdict != Verdict::Failed,
            format!(
                "{}: {} ({})",
                judged.finding.verdict, judged.finding.seen, judged.finding.source
            ),
        )
    });
    cases.extend(verdicts);
    let conduct = car.conduct();
    cases.extend(conduct_cases(&conduct, args.strict));
    Ok(Some(Found {
        cases,
        took,
        said,
        conduct,
        requests: car.simulator().counts().requests,
        not_physical: car.simulator().not_physical(),
        folder: folder.to_owned(),
    }))
}

/// The rules of conduct that were broken; one case that says so where none was.
fn conduct_cases(conduct: &Summary, strict: bool) -> Vec<Case> {
    let broken: Vec<Case> = conduct
        .testers
        .iter()
        .flat_map(|tester| tester.breaches.iter().map(move |breaches| (tester, breaches)))
        .filter(|(_, breaches)| breaches.severity == "violation" || strict && breaches.severity == "unwise")
        .map(|(tester, breaches)| {
            Case::new(
                Subject::Conduct,
                format!("{}: {}", breaches.rule, breaches.kept),
                false,
                format!("{}: {}", tester.tester, breaches.line()),
            )
        })
        .collect();
    if !broken.is_empty() || conduct.testers.is_empty() {
        return broken;
    }
    let name = "the rules of good conduct are kept";
    vec![Case::new(Subject::Conduct, name, true, conduct.headline())]
}

fn tool_case(ended: Ended) -> Case {
    let name = match ended {
        Ended::TimedOut(_) => "it is done in time",
        Ended::Exit(_) | Ended::Signal(_) => "exit status 0",
    };
    Case::new(Subject::Tool, name, ended.is_success(), ended.to_string())
}

fn case(subject: Subject, name: &str, outcome: &Outcome) -> Case {
    let mut found = outcome.text.clone();
    for detail in &outcome.details {
        found += "; ";
        found += detail;
    }
    Case::new(subject, name, outcome.ok, found)
}

fn cannot_start(tool: &[OsString], error: &io::Error) -> Failure {
    let program = tool
        .first()
        .map(|word| word.to_string_lossy())
        .unwrap_or_default();
    let hint = match error.kind() {
        io::ErrorKind::NotFound => {
            "the tool is what follows `--`: a program on the path, or a file such as ./tool.py"
        }
        io::ErrorKind::PermissionDenied => "a script needs its interpreter before it, or to be executable",
        _ => "the tool is what follows `--`, with its arguments, and no shell between",
    };
    let what = format!("cannot start `{}`: {error}", output::escape(&program));
    Failure::input(what, Some(hint.to_owned()))
}

/// What is judged at the end.
fn expectations(trial: &Trial) -> impl Iterator<Item = Expectation> + '_ {
    let phrases = trial.scenario.expectations().iter();
    phrases.filter_map(|phrase| match phrase.value {
        Phrase::Expect(expectation) => Some(expectation),
        _ => None,
    })
}

const fn pace(pace: Option<args::Pace>) -> Pace {
    match pace {
        None => Pace::Live,
        Some(args::Pace::Max) => Pace::Max,
        Some(args::Pace::Times(times)) => Pace::Times(times),
    }
}
