//! The table of disturbances, by subject, then in the order of their effect.

use super::{Occurrence, Often, Picks, Row, Size, Subject};

/// Makes the enum, the list of its members and their rows of one text.
macro_rules! rows {
    ($($(#[$doc:meta])* $kind:ident { $($field:ident: $value:expr,)* })*) => {
        /// One of the things that can go wrong on cue.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        #[non_exhaustive]
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

/// A time in seconds.
const fn seconds(what: &'static str, range: [f64; 2], usual: Option<f64>) -> Size {
    Size {
        unit: "s",
        ..ms(what, range, usual)
    }
}

/// Bytes of a message.
const fn bytes(what: &'static str, range: [f64; 2], usual: Option<f64>) -> Size {
    Size {
        unit: "bytes",
        ..ms(what, range, usual)
    }
}

/// Consecutive frames of an answer that are right before the one that is not.
const fn frames_before() -> Size {
    Size {
        what: "right frames before it",
        unit: "frames",
        range: [0.0, 500.0],
        usual: Some(0.0),
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
                  those of diagnostics; of a capture: `twotrip replay FILE.pcapng --bus BUS --load PERCENT --loop 0` beside the car",
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

    /// The answer is late.
    LateAnswer {
        name: "late-answer",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: Some(ms("delay", [1.0, 10_000.0], Some(80.0))),
        often: ALWAYS,
        meaning: "answers begin so much later: above some 40 ms beyond P2",
        good_tool: "takes what comes within P2 (50 ms) and what its own allowance adds; asks again after that, and takes no late \
                    answer for that to another question",
        source: "ISO 15765-4 (P2CAN 50 ms), from public summaries",
        example: "disturb late-answer 7E8 200 ms once",
    }
    /// 7F xx 78, then the answer.
    ResponsePending {
        name: "response-pending",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: Some(seconds("time to the answer", [0.1, 60.0], Some(1.0))),
        often: ALWAYS,
        meaning: "says 7F xx 78 at once, again every 4 s, and answers after this time",
        good_tool: "waits 5 s (P2*) from each 7F xx 78 on, does not ask again meanwhile, and takes the answer",
        source: "ISO 15765-3 and ISO 14229-1 (P2* 5000 ms, response pending), from public summaries",
        example: "disturb response-pending 7E8 3 s once",
    }
    /// 7F xx 78 for ever.
    PendingForever {
        name: "pending-forever",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "says 7F xx 78 at once and again every 4 s, and never answers; the next request ends it",
        good_tool: "gives up by a limit of its own, says so, and goes on with other ECUs",
        source: "ISO 14229-1 sets no limit (from memory); to have one is common practice, no source",
        example: "disturb pending-forever 7E8 once",
    }
    /// 7F xx 21.
    Busy {
        name: "busy",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: Often::Counted(Occurrence::Times(2)),
        meaning: "answers 7F xx 21 (busy, repeat request) and does nothing else",
        good_tool: "repeats the request after 200 ms, up to six times",
        source: "SAE J1979, ISO 15765-4 (from memory)",
        example: "disturb busy 7E8 3 times",
    }
    /// 7F 04 22.
    RefuseClear {
        name: "refuse-clear",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "refuses to clear (7F 04 22, in SAE J1979-2 7F 14 22, conditions not correct) and clears nothing",
        good_tool: "says that nothing was cleared and what may be missing; does not repeat it at once",
        source: "SAE J1979 service $04; AUTOSAR SWS_Dcm_00704",
        example: "disturb refuse-clear once",
    }
    /// No answer.
    Silent {
        name: "silent",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "does not serve requests and says nothing",
        good_tool: "asks again after P2; says in the end what it did not get",
        source: "ISO 15765-4 (P2CAN), from public summaries; to repeat is common practice, no source",
        example: "disturb silent 7E8 20 %",
    }
    /// Silence in place of a refusal.
    SilentRefusal {
        name: "silent-refusal",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "is silent where it ought to refuse (7F xx ..)",
        good_tool: "ends its wait after P2 and goes on",
        source: "ISO 15765-4 (P2CAN), from public summaries",
        example: "disturb silent-refusal",
    }
    /// A refusal in place of silence.
    RefusalForSilence {
        name: "refusal-for-silence",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "refuses (7F xx 12, a service that it lacks 7F xx 11, in SAE J1979-2 data that it lacks 7F 22 31) where it ought to be \
                  silent",
        good_tool: "takes it as: not supported, and goes on",
        source: "AUTOSAR SWS_Dcm_00001 (what is suppressed); seen in the field for service $0A",
        example: "disturb refusal-for-silence",
    }
    /// Other padding.
    Padding {
        name: "padding",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "fills its frames up with AA",
        good_tool: "does not look at what follows the message",
        source: "ISO 15765-2 (padding is not interpreted), from memory",
        example: "disturb padding",
    }
    /// Frames of fewer than eight bytes.
    ShortFrames {
        name: "short-frames",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "does not fill its frames up to eight bytes",
        good_tool: "ignores them and says so, or takes them for what they carry; does not read beyond their end",
        source: "ISO 15765-4 (DLC 8), from memory",
        example: "disturb short-frames 7E8 20 %",
    }
    /// An answer under another identifier.
    OtherIdentifier {
        name: "other-identifier",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "answers under an identifier that no ECU of a car has (7F8 in place of 7E8; on 29 bits to tester F9 in place of F1)",
        good_tool: "ignores it, sends no flow control for it, and asks again",
        source: "ISO 15765-4 (7E8 to 7EF, 18DAF1xx), from memory",
        example: "disturb other-identifier 7E8 once",
    }
    /// An answer without its end.
    Truncated {
        name: "truncated",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: Some(bytes("bytes left out", [1.0, 4094.0], Some(1.0))),
        often: ALWAYS,
        meaning: "answers lack so many bytes at their end; one is left at the least. The transport is right",
        good_tool: "does not read beyond the end, shows nothing that it made up, and asks again or says that the answer is too short",
        source: "SAE J1979 (lengths of data), from memory",
        example: "disturb truncated 7E8 2 bytes once",
    }
    /// An answer with something behind it.
    OverLong {
        name: "over-long",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: Some(bytes("bytes too many", [1.0, 4000.0], Some(3.0))),
        often: ALWAYS,
        meaning: "answers have so many bytes 55 behind their end. The transport is right",
        good_tool: "shows nothing of the surplus as data, and says that the answer is too long",
        source: "SAE J1979 (lengths of data), from memory",
        example: "disturb over-long 7E8 3 bytes",
    }
    /// A first frame that announces too much.
    WrongLength {
        name: "wrong-length",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: Some(bytes("bytes announced too many", [1.0, 4000.0], Some(14.0))),
        often: ALWAYS,
        meaning: "first frames announce so many bytes more than come",
        good_tool: "gives the message up after 150 ms (N_Cr), shows nothing of it, and asks again",
        source: "ISO 15765-2:2016 9.7 (N_Cr), ISO 15765-4 (150 ms), from public summaries",
        example: "disturb wrong-length 7E8 14 bytes once",
    }
    /// A wrong sequence number.
    WrongSequence {
        name: "wrong-sequence",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: Some(frames_before()),
        often: ALWAYS,
        meaning: "a consecutive frame of each longer answer has a sequence number one too high, after so many right ones",
        good_tool: "discards the message (N_WRONG_SN), and asks again",
        source: "ISO 15765-2:2016 9.6.4.4, from public summaries",
        example: "disturb wrong-sequence 7E8 once",
    }
    /// A consecutive frame that does not come.
    MissingFrame {
        name: "missing-frame",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: Some(frames_before()),
        often: ALWAYS,
        meaning: "a consecutive frame of each longer answer is left out, after so many right ones",
        good_tool: "discards the message (N_WRONG_SN, N_Cr at its end), and asks again",
        source: "ISO 15765-2:2016 9.6.4.4 and 9.7, from public summaries",
        example: "disturb missing-frame 7E8 1 frames once",
    }
    /// A consecutive frame that comes twice.
    RepeatedFrame {
        name: "repeated-frame",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: Some(frames_before()),
        often: ALWAYS,
        meaning: "a consecutive frame of each longer answer comes twice, after so many right ones",
        good_tool: "discards the message (N_WRONG_SN), and asks again",
        source: "ISO 15765-2:2016 9.6.4.4, from public summaries",
        example: "disturb repeated-frame 7E8 once",
    }
    /// Flow control is not heard.
    DeafToFlowControl {
        name: "deaf-to-flow-control",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "does not hear flow control: after the first frame of a longer answer nothing follows",
        good_tool: "gives the message up after 150 ms (N_Cr), and asks again",
        source: "ISO 15765-2:2016 9.7 (N_Cr), ISO 15765-4 (150 ms), from public summaries",
        example: "disturb deaf-to-flow-control 7E8 once",
    }
    /// Flow control is not waited for.
    Impatient {
        name: "impatient",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "does not wait for flow control: all frames of a longer answer follow the first one back to back",
        good_tool: "loses nothing where its flow control was in time; else gives the message up and asks again",
        source: "ISO 15765-2:2016 9.6.5 (flow control), from public summaries",
        example: "disturb impatient",
    }
    /// WAIT to a longer request.
    FlowWait {
        name: "flow-wait",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: Some(Size {
            what: "number of WAITs",
            unit: "frames",
            range: [1.0, 255.0],
            usual: Some(3.0),
        }),
        often: ALWAYS,
        meaning: "answers the first frame of a longer request with so many WAITs, 50 ms apart, before it lets it come",
        good_tool: "waits 75 ms (N_Bs) from each WAIT on, and then sends the rest",
        source: "ISO 15765-2:2016 9.6.5.1, ISO 15765-4 (N_Bs 75 ms), from public summaries",
        example: "disturb flow-wait 7E8 5 frames",
    }
    /// OVERFLOW to a longer request.
    FlowOverflow {
        name: "flow-overflow",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "answers the first frame of a longer request with OVERFLOW",
        good_tool: "sends nothing more of it (N_BUFFER_OVFLW), and says so",
        source: "ISO 15765-2:2016 9.6.5.1, from public summaries",
        example: "disturb flow-overflow 7E8",
    }
    /// No flow control to a longer request.
    NoFlowControl {
        name: "no-flow-control",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "does not answer the first frame of a longer request",
        good_tool: "sends nothing more of it (N_TIMEOUT_Bs), and says so or asks again",
        source: "ISO 15765-2:2016 9.7, ISO 15765-4 (N_Bs 75 ms), from public summaries",
        example: "disturb no-flow-control 7E8 once",
    }
    /// A reserved STmin.
    ReservedStMin {
        name: "reserved-st-min",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "its flow control has STmin F0, which is reserved",
        good_tool: "leaves 127 ms between its consecutive frames",
        source: "ISO 15765-2:2016 9.6.5.5, from public summaries",
        example: "disturb reserved-st-min",
    }
    /// A code is missing.
    CodeLeftOut {
        name: "code-left-out",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: Often::Counted(Occurrence::Times(1)),
        meaning: "the last code of a list ($03, $07, $0A; in SAE J1979-2 $19 $42, $55, $56, $1A) is left out, and is there when it is \
                  read again",
        good_tool: "holds the list of confirmed codes against their number in PID $01 ($F401), and reads it again where they differ; \
                    of the others nothing tells the number",
        source: "SAE J1979 (PID $01, number of codes); to read again is common practice, no source",
        example: "disturb code-left-out 7E8 once",
    }
    /// No VIN.
    VinMissing {
        name: "vin-missing",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "InfoType $02, in SAE J1979-2 $F802, is neither announced nor answered; only the engine ECU has a VIN",
        good_tool: "says that there is no VIN, and shows the rest",
        source: "SAE J1979 service $09 (InfoType $02), from memory",
        example: "disturb vin-missing",
    }
    /// A VIN that is too short.
    VinShort {
        name: "vin-short",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: Some(Size {
            what: "characters",
            unit: "characters",
            range: [1.0, 16.0],
            usual: Some(12.0),
        }),
        often: ALWAYS,
        meaning: "the VIN has so many characters, in place of 17",
        good_tool: "does not show it as a VIN, or says that it is too short",
        source: "ISO 3779 (17 characters); SAE J1979 service $09",
        example: "disturb vin-short 12 characters",
    }
    /// A VIN with bytes that are no characters.
    VinGarbled {
        name: "vin-garbled",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "some characters of the VIN are bytes 9C, FF and 07",
        good_tool: "says that it is no VIN, and writes none of these bytes to a terminal or file as they are",
        source: "ISO 3779 (capital letters and digits)",
        example: "disturb vin-garbled",
    }
    /// A mask that announces too much.
    MaskLies {
        name: "mask-lies",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: None,
        often: ALWAYS,
        meaning: "masks of what is supported announce three parameters that are not there, in SAE J1979-2 those of $F4xx, $F6xx and $F8xx",
        good_tool: "ends its wait for them after P2, says that they were not told, and reads the others",
        source: "SAE J1979 (unsupported: silence), ISO 15765-4 (P2CAN), from public summaries",
        example: "disturb mask-lies",
    }
    /// The ECU resets while it answers.
    Reset {
        name: "reset",
        subject: Subject::Ecu,
        picks: Picks::AnEcu,
        size: Some(ms("time until it is back", [10.0, 60_000.0], Some(300.0))),
        often: Often::Counted(Occurrence::Times(1)),
        meaning: "resets in the middle of a longer answer, after its first consecutive frame, and is back after this time; its memory stays",
        good_tool: "gives the message up after 150 ms (N_Cr), and asks again until the ECU is back",
        source: "ISO 15765-2:2016 9.7 (N_Cr), from public summaries; to repeat is common practice, no source",
        example: "disturb reset 7E8 500 ms",
    }
    /// The ECUs sleep until they hear something.
    Sleep {
        name: "sleep",
        subject: Subject::Ecu,
        picks: Picks::Nothing,
        size: Some(seconds("silence after which they sleep", [0.1, 600.0], Some(5.0))),
        often: Often::Lasting,
        meaning: "after so long a silence on the bus the ECUs sleep: the next frame wakes them, 50 ms later, and is not answered",
        good_tool: "asks again where nobody answered",
        source: "ISO 11898-2 (wake-up by bus traffic), from memory; to repeat is common practice, no source",
        example: "disturb sleep 2 s",
    }
    /// Another tester is on the bus.
    SecondTester {
        name: "second-tester",
        subject: Subject::Ecu,
        picks: Picks::Nothing,
        size: Some(ms("time between its requests", [20.0, 60_000.0], Some(150.0))),
        often: Often::Lasting,
        meaning: "another tester asks all ECUs for PIDs $0C and $0D by turns, in SAE J1979-2 for $F40C and $F40D, and they answer it too",
        good_tool: "takes no answer but those to its own question: by service and parameter",
        source: "ISO 15765-4 allows one tester (from memory); SAE J1979 (answers echo the parameter)",
        example: "disturb second-tester 100 ms",
    }
}
