//! Messages become conversations: a request, and what each ECU answered to it.
//!
//! A negative answer that asks for time (7F xx 78) is no answer yet: it is counted with the one that follows.

use alloc::{
    collections::{BTreeMap, VecDeque},
    vec::Vec,
};
use core::time::Duration;

use twotrip_isotp::Pdu;
use twotrip_obd::{Response, ResponseCode};
use twotrip_units::BusInstant;

use crate::{Ecu, Message, Role, Unit, conversation::QUESTIONS};

/// A conversation in which nothing was said for this long is over: P2* is 5 s (ISO 15765-4), and a pause as long for late ones.
const QUIET: Duration = Duration::from_secs(10);
/// Answers kept of one conversation: eight ECUs (ISO 15765-4, from memory) and room for repetitions.
const REPLIES: usize = 32;

/// A request and its answers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Conversation {
    /// Number of the request among the messages.
    pub number: u64,
    /// Who was asked.
    pub role: Role,
    /// The request without transport bytes.
    pub request: Vec<u8>,
    /// Numbers of the request's first and last frame.
    pub frames: (u64, u64),
    /// When the request's first frame came.
    pub began: BusInstant,
    /// When its last frame came.
    pub ended: BusInstant,
    /// The answers in the order in which they began to count.
    pub replies: Vec<Reply>,
    /// Answers beyond those kept.
    pub more: u64,
    /// ECUs whose answer began and did not come whole.
    pub broken: Vec<Ecu>,
}

/// What one ECU answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reply {
    /// Whose answer.
    pub ecu: Ecu,
    /// The answer without transport bytes. 7F xx 78 if the ECU asked for time and then said nothing.
    pub bytes: Vec<u8>,
    /// From the request's end to the first frame of this answer.
    pub latency: Duration,
    /// Numbers of its first and last frame.
    pub frames: (u64, u64),
    /// When its last frame came.
    pub ended: BusInstant,
    /// How often the ECU asked for time before it.
    pub waits: u32,
}

impl Conversation {
    /// When the last frame came, of the request or of an answer.
    #[must_use]
    pub fn over(&self) -> BusInstant {
        let replies = self.replies.iter().map(|reply| reply.ended);
        replies.max().map_or(self.ended, |last| last.max(self.ended))
    }

    fn answer(&mut self, ecu: Ecu, latency: Duration, message: Message) {
        let asks_for_time = is_response_pending(&message.bytes);
        let waiting = |reply: &Reply| reply.ecu == ecu && reply.is_only_pending();
        match self.replies.iter().position(waiting) {
            Some(place) => {
                let reply = &mut self.replies[place];
                reply.waits = reply.waits.saturating_add(u32::from(asks_for_time));
                (reply.latency, reply.frames, reply.ended) = (latency, message.frames, message.ended);
                reply.bytes = message.bytes;
            }
            None if self.replies.len() < REPLIES => self.replies.push(Reply {
                ecu,
                latency,
                frames: message.frames,
                ended: message.ended,
                waits: asks_for_time.into(),
                bytes: message.bytes,
            }),
            None => self.more = self.more.saturating_add(1),
        }
    }
}

impl Reply {
    /// An answer of which nothing but the bytes is known.
    #[must_use]
    pub const fn new(ecu: Ecu, bytes: Vec<u8>) -> Self {
        Self {
            ecu,
            bytes,
            latency: Duration::ZERO,
            frames: (0, 0),
            ended: BusInstant::ZERO,
            waits: 0,
        }
    }

    /// Whether the ECU asked for time and then said nothing.
    #[must_use]
    pub fn is_only_pending(&self) -> bool {
        is_response_pending(&self.bytes)
    }
}

fn is_response_pending(bytes: &[u8]) -> bool {
    matches!(
        Response::parse(bytes),
        Ok(Response::Negative(_, ResponseCode::ResponsePending))
    )
}

