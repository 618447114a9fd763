//! What a scan found, as lines for people and as JSON.

use std::{collections::BTreeMap, time::Duration};

use serde::Serialize;
use twotrip_host::session::Times;
use twotrip_obd::{TestResult, pid::Value};
use twotrip_tester::{ASKED_AT_MOST, EcuNumber, TesterConfig};

use crate::output::{self, AMBER, FAINT, GOOD, PLAIN, STRONG, WIDTH};

/// Columns for the name of a value.
const NAME_COLUMNS: usize = 46;

/// Readiness groups with their state.
pub(super) type Groups = BTreeMap<&'static str, &'static str>;

/// A trouble code with its meaning.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Code {
    pub(super) code: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) meaning: Option<&'static str>,
    /// Whether makers define it, each for himself.
    pub(super) makers_own: bool,
    /// How it failed, in SAE J1979-2: the number, as in `$13`, and its name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) failure_type: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) failure: Option<&'static str>,
}

/// One value with its name.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Reading {
    /// The parameter's number, as in `$0C`.
    pub(super) pid: String,
    pub(super) name: String,
    /// With its unit, as people read it.
    pub(super) shown: String,
    /// The bare number, where it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) value: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) unit: Option<String>,
}

/// One result of an on-board test.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Test {
    /// The monitor's number, as in `$3B`.
    mid: String,
    monitor: String,
    /// The test's number.
    tid: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    test: Option<&'static str>,
    /// The number of unit and scaling.
    uasid: String,
    state: TestState,
    /// With unit and limits, as people read it.
    shown: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    value: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    minimum: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    maximum: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    unit: Option<&'static str>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
enum TestState {
    NotRun,
    Passed,
    Failed,
}

impl Test {
    pub(super) fn new(result: &TestResult) -> Self {
        let number = |value| match value {
            Some(Value::Number(number, _)) => Some(number),
            _ => None,
        };
        let (minimum, maximum) = result.limits();
        let whole = result.to_string();
        Self {
            mid: result.mid.to_string(),
            monitor: result.mid.name().to_string(),
            tid: result.tid.to_string(),
            test: result.tid.test_name(),
            uasid: result.uasid.to_string(),
            state: match result.verdict() {
                None => TestState::NotRun,
                Some(true) => TestState::Passed,
                Some(false) => TestState::Failed,
            },
            shown: whole
                .rsplit_once(": ")
                .map_or(&*whole, |(_, shown)| shown)
                .to_owned(),
            value: number(result.value()),
            minimum: number(minimum),
            maximum: number(maximum),
            unit: result.uasid.scaling().map(|scaling| scaling.unit.symbol()),
        }
    }

    fn lines(&self) -> Vec<String> {
        let colour = match self.state {
            TestState::NotRun => FAINT,
            TestState::Passed => GOOD,
            TestState::Failed => AMBER,
        };
        let what = self.test.unwrap_or(&self.monitor);
        let wrapped = output::wrap(
            &format!("{} {}  {what}: {}", self.mid, self.tid, self.shown),
            2,
            WIDTH,
        );
        wrapped
            .into_iter()
            .map(|line| format!("{colour}{line}{PLAIN}"))
            .collect()
    }
}

/// What one ECU said to one question.
#[derive(Clone, Debug, Serialize)]
#[serde(tag = "found", rename_all = "kebab-case")]
pub(super) enum Finding {
    Codes {
        ecu: String,
        list: &'static str,
        codes: Vec<Code>,
    },
    FreezeFrame {
        ecu: String,
        code: Option<Code>,
        /// `first` or `latest`, in SAE J1979-2.
        #[serde(skip_serializing_if = "Option::is_none")]
        frame: Option<&'static str>,
        readings: Vec<Reading>,
    },
    Readiness {
        ecu: String,
        mil_commanded: bool,
        confirmed_codes: u8,
        groups: Groups,
        this_cycle: Groups,
    },
    Live {
        ecu: String,
        readings: Vec<Reading>,
    },
    Tests {
        ecu: String,
        tests: Vec<Test>,
    },
    Vehicle {
        ecu: String,
        items: Vec<(String, String)>,
    },
    Cleared {
        ecu: String,
        cleared: bool,
        answer: String,
    },
    /// How long the answers took.
    Times {
        answers: u32,
        least_ms: Option<f64>,
        greatest_ms: Option<f64>,
        dropped_by_kernel: u32,
    },
    /// What the ECU says to support and then gave no answer to, however often it was asked.
    Unanswered {
        ecu: String,
        service: String,
        /// Masks of what is supported too.
        parameters: Vec<String>,
        /// From here on nothing could be asked, since the mask is one of them.
        #[serde(skip_serializing_if = "Option::is_none")]
        unknown_from: Option<String>,
    },
    /// PID $01 tells another number of confirmed codes than the list has, which was read twice.
    Miscounted {
        ecu: String,
        counted: u8,
        listed: u8,
    },
    /// The ECU asked for time and never answered: nothing more was asked of it.
    GivenUp {
        ecu: String,
    },
    /// No ECU tells the vehicle identification number.
    NoVin,
    /// An answer that breaks a rule of J1979, or a refusal.
    Odd {
        ecu: String,
        question: String,
        why: String,
    },
}

