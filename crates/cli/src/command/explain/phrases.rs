//! Messages in words, and the words of short ones remembered: a tester asks the same questions thousands of times, and
//! many answers come again.

use twotrip_dialogue::{Message, Role};
use twotrip_obd::{write_request, write_response};

/// Places for remembered words: a message has one place only, and takes it from another that had it.
const PLACES: usize = 4096;

/// Longest message that is remembered, bytes: one frame.
const SHORT: usize = 7;

/// Longest words that are remembered, bytes.
const WORDS: usize = 96;

#[derive(Clone, Debug, Default)]
struct Remembered {
    key: u64,
    words: String,
}

/// Says messages in words.
#[derive(Debug)]
pub(super) struct Phrases {
    places: Vec<Remembered>,
}

impl Default for Phrases {
    fn default() -> Self {
        Self {
            places: vec![Remembered::default(); PLACES],
        }
    }
}

impl Phrases {
    /// The words of a message; `room` is for those that are not remembered.
    pub(super) fn words<'a>(&'a mut self, room: &'a mut String, message: &Message) -> &'a str {
        let Some(key) = key(message) else {
            write_words(room, message);
            return room;
        };
        let place = &mut self.places[place(key)];
        if place.key != key {
            write_words(room, message);
            if room.len() > WORDS {
                return room;
            }
            place.key = key;
            place.words.clone_from(room);
        }
        &place.words
    }
}

/// A short message as a number that no other one has, and that is not 0.
fn key(message: &Message) -> Option<u64> {
    let mut bytes = [0; SHORT + 1];
    let length = message.bytes.len();
    for (to, from) in bytes.iter_mut().zip(&message.bytes) {
        *to = *from;
    }
    if length > SHORT {
        return None;
    }
    let is_answer = matches!(message.role, Role::Answer(_));
    bytes[SHORT] = 0x80 | u8::from(is_answer) << 4 | u8::try_from(length).ok()?;
    Some(u64::from_le_bytes(bytes))
}

/// Multiplied by an odd constant, the upper bits depend on all of the key.
fn place(key: u64) -> usize {
    let mixed = key.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> (64 - PLACES.ilog2());
    usize::try_from(mixed).unwrap_or_default() % PLACES
}

fn write_words(text: &mut String, message: &Message) {
    text.clear();
    // A string takes everything.
    let _ = match message.role {
        Role::Answer(_) => write_response(text, &message.bytes),
        Role::AskAll { .. } | Role::Ask(_) => write_request(text, &message.bytes),
    };
}

#[cfg(test)]
mod tests {
    use twotrip_can::{CanId, Frame};
    use twotrip_dialogue::{Dialogue, Event};
    use twotrip_obd::{describe_request, describe_response};
    use twotrip_units::BusInstant;

    use super::*;

    /// Every value of a parameter of two bytes, asked for and answered twice, in an order that makes places change
    /// hands: each time the words are those of that very message.
    #[test]
    fn remembered_words_are_those_of_the_message() {
        let mut phrases = Phrases::default();
        let mut dialogue = Dialogue::without_units();
        let mut compared = 0;
        for turn in 0..2_u64 {
            for value in (0..=u16::MAX).step_by(13) {
                let [high, low] = value.to_be_bytes();
                let at = BusInstant::from_millis(turn << 32 | u64::from(value));
                let frames = [
                    (0x7DF, [2, 0x01, low, 0, 0, 0, 0, 0]),
                    (0x7E8, [4, 0x41, 0x0C, high, low, 0, 0, 0]),
                    (0x7E8, [3, 0x41, 0x0C, high, low, 0, 0, 0]),
                ];
                for (id, data) in frames {
                    dialogue.on_frame(0, at, &Frame::padded(CanId::Standard(id), &data, 0));
                    while let Some(event) = dialogue.poll_event() {
                        let Event::Message(message) = event else {
                            continue;
                        };
                        let mut room = String::from("> ");
                        let text = phrases.words(&mut room, &message);
                        let said = match message.role {
                            Role::Answer(_) => describe_response(&message.bytes),
                            _ => describe_request(&message.bytes),
                        };
                        assert_eq!(text, said);
                        compared += 1;
                    }
                }
            }
        }
        assert!(compared > 2 * PLACES);
    }
}
