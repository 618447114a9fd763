//! The copy read back beside its source, by other means than it was made: `Dialogue` puts the messages together.

use std::{collections::HashMap, ops::ControlFlow, path::Path};

use twotrip_capture::{Item, Options, edit::Meaning};
use twotrip_dialogue::{Dialogue, Event, redaction::Redactor};
use twotrip_obd::vin;
use twotrip_units::BusInstant;

use super::{RedactError, read, same_shape, text};
use crate::recording::Reader;

/// By these first bytes an original is looked for.
const FRONT: usize = 4;

struct Searched<'a> {
    by_front: HashMap<[u8; FRONT], Vec<&'a [u8]>>,
}

impl<'a> Searched<'a> {
    fn new(originals: impl Iterator<Item = &'a [u8]>) -> Self {
        let mut by_front: HashMap<_, Vec<_>> = HashMap::new();
        for original in originals {
            if let Some(front) = original.first_chunk::<FRONT>() {
                by_front.entry(*front).or_default().push(original);
            }
        }
        Self { by_front }
    }

    fn is_in(&self, bytes: &[u8]) -> bool {
        bytes.windows(FRONT).enumerate().any(|(at, front)| {
            let those = <[u8; FRONT]>::try_from(front)
                .ok()
                .and_then(|front| self.by_front.get(&front));
            those.is_some_and(|those| those.iter().any(|original| bytes[at..].starts_with(original)))
        })
    }
}

/// Compares the two.
pub(super) fn check(source: &Path, copy: &Path, redactor: &Redactor) -> Result<(), RedactError> {
    let searched = Searched::new(redactor.originals());
    let mut made = Reader::open(copy)?;
    let mut dialogues: HashMap<u32, Dialogue> = HashMap::new();
    let mut frame = 0;
    let mut wrong = None;
    let mut unread = None;
    read(source, |item, _| {
        if matches!(item, Item::Other(_)) {
            return ControlFlow::Continue(());
        }
        let mut compared = false;
        let read = made.read_with_bytes(|copied, bytes| {
            compared = true;
            frame += u64::from(matches!(copied, Item::Packet(_)));
            wrong = compare(&item, &copied)
                .or_else(|| searched.is_in(bytes).then_some("an original text is still there"))
                .or_else(|| messages(&mut dialogues, &searched, frame, &copied));
            ControlFlow::Break(())
        });
        if !compared {
            wrong.get_or_insert("it ends too early");
        }
        unread = read.err();
        if wrong.is_some() || unread.is_some() {
            ControlFlow::Break(())
        } else {
            ControlFlow::Continue(())
        }
    })?;
    if let Some(error) = unread {
        return Err(error.into());
    }
    if wrong.is_none() {
        made.read(|_| {
            wrong = Some("there is more in it than in the source");
            ControlFlow::Break(())
        })?;
        made.end()?;
    }
    wrong.map_or(Ok(()), |what| Err(RedactError::Check { frame, what }))
}

fn compare(one: &Item<'_>, other: &Item<'_>) -> Option<&'static str> {
    let (same, options) = match (one, other) {
        (Item::Section(one), Item::Section(other)) => {
            (one.order == other.order, (one.options, other.options))
        }
        (Item::Interface(one), Item::Interface(other)) => (
            (one.number, one.link_type, one.bit_rate()) == (other.number, other.link_type, other.bit_rate()),
            (one.options, other.options),
        ),
        (Item::Packet(one), Item::Packet(other)) => {
            let frames = match (one.frame(), other.frame()) {
                (Ok(one), Ok(other)) => {
                    (one.id(), one.kind(), one.len()) == (other.id(), other.kind(), other.len())
                }
                // Its bytes are blanked: whatever they are now.
                (Err(_), _) => true,
                _ => false,
            };
            (same_shape(one, other) && frames, (one.options, other.options))
        }
        (Item::Statistics(one), Item::Statistics(other)) => {
            let counts = |counted: &twotrip_capture::Statistics<'_>| {
                (
                    counted.interface,
                    counted.at,
                    counted.received(),
                    counted.dropped_by_interface(),
                    counted.dropped_by_system(),
                )
            };
            (counts(one) == counts(other), (one.options, other.options))
        }
        _ => return Some("another kind of block"),
    };
    if !same {
        return Some("not the times, lengths or counts of the source");
    }
    (!comments_are_hidden(options)).then_some("a comment is still there")
}

/// Every comment is there, and those that are free text have changed.
fn comments_are_hidden((one, other): (Options<'_>, Options<'_>)) -> bool {
    let (mut one, mut other) = (one.comments(), other.comments());
    loop {
        match (one.next(), other.next()) {
            (None, None) => return true,
            (Some(one), Some(other)) => {
                let kept = one == other && one.bytes().any(|byte| byte.is_ascii_alphanumeric());
                if kept && *text::changed(Meaning::Comment, one.as_bytes()) != *one.as_bytes() {
                    return false;
                }
            }
            _ => return false,
        }
    }
}

fn messages(
    dialogues: &mut HashMap<u32, Dialogue>,
    searched: &Searched<'_>,
    number: u64,
    item: &Item<'_>,
) -> Option<&'static str> {
    let Item::Packet(packet) = item else {
        return None;
    };
    let frame = packet.frame().ok()?;
    let dialogue = dialogues.entry(packet.interface).or_default();
    // Who speaks when is not what is checked here.
    dialogue.on_frame(number, BusInstant::ZERO, &frame);
    let mut wrong = None;
    while let Some(event) = dialogue.poll_event() {
        let Event::Message(message) = event else {
            continue;
        };
        if searched.is_in(&message.bytes) {
            wrong = Some("an original text is still in a message");
        }
        if let [0x49, 0x02, 1, vin @ ..] = message.bytes.as_slice()
            && let Ok(vin) = <[u8; 17]>::try_from(vin)
            && vin.iter().any(|byte| *byte != vin[0])
            && vin::check_digit(&vin).is_some_and(|digit| digit != vin[8])
        {
            wrong = Some("a VIN whose check digit does not fit");
        }
    }
    wrong
}