impl Finding {
    pub(super) fn times(times: Times) -> Self {
        let ms = |span: Duration| (span.as_secs_f64() * 1e6).round() / 1e3;
        Self::Times {
            answers: times.answers,
            least_ms: times.first_frame.map(|(least, _)| ms(least)),
            greatest_ms: times.first_frame.map(|(_, greatest)| ms(greatest)),
            dropped_by_kernel: times.dropped,
        }
    }

    /// The same with the ECU called by the identifier of its answers, which on 29 bits does not follow from its number.
    pub(super) fn named(mut self, tester: &TesterConfig) -> Self {
        let ecu = match &mut self {
            Self::Codes { ecu, .. }
            | Self::FreezeFrame { ecu, .. }
            | Self::Readiness { ecu, .. }
            | Self::Live { ecu, .. }
            | Self::Tests { ecu, .. }
            | Self::Vehicle { ecu, .. }
            | Self::Cleared { ecu, .. }
            | Self::Unanswered { ecu, .. }
            | Self::Miscounted { ecu, .. }
            | Self::GivenUp { ecu, .. }
            | Self::Odd { ecu, .. } => ecu,
            Self::Times { .. } | Self::NoVin => return self,
        };
        if let Some(number) = EcuNumber::all().find(|number| number.to_string() == *ecu) {
            *ecu = tester.address(number).response.to_string();
        }
        self
    }

    /// The finding as lines of at most 80 columns.
    pub(super) fn lines(&self) -> Vec<String> {
        match self {
            Self::Codes { ecu, list, codes } if codes.is_empty() => vec![format!("{ecu}  no {list} code")],
            Self::Codes { ecu, list, codes } => {
                let mut lines = vec![head(ecu, &format!("{list} codes: {}", codes.len()))];
                lines.extend(codes.iter().flat_map(Code::lines));
                lines
            }
            Self::FreezeFrame { ecu, code: None, .. } => vec![format!("{ecu}  no freeze frame stored")],
            Self::FreezeFrame {
                ecu,
                code: Some(code),
                frame,
                readings,
            } => {
                let what = match frame {
                    Some("latest") => "latest freeze frame, stored when this code failed last",
                    _ => "freeze frame, stored when this code was found",
                };
                let mut lines = vec![head(ecu, what)];
                lines.extend(code.lines());
                lines.extend(readings.iter().flat_map(Reading::lines));
                lines
            }
            Self::Readiness {
                ecu,
                mil_commanded,
                confirmed_codes,
                groups,
                this_cycle,
            } => {
                let lamp = if *mil_commanded {
                    "commanded on"
                } else {
                    "not commanded"
                };
                let mut lines = vec![head(
                    ecu,
                    &format!("lamp {lamp}, confirmed codes: {confirmed_codes}"),
                )];
                if groups.is_empty() {
                    lines.push("  no monitors: nothing to become ready in this ECU".to_owned());
                    return lines;
                }
                lines.push(format!(
                    "  {:<24}  {:<14}  {}",
                    "monitors", "since clear", "this driving cycle"
                ));
                lines.extend(groups.iter().map(|(group, state)| {
                    let colour = if *state == "complete" { GOOD } else { AMBER };
                    let now = this_cycle.get(group).copied().unwrap_or("cannot run");
                    format!("  {group:<24}  {colour}{state:<14}{PLAIN}  {now}")
                }));
                lines
            }
            Self::Live { ecu, readings } => {
                let mut lines = vec![head(ecu, "live data")];
                lines.extend(readings.iter().flat_map(Reading::lines));
                lines
            }
            Self::Tests { ecu, tests } => {
                let mut lines = vec![head(ecu, "results of on-board tests")];
                lines.extend(tests.iter().flat_map(Test::lines));
                lines
            }
            Self::Vehicle { ecu, items } => {
                let mut lines = vec![head(ecu, "vehicle information")];
                lines.extend(items.iter().flat_map(|(name, value)| {
                    output::wrap(&format!("{name}: {}", output::escape(value)), 2, WIDTH)
                }));
                lines
            }
            Self::Cleared {
                ecu, cleared: true, ..
            } => vec![
                format!("{ecu}  cleared: codes, freeze frame and readiness are gone"),
                format!("{FAINT}      clearing repairs nothing; drive until the monitors have run{PLAIN}"),
            ],
            Self::Cleared {
                ecu,
                cleared: false,
                answer,
            } => output::wrap(
                &format!("{ecu}  not cleared: {answer} (key on, engine off?)"),
                0,
                WIDTH,
            ),
            Self::Times {
                answers,
                least_ms,
                greatest_ms,
                dropped_by_kernel,
            } => {
                let (least, greatest) = (least_ms.unwrap_or(0.0), greatest_ms.unwrap_or(0.0));
                let mut lines = vec![format!(
                    "{answers} answers, begun {least:.3} to {greatest:.3} ms after the request (P2: 50 ms)"
                )];
                if *dropped_by_kernel > 0 {
                    let lost = format!("{dropped_by_kernel} frames dropped unread: the times may be wrong");
                    lines.push(format!("{AMBER}{lost}{PLAIN}"));
                }
                lines
            }
            Self::Unanswered {
                ecu,
                service,
                parameters,
                unknown_from,
            } => {
                let mut text = format!(
                    "{ecu} no answer to service {service}, asked {ASKED_AT_MOST} times: {}",
                    parameters.join(" ")
                );
                if let Some(from) = unknown_from {
                    text += &format!("; what it supports from {from} on is not known");
                }
                amber(&text)
            }
            Self::Miscounted { ecu, counted, listed } => amber(&format!(
                "{ecu} tells {listed} confirmed codes by service $03 and counts {counted} in PID $01, read twice: the list may not \
                 be whole"
            )),
            Self::GivenUp { ecu } => amber(&format!(
                "{ecu} asked for time (7F xx 78) and never answered: it was asked nothing more"
            )),
            Self::NoVin => amber("no ECU tells the vehicle identification number"),
            Self::Odd { ecu, question, why } => output::wrap(&format!("{ecu}  {question}: {why}"), 0, WIDTH),
        }
    }
}

