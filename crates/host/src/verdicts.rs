//! What the tool on the bus did about disturbances: hands to the judge ([`twotrip_dialogue::verdict`]) what passes on the bus, and
//! what disturbances do to it. Costs nothing before the first one.

use twotrip_can::Frame;
use twotrip_dialogue::verdict::{Finding, Hit, Judge};
use twotrip_scenario::Disturbance;
use twotrip_sim::Trace;
use twotrip_units::BusInstant;

use crate::journal::Journaled;

/// What became of one disturbance.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// Its number in the run, from 1.
    pub number: u64,
    /// What it was.
    pub disturbance: Disturbance,
    /// What the tool did about it.
    pub finding: Finding,
}

impl Judged {
    /// In a line.
    #[must_use]
    pub fn line(&self) -> String {
        let Finding {
            verdict,
            seen,
            source,
        } = &self.finding;
        format!(
            "disturbance {}, {}: {verdict}: {seen} [{source}]",
            self.number, self.disturbance
        )
    }

    /// The same for machines.
    #[must_use]
    pub fn to_json(&self) -> serde_json::Value {
        serde_json::json!({
            "number": self.number,
            "disturbance": self.disturbance.to_string(),
            "verdict": self.finding.verdict.name(),
            "seen": self.finding.seen,
            "source": self.finding.source,
        })
    }
}

/// The verdicts of a run.
#[derive(Debug, Default)]
pub struct Verdicts {
    judge: Option<Box<Judge>>,
    disturbances: Vec<(u64, Disturbance)>,
}

impl Verdicts {
    /// A frame is on the bus, or has just come from it.
    #[inline]
    pub(crate) fn feed(&mut self, car: &mut Journaled, at: BusInstant, frame: &Frame) {
        if car.is_disturbed() {
            self.take_traces(car);
            if let Some(judge) = &mut self.judge {
                judge.on_frame(at, frame);
            }
        }
    }

    /// Takes over what disturbances have done.
    fn take_traces(&mut self, car: &mut Journaled) {
        while let Some(trace) = car.poll_trace() {
            let judge = self.judge.get_or_insert_with(|| Box::new(Judge::new()));
            match trace {
                Trace::Begins { number, what } => {
                    judge.begin(number, what.kind.name());
                    self.disturbances.push((number, what));
                }
                Trace::Hit { number, at, id } => judge.hit(Hit { number, at, id }),
                Trace::Ends { number, at } => judge.end(number, at),
            }
        }
    }

    /// What became of each disturbance up to `now`.
    pub(crate) fn findings(&mut self, car: &mut Journaled, now: BusInstant) -> Vec<Judged> {
        self.take_traces(car);
        let Some(judge) = &self.judge else {
            return Vec::new();
        };
        let judged = |(number, finding)| {
            let of = self.disturbances.iter().find(|(known, _)| *known == number)?;
            Some(Judged {
                number,
                disturbance: of.1,
                finding,
            })
        };
        judge.findings(now).into_iter().filter_map(judged).collect()
    }
}
