//! What can go wrong: what, where, and what to try.

use thiserror::Error;
use twotrip_scenario::Problem;
use twotrip_tester::RequestError;

/// Why a car could not be built, or a call was refused.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum Error {
    /// No scenario, or no vehicle, of that name is shipped.
    #[error("no {what} `{name}` is shipped{}", suggestion(*nearest))]
    Unknown {
        /// `scenario` or `vehicle`.
        what: &'static str,
        /// The name given.
        name: String,
        /// The nearest name there is, if one is near.
        nearest: Option<&'static str>,
    },
    /// A scenario file, a vehicle file or a phrase that is not right; one line for each problem.
    #[error("{}", .0.join("\n"))]
    Text(Vec<String>),
    /// A phrase that could not be carried out, or an expectation that was not met.
    #[error("{phrase}: {text}")]
    Refused {
        /// The phrase.
        phrase: String,
        /// What the car says to it.
        text: String,
        /// What to try, readings, reasons: a line each.
        details: Vec<String>,
    },
    /// A request that the transport cannot send.
    #[error("request: {0}")]
    Request(#[from] RequestError),
    /// As many frames wait for the bus as its queue holds: let time pass.
    #[error("{0} frames wait for the bus already: let time pass by `advance` before sending more")]
    BusFull(usize),
}

fn suggestion(nearest: Option<&str>) -> String {
    nearest.map_or_else(String::new, |nearest| format!(": did you mean `{nearest}`?"))
}

/// The problems of a text, each with the line it is on.
pub(crate) fn of_text(text: &str, problems: &[Problem]) -> Error {
    let line = |at: usize| {
        text.get(..at)
            .map_or(1, |before| before.matches('\n').count() + 1)
    };
    let say = |problem: &Problem| {
        let advice = problem.advice().map(|advice| format!(" ({advice})"));
        let nearest = suggestion(problem.nearest());
        let advice = advice.unwrap_or_default();
        format!("line {}: {problem}{nearest}{advice}", line(problem.span().start))
    };
    Error::Text(problems.iter().map(say).collect())
}
