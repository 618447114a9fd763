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

/// A time in milliseconds.
const fn ms(what: &'static str, range: [f64; 2], usual: Option<f64>) -> Size {
    Size {
        what,
        unit: "ms",
        range,
        usual,
    }
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

    /// Frames come later.
    Delay {
        name: "delay",
        subject: Subject::Wire,
        picks: Picks::Frames,
        size: Some(ms("delay", [1.0, 10_000.0], None)),
        often: ALWAYS,
        meaning: "frames come so much later, as behind a busy gateway; those of one identifier keep their order",
        good_tool: "takes what is late but in time, asks again for what came after P2 or N_Cr, and takes no late answer for that to \
                    another question",
        source: "ISO 15765-4 (P2 50 ms, N_Cr 150 ms), from memory",
        example: "disturb delay 7E8 30 ms 3 times",
    }
    /// Frames come more or less late.
    Jitter {
        name: "jitter",
        subject: Subject::Wire,
        picks: Picks::Frames,
        size: Some(ms("greatest delay", [1.0, 10_000.0], None)),
        often: ALWAYS,
        meaning: "frames come later, each by another time up to this; those of one identifier keep their order",
        good_tool: "as with a delay: waits its timeouts and no shorter, and asks again after them",
        source: "ISO 15765-4 (P2 50 ms, N_Cr 150 ms), from memory",
        example: "disturb jitter 40 ms",
    }
    /// Frames come twice.
    Duplicate {
        name: "duplicate",
        subject: Subject::Wire,
        picks: Picks::Frames,
        size: None,
        often: ALWAYS,
        meaning: "frames come twice, as when a sender missed the acknowledgement: a consecutive frame then is out of turn",
        good_tool: "takes an answer of one frame once; drops a long one whose sequence number is wrong, and asks again",
        source: "ISO 15765-2 (N_WRONG_SN), ISO 11898-1 (a frame can come twice), from memory",
        example: "disturb duplicate 7E8 10 %",
    }
    /// Frames are overtaken.
    Reorder {
        name: "reorder",
        subject: Subject::Wire,
        picks: Picks::Frames,
        size: Some(ms("longest wait", [1.0, 1000.0], Some(20.0))),
        often: ALWAYS,
        meaning: "frames wait until one of another identifier has overtaken them, or so long; those of one identifier keep their \
                  order, as on every CAN",
        good_tool: "does not rely on the order in which ECUs answer",
        source: "ISO 15765-4 (each ECU answers within P2, in any order), from memory",
        example: "disturb reorder 7E8 50 %",
    }
    /// Frames are destroyed by bus errors.
    BusError {
        name: "bus-error",
        subject: Subject::Wire,
        picks: Picks::Frames,
        size: None,
        often: ALWAYS,
        meaning: "frames are destroyed by error frames and sent again by their controller, whose error counter rises: error-passive \
                  from 128 on, off the bus above 255; error message frames tell of it on a virtual bus",
        good_tool: "goes on: its controller repeats by itself; what was lost by a bus-off it asks again",
        source: "ISO 11898-1 (fault confinement), from memory; linux/can/error.h",
        example: "disturb bus-error 7E8 20 %",
    }
    /// The car's controller is error-passive.
    ErrorPassive {
        name: "error-passive",
        subject: Subject::Wire,
        picks: Picks::Nothing,
        size: None,
        often: Often::Lasting,
        meaning: "the car's controller is error-passive and says so in error message frames: it waits longer between its frames",
        good_tool: "goes on as before: such a node still takes part",
        source: "ISO 11898-1 (fault confinement), from memory; linux/can/error.h",
        example: "disturb error-passive",
    }
    /// The car's controller leaves the bus.
    BusOff {
        name: "bus-off",
        subject: Subject::Wire,
        picks: Picks::Frames,
        size: Some(ms("time off the bus", [3.0, 60_000.0], Some(100.0))),
        often: Often::Counted(Occurrence::Times(1)),
        meaning: "as it sends, the car's controller goes off the bus: the frame is lost, it neither hears nor sends for this time, then \
                  it is back",
        good_tool: "asks again after its timeout until the car is back, and goes on",
        source: "ISO 11898-1 (recovery after 128 times 11 bits), from memory; to repeat is common practice, no source",
        example: "disturb bus-off 500 ms",
    }
    /// Others fill the bus.
    BackgroundLoad {
        name: "background-load",
        subject: Subject::Wire,
        picks: Picks::Nothing,
        size: Some(Size {
            what: "load",
            unit: "%",
            range: [1.0, 95.0],
            usual: None,
        }),
        often: Often::Lasting,
        meaning: "other control units send so much that it takes this share of the bus, with identifiers 100 to 4FF that win over \
                  those of diagnostics; a load of your own: `twotrip replay FILE.pcapng --bus BUS` beside the car",
        good_tool: "filters by identifier, loses none of its own frames and keeps its times",
        source: "ISO 11898-1 (arbitration), ISO 15765-4 (the bus is shared with the car's own traffic), from memory",
        example: "disturb background-load 60 %",
    }
    /// The car is gone from the bus.
    InterfaceDown {
        name: "interface-down",
        subject: Subject::Wire,
        picks: Picks::Nothing,
        size: Some(Size {
            what: "time",
            unit: "s",
            range: [0.05, 600.0],
            usual: Some(1.0),
        }),
        often: Often::Lasting,
        meaning: "the car is gone from the bus for this time, as if its interface were down: it neither hears nor sends; the \
                  interface itself stays up",
        good_tool: "notices that nobody answers, asks again, and goes on once the car is back",
        source: "common practice, no source",
        example: "disturb interface-down 3 s",
    }
}
