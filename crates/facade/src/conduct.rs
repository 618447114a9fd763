//! What testers did on the bus of a car, and which rules they broke.

use core::{fmt, time::Duration};

use twotrip_can::Frame;
use twotrip_dialogue::{
    Dialogue, Event,
    conduct::{Conduct as Log, Severity, Tally, TesterLog},
};
use twotrip_obd::{Dtc, Service};

use crate::Instant;

/// A time in which every tester has done what it ever does: P2* is 5 s (ISO 15765-4).
pub(crate) const NEVER: Duration = Duration::from_secs(600);

/// What testers did since [`Car::watch`](crate::Car::watch). `Display` says it in lines, for the message of an assertion.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
#[non_exhaustive]
pub struct Conduct {
    /// Each tester, in the order of their first words. Requests of [`Car::ask`](crate::Car::ask) count too: they are those of
    /// the tester whose identifiers they have.
    pub testers: Vec<TesterConduct>,
    /// Answers of ECUs, refusals and requests for time included.
    pub answers: u64,
    /// Codes that were read with service $03, in their order.
    pub confirmed_read: Vec<Dtc>,
    /// With service $07.
    pub pending_read: Vec<Dtc>,
    /// With service $0A.
    pub permanent_read: Vec<Dtc>,
}

/// What one tester did.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct TesterConduct {
    /// Who, as far as its identifiers tell.
    pub name: String,
    /// Requests.
    pub requests: u64,
    /// Requests that nobody answered.
    pub unanswered: u64,
    /// Requests by service, in the order of first asking.
    pub services: Vec<(u8, u64)>,
    /// The rules that it broke, the gravest first.
    pub breaches: Vec<Breach>,
}

/// A rule that was broken.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Breach {
    /// The name of the rule: `flow-control-missing`.
    pub rule: &'static str,
    /// How grave that is.
    pub severity: Severity,
    /// What a tester does that keeps the rule.
    pub kept: &'static str,
    /// Where it stands.
    pub source: &'static str,
    /// How often it was broken.
    pub count: u64,
    /// The first few times: when, and how.
    pub examples: Vec<(Instant, String)>,
}

impl Conduct {
    /// All rules that were broken, by whom ever.
    pub fn breaches(&self) -> impl Iterator<Item = &Breach> {
        self.testers.iter().flat_map(|tester| &tester.breaches)
    }

    /// Whether there is no violation, and nothing unwise. Notes are no blemish.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.breaches()
            .all(|breach| !matches!(breach.severity, Severity::Violation | Severity::Unwise))
    }

    fn of(log: &Log) -> Self {
        let read = |service| {
            let mut codes: Vec<Dtc> = log.codes_read(service).map(|(_, code)| code).collect();
            codes.sort_unstable();
            codes.dedup();
            codes
        };
        Self {
            testers: log.testers().iter().map(TesterConduct::of).collect(),
            answers: log.answers(),
            confirmed_read: read(Service::ConfirmedCodes),
            pending_read: read(Service::PendingCodes),
            permanent_read: read(Service::PermanentCodes),
        }
    }
}

impl fmt::Display for Conduct {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.testers.is_empty() {
            return f.write_str("nobody has asked anything");
        }
        let lines = self.testers.iter().flat_map(|tester| {
            let head = format!(
                "{}: {} requests, {} unanswered{}",
                tester.name,
                tester.requests,
                tester.unanswered,
                if tester.breaches.is_empty() {
                    ", no rule broken"
                } else {
                    ""
                }
            );
            core::iter::once(head).chain(tester.breaches.iter().map(|breach| format!("  {breach}")))
        });
        for (number, line) in lines.enumerate() {
            let end = if number == 0 { "" } else { "\n" };
            write!(f, "{end}{line}")?;
        }
        Ok(())
    }
}

impl TesterConduct {
    fn of(log: &TesterLog) -> Self {
        Self {
            name: log.id.to_string(),
            requests: log.requests(),
            unanswered: log.unanswered,
            services: log.services.clone(),
            breaches: log.tallies.iter().map(Breach::of).collect(),
        }
    }
}

impl Breach {
    fn of(tally: &Tally) -> Self {
        let said = tally.examples.iter();
        Self {
            rule: tally.rule.name(),
            severity: tally.rule.severity(),
            kept: tally.rule.kept(),
            source: tally.source(),
            count: tally.count,
            examples: said
                .map(|example| (example.at, format!("{}: {}", example.role, example.breach)))
                .collect(),
        }
    }
}

impl fmt::Display for Breach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}, {} times", self.severity, self.rule, self.count)?;
        if let Some((at, text)) = self.examples.first() {
            let seconds = at.saturating_since(Instant::ZERO).as_secs_f64();
            write!(f, "; first at {seconds:.3} s, {text}")?;
        }
        write!(f, " [{}]", self.source)
    }
}

/// Listens to the bus of a car.
#[derive(Clone, Debug)]
pub(crate) struct Watcher {
    dialogue: Dialogue,
    log: Log,
    frames: u64,
}

impl Watcher {
    pub(crate) fn new() -> Self {
        Self {
            dialogue: Dialogue::without_units(),
            log: Log::default(),
            frames: 0,
        }
    }

    pub(crate) fn hear(&mut self, at: Instant, frame: &Frame) {
        self.frames += 1;
        self.dialogue.on_frame(self.frames, at, frame);
        take(&mut self.dialogue, &mut self.log);
    }

    /// What was done so far, as if nothing more came.
    pub(crate) fn conduct(&self, now: Instant) -> Conduct {
        let Self {
            mut dialogue,
            mut log,
            ..
        } = self.clone();
        dialogue.on_end(now + NEVER);
        take(&mut dialogue, &mut log);
        Conduct::of(&log)
    }
}

fn take(dialogue: &mut Dialogue, log: &mut Log) {
    while let Some(event) = dialogue.poll_event() {
        log.on_event(&event);
        if let Event::Message(message) = event {
            dialogue.recycle(message);
        }
    }
}
