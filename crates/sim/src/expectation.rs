//! Judging expectations: against the car as it is, as it has been since, and against what the tool did.

use std::time::Duration;

use twotrip_ecu::memory::FreezeFrame;
use twotrip_obd::Dtc;
use twotrip_scenario::phrase::{Claim, CodeList, Deed, Expectation, Quantity, Source, When};
use twotrip_units::{BusInstant, CarInstant};

use crate::{Car, Outcome, clock, deeds::Deeds, meter};

/// An expectation that is being watched.
#[derive(Clone, Debug)]
pub(crate) struct Watch {
    pub(crate) expectation: Expectation,
    /// When the watching began.
    since: CarInstant,
    /// When the claim held first.
    held: Option<CarInstant>,
    /// When it did not hold first, and what was seen then.
    broken: Option<(CarInstant, String)>,
}

impl Watch {
    /// Watching from now on.
    pub(crate) fn new(car: &Car, expectation: Expectation) -> Self {
        let mut watch = Self {
            expectation,
            since: car.now(),
            held: None,
            broken: None,
        };
        watch.look(car);
        watch
    }

    /// Looks at the car as it is.
    pub(crate) fn look(&mut self, car: &Car) {
        let claim = &self.expectation.claim;
        match self.expectation.when {
            When::Within(_) if self.held.is_none() && holds(car, claim) => self.held = Some(car.now()),
            When::Always if self.broken.is_none() && !holds(car, claim) => {
                self.broken = Some((car.now(), seen(car, claim)));
            }
            When::Now | When::Within(_) | When::Always => {}
        }
    }

    /// The judgement at the end; `ready` is where the bus time of the run began.
    pub(crate) fn judge(&self, car: &Car, deeds: &Deeds, ready: BusInstant) -> Outcome {
        let Expectation { claim, when } = &self.expectation;
        if let Claim::Tool { deed, done } = *claim {
            return judge_tool(deeds, ready, deed, done, *when);
        }
        let since = |at: CarInstant| clock::say(at.saturating_since(self.since));
        match *when {
            When::Now => judge(car, claim),
            When::Within(time) => match self.held {
                Some(at) if at.saturating_since(self.since) <= time => {
                    Outcome::done(format!("as expected, after {}", since(at)))
                }
                Some(at) => Outcome::refused(format!(
                    "not as expected: only after {}; {} were allowed",
                    since(at),
                    clock::say(time)
                )),
                None => Outcome::refused(format!(
                    "not as expected in {} of the car's time: {}",
                    since(car.now()),
                    seen(car, claim)
                )),
            },
            When::Always => match &self.broken {
                None => Outcome::done(format!("as expected all the time, {}", since(car.now()))),
                Some((at, seen)) => Outcome::refused(format!("not as expected after {}: {seen}", since(*at))),
            },
        }
    }
}

/// Whether a claim is about the tool.
pub(crate) const fn is_of_the_tool(claim: &Claim) -> bool {
    matches!(claim, Claim::Tool { .. })
}

/// Whether a claim about the car holds now, and what was found.
pub(crate) fn judge(car: &Car, claim: &Claim) -> Outcome {
    let found = seen(car, claim);
    if holds(car, claim) {
        Outcome::done(format!("as expected: {found}"))
    } else {
        Outcome::refused(format!("not as expected: {found}"))
    }
}

/// A claim about the tool against what it did since `ready`.
pub(crate) fn judge_tool(deeds: &Deeds, ready: BusInstant, deed: Deed, done: bool, when: When) -> Outcome {
    let after = deeds.first(deed).map(|at| at.saturating_since(ready));
    let limit = match when {
        When::Within(time) => time,
        When::Now | When::Always => Duration::MAX,
    };
    let in_time = after.is_some_and(|after| after <= limit);
    let (name, limit) = (deed.name(), clock::say(limit));
    let found = match after {
        Some(after) if in_time => format!("the tool {name} after {}", clock::say(after)),
        Some(after) => format!(
            "the tool {name} only after {}, not within {limit}",
            clock::say(after)
        ),
        None => format!("the tool never {name}; {}", deeds.say()),
    };
    if in_time == done {
        Outcome::done(format!("as expected: {found}"))
    } else {
        Outcome::refused(format!("not as expected: {found}"))
    }
}

