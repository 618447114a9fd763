//! `twotrip scan`: a plain tester that reads a car, or clears it.
//!
//! The questions come from `tester::Survey`; `interpret` reads the answers, `finding` is how they are shown.

mod finding;
mod interpret;

use twotrip_host::{
    bus::{Bus, Name},
    session::Session,
};
use twotrip_tester::{Survey, TesterConfig, Topic};

use self::finding::Finding;
use crate::{
    args::{self, ScanWhat},
    command::words,
    exit::Failure,
    output,
};

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
        transport: args.transport.profile(),
        ..TesterConfig::default()
    };
    let mut session = Session::new(bus, tester).map_err(words::system)?;
    let topics = topics(args.what);
    let mut survey = Survey::new(&topics);
    let mut asked = 0;
    while let Some(question) = survey.next_question() {
        let answers = session
            .ask(question.target, question.request())
            .await
            .map_err(words::system)?;
        for answer in &answers {
            survey.on_answer(answer.ecu, &answer.payload);
        }
        survey.on_finished();
        if survey.ecus().next().is_none() {
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
    for finding in topics
        .iter()
        .flat_map(|&topic| interpret::findings(&survey, topic))
    {
        refused |= matches!(finding, Finding::Cleared { cleared: false, .. });
        show(args.json, &finding)?;
    }
    if args.times {
        show(args.json, &Finding::times(session.times()))?;
    }
    if refused { Err(Failure::NotMet) } else { Ok(()) }
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

fn show(json: bool, finding: &Finding) -> Result<(), Failure> {
    if json {
        return output::json(finding);
    }
    for line in finding.lines() {
        output::line(&line)?;
    }
    Ok(())
}
