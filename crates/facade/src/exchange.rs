//! What comes of asking and telling.

use crate::{EcuNumber, Frame, Instant};

/// A frame as it passed on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wired {
    /// When its last bit had passed, in bus time: nanoseconds since the car came up.
    pub at: Instant,
    /// Whether the car sent it.
    pub from_car: bool,
    /// The frame.
    pub frame: Frame,
}

/// The answer of one ECU: service and data, without transport.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// Whose: 0 answers on 7E8, 7 on 7EF.
    pub ecu: EcuNumber,
    /// Its bytes, the service first (`43 ..`), or a refusal (`7F ..`).
    pub payload: Vec<u8>,
}

/// A question with all that came of it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Exchange {
    /// The answers, in the order in which they were complete. None: silence.
    pub answers: Vec<Answer>,
    /// All frames, request and flow control included.
    pub frames: Vec<Wired>,
}

impl Exchange {
    /// The payload of the first answer.
    #[must_use]
    pub fn first(&self) -> Option<&[u8]> {
        self.answers.first().map(|answer| &answer.payload[..])
    }
}

/// What the car says to a phrase.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Said {
    /// What came of it, a sentence without a full stop.
    pub text: String,
    /// Further lines: readings of `measure`, the chain of `why`.
    pub details: Vec<String>,
}
