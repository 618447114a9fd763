//! What the tool on the bus did about disturbances, by the judge that the Rust interface has too ([`twotrip::verdicts`]).

use twotrip::verdicts::Disturbed;
pub(crate) use twotrip::verdicts::Verdicts;
use twotrip_dialogue::verdict::Finding;
use twotrip_scenario::Disturbance;
use twotrip_sim::{Simulator, Trace};
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

impl Disturbed for Journaled {
    fn is_disturbed(&self) -> bool {
        Simulator::is_disturbed(self)
    }
    fn poll_trace(&mut self) -> Option<Trace> {
        self.poll_trace()
    }
}

/// What became of each disturbance up to `now`.
pub(crate) fn judged(verdicts: &mut Verdicts, car: &mut Journaled, now: BusInstant) -> Vec<Judged> {
    let findings = verdicts.findings(car, now);
    findings
        .map(|(number, disturbance, finding)| Judged {
            number,
            disturbance,
            finding,
        })
        .collect()
}
