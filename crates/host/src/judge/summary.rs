//! What testers did, as data for machines and as lines for people.

use std::fmt;

use serde::{Deserialize, Serialize};
use twotrip_dialogue::conduct::{Conduct, Rule, Severity, Tally, TesterLog};
use twotrip_obd::Service;
use twotrip_units::BusInstant;

/// What testers did.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Summary {
    /// Each of them, in the order of their first words.
    pub testers: Vec<Tester>,
    /// Answers of ECUs, refusals and requests for time included.
    pub answers: u64,
    /// Breaches of what a standard says.
    pub violations: u64,
    /// What is not forbidden, and bound to end badly with some vehicle.
    pub unwise: u64,
    /// What is worth knowing.
    pub notes: u64,
    /// The codes that were read.
    pub codes_read: CodesRead,
}

/// What one tester did.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tester {
    /// Who, as far as identifiers tell.
    pub tester: String,
    /// Requests.
    pub requests: u64,
    /// Of those, to all ECUs.
    pub to_all: u64,
    /// And to one.
    pub to_one: u64,
    /// Requests that nobody answered.
    pub unanswered: u64,
    /// When the first one came, seconds.
    pub first_s: Option<f64>,
    /// And the last one.
    pub last_s: Option<f64>,
    /// Requests by service.
    pub services: Vec<Asked>,
    /// Rules that were broken, the gravest first.
    pub breaches: Vec<Breaches>,
}

/// Requests of one service.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Asked {
    /// `$01`.
    pub service: String,
    /// Its name.
    pub name: String,
    /// How many.
    pub requests: u64,
}

/// Breaches of one rule.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Breaches {
    /// The rule's name.
    pub rule: String,
    /// `violation`, `unwise` or `note`.
    pub severity: String,
    /// What a tester does that keeps it.
    pub kept: String,
    /// Where it stands.
    pub source: String,
    /// How many.
    pub count: u64,
    /// The first ones.
    pub examples: Vec<Said>,
}

/// A breach.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Said {
    /// When, seconds.
    pub time_s: f64,
    /// Number of the frame.
    pub frame: u64,
    /// Who to whom.
    pub role: String,
    /// What it was.
    pub text: String,
}

impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            time_s,
            frame,
            role,
            text,
        } = self;
        write!(f, "{time_s:.3} s, frame {frame}, {role}: {text}")
    }
}

/// The codes that testers were told, in the three lists.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct CodesRead {
    /// Service $03.
    pub confirmed: CodeList,
    /// Service $07.
    pub pending: CodeList,
    /// Service $0A.
    pub permanent: CodeList,
}

/// One of them.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct CodeList {
    /// Answers with it.
    pub answers: u64,
    /// `7E8 P0301`: all that were in any of them.
    pub codes: Vec<String>,
}

impl Summary {
    /// Of a log; `seconds` are shown for its instants.
    #[must_use]
    pub fn of(conduct: &Conduct, seconds: impl Fn(BusInstant) -> f64) -> Self {
        let list = |service| CodeList {
            answers: conduct.times_read(service),
            codes: conduct
                .codes_read(service)
                .map(|(ecu, code)| format!("{ecu} {code}"))
                .collect(),
        };
        let testers = conduct.testers().iter();
        Self {
            testers: testers.map(|log| Tester::of(log, &seconds)).collect(),
            answers: conduct.answers(),
            violations: conduct.breaches(Severity::Violation),
            unwise: conduct.breaches(Severity::Unwise),
            notes: conduct.breaches(Severity::Note),
            codes_read: CodesRead {
                confirmed: list(Service::ConfirmedCodes),
                pending: list(Service::PendingCodes),
                permanent: list(Service::PermanentCodes),
            },
        }
    }

