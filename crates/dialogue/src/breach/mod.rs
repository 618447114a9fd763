//! The rules that can be broken, in words, with where they stand.

mod words;

use core::time::Duration;

use twotrip_isotp::{FlowStatus, ParseError, StMin};
use twotrip_obd::{RequestError, ResponseCode, ResponseError, uds};

use crate::Ecu;

/// By which two testers with the same identifiers are known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sign {
    /// Flow control for an answer, after another request has been put to its ECU: who asked that does not wait for it.
    SteersBehindRequest,
    /// A request of several frames goes on behind another request.
    ContinuesBehindRequest,
}

/// A rule that was broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Breach {
    /// A diagnostic frame shorter than eight bytes.
    ShortFrame {
        /// Its bytes.
        found: usize,
    },
    /// A length that no frame of CAN FD has (ISO 11898-1).
    NoLength {
        /// Its bytes.
        found: usize,
    },
    /// A consecutive frame of another length than the first frame has set (RX_DL), before the last.
    Uneven {
        /// Its bytes.
        found: usize,
        /// Those of the first frame.
        expected: usize,
    },
    /// A frame of a kind that diagnostics do not use, or that nobody on this bus speaks: remote, or CAN FD among classic ones.
    Kind,
    /// Bytes that are no protocol data unit.
    Transport(ParseError),
    /// A consecutive frame that continues nothing.
    NothingToContinue,
    /// A consecutive frame out of turn; the message is lost.
    WrongSequence {
        /// The number that was due.
        expected: u8,
        /// The one that came.
        found: u8,
    },
    /// A new message before the one under way was whole.
    BrokenOff {
        /// Bytes that had come.
        received: u32,
        /// Bytes announced.
        length: u32,
    },
    /// The rest of a message did not come in time (N_Cr).
    Unfinished {
        /// Bytes that had come.
        received: u32,
        /// Bytes announced.
        length: u32,
    },
    /// Consecutive frames without flow control.
    NoFlowControl,
    /// More consecutive frames than the block had.
    BlockOverrun,
    /// Consecutive frames closer together than STmin.
    TooClose {
        /// The time between them.
        gap: Duration,
        /// STmin.
        st_min: Duration,
    },
    /// Too long until the next consecutive frame (N_Cr).
    LateFrame {
        /// The time between them.
        gap: Duration,
        /// The limit.
        limit: Duration,
    },
    /// Flow control that came too late (N_Bs).
    LateFlowControl {
        /// The time from the first frame.
        gap: Duration,
        /// The limit.
        limit: Duration,
    },
    /// Flow control later than a receiver may be (N_Br and N_Ar), and not so late that the sender has given up.
    SlowFlowControl {
        /// The time from the first frame.
        gap: Duration,
        /// The limit.
        limit: Duration,
    },
    /// Flow control that never came.
    MissingFlowControl {
        /// Bytes that had come.
        received: u32,
        /// Bytes announced.
        length: u32,
    },
    /// Flow control that nobody waits for.
    StrayFlowControl,
    /// Flow control on the identifier by which all are asked.
    FlowControlToAll,
    /// Flow control to an ECU that sends nothing, while this one waits for it.
    FlowControlToAnother(Ecu),
    /// A second flow control for what one has released already.
    SecondFlowControl,
    /// A tester asks the ECU to wait.
    Wait,
    /// A tester wants a flow control after so many frames.
    BlockSize(u8),
    /// A tester wants a pause between consecutive frames.
    Pause(StMin),
    /// A tester does not take the answer: no room (overflow), or a status that there is not.
    NotTaken(FlowStatus),
    /// A message of several frames to all.
    LongRequestToAll,
    /// A message longer than diagnostics on CAN allow.
    TooLong {
        /// Its length, bytes.
        length: u32,
    },
    /// An answer after P2, or P2* where the ECU had asked for time.
    LateAnswer {
        /// The time from the request's end.
        latency: Duration,
        /// The limit.
        limit: Duration,
    },
    /// An answer to nothing that was asked.
    Unasked,
    /// A second answer to the same request.
    AnsweredTwice,
    /// A refusal that has to be silence where all were asked.
    RefusedToAll(ResponseCode),
    /// A parameter, monitor, InfoType or data identifier that the ECU's own mask leaves out.
    NotSupported {
        /// The service.
        service: u8,
        /// Its number: two bytes of a data identifier.
        number: u16,
    },
    /// The next request before every ECU had its time to answer.
    Impatient {
        /// The time since the request before.
        after: Duration,
        /// P2.
        limit: Duration,
    },
    /// The next request to an ECU that had asked for time, before that was over (P2*).
    GaveUp {
        /// Which.
        ecu: Ecu,
        /// The time since it asked last.
        after: Duration,
        /// P2*.
        limit: Duration,
    },
    /// A request while an answer of this ECU was under way.
    Interrupts(Ecu),
    /// What one tester alone does not do.
    TwoAtOnce(Sign),
    /// Requests of two looks by turns, as of two testers: what fills their frames up, nothing for short ones.
    TwoLooks([Option<u8>; 2]),
    /// A request by identifiers of the other size, while ECUs may still answer.
    TalksOver {
        /// The time since the request before.
        after: Duration,
    },
    /// A parameter, monitor, InfoType or data identifier that the masks of all ECUs leave out.
    AskedUnsupported {
        /// The service.
        service: u8,
        /// Its number: two bytes of a data identifier.
        number: u16,
    },
    /// More data identifiers of SAE J1979-2 in one request than fit one frame.
    TooManyIdentifiers {
        /// How many.
        found: usize,
    },
    /// A busy ECU (7F xx 21) asked again too soon.
    RetryTooSoon {
        /// The time since it said so.
        after: Duration,
        /// The limit.
        limit: Duration,
    },
    /// A busy ECU asked again more often than a tester should.
    RetryTooOften {
        /// How often.
        times: u32,
    },
    /// A busy ECU that was not asked again.
    NotRetried(Ecu),
    /// Questions without a pause though nobody answers any more.
    PollsSleeping {
        /// How many in a row.
        requests: u32,
    },
    /// Goes on with identifiers of a size that nobody has answered.
    SizeUnanswered {
        /// 29 bits.
        extended: bool,
    },
    /// A tester with another address than the one of external test equipment.
    TesterAddress(u8),
    /// Nobody answered.
    Unanswered,
    /// Codes cleared before anything was read.
    ClearedUnread,
    /// A request that no ECU understands.
    Request(RequestError),
    /// An answer that cannot be read.
    Answer(ResponseError),
    /// A request of SAE J1979-2 that has not the length of its kind.
    RequestOnUds(uds::RequestError),
    /// An answer of SAE J1979-2 that cannot be read.
    AnswerOnUds(uds::ResponseError),
}
