//! What can go wrong: what, where, and what to try.

use thiserror::Error;
use twotrip_obd::DtcError;
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
    /// A text that is no trouble code.
    #[error("{0}")]
    Code(#[from] DtcError),
    /// Conduct was asked for, and nobody has watched the tool.
    #[error("nobody has watched the tool: call `watch` before it begins")]
    NotWatched,
}

fn suggestion(nearest: Option<&str>) -> String {
    nearest.map_or_else(String::new, |nearest| format!(": did you mean `{nearest}`?"))
}

/// As many things that would have been right are listed in a message; of more the page of phrases tells.
const FEW: usize = 8;

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
        let expected: Vec<String> = problem.expected().iter().map(ToString::to_string).collect();
        let expected = match expected.len() {
            1..=FEW if nearest.is_empty() => format!(": expected {}", expected.join(", ")),
            _ => String::new(),
        };
        let line = line(problem.span().start);
        format!("line {line}: {problem}{nearest}{expected}{advice}")
    };
    Error::Text(problems.iter().map(say).collect())
}
