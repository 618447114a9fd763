//! The rules that can be broken, in words, with where they stand.

use core::{fmt, time::Duration};

use twotrip_isotp::ParseError;
use twotrip_obd::{RequestError, ResponseCode, ResponseError};

/// A rule that was broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Breach {
    /// A diagnostic frame shorter than eight bytes.
    ShortFrame {
        /// Its bytes.
        found: usize,
    },
    /// A frame of a kind that diagnostics do not use: remote, FD.
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
    /// Flow control that nobody waits for.
    StrayFlowControl,
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
    /// A parameter, monitor or InfoType that the ECU's own mask leaves out.
    NotSupported {
        /// The service.
        service: u8,
        /// Its number.
        number: u8,
    },
    /// The next request before every ECU had its time to answer.
    Impatient {
        /// The time since the request before.
        after: Duration,
        /// P2.
        limit: Duration,
    },
    /// Nobody answered.
    Unanswered,
    /// Codes cleared before anything was read.
    ClearedUnread,
    /// A request that no ECU understands.
    Request(RequestError),
    /// An answer that cannot be read.
    Answer(ResponseError),
}

impl Breach {
    /// Where the rule stands.
    #[must_use]
    pub const fn rule(&self) -> &'static str {
        match self {
            Self::ShortFrame { .. } | Self::Kind => {
                "ISO 15765-4: diagnostic frames have 8 bytes (from memory)"
            }
            Self::Transport(_) | Self::TooLong { .. } => "ISO 15765-2, protocol data units",
            Self::NothingToContinue
            | Self::WrongSequence { .. }
            | Self::BrokenOff { .. }
            | Self::Unfinished { .. } => "ISO 15765-2, unexpected arrival, sequence number",
            Self::NoFlowControl | Self::BlockOverrun | Self::TooClose { .. } | Self::StrayFlowControl => {
                "ISO 15765-2, flow control, block size, STmin"
            }
            Self::LateFrame { .. } => "ISO 15765-2, N_Cr; 150 ms by ISO 15765-4 (from memory)",
            Self::LateFlowControl { .. } => "ISO 15765-2, N_Bs; 75 ms by ISO 15765-4 (from memory)",
            Self::LongRequestToAll => "ISO 15765-2: functional addressing is for single frames",
            Self::LateAnswer { .. } | Self::Impatient { .. } => "ISO 15765-4, P2 50 ms, P2* 5 s",
            Self::Unasked | Self::AnsweredTwice => "SAE J1979: an answer belongs to a request",
            Self::RefusedToAll(_) => "ISO 15031-5: silence where all were asked (from memory)",
            Self::NotSupported { .. } => "SAE J1979, masks of what is supported",
            Self::Unanswered => "SAE J1979: an ECU that supports a request answers it",
            Self::ClearedUnread => "common practice, no source: read before you clear",
            Self::Request(_) | Self::Answer(_) => "SAE J1979, message layouts",
        }
    }
}

impl fmt::Display for Breach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::ShortFrame { found } => write!(f, "short frame: {found} bytes, should be 8"),
            Self::Kind => f.write_str("not a classic data frame"),
            Self::Transport(error) => error.fmt(f),
            Self::NothingToContinue => f.write_str("consecutive frame that continues nothing"),
            Self::WrongSequence { expected, found } => {
                write!(
                    f,
                    "wrong sequence number {found}, {expected} was due; the message is lost"
                )
            }
            Self::BrokenOff { received, length } => {
                write!(
                    f,
                    "a new message after {received} of {length} bytes of the one before"
                )
            }
            Self::Unfinished { received, length } => {
                write!(f, "only {received} of {length} bytes came")
            }
            Self::NoFlowControl => f.write_str("consecutive frame before flow control"),
            Self::BlockOverrun => f.write_str("consecutive frame beyond the block"),
            Self::TooClose { gap, st_min } => {
                write!(
                    f,
                    "{} after the frame before, STmin is {}",
                    Millis(*gap),
                    Millis(*st_min)
                )
            }
            Self::LateFrame { gap, limit } => {
                write!(
                    f,
                    "the next frame took {}, limit {}",
                    Millis(*gap),
                    Millis(*limit)
                )
            }
            Self::LateFlowControl { gap, limit } => {
                write!(f, "flow control took {}, limit {}", Millis(*gap), Millis(*limit))
            }
            Self::StrayFlowControl => f.write_str("flow control that nobody waits for"),
            Self::LongRequestToAll => f.write_str("a request of several frames to all"),
            Self::TooLong { length } => write!(f, "a message of {length} bytes, at most 4095 are allowed"),
            Self::LateAnswer { latency, limit } => {
                write!(f, "late answer: {}, limit {}", Millis(*latency), Millis(*limit))
            }
            Self::Unasked => f.write_str("an answer that nobody asked for"),
            Self::AnsweredTwice => f.write_str("a second answer to one request"),
            Self::RefusedToAll(code) => write!(f, "refuses a request to all ({code}), where silence is due"),
            Self::NotSupported { service, number } => {
                write!(
                    f,
                    "answers ${service:02X} ${number:02X}, which its own mask leaves out"
                )
            }
            Self::Impatient { after, limit } => write!(
                f,
                "the next request {} after the one before, when others may still answer within {}",
                Millis(*after),
                Millis(*limit)
            ),
            Self::Unanswered => f.write_str("nobody answered"),
            Self::ClearedUnread => f.write_str("cleared before any code was read: the evidence is gone"),
            Self::Request(error) => error.fmt(f),
            Self::Answer(error) => error.fmt(f),
        }
    }
}

/// A time in milliseconds with as many digits as it is worth.
struct Millis(Duration);

impl fmt::Display for Millis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let micros = self.0.as_micros();
        if micros >= 100_000 {
            write!(f, "{} ms", micros / 1000)
        } else {
            write!(f, "{}.{} ms", micros / 1000, micros % 1000 / 100)
        }
    }
}
