//! `scan readiness --profile`: would the car pass? What a survey heard, put before the rules of one programme.

use serde::Serialize;
use twotrip_obd::{
    Dtc, Information, Readiness,
    inspection::{self, Evidence, Outcome, Program, Verdict},
    vin,
};
use twotrip_tester::{Survey, Topic};

use super::told::Told;
use crate::{
    args,
    exit::Failure,
    output::{self, AMBER, BAD, FAINT, GOOD, PLAIN, STRONG, WIDTH},
};

/// What is read for it, readiness first.
pub(super) const TOPICS: [Topic; 5] = [
    Topic::Readiness,
    Topic::Codes,
    Topic::Permanent,
    Topic::SinceClear,
    Topic::Vin,
];

/// Said with every verdict.
const CAUTION: &str =
    "local law decides, and the inspector: these are published rules as this program knows them, no advice";

/// A verdict as it is shown.
#[derive(Clone, Debug, Serialize)]
#[serde(tag = "found", rename = "inspection")]
pub(super) struct Inspection {
    profile: &'static str,
    model_year: u16,
    result: &'static str,
    reasons: Vec<String>,
    remarks: Vec<String>,
    caution: &'static str,
}

/// All answers together.
#[derive(Debug, Default)]
struct Read {
    readiness: Option<Readiness>,
    mil_commanded: bool,
    confirmed: Option<Vec<Dtc>>,
    permanent: Option<Vec<Dtc>>,
    warm_ups: Option<u8>,
    kilometres: Option<u16>,
    model_year: Option<u16>,
}

impl Read {
    fn from(survey: &Survey) -> Self {
        let mut read = Self::default();
        for finding in survey.findings() {
            match (finding.topic, Told::of(finding)) {
                (_, Told::Parameters(records)) => {
                    for record in records.iter().flatten() {
                        read.take_parameter(record.pid.number(), record.data);
                    }
                }
                (Topic::Codes, Told::Codes(codes)) => {
                    let codes = codes.iter().map(|&(code, _)| code);
                    read.confirmed.get_or_insert_default().extend(codes);
                }
                (Topic::Permanent, Told::Codes(codes)) => {
                    let codes = codes.iter().map(|&(code, _)| code);
                    read.permanent.get_or_insert_default().extend(codes);
                }
                (_, Told::Information(Information::Vin(number))) => {
                    read.model_year = read.model_year.or_else(|| vin::model_year(number));
                }
                _ => {}
            }
        }
        read
    }

    /// Of several ECUs the one that was cleared last tells.
    fn take_parameter(&mut self, number: u8, data: &[u8]) {
        match (number, data) {
            (0x01, &[a, b, c, d]) => {
                self.mil_commanded |= a & 0x80 != 0;
                let readiness = Readiness::from_bytes([b, c, d]);
                self.readiness = Some(match self.readiness {
                    Some(before) => before.together(readiness),
                    None => readiness,
                });
            }
            (0x30, &[count]) => self.warm_ups = Some(self.warm_ups.map_or(count, |before| before.min(count))),
            (0x31, &[high, low]) => {
                let distance = u16::from_be_bytes([high, low]);
                self.kilometres = Some(self.kilometres.map_or(distance, |before| before.min(distance)));
            }
            _ => {}
        }
    }
}

impl Inspection {
    /// Judges what was heard. Says whether the car would pass.
    pub(super) fn of(
        survey: &Survey,
        program: Program,
        args: &args::Inspection,
    ) -> Result<(Self, bool), Failure> {
        let read = Read::from(survey);
        let unread = |what: &str| {
            let hint = "the car cannot be judged without it; `twotrip scan all` shows what it answers";
            Failure::system(format!("no ECU tells {what}"), Some(hint.to_owned()))
        };
        let readiness = read.readiness.ok_or_else(|| unread("its readiness (PID $01)"))?;
        let confirmed = read
            .confirmed
            .ok_or_else(|| unread("its confirmed codes (service $03)"))?;
        let permanent_unread = read.permanent.is_none();
        let permanent = read.permanent.unwrap_or_default();
        let model_year = args.model_year.or(read.model_year).ok_or_else(|| {
            Failure::input(
                "the VIN tells no model year",
                Some("say it: `--model-year 2010`".to_owned()),
            )
        })?;
        let verdict = inspection::inspect(
            program,
            &Evidence {
                model_year,
                readiness,
                mil_commanded: read.mil_commanded,
                confirmed: &confirmed,
                permanent: &permanent,
                warm_ups_since_clear: read.warm_ups,
                distance_since_clear: read.kilometres,
                lamp_key_on: args.lamp_key_on.map(args::Lamp::seen),
                lamp_running: args.lamp_running.map(args::Lamp::seen),
            },
        )
        .map_err(|error| Failure::input(error.to_string(), None))?;
        let passes = verdict.outcome() == Outcome::Pass;
        Ok((Self::say(program, model_year, &verdict, permanent_unread), passes))
    }

    fn say(program: Program, model_year: u16, verdict: &Verdict, permanent_unread: bool) -> Self {
        let unread = "no ECU answers service $0A: permanent codes could not be judged".to_owned();
        Self {
            profile: program.name(),
            model_year,
            result: verdict.outcome().name(),
            reasons: verdict.reasons.iter().map(ToString::to_string).collect(),
            remarks: verdict
                .remarks
                .iter()
                .map(ToString::to_string)
                .chain(permanent_unread.then_some(unread))
                .collect(),
            caution: CAUTION,
        }
    }

    /// As lines of at most 80 columns.
    pub(super) fn lines(&self) -> Vec<String> {
        let colour = match self.result {
            "pass" => GOOD,
            "fail" => BAD,
            _ => AMBER,
        };
        let mut lines = vec![format!(
            "{STRONG}inspection by the rules of {}, model year {}: {colour}{}{PLAIN}",
            self.profile, self.model_year, self.result
        )];
        let item = |text: &String| output::wrap(&format!("- {text}"), 2, WIDTH);
        lines.extend(self.reasons.iter().flat_map(item));
        let faint = |text: &str| {
            output::wrap(text, 2, WIDTH)
                .into_iter()
                .map(|line| format!("{FAINT}{line}{PLAIN}"))
                .collect::<Vec<_>>()
        };
        lines.extend(self.remarks.iter().flat_map(|text| faint(text)));
        lines.extend(faint(self.caution));
        lines
    }
}