fn amber(text: &str) -> Vec<String> {
    let lines = output::wrap(text, 0, WIDTH);
    lines
        .into_iter()
        .map(|line| format!("{AMBER}{line}{PLAIN}"))
        .collect()
}

fn head(ecu: &str, text: &str) -> String {
    format!("{ecu}  {STRONG}{text}{PLAIN}")
}

impl Code {
    fn lines(&self) -> Vec<String> {
        let number = self
            .failure_type
            .as_deref()
            .unwrap_or_default()
            .trim_start_matches('$');
        let dash = if number.is_empty() { "" } else { "-" };
        let failure = self.failure.filter(|_| number != "00");
        let failure = failure.map_or_else(String::new, |failure| format!(" ({failure})"));
        output::wrap(
            &format!(
                "{}{dash}{number}  {}{failure}",
                self.code,
                self.meaning.unwrap_or(if self.makers_own {
                    "(the maker's own code: its meaning stands in the maker's service information)"
                } else {
                    "(meaning not known here)"
                })
            ),
            2,
            WIDTH,
        )
    }
}

impl Reading {
    /// A line for data that cannot be read.
    pub(super) fn unreadable(why: &impl std::fmt::Display) -> Self {
        let (pid, name) = (String::new(), "(unreadable)".to_owned());
        Self {
            pid,
            name,
            shown: why.to_string(),
            value: None,
            unit: None,
        }
    }

    /// Number, name and value in three columns; what is wider than its column goes on below.
    fn lines(&self) -> Vec<String> {
        let names = output::wrap(&self.name, 0, NAME_COLUMNS);
        let values = output::wrap(&self.shown, 0, WIDTH - NAME_COLUMNS - 8);
        let at = |lines: &[String], row: usize| lines.get(row).cloned().unwrap_or_default();
        (0..names.len().max(values.len()))
            .map(|row| {
                let pid = if row == 0 { &self.pid } else { "" };
                let line = format!(
                    "  {pid:<3}  {:<NAME_COLUMNS$} {}",
                    at(&names, row),
                    at(&values, row)
                );
                line.trim_end().to_owned()
            })
            .collect()
    }
}
