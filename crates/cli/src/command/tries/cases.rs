//! What is judged of a tool at one car, a case each.

use serde::Serialize;

/// What a case is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Subject {
    /// How the tool ended.
    Tool,
    /// Whether the car lived through its story as the scenario says: nothing that a tool could help.
    Story,
    /// Whether the tool has read the codes.
    Codes,
    /// What the scenario expects.
    Expectation,
    /// What the tool did about a disturbance.
    Disturbance,
    /// Whether it kept the rules of good conduct.
    Conduct,
}

impl Subject {
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Tool => "tool",
            Self::Story => "story",
            Self::Codes => "codes",
            Self::Expectation => "expectation",
            Self::Disturbance => "disturbance",
            Self::Conduct => "conduct",
        }
    }
}

/// What was found of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub(super) struct Case {
    pub(super) subject: Subject,
    /// What should be.
    pub(super) name: String,
    pub(super) passed: bool,
    /// What is.
    pub(super) found: String,
}

impl Case {
    pub(super) fn new(
        subject: Subject,
        name: impl Into<String>,
        passed: bool,
        found: impl Into<String>,
    ) -> Self {
        Self {
            subject,
            name: name.into(),
            passed,
            found: found.into(),
        }
    }

    /// Whether another run failed in the same way.
    pub(super) fn is_like(&self, other: &Self) -> bool {
        self.subject == other.subject && self.name == other.name && self.passed == other.passed
    }
}
