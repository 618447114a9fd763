//! The last questions of a tool, and who has answered them.

use alloc::{collections::VecDeque, vec::Vec};

use twotrip_units::BusInstant;

use crate::{Ecu, Message, Role};

/// Questions remembered.
const MOST: usize = 32;
/// Bytes of a question that are kept: one frame's. Legislated ones have no more.
const ROOM: usize = 7;

/// A question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Asked {
    /// Number of its message.
    pub(crate) number: u64,
    /// To whom.
    pub(crate) role: Role,
    /// The end of its last frame.
    pub(crate) at: BusInstant,
    bytes: [u8; ROOM],
    len: usize,
}

impl Asked {
    pub(crate) fn new(message: &Message) -> Self {
        let mut bytes = [0; ROOM];
        let len = message.bytes.len().min(ROOM);
        bytes[..len].copy_from_slice(&message.bytes[..len]);
        Self {
            number: message.number,
            role: message.role,
            at: message.ended,
            bytes,
            len,
        }
    }

    pub(crate) fn bytes(&self) -> &[u8] {
        &self.bytes[..self.len]
    }

    /// Whether it asks for confirmed codes, whose number PID $01 tells: $03, $19 $42 with bit 3 of the status.
    pub(crate) fn asks_for_confirmed(&self) -> bool {
        match self.bytes() {
            [0x03] => true,
            [0x19, 0x42, _, status, ..] => status & 0x08 != 0,
            _ => false,
        }
    }

    /// Whether who asks this asks for something that the other asked for: the same service, and with parameters or data
    /// identifiers one of them in common.
    pub(crate) fn asks_again(&self, other: &Self) -> bool {
        match (self.bytes(), other.bytes()) {
            ([service, mine @ ..], [same, others @ ..]) if service == same => {
                mine == others
                    || match service {
                        // The second byte is the frame's number.
                        0x02 => mine.first() == others.first(),
                        0x01..=0x0A => mine.iter().any(|parameter| others.contains(parameter)),
                        0x22 => {
                            let others = others.as_chunks::<2>().0;
                            mine.as_chunks().0.iter().any(|did| others.contains(did))
                        }
                        // Codes with any of the same status bits.
                        0x19 => match (mine, others) {
                            ([0x42, _, mine, ..], [0x42, _, others, ..]) => mine & others != 0,
                            _ => false,
                        },
                        _ => false,
                    }
            }
            _ => false,
        }
    }
}

/// An answer.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Answered<'a> {
    pub(crate) ecu: Ecu,
    /// When it was whole.
    pub(crate) at: BusInstant,
    pub(crate) bytes: &'a [u8],
    /// What it answers, if that is remembered.
    pub(crate) question: Option<Asked>,
    /// Whether nothing else was asked of this ECU since.
    pub(crate) is_to_the_last: bool,
}

impl Answered<'_> {
    /// Whether it is more than an appeal to wait (7F xx 78), or to come again (7F xx 21).
    pub(crate) const fn is_final(&self) -> bool {
        !matches!(self.bytes, [0x7F, _, 0x21 | 0x78])
    }
}

/// What was said last.
#[derive(Clone, Debug, Default)]
pub(crate) struct Talk {
    questions: VecDeque<(Asked, Vec<Ecu>)>,
    heard: Vec<Ecu>,
}

/// ECUs remembered: as many as may be on a bus (ISO 15765-4, from memory).
const ECUS: usize = 8;

impl Talk {
    pub(crate) fn asked(&mut self, asked: Asked) {
        let spare = if self.questions.len() == MOST {
            self.questions.pop_front().map(|(_, ecus)| ecus)
        } else {
            None
        };
        let mut ecus = spare.unwrap_or_default();
        ecus.clear();
        self.questions.push_back((asked, ecus));
    }

    pub(crate) fn answered(&mut self, answered: &Answered<'_>) {
        if self.heard.len() < ECUS && !self.heard.contains(&answered.ecu) {
            self.heard.push(answered.ecu);
        }
        let Some(question) = answered.question else {
            return;
        };
        let mut questions = self.questions.iter_mut();
        if answered.is_final()
            && let Some((_, ecus)) = questions.find(|(asked, _)| asked.number == question.number)
            && !ecus.contains(&answered.ecu)
        {
            ecus.push(answered.ecu);
        }
    }

    /// Whether this ECU has answered anything; where nobody has, any may be the one.
    pub(crate) fn has_heard(&self, ecu: Ecu) -> bool {
        self.heard.is_empty() || self.heard.contains(&ecu)
    }

    /// The question of this number.
    pub(crate) fn question(&self, number: u64) -> Option<&Asked> {
        let mut questions = self.questions.iter().map(|(asked, _)| asked);
        questions.find(|asked| asked.number == number)
    }

    /// The last question that an ECU was asked.
    pub(crate) fn last_to(&self, ecu: Ecu) -> Option<&Asked> {
        let mut questions = self.questions.iter().rev().map(|(asked, _)| asked);
        questions.find(|asked| asked.role.reaches(ecu))
    }

    /// The last question.
    pub(crate) fn last(&self) -> Option<&Asked> {
        self.questions.back().map(|(asked, _)| asked)
    }

    /// Whether that ECU has given its last question a final answer.
    pub(crate) fn is_answered(&self, number: u64, ecu: Ecu) -> bool {
        let mut questions = self.questions.iter();
        questions.any(|(asked, ecus)| asked.number == number && ecus.contains(&ecu))
    }
}
