//! What a tester tells the layer above.

use core::time::Duration;

use twotrip_isotp::NResult;

use crate::EcuNumber;

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// An answer is complete, positive or negative: read it by [`Tester::answer`](crate::Tester::answer) before the next
    /// frame goes in.
    Answer {
        /// Whose.
        ecu: EcuNumber,
        /// From the end of the request to the end of the answer's first frame.
        after: Duration,
    },
    /// An ECU will answer later (7F xx 78).
    Pending {
        /// Which.
        ecu: EcuNumber,
    },
    /// An ECU is busy (7F xx 21); the request will be repeated.
    Busy {
        /// Which.
        ecu: EcuNumber,
    },
    /// Our request (`ecu` is `None`) or the answer of an ECU broke off.
    Failed {
        /// Whose answer.
        ecu: Option<EcuNumber>,
        /// Why.
        result: NResult,
    },
    /// A frame or message of an ECU that has no place in the exchange.
    Ignored {
        /// Whose.
        ecu: EcuNumber,
        /// Why.
        reason: Ignored,
    },
    /// The exchange is over; the next request may be made.
    Finished {
        /// How many ECUs have answered.
        answers: u8,
        /// How it ended.
        outcome: Outcome,
    },
}

/// How an exchange ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Every answer that began was completed, and there was one at least.
    Answered,
    /// No ECU began an answer in time.
    Silent,
    /// An ECU broke off its answer, or announced one that never came.
    Incomplete,
    /// The bus did not take the request, or an ECU did not take the whole of it.
    NotSent,
}

/// Why a frame or message had no effect on the exchange.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Ignored {
    /// The ECU was not asked, or has answered already.
    #[error("nobody asked this ECU, or it has answered already")]
    Unasked,
    /// The message answers another service than the one asked.
    #[error("message begins with `{found:02X}`, which does not answer service `{service:02X}`")]
    OtherService {
        /// The service asked.
        service: u8,
        /// First byte of the message.
        found: u8,
    },
    /// The message answers the service, but tells another parameter than those asked for: a late answer to another question, or
    /// one to another tester.
    #[error("answer of service `{service:02X}` about `{found:02X}`, which was not asked for")]
    OtherParameter {
        /// The service asked.
        service: u8,
        /// The parameter told.
        found: u16,
    },
    /// The transport ignored a frame.
    #[error(transparent)]
    Transport(#[from] twotrip_isotp::Ignored),
}
