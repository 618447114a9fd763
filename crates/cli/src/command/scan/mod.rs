//! `twotrip scan`: a plain tester that reads a car, or clears it.
//!
//! The questions come from `tester::Survey`, which finds out the car's dialect; `told` reads the answers of both, `interpret` what they
//! mean, `finding` is how they are shown.

mod finding;
mod identifiers;
mod inspection;
mod interpret;
mod told;

use std::time::{Duration, Instant};

use twotrip_host::{
    bus::{Bus, Name},
    session::{Session, SessionError},
};
use twotrip_isotp::Profile;
use twotrip_obd::{Dialect, inspection::Program};
use twotrip_tester::{Question, Survey, TesterConfig, Topic};

use self::{finding::Finding, inspection::Inspection};
use crate::{
    args::{self, ScanWhat},
    command::words,
    exit::Failure,
    output,
};

/// How long is listened at the end to ECUs that nobody knows: three times P2 of ISO 15765-4 (50 ms), for what is late.
const LATE: Duration = Duration::from_millis(150);

/// Runs the command.
pub(super) async fn run(args: &args::Scan) -> Result<(), Failure> {
    let name: Name = args
        .bus
        .parse()
        .map_err(|error| Failure::input(format!("--bus: {error}"), None))?;
    let bus = if args.on_a_bench {
        Bus::on_a_bench(&name)
    } else {
        Bus::join(&name).await
    };
    let bus = bus.map_err(words::system)?;
    let tester = TesterConfig {
        transport: Profile {
            frames: args.fd.frames(),
            ..args.transport.profile()
        },
        // An ECU that asks for time may do so five times.
        longest_exchange: Duration::from_secs(25),
        ..TesterConfig::default()
    };
    let mut session = Session::new(bus, tester).map_err(words::system)?;
    let program = program(args)?;
    let (topics, shown) = match program {
        // More is asked than is shown.
        Some(_) => (inspection::TOPICS.to_vec(), vec![Topic::Readiness]),
        // The codes that go are shown with it.
        None if args.what == ScanWhat::Clear => (topics(args.what), vec![Topic::Codes, Topic::Clear]),
        None => (topics(args.what), topics(args.what)),
    };
    let mut survey = Survey::new(&topics);
    let mut asked = 0;
    let mut tried_29_bits = false;
    while let Some(question) = next(&mut survey, &mut session).await? {
        if !question.pause().is_zero() {
            session
                .hear_until(Instant::now() + question.pause())
                .await
                .map_err(words::system)?;
        }
        let exchange = session
            .exchange(question.target, question.request())
            .await
            .map_err(words::system)?;
        if let Some(result) = exchange.refused {
            return Err(words::system(SessionError::NotTaken { result }));
        }
        for answer in &exchange.answers {
            survey.on_answer(answer.ecu, &answer.payload);
        }
        for &(ecu, _) in &exchange.pending {
            survey.on_put_off(ecu);
        }
        survey.on_finished();
        // After both dialects have been asked on 11 bits.
        if survey.ecus().next().is_none() && asked > 0 && !tried_29_bits {
            tried_29_bits = true;
            if identifiers::find_on_29_bits(&mut session, tester).await? {
                survey = Survey::new(&topics);
                continue;
            }
        }
        if survey.is_nobody_there() {
            let short = session.short_frames();
            if short > 0 {
                let hint = "ISO 15765-4 wants eight (from memory); `--dlc lenient` takes shorter ones too";
                return Err(Failure::system(
                    format!(
                        "no ECU answers on {name}: {short} frames had fewer than eight bytes and were ignored"
                    ),
                    Some(hint.to_owned()),
                ));
            }
            let hint = "is the key on? `twotrip tell \"key on\"` turns it; a car whose key is off is asleep";
            return Err(Failure::system(
                format!("no ECU answers on {name}"),
                Some(hint.to_owned()),
            ));
        }
        asked += 1;
        output::progress(&format!("{asked} questions asked"));
    }
    output::progress("");
    let mut refused = false;
    for &topic in &shown {
        let findings = interpret::findings(&survey, topic);
        if findings.is_empty() {
            unanswered(topic, survey.dialect(), args)?;
        }
        for finding in findings {
            refused |= matches!(finding, Finding::Cleared { cleared: false, .. });
            show(args.json, finding.named(session.config()))?;
        }
    }
    for finding in interpret::unanswered(&survey) {
        show(args.json, finding.named(session.config()))?;
    }
    if let Some(program) = program {
        let (inspection, passes) = Inspection::of(&survey, program, &args.inspection)?;
        if args.json {
            output::json(&inspection)?;
        } else {
            inspection
                .lines()
                .iter()
                .try_for_each(|line| output::line(line))?;
        }
        refused |= !passes;
    }
    if args.times {
        show(args.json, Finding::times(session.times()))?;
    }
    if refused { Err(Failure::NotMet) } else { Ok(()) }
}