/// Gathers the messages of a [`Dialogue`](crate::Dialogue) to conversations. Memory is bounded.
///
/// ```
/// use twotrip_can::{CanId, Frame};
/// use twotrip_dialogue::{Dialogue, Event, Gather};
/// use twotrip_units::BusInstant;
///
/// let (mut dialogue, mut gather) = (Dialogue::default(), Gather::default());
/// let ask = Frame::padded(CanId::Standard(0x7DF), &[2, 0x01, 0x0C], 0);
/// let answer = Frame::padded(CanId::Standard(0x7E8), &[4, 0x41, 0x0C, 0x1A, 0xF8], 0);
/// for (number, frame) in [ask, answer].iter().enumerate() {
///     dialogue.on_frame(number as u64, BusInstant::from_millis(number as u64), frame);
///     while let Some(event) = dialogue.poll_event() {
///         if let Event::Message(message) = event {
///             gather.on_message(message);
///         }
///     }
/// }
/// gather.on_end();
/// let conversation = gather.poll().expect("one request was made");
/// assert_eq!(conversation.replies[0].bytes, [0x41, 0x0C, 0x1A, 0xF8]);
/// ```
#[derive(Clone, Debug, Default)]
pub struct Gather {
    open: VecDeque<Conversation>,
    closed: VecDeque<Conversation>,
    /// Answers of several frames under way, and the requests that they answer.
    begun: BTreeMap<Ecu, u64>,
    unasked: u64,
}

impl Gather {
    /// Takes a frame as transport sees it, before the message that it completes: so an answer that begins and does not come
    /// whole is known.
    pub fn on_unit(&mut self, unit: &Unit) {
        let (Role::Answer(ecu), Pdu::FirstFrame { .. }) = (unit.role, unit.pdu) else {
            return;
        };
        self.break_off(ecu);
        if let Some(asked) = self.open.iter().rev().find(|asked| asked.role.reaches(ecu)) {
            self.begun.insert(ecu, asked.number);
        }
    }

    /// What the ECU has begun comes to no end.
    fn break_off(&mut self, ecu: Ecu) {
        let number = self.begun.remove(&ecu);
        let mut open = self.open.iter_mut();
        if let Some(asked) = number.and_then(|number| open.find(|asked| asked.number == number)) {
            asked.broken.push(ecu);
        }
    }

    /// The oldest conversation is over.
    fn close_oldest(&mut self) {
        if let Some(mut oldest) = self.open.pop_front() {
            let number = oldest.number;
            let mut broken = self.begun.extract_if(.., |_, asked| *asked == number);
            oldest.broken.extend(broken.by_ref().map(|(ecu, _)| ecu));
            drop(broken);
            self.closed.push_back(oldest);
        }
    }

    /// Takes the next message. Poll before the next one.
    pub fn on_message(&mut self, message: Message) {
        let Role::Answer(ecu) = message.role else {
            // A dialogue remembers no more questions.
            if self.open.len() == QUESTIONS {
                self.close_oldest();
            }
            self.open.push_back(Conversation {
                number: message.number,
                role: message.role,
                frames: message.frames,
                began: message.began,
                ended: message.ended,
                request: message.bytes,
                replies: Vec::new(),
                more: 0,
                broken: Vec::new(),
            });
            return;
        };
        if message.pieces > 1 {
            self.begun.remove(&ecu);
        } else {
            self.break_off(ecu);
        }
        let asked = message.answers.and_then(|(number, latency)| {
            let asked = |conversation: &&mut Conversation| conversation.number == number;
            Some((self.open.iter_mut().find(asked)?, latency))
        });
        match asked {
            Some((conversation, latency)) => conversation.answer(ecu, latency, message),
            None => self.unasked = self.unasked.saturating_add(1),
        }
    }

    /// It is this late: conversations in which nothing has been said for ten seconds are over.
    pub fn on_time(&mut self, now: BusInstant) {
        while self
            .open
            .front()
            .is_some_and(|oldest| now.saturating_since(oldest.over()) > QUIET)
        {
            self.close_oldest();
        }
    }

    /// The first frame of the oldest conversation that is not over.
    #[must_use]
    pub fn oldest_open(&self) -> Option<u64> {
        self.open.front().map(|oldest| oldest.frames.0)
    }

    /// No more messages come.
    pub fn on_end(&mut self) {
        while !self.open.is_empty() {
            self.close_oldest();
        }
    }

    /// The next conversation that is over, in the order of the requests.
    #[must_use]
    pub fn poll(&mut self) -> Option<Conversation> {
        self.closed.pop_front()
    }

    /// Answers that belong to no request.
    #[must_use]
    pub const fn unasked(&self) -> u64 {
        self.unasked
    }
}
