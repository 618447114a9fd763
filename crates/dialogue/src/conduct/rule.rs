//! The rules of a tester's conduct: what each is called, how grave a breach is, where it stands.

use core::fmt;

use twotrip_obd::{RequestError, Service};

use crate::{Breach, Role};

/// How grave a breach is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// A standard forbids it: an ECU may be silent, or a vehicle disturbed.
    Violation,
    /// Allowed, or not regulated, and bound to end badly with some vehicle.
    Unwise,
    /// Worth knowing.
    Note,
}

impl Severity {
    /// All, the gravest first.
    pub const ALL: [Self; 3] = [Self::Violation, Self::Unwise, Self::Note];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Violation => "violation",
            Self::Unwise => "unwise",
            Self::Note => "note",
        }
    }
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A row for each rule: variant, name, severity, what a tester does that keeps it.
macro_rules! rules {
    ($($rule:ident, $name:literal, $severity:ident, $kept:literal;)*) => {
        /// A rule of a tester's conduct. Its breaches are those of [`Breach`], as far as they are a tester's.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Rule {
            $(#[doc = $kept] $rule,)*
        }

        impl Rule {
            /// All of them.
            pub const ALL: &[Self] = &[$(Self::$rule,)*];

            /// Its name, for machines.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$rule => $name,)* }
            }

            /// How grave a breach is.
            #[must_use]
            pub const fn severity(self) -> Severity {
                match self { $(Self::$rule => Severity::$severity,)* }
            }

            /// What a tester does that keeps it.
            #[must_use]
            pub const fn kept(self) -> &'static str {
                match self { $(Self::$rule => $kept,)* }
            }
        }
    };
}

rules! {
    FrameLength, "frame-length", Violation, "frames have eight bytes; on CAN FD one of its lengths, the same throughout a message";
    FrameKind, "frame-kind", Violation, "frames are data frames, classic ones or CAN FD as the ECUs speak";
    Unit, "transport-unit", Violation, "frames are protocol data units";
    Sequence, "transport-sequence", Violation, "consecutive frames continue what was begun, in turn and in time";
    Release, "transport-release", Violation, "consecutive frames keep to the flow control of the ECU";
    LongRequestToAll, "long-request-to-all", Violation, "requests to all are single frames";
    LateFlowControl, "flow-control-late", Violation, "flow control comes before the ECU gives up";
    SlowFlowControl, "flow-control-slow", Unwise, "flow control comes within 25 ms";
    MissingFlowControl, "flow-control-missing", Violation, "an answer of several frames gets its flow control";
    FlowControlToAll, "flow-control-to-all", Violation, "flow control goes to one ECU, not to all";
    FlowControlToAnother, "flow-control-to-another", Violation, "flow control goes to the ECU that answers";
    StrayFlowControl, "flow-control-stray", Unwise, "flow control is sent where one is due";
    Wait, "flow-control-wait", Violation, "the ECU is not asked to wait";
    BlockSize, "flow-control-block-size", Violation, "flow control has block size 0";
    Pause, "flow-control-st-min", Violation, "flow control has STmin 0";
    NotTaken, "flow-control-refuses", Violation, "answers are taken, however long";
    Length, "request-length", Violation, "a request has as many parameters as its service takes: six PIDs at the most";
    TooManyIdentifiers, "request-identifiers", Unwise, "a request holds three data identifiers at the most";
    Mixed, "request-mixed", Violation, "a request holds masks or data, not both";
    Layout, "request-layout", Violation, "requests have the layout of their service";
    Unsupported, "request-unsupported", Unwise, "what all masks leave out is not asked";
    Patience, "patience", Violation, "the next request comes when all have answered, or P2 is over";
    Pending, "patience-pending", Violation, "an ECU that asks for time ($78) gets it: P2*";
    Interrupts, "interrupts", Violation, "no request comes while an answer is under way";
    OneTester, "one-tester", Violation, "there is one tester";
    OneLook, "one-look", Note, "requests look like those of one tester";
    RetryTooSoon, "busy-too-soon", Violation, "a busy ECU ($21) is asked again after 200 ms";
    RetryTooOften, "busy-too-often", Unwise, "a busy ECU ($21) is asked again six times at the most";
    NotRetried, "busy-not-retried", Violation, "a busy ECU ($21) is asked again";
    ClearedUnread, "cleared-unread", Unwise, "codes are read before they are cleared";
    PollsSleeping, "polls-sleeping", Unwise, "an ECU that sleeps is let alone";
    SizeUnanswered, "identifier-size", Unwise, "requests use identifiers of a size that is answered";
    TesterAddress, "tester-address", Note, "the tester's address is F1";
}

