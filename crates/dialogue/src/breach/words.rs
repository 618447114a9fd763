//! Where each rule stands, and what broke it, in words.

use core::{fmt, time::Duration};

use twotrip_isotp::FlowStatus;

use super::{Breach, Sign};

impl Breach {
    /// Where the rule stands.
    #[must_use]
    pub const fn rule(&self) -> &'static str {
        match self {
            Self::ShortFrame { .. } | Self::Kind => {
                "ISO 15765-4: diagnostic frames have 8 bytes (from memory)"
            }
            Self::NoLength { .. } => "ISO 11898-1, lengths of CAN FD frames",
            Self::Uneven { .. } => {
                "ISO 15765-2:2016, RX_DL: the first frame sets the length of those behind it"
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
            Self::SlowFlowControl { .. } => "ISO 15765-4, N_Br and N_Ar below 25 ms",
            Self::MissingFlowControl { .. } => {
                "ISO 15765-2, flow control follows a first frame and each block"
            }
            Self::FlowControlToAll | Self::FlowControlToAnother(_) => {
                "ISO 15765-4: flow control goes to the request identifier of the ECU that answers"
            }
            Self::Wait | Self::BlockSize(_) | Self::Pause(_) | Self::NotTaken(_) => {
                "ISO 15765-4: a tester's flow control has status 0, block size 0, STmin 0 (from memory)"
            }
            Self::SecondFlowControl | Self::TalksOver { .. } | Self::TwoAtOnce(_) => {
                "ISO 15765-4: one tester at a time (from memory)"
            }
            Self::TwoLooks(_) => "one tester fills its frames up in one way (common practice, no source)",
            Self::LongRequestToAll => "ISO 15765-2: functional addressing is for single frames",
            Self::LateAnswer { .. } | Self::Impatient { .. } | Self::GaveUp { .. } => {
                "ISO 15765-4, P2 50 ms, P2* 5 s"
            }
            Self::Interrupts(_) => "ISO 15765-4: the next request when the answers are whole (from memory)",
            Self::Unasked | Self::AnsweredTwice => "SAE J1979: an answer belongs to a request",
            Self::RefusedToAll(_) => "ISO 15031-5: silence where all were asked (from memory)",
            Self::NotSupported { number: 0x100.., .. } | Self::AskedUnsupported { number: 0x100.., .. } => {
                "SAE J1979-2, masks of what is supported (from memory)"
            }
            Self::NotSupported { .. } | Self::AskedUnsupported { .. } => {
                "SAE J1979, masks of what is supported"
            }
            Self::TooManyIdentifiers { .. } => {
                "SAE J1979-2: a request to all is one frame; no source has more identifiers for one ECU"
            }
            Self::Unanswered => "SAE J1979: an ECU that supports a request answers it",
            Self::ClearedUnread => "common practice, no source: read before you clear",
            Self::RetryTooSoon { .. } | Self::RetryTooOften { .. } | Self::NotRetried(_) => {
                "ISO 15765-4: $21 is repeated after 200 ms, up to six times (from memory)"
            }
            Self::PollsSleeping { .. } => "common practice, no source: leave an ECU that sleeps a second",
            Self::SizeUnanswered { .. } => {
                "ISO 15765-4, initialisation: the size that is answered is the vehicle's (from memory)"
            }
            Self::TesterAddress(_) => {
                "ISO 15765-4: the address of external test equipment is F1 (from memory)"
            }
            Self::Request(_) | Self::Answer(_) => "SAE J1979, message layouts",
            Self::RequestOnUds(_) | Self::AnswerOnUds(_) => "ISO 14229-1, message layouts",
        }
    }
}

