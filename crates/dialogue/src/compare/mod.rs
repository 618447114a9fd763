//! Two conversations compared: what an ECU answered then and now, the difference decoded.
//!
//! ```text
//! recorded replies ─┐
//!                   ├──► compare_replies ──► a Finding for each reply: same, different, missing, unexpected
//! replies found ────┘
//! ```
//!
//! - [`Comparison`]: how strictly, and which values live.
//! - [`Difference`]: one difference in words.
//!
//! Timing is not compared here: latencies stand in the [`Reply`](crate::Reply)s.

mod content;
mod difference;
mod mode;
mod on_uds;
mod pairs;
#[cfg(test)]
mod tests;

use alloc::vec::Vec;

pub use difference::{Change, Difference, Differences};
pub use mode::{Comparison, ComparisonError, Share};

use crate::{Ecu, Reply};

/// What became of one reply.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Whose reply.
    pub ecu: Ecu,
    /// What became of it.
    pub verdict: Verdict,
    /// Place among the recorded replies; nothing for an unexpected one.
    pub recorded: Option<usize>,
    /// Place among the replies found; nothing for a missing one.
    pub found: Option<usize>,
    /// How the two differ, those differences too that the comparison lets pass.
    pub differences: Differences,
}

/// Whether a reply is what was recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// It is, as far as the comparison asks.
    Same,
    /// It says something else.
    Different,
    /// It was recorded and did not come.
    Missing,
    /// It came and was not recorded.
    Unexpected,
}

impl Verdict {
    /// In one word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Same => "same",
            Self::Different => "different",
            Self::Missing => "missing",
            Self::Unexpected => "unexpected",
        }
    }
}

/// Compares the replies to one request: ECU by ECU, the order between ECUs does not count. An ECU that replied more than once
/// is compared reply by reply.
///
/// ```
/// use twotrip_can::CanId;
/// use twotrip_dialogue::{Reply, Role, compare::{Comparison, Verdict, compare_replies}};
///
/// let Some(Role::Answer(engine)) = Role::of(CanId::Standard(0x7E8)) else {
///     panic!("not an identifier of answers");
/// };
/// let then = [Reply::new(engine, vec![0x41, 0x0C, 0x0C, 0xB0])];
/// let now = [Reply::new(engine, vec![0x41, 0x0C, 0x20, 0xF8])];
/// let findings = compare_replies(&then, &now, Comparison::Exact);
/// assert_eq!(findings[0].verdict, Verdict::Different);
/// assert_eq!(findings[0].differences.to_string(), "engine speed 812 -> 2110 rpm");
/// assert_eq!(compare_replies(&then, &now, Comparison::Shape)[0].verdict, Verdict::Same);
/// ```
#[must_use]
pub fn compare_replies(recorded: &[Reply], found: &[Reply], comparison: Comparison) -> Vec<Finding> {
    let mut findings = Vec::new();
    let keyed = |replies: &[Reply]| -> Vec<_> {
        let places = replies.iter().enumerate();
        places.map(|(place, reply)| (reply.ecu, place)).collect()
    };
    pairs::in_pairs(keyed(recorded), keyed(found), |ecu, then, now| {
        let mut differences = Differences::default();
        let verdict = match (then, now) {
            (Some(then), Some(now)) => {
                let (then, now) = (&recorded[then], &found[now]);
                differences = compare_messages(&then.bytes, &now.bytes, comparison);
                differences.add_waits(then.waits, now.waits, comparison);
                if differences.count() == 0 {
                    Verdict::Same
                } else {
                    Verdict::Different
                }
            }
            (Some(_), None) => Verdict::Missing,
            (None, _) => Verdict::Unexpected,
        };
        findings.push(Finding {
            ecu,
            verdict,
            recorded: then,
            found: now,
            differences,
        });
    });
    findings
}

/// Compares two answers to the same request.
#[must_use]
pub fn compare_messages(recorded: &[u8], found: &[u8], comparison: Comparison) -> Differences {
    let mut differences = Differences::default();
    if recorded != found {
        content::compare(recorded, found, comparison, &mut differences);
    }
    differences
}