/// Whether a claim about the car holds at this instant. Without allocation: it is asked in every step.
pub(crate) fn holds(car: &Car, claim: &Claim) -> bool {
    let memory = car.ecu.memory();
    // Of any of its ECUs.
    let any = |list, is: &dyn Fn(Dtc) -> bool| {
        car.memories().any(|memory| match list {
            CodeList::Confirmed => memory.confirmed().any(is),
            CodeList::Pending => memory.pending().any(is),
            CodeList::Permanent => memory.permanent().any(is),
        })
    };
    let has = |list, dtc: Dtc| any(list, &|code| code == dtc);
    match *claim {
        Claim::Mil { commanded } => memory.mil_commanded() == commanded,
        Claim::Lamp { lit } => car.lamp_lit() == lit,
        Claim::Code(list, dtc) => has(list, dtc),
        Claim::NotCode(list, dtc) => !has(list, dtc),
        Claim::NoCode(list) => !any(list, &|_| true),
        Claim::Readiness { group, complete } => memory.readiness_since_clear().is_complete(group) == complete,
        Claim::Reported {
            from,
            value,
            side,
            limit,
        } => reported(car, from, value).is_some_and(|found| side.holds(found, limit)),
        Claim::Measured { point, side, limit } => {
            meter::reading(car, point).is_some_and(|found| side.holds(found, limit))
        }
        Claim::Tool { .. } => false,
    }
}

/// What a tester reads; nothing where no frame is stored.
fn reported(car: &Car, from: Source, value: Quantity) -> Option<f64> {
    match from {
        Source::Live => {
            let pinned = car.ecu.overrides().pinned(value);
            Some(pinned.unwrap_or_else(|| value.of(car.ecu.live())))
        }
        Source::FreezeFrame => frame(car, value).map(|frame| value.of(&frame.data)),
    }
}

/// The freeze frame with this value: the engine ECU's, else that of the transmission ECU.
fn frame(car: &Car, value: Quantity) -> Option<&FreezeFrame> {
    car.ecu.memory().freeze_frame().or_else(|| {
        let transmission = car.transmission().filter(|ecu| ecu.freezes(value))?;
        transmission.memory().freeze_frame()
    })
}

/// To a hundredth, for people.
fn rounded(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

/// What is seen of what a claim is about.
pub(crate) fn seen(car: &Car, claim: &Claim) -> String {
    let memory = car.ecu.memory();
    match *claim {
        Claim::Mil { .. } => {
            let not = if memory.mil_commanded() { "" } else { "not " };
            format!("the lamp is {not}commanded on")
        }
        Claim::Lamp { .. } => {
            let state = if car.lamp_lit() { "lit" } else { "dark" };
            format!("the lamp is {state}")
        }
        Claim::Code(list, _) | Claim::NotCode(list, _) | Claim::NoCode(list) => say(list, &codes(car, list)),
        Claim::Readiness { group, .. } => {
            let readiness = memory.readiness_since_clear();
            let state = match (readiness.is_supported(group), readiness.is_complete(group)) {
                (false, _) => "not fitted in this car",
                (true, true) => "complete",
                (true, false) => "not complete",
            };
            format!("{} is {state}", group.name())
        }
        Claim::Reported { from, value, .. } => {
            let amount = reported(car, from, value).map(|found| clock::amount(rounded(found), value.unit()));
            match (from, amount, frame(car, value)) {
                (Source::FreezeFrame, Some(amount), Some(frame)) => {
                    format!("the freeze frame of {} has {} {amount}", frame.dtc, value.name())
                }
                (Source::Live, Some(amount), _) => format!("{} is {amount}", value.name()),
                _ => "no freeze frame is stored".to_owned(),
            }
        }
        Claim::Measured { point, .. } => match meter::reading(car, point) {
            Some(found) => format!(
                "{} shows {}",
                point.name(),
                clock::amount(rounded(found), point.unit())
            ),
            None => format!("{} cannot be measured now: the engine is off", point.name()),
        },
        Claim::Tool { .. } => "the tool is not the car".to_owned(),
    }
}

fn codes(car: &Car, list: CodeList) -> Vec<Dtc> {
    let mut codes = Vec::new();
    for memory in car.memories() {
        match list {
            CodeList::Confirmed => codes.extend(memory.confirmed()),
            CodeList::Pending => codes.extend(memory.pending()),
            CodeList::Permanent => codes.extend(memory.permanent()),
        }
    }
    codes
}

fn say(list: CodeList, codes: &[Dtc]) -> String {
    if codes.is_empty() {
        return format!("no {list} code");
    }
    let names: Vec<String> = codes.iter().map(|dtc| format!("{dtc}")).collect();
    format!("{list} {}", names.join(" "))
}