impl fmt::Display for Breach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::ShortFrame { found } => write!(f, "short frame: {found} bytes, should be 8"),
            Self::NoLength { found } => write!(f, "{found} bytes, a length that no frame of CAN FD has"),
            Self::Uneven { found, expected } => {
                write!(
                    f,
                    "consecutive frame of {found} bytes, should be {expected} as the first one"
                )
            }
            Self::TwoAtOnce(Sign::SteersBehindRequest) => {
                f.write_str("flow control for an answer behind another request: two testers talk at once")
            }
            Self::TwoAtOnce(Sign::ContinuesBehindRequest) => {
                f.write_str("a longer request goes on behind another request: two testers talk at once")
            }
            Self::TwoLooks(looks) => {
                f.write_str("requests look like those of two testers: ")?;
                for (place, look) in looks.iter().enumerate() {
                    f.write_str(if place == 0 { "" } else { " and " })?;
                    match look {
                        Some(pad) => write!(f, "filled up with {pad:02X}")?,
                        None => f.write_str("not filled up")?,
                    }
                }
                f.write_str(", by turns")
            }
            Self::Kind => f.write_str("not a data frame of the kind that is spoken here"),
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
            Self::SlowFlowControl { gap, limit } => {
                write!(
                    f,
                    "slow flow control: {}, should be below {}",
                    Millis(*gap),
                    Millis(*limit)
                )
            }
            Self::MissingFlowControl { received, length } => {
                write!(
                    f,
                    "flow control never came: {received} of {length} bytes were sent"
                )
            }
            Self::FlowControlToAll => f.write_str("flow control to all, which no ECU takes"),
            Self::FlowControlToAnother(ecu) => {
                write!(f, "flow control to an ECU that sends nothing; {ecu} waits for it")
            }
            Self::SecondFlowControl => {
                f.write_str("a second flow control for one: two testers, or one that sends it twice")
            }
            Self::Wait => f.write_str("asks the ECU to wait"),
            Self::BlockSize(size) => write!(f, "asks for blocks of {size}, should be 0: all at once"),
            Self::Pause(st_min) => {
                write!(f, "asks for STmin {:02X}, should be 00: no pause", st_min.byte())
            }
            Self::NotTaken(FlowStatus::Overflow) => f.write_str("says that it has no room for the answer"),
            Self::NotTaken(_) => f.write_str("flow control of a status that there is not"),
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
            Self::GaveUp { ecu, after, limit } => write!(
                f,
                "the next request to {ecu} {} after it asked for time, before {} were over",
                Millis(*after),
                Millis(*limit)
            ),
            Self::Interrupts(ecu) => write!(f, "a request while the answer of {ecu} was under way"),
            Self::TalksOver { after } => write!(
                f,
                "a request by the other identifiers {} after the one before, when ECUs may still answer that: two testers?",
                Millis(*after)
            ),
            Self::AskedUnsupported { service, number } => {
                write!(
                    f,
                    "asks ${service:02X} ${number:02X}, which the masks of all ECUs leave out"
                )
            }
            Self::RetryTooSoon { after, limit } => {
                write!(
                    f,
                    "asks a busy ECU again after {}, should be {}",
                    Millis(*after),
                    Millis(*limit)
                )
            }
            Self::RetryTooOften { times } => write!(f, "asks a busy ECU again, for the {times}th time"),
            Self::NotRetried(ecu) => write!(f, "{ecu} was busy, and is not asked again"),
            Self::PollsSleeping { requests } => {
                write!(
                    f,
                    "goes on asking: {requests} requests in a row that nobody answered"
                )
            }
            Self::SizeUnanswered { extended } => write!(
                f,
                "goes on with {}-bit identifiers, which nobody has answered",
                if *extended { 29 } else { 11 }
            ),
            Self::TesterAddress(source) => write!(f, "a tester with address {source:02X}, should be F1"),
            Self::Unanswered => f.write_str("nobody answered"),
            Self::ClearedUnread => f.write_str("cleared before any code was read: the evidence is gone"),
            Self::Request(error) => error.fmt(f),
            Self::Answer(error) => error.fmt(f),
            Self::RequestOnUds(error) => error.fmt(f),
            Self::AnswerOnUds(error) => error.fmt(f),
            Self::TooManyIdentifiers { found } => {
                write!(
                    f,
                    "{found} data identifiers in one request, at most 3 fit a frame to all"
                )
            }
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
