//! Kinds of work on a part, and what comes of it.

use super::{Defect, Part};

/// A kind of work on a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Work {
    /// Made tight, if it is there.
    Tighten,
    /// A new one.
    Replace,
    /// Cleaned.
    Clean,
    /// Put on again where it had come off.
    Reconnect,
    /// Filled up to its mark.
    Fill,
    /// Its memory written anew.
    Reprogram,
}

impl Work {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::Tighten,
        Self::Replace,
        Self::Clean,
        Self::Reconnect,
        Self::Fill,
        Self::Reprogram,
    ];

    /// The name that phrases use.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Tighten => "tighten",
            Self::Replace => "replace",
            Self::Clean => "clean",
            Self::Reconnect => "reconnect",
            Self::Fill => "fill",
            Self::Reprogram => "reprogram",
        }
    }

    /// What has been done to the part afterwards.
    #[must_use]
    pub const fn done(self) -> &'static str {
        match self {
            Self::Tighten => "tightened",
            Self::Replace => "replaced",
            Self::Clean => "cleaned",
            Self::Reconnect => "reconnected",
            Self::Fill => "filled",
            Self::Reprogram => "reprogrammed",
        }
    }

    /// The work of that name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|work| work.name() == name)
    }

    /// How long it takes on this part, in minutes (common practice, no source).
    #[must_use]
    pub const fn minutes(self, part: Part) -> u32 {
        match self {
            Self::Replace => part.minutes(),
            Self::Clean | Self::Reprogram => 30,
            Self::Tighten | Self::Reconnect | Self::Fill => 5,
        }
    }

    /// Whether it uses up a new part.
    #[must_use]
    pub const fn takes_a_part(self) -> bool {
        matches!(self, Self::Replace)
    }
}

/// What came of work on a part.
#[derive(Clone, Copy, Debug, PartialEq)]
#[must_use]
pub enum Outcome {
    /// This defect is gone.
    Cured(Defect),
    /// Nothing was wrong that such work would cure.
    NothingToCure,
}