/// The next question; before the end, whether an ECU that nobody knows of has still something to say.
async fn next(survey: &mut Survey, session: &mut Session) -> Result<Option<Question>, Failure> {
    hear_of_strangers(survey, session);
    if let Some(question) = survey.next_question() {
        return Ok(Some(question));
    }
    session
        .hear_until(Instant::now() + LATE)
        .await
        .map_err(words::system)?;
    hear_of_strangers(survey, session);
    Ok(survey.next_question())
}

/// ECUs that spoke out of turn.
fn hear_of_strangers(survey: &mut Survey, session: &mut Session) {
    for frame in session.take_strays() {
        if let Some(ecu) = session.ecu_of(frame.id()) {
            survey.hear_of(ecu);
        }
    }
}

/// There are ECUs, and none answered this. Of a clear that is a failure: nobody knows what it did. Whoever asked for
/// everything wants to see what there is.
fn unanswered(topic: Topic, dialect: Dialect, args: &args::Scan) -> Result<(), Failure> {
    if topic == Topic::Clear {
        let hint = "nothing is known to be cleared: `twotrip scan codes` shows what is stored";
        return Err(Failure::system(
            format!("no ECU answered the clear ({})", service(topic, dialect)),
            Some(hint.to_owned()),
        ));
    }
    if args.json || args.what == ScanWhat::All {
        return Ok(());
    }
    output::line(&format!("no ECU answers {}", service(topic, dialect)))
}

/// What a topic is read by.
const fn service(topic: Topic, dialect: Dialect) -> &'static str {
    match (topic, dialect) {
        (Topic::Clear, Dialect::OnUds) => return "service $14",
        (Topic::Codes | Topic::Pending | Topic::Permanent | Topic::FreezeFrame, Dialect::OnUds) => {
            return "service $19";
        }
        (_, Dialect::OnUds) => return "service $22",
        (_, Dialect::Classic) => {}
    }
    match topic {
        Topic::Readiness | Topic::Live | Topic::SinceClear => "service $01",
        Topic::FreezeFrame => "service $02",
        Topic::Codes | Topic::CodeCount => "service $03",
        Topic::Clear => "service $04",
        Topic::Tests => "service $06",
        Topic::Pending => "service $07",
        Topic::Vehicle | Topic::Vin => "service $09",
        Topic::Permanent => "service $0A",
    }
}

/// The programme to judge by, which only goes with readiness.
fn program(args: &args::Scan) -> Result<Option<Program>, Failure> {
    if args.inspection.profile.is_some() && args.what != ScanWhat::Readiness {
        return Err(Failure::input(
            "an inspection is judged by `scan readiness` alone",
            Some("`twotrip scan readiness --profile EPA --bus ...`".to_owned()),
        ));
    }
    Ok(args.inspection.profile.map(args::Program::rules))
}

fn topics(what: ScanWhat) -> Vec<Topic> {
    match what {
        ScanWhat::Codes => vec![Topic::Codes],
        ScanWhat::Pending => vec![Topic::Pending],
        ScanWhat::Permanent => vec![Topic::Permanent],
        ScanWhat::FreezeFrame => vec![Topic::FreezeFrame],
        ScanWhat::Readiness => vec![Topic::Readiness],
        ScanWhat::Live => vec![Topic::Live],
        ScanWhat::Tests => vec![Topic::Tests],
        ScanWhat::Vehicle => vec![Topic::Vehicle],
        ScanWhat::Clear => vec![Topic::Clear],
        ScanWhat::All => vec![
            Topic::Vehicle,
            Topic::Codes,
            Topic::Pending,
            Topic::Permanent,
            Topic::FreezeFrame,
            Topic::Readiness,
            Topic::Live,
            Topic::Tests,
        ],
    }
}

fn show(json: bool, finding: Finding) -> Result<(), Failure> {
    if json {
        return output::json(&finding);
    }
    for line in finding.lines() {
        output::line(&line)?;
    }
    Ok(())
}
