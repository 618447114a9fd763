//! What is judged in a run, and said of it: the story's and the verdict's expectations, disturbances, the tool's conduct.

use twotrip_host::{judge::Summary, story, verdicts::Judged};
use twotrip_scenario::{Phrase, Scenario, phrase::Expectation};
use twotrip_sim::{Event, Outcome, Simulator};

use super::{
    lines::Line,
    notices::{DETAIL_INDENT, say},
};
use crate::{exit::Failure, output, report::Verdict};

/// What was judged in a run.
#[derive(Debug, Default)]
pub(super) struct Expectations {
    pub(super) verdicts: Vec<Verdict>,
    /// Something was not as expected, or of the story could not be done.
    pub(super) missed: bool,
}

impl Expectations {
    /// Verdicts kept: a control socket may ask for any number.
    const MOST: usize = 10_000;

    /// An expectation was judged.
    pub(super) fn on(&mut self, expectation: &Phrase, outcome: &Outcome) {
        self.missed |= !outcome.ok;
        if self.verdicts.len() < Self::MOST {
            self.verdicts.push(Verdict {
                expectation: expectation.to_string(),
                met: outcome.ok,
                outcome: outcome.text.clone(),
            });
        }
    }

    pub(super) const fn met(&self) -> bool {
        !self.missed
    }
}

/// What is judged at the end.
pub(super) fn expectations(scenario: &Scenario) -> impl Iterator<Item = Expectation> + '_ {
    scenario
        .expectations()
        .iter()
        .filter_map(|phrase| match phrase.value {
            Phrase::Expect(expectation) => Some(expectation),
            _ => None,
        })
}

/// Lives through the story at full speed; answers what it asks.
pub(super) fn live_through(
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

/// Says what became of the expectations of the verdict.
pub(super) fn judge(json: bool, simulator: &Simulator, judged: &mut Expectations) -> Result<(), Failure> {
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
pub(super) fn tell_verdicts(json: bool, judged: &[Judged]) -> Result<(), Failure> {
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

/// What testers did, once there were any.
pub(super) fn tell_conduct(json: bool, conduct: &Summary) -> Result<(), Failure> {
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
