//! A difference in words.

use alloc::{
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::fmt;

use super::Comparison;

/// Differences kept of two messages; the others are counted.
const KEPT: usize = 64;

/// One thing that two messages say differently.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// What it is about: `engine speed`, `confirmed code P0455`.
    pub subject: String,
    /// What was recorded and what was found.
    pub change: Change,
    /// The comparison lets it pass.
    pub tolerated: bool,
}

/// Before and after.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change {
    /// Another value, with its unit.
    Value {
        /// As recorded.
        recorded: String,
        /// As found.
        found: String,
    },
    /// Recorded, and not found.
    Gone,
    /// Found, and not recorded.
    Appeared,
}

impl fmt::Display for Difference {
    /// `engine speed 812 -> 2110 rpm`, `confirmed code P0455 gone`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let subject = &self.subject;
        match &self.change {
            Change::Gone => write!(f, "{subject} gone"),
            Change::Appeared => write!(f, "{subject} appeared"),
            Change::Value { recorded, found } => {
                let recorded = without_shared_unit(recorded, found);
                write!(f, "{subject} {recorded} -> {found}")
            }
        }
    }
}

/// `812 rpm` without its unit if the other has the same.
fn without_shared_unit<'a>(text: &'a str, other: &str) -> &'a str {
    let number = |text: &str| text.parse::<f64>().is_ok();
    match (text.split_once(' '), other.split_once(' ')) {
        (Some((value, unit)), Some((other, others_unit)))
            if unit == others_unit && number(value) && number(other) =>
        {
            value
        }
        _ => text,
    }
}

/// The differences of two messages.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Differences {
    kept: Vec<Difference>,
    /// Beyond those kept: that count, and that are let pass.
    omitted: (usize, usize),
}

impl Differences {
    /// Those kept: the first 64.
    #[must_use]
    pub fn kept(&self) -> &[Difference] {
        &self.kept
    }

    /// Those kept that count.
    pub fn counting(&self) -> impl Iterator<Item = &Difference> {
        self.kept.iter().filter(|difference| !difference.tolerated)
    }

    /// Those kept that the comparison lets pass.
    pub fn tolerated(&self) -> impl Iterator<Item = &Difference> {
        self.kept.iter().filter(|difference| difference.tolerated)
    }

    /// How many count, kept or not.
    #[must_use]
    pub fn count(&self) -> usize {
        self.counting().count() + self.omitted.0
    }

    /// Whether there is none at all.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.kept.is_empty()
    }

    /// Adds a difference that counts unless it is let pass.
    pub(super) fn add(&mut self, tolerated: bool, subject: impl FnOnce() -> String, change: Change) {
        if self.kept.len() < KEPT {
            self.kept.push(Difference {
                subject: subject(),
                change,
                tolerated,
            });
        } else if tolerated {
            self.omitted.1 += 1;
        } else {
            self.omitted.0 += 1;
        }
    }

    /// Adds another value.
    pub(super) fn add_value(
        &mut self,
        tolerated: bool,
        subject: impl FnOnce() -> String,
        recorded: impl fmt::Display,
        found: impl fmt::Display,
    ) {
        let change = Change::Value {
            recorded: recorded.to_string(),
            found: found.to_string(),
        };
        self.add(tolerated, subject, change);
    }

    /// Asked for time: how often is a matter of timing, whether at all counts where every byte does.
    pub(super) fn add_waits(&mut self, recorded: u32, found: u32, comparison: Comparison) {
        if recorded != found {
            let tolerated = !comparison.counts_every_byte();
            let times = |count: u32| match count {
                1 => "once".into(),
                count => format!("{count} times"),
            };
            self.add_value(
                tolerated,
                || "asked for time (7F xx 78)".into(),
                times(recorded),
                times(found),
            );
        }
    }
}

impl fmt::Display for Differences {
    /// Those that count, with commas; if none does, those that are let pass.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let all_pass = self.count() == 0;
        let mut separator = "";
        for difference in self
            .kept
            .iter()
            .filter(|difference| difference.tolerated == all_pass)
        {
            write!(f, "{separator}{difference}")?;
            separator = ", ";
        }
        match if all_pass { self.omitted.1 } else { self.omitted.0 } {
            0 => Ok(()),
            omitted => write!(f, "{separator}{omitted} more"),
        }
    }
}