    /// In one line: how many of what.
    #[must_use]
    pub fn headline(&self) -> String {
        let requests: u64 = self.testers.iter().map(|tester| tester.requests).sum();
        if self.testers.is_empty() {
            return "nobody has asked anything".to_owned();
        }
        let mut parts = vec![
            counted(requests, "request", "requests"),
            counted(self.answers, "answer", "answers"),
        ];
        let breaches = [
            counted(self.violations, "violation", "violations"),
            format!("{} unwise", self.unwise),
            counted(self.notes, "note", "notes"),
        ];
        let found = [self.violations, self.unwise, self.notes];
        let breaches = breaches.into_iter().zip(found).filter(|(_, count)| *count > 0);
        parts.extend(breaches.map(|(text, _)| text));
        if found == [0; 3] {
            parts.push("no rule broken".to_owned());
        }
        parts.join(", ")
    }

    /// For people: each tester with its requests and its breaches, and the codes that were read.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        let mut lines: Vec<String> = self.testers.iter().flat_map(Tester::lines).collect();
        for (name, list) in self.codes_read.lists() {
            if list.answers > 0 {
                let codes = if list.codes.is_empty() {
                    "none".to_owned()
                } else {
                    list.codes.join(", ")
                };
                lines.push(format!("{name} codes read: {codes}"));
            }
        }
        lines
    }
}

impl CodesRead {
    /// The lists by name.
    #[must_use]
    pub fn lists(&self) -> [(&'static str, &CodeList); 3] {
        [
            ("confirmed", &self.confirmed),
            ("pending", &self.pending),
            ("permanent", &self.permanent),
        ]
    }
}

impl Tester {
    fn of(log: &TesterLog, seconds: &impl Fn(BusInstant) -> f64) -> Self {
        Self {
            tester: log.id.to_string(),
            requests: log.requests(),
            to_all: log.to_all,
            to_one: log.to_one,
            unanswered: log.unanswered,
            first_s: log.span.map(|(first, _)| seconds(first)),
            last_s: log.span.map(|(_, last)| seconds(last)),
            services: log
                .services
                .iter()
                .map(|&(service, requests)| Asked {
                    service: format!("${service:02X}"),
                    name: Service::from_byte(service).name().to_owned(),
                    requests,
                })
                .collect(),
            breaches: log
                .tallies
                .iter()
                .map(|tally| Breaches::of(tally, seconds))
                .collect(),
        }
    }

    /// Its requests in words.
    #[must_use]
    pub fn asked(&self) -> String {
        let mut text = format!(
            "{}, {} to all, {} to one ECU",
            counted(self.requests, "request", "requests"),
            self.to_all,
            self.to_one
        );
        if self.unanswered > 0 {
            text += &format!(", {} unanswered", self.unanswered);
        }
        let services = self.services.iter();
        let services: Vec<String> = services
            .map(|asked| format!("{} {}", asked.service, times(asked.requests)))
            .collect();
        if !services.is_empty() {
            text += &format!(" ({})", services.join(", "));
        }
        text
    }

    fn lines(&self) -> Vec<String> {
        let mut lines = vec![format!("{}: {}", self.tester, self.asked())];
        if self.breaches.is_empty() {
            lines.push("  no rule broken".to_owned());
        }
        lines.extend(
            self.breaches
                .iter()
                .map(|breaches| format!("  {}", breaches.line())),
        );
        lines
    }
}

impl Breaches {
    fn of(tally: &Tally, seconds: &impl Fn(BusInstant) -> f64) -> Self {
        let rule: Rule = tally.rule;
        Self {
            rule: rule.name().to_owned(),
            severity: rule.severity().name().to_owned(),
            kept: rule.kept().to_owned(),
            source: tally.source().to_owned(),
            count: tally.count,
            examples: tally
                .examples
                .iter()
                .map(|example| Said {
                    time_s: seconds(example.at),
                    frame: example.frame,
                    role: example.role.to_string(),
                    text: example.breach.to_string(),
                })
                .collect(),
        }
    }

    /// The first one, how many, and where the rule stands.
    #[must_use]
    pub fn line(&self) -> String {
        let first = self.examples.first();
        let first = first.map_or_else(String::new, |first| format!("first at {first}"));
        format!(
            "{} {}, {}; {first} [{}]",
            self.severity,
            self.rule,
            times(self.count),
            self.source
        )
    }
}

fn counted(count: u64, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

fn times(count: u64) -> String {
    if count == 1 {
        "once".to_owned()
    } else {
        format!("{count} times")
    }
}
