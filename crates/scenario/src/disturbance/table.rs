//! The table of disturbances, by subject, then in the order of their effect.

use super::{Occurrence, Often, Picks, Row, Size, Subject};

/// Makes the enum, the list of its members and their rows of one text.
macro_rules! rows {
    ($($(#[$doc:meta])* $kind:ident { $($field:ident: $value:expr,)* })*) => {
        /// One of the things that can go wrong on cue.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Kind {
            $($(#[$doc])* $kind,)*
        }

        impl Kind {
            /// All of them.
            pub const ALL: &[Self] = &[$(Self::$kind,)*];

            /// What is known of it.
            #[must_use]
            pub const fn row(self) -> &'static Row {
                match self {
                    $(Self::$kind => {
                        const ROW: Row = Row { $($field: $value,)* };
                        &ROW
                    })*
                }
            }
        }
    };
}

/// Each time unless it is said how often.
const ALWAYS: Often = Often::Counted(Occurrence::Always);

rows! {
    /// Frames are lost.
    Drop {
        name: "drop",
        subject: Subject::Wire,
        picks: Picks::Frames,
        size: None,
        often: ALWAYS,
        meaning: "frames are lost on their way: of the tool before the car hears them, of the car before they are on the bus",
        good_tool: "asks again what was not answered, or not to the end, after P2 (N_Cr in a long answer)",
        source: "ISO 15765-4 (P2), ISO 15765-2 (N_Cr), both from memory; to repeat is common practice, no source",
        example: "disturb drop 7E8 20 %",
    }
}