impl Rule {
    /// Most parameters of a service $01 request are the most of any.
    const fn of_request(error: RequestError) -> Self {
        match error {
            RequestError::Mixed => Self::Mixed,
            RequestError::Length {
                service:
                    Service::CurrentData
                    | Service::FreezeFrame
                    | Service::TestResults
                    | Service::VehicleInformation,
                ..
            } => Self::Length,
            RequestError::Length { .. } | RequestError::Empty | RequestError::Unexpected { .. } => {
                Self::Layout
            }
        }
    }

    /// The rule that a breach breaks; nothing if it is not a tester's.
    #[must_use]
    pub const fn of(role: Role, breach: &Breach) -> Option<Self> {
        if !role.is_testers() {
            return None;
        }
        Some(match breach {
            Breach::ShortFrame { .. } | Breach::NoLength { .. } | Breach::Uneven { .. } => Self::FrameLength,
            Breach::Kind => Self::FrameKind,
            Breach::Transport(_) | Breach::TooLong { .. } => Self::Unit,
            Breach::NothingToContinue
            | Breach::WrongSequence { .. }
            | Breach::BrokenOff { .. }
            | Breach::Unfinished { .. }
            | Breach::LateFrame { .. } => Self::Sequence,
            Breach::NoFlowControl | Breach::BlockOverrun | Breach::TooClose { .. } => Self::Release,
            Breach::LongRequestToAll => Self::LongRequestToAll,
            Breach::LateFlowControl { .. } => Self::LateFlowControl,
            Breach::SlowFlowControl { .. } => Self::SlowFlowControl,
            Breach::MissingFlowControl { .. } => Self::MissingFlowControl,
            Breach::FlowControlToAll => Self::FlowControlToAll,
            Breach::FlowControlToAnother(_) => Self::FlowControlToAnother,
            Breach::StrayFlowControl => Self::StrayFlowControl,
            Breach::Wait => Self::Wait,
            Breach::BlockSize(_) => Self::BlockSize,
            Breach::Pause(_) => Self::Pause,
            Breach::NotTaken(_) => Self::NotTaken,
            Breach::Request(error) => Self::of_request(*error),
            Breach::RequestOnUds(_) => Self::Layout,
            Breach::TooManyIdentifiers { .. } => Self::TooManyIdentifiers,
            Breach::AskedUnsupported { .. } => Self::Unsupported,
            Breach::Impatient { .. } => Self::Patience,
            Breach::GaveUp { .. } => Self::Pending,
            Breach::Interrupts(_) => Self::Interrupts,
            Breach::SecondFlowControl | Breach::TalksOver { .. } | Breach::TwoAtOnce(_) => Self::OneTester,
            Breach::TwoLooks(_) => Self::OneLook,
            Breach::RetryTooSoon { .. } => Self::RetryTooSoon,
            Breach::RetryTooOften { .. } => Self::RetryTooOften,
            Breach::NotRetried(_) => Self::NotRetried,
            Breach::ClearedUnread => Self::ClearedUnread,
            Breach::PollsSleeping { .. } => Self::PollsSleeping,
            Breach::SizeUnanswered { .. } => Self::SizeUnanswered,
            Breach::TesterAddress(_) => Self::TesterAddress,
            // An ECU's, or nobody's: who is asked for what is not there is silent.
            Breach::Unanswered
            | Breach::LateAnswer { .. }
            | Breach::Unasked
            | Breach::AnsweredTwice
            | Breach::RefusedToAll(_)
            | Breach::NotSupported { .. }
            | Breach::Answer(_)
            | Breach::AnswerOnUds(_) => return None,
        })
    }
}
