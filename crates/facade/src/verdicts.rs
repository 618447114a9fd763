//! What the tool did about disturbances: what they do to the car goes to the judge ([`twotrip_dialogue::verdict`]), and so does
//! what passes on the bus. Costs nothing before the first one. Shared with the program; no part of the stable interface but
//! for [`Judged`].

use core::fmt;

use twotrip_can::Frame;
use twotrip_dialogue::verdict::{Finding, Hit, Judge, Verdict};
use twotrip_scenario::Disturbance;
use twotrip_sim::{Simulator, Trace};
use twotrip_units::BusInstant;

/// What became of one disturbance.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Judged {
    /// Its number: disturbances of a car are counted from 1.
    pub number: u64,
    /// What it was, as phrases say it.
    pub disturbance: String,
    /// What the tool did about it.
    pub verdict: Verdict,
    /// What that rests on, one sentence without a full stop.
    pub seen: String,
    /// Where the rule stands.
    pub source: &'static str,
}

impl fmt::Display for Judged {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            number,
            disturbance,
            verdict,
            seen,
            source,
        } = self;
        write!(
            f,
            "disturbance {number}, {disturbance}: {verdict}: {seen} [{source}]"
        )
    }
}

/// A car that tells what disturbances have done: the simulator, or one whose calls are put down.
pub trait Disturbed {
    /// See [`Simulator::is_disturbed`].
    fn is_disturbed(&self) -> bool;
    /// See [`Simulator::poll_trace`].
    fn poll_trace(&mut self) -> Option<Trace>;
}

impl Disturbed for Simulator {
    fn is_disturbed(&self) -> bool {
        self.is_disturbed()
    }
    fn poll_trace(&mut self) -> Option<Trace> {
        self.poll_trace()
    }
}

/// The verdicts of a run.
#[derive(Clone, Debug, Default)]
pub struct Verdicts {
    judge: Option<Box<Judge>>,
    disturbances: Vec<(u64, Disturbance)>,
}

impl Verdicts {
    /// A frame is on the bus, or has just come from it.
    #[inline]
    pub fn feed(&mut self, car: &mut impl Disturbed, at: BusInstant, frame: &Frame) {
        if car.is_disturbed() {
            self.take_traces(car);
            if let Some(judge) = &mut self.judge {
                judge.on_frame(at, frame);
            }
        }
    }

    /// Takes over what disturbances have done.
    fn take_traces(&mut self, car: &mut impl Disturbed) {
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
    pub fn findings(
        &mut self,
        car: &mut impl Disturbed,
        now: BusInstant,
    ) -> impl Iterator<Item = (u64, Disturbance, Finding)> + '_ {
        self.take_traces(car);
        let findings = self.judge.as_ref().map(|judge| judge.findings(now));
        findings.into_iter().flatten().filter_map(|(number, finding)| {
            let of = self.disturbances.iter().find(|(known, _)| *known == number)?;
            Some((number, of.1, finding))
        })
    }
}
