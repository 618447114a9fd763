//! A block again, with other options, and everything else as it was: byte order, resolution of times, lengths of packets.

use alloc::{borrow::Cow, vec::Vec};

use crate::{ByteOrder, Item, Options, block, options::code};

/// Which block an option stands in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    Section,
    Interface,
    Packet,
    Statistics,
}

/// What an option is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Meaning {
    /// A comment.
    Comment,
    /// The program that wrote the file.
    Application,
    /// The operating system.
    System,
    /// The name of an interface.
    InterfaceName,
    /// Another text: hardware, description, filter.
    Text,
    /// A number that says something of time, speed, direction or loss.
    Number,
    /// Anything else: addresses, hashes, process ids, what other programs have added.
    Other,
}

/// What an option of that code means, if its value has the length that it should have.
const fn meaning(place: Place, code: u16, length: usize) -> Meaning {
    match (place, code, length) {
        (_, code::COMMENT, _) => Meaning::Comment,
        (Place::Section, code::SECTION_APPLICATION, _) => Meaning::Application,
        (Place::Section, code::SECTION_SYSTEM, _) | (Place::Interface, 12, _) => Meaning::System,
        (Place::Interface, code::INTERFACE_NAME, _) => Meaning::InterfaceName,
        (Place::Section, 2, _) | (Place::Interface, code::INTERFACE_DESCRIPTION | 11 | 15, _) => Meaning::Text,
        // Speeds, resolution and offset of times, length of a check sequence.
        (Place::Interface, 8 | 14 | 16 | 17, 8)
        | (Place::Interface, 9 | 13, 1)
        // Flags, drop count, number, queue.
        | (Place::Packet, 2 | 6, 4)
        | (Place::Packet, 4 | 5, 8)
        // Begin, end, counts.
        | (Place::Statistics, 2..=8, 8) => Meaning::Number,
        _ => Meaning::Other,
    }
}

/// Fields before the options of each block, behind its type and length.
const fn fields(kind: u32) -> Option<(Place, usize)> {
    match kind {
        block::SECTION => Some((Place::Section, 16)),
        block::INTERFACE => Some((Place::Interface, 8)),
        block::PACKET => Some((Place::Packet, 20)),
        block::STATISTICS => Some((Place::Statistics, 12)),
        _ => None,
    }
}

/// Writes a block of pcapng again, as the decoder handed it on with its bytes. What `change` returns takes an option's
/// place; nothing leaves it out. Padding becomes zeros. What is no such block is left as it is, but for packets without
/// options.
pub fn block<'a>(
    out: &mut Vec<u8>,
    bytes: &'a [u8],
    item: &Item<'a>,
    order: ByteOrder,
    mut change: impl FnMut(Meaning, &'a [u8]) -> Option<Cow<'a, [u8]>>,
) {
    let begun = out.len();
    let kind = order.u32_at(bytes, 0).unwrap_or_default();
    let Some((place, front)) = fields(kind) else {
        out.extend_from_slice(bytes);
        if let (Item::Packet(packet), Some(at)) = (item, data_at(bytes, item)) {
            let padding = at + packet.data.len()..bytes.len().saturating_sub(4);
            out[begun..][padding].fill(0);
        }
        return;
    };
    let mut front = 8 + front;
    out.extend_from_slice(&bytes[..front]);
    let options = match item {
        Item::Section(section) => {
            // Its length changes: not said any more.
            out[begun + 16..begun + 24].fill(0xFF);
            section.options
        }
        Item::Interface(interface) => interface.options,
        Item::Statistics(statistics) => statistics.options,
        Item::Packet(packet) => {
            out.extend_from_slice(packet.data);
            front += packet.data.len();
            out.resize(begun + front.next_multiple_of(4), 0);
            packet.options
        }
        Item::Other(_) => Options::default(),
    };
    let mut any = false;
    for (code, value) in options {
        let Some(value) = change(meaning(place, code, value.len()), value) else {
            continue;
        };
        any = true;
        let length = u16::try_from(value.len()).unwrap_or(u16::MAX);
        out.extend_from_slice(&order.u16_bytes(code));
        out.extend_from_slice(&order.u16_bytes(length));
        out.extend_from_slice(&value[..usize::from(length)]);
        out.resize(begun + (out.len() - begun).next_multiple_of(4), 0);
    }
    if any {
        out.extend_from_slice(&[0; 4]);
    }
    let length = order.u32_bytes(u32::try_from(out.len() + 4 - begun).unwrap_or(u32::MAX));
    out[begun + 4..begun + 8].copy_from_slice(&length);
    out.extend_from_slice(&length);
}

/// Where the data of a packet lie in the bytes that the decoder took for it.
#[must_use]
pub fn data_at(bytes: &[u8], item: &Item<'_>) -> Option<usize> {
    let Item::Packet(packet) = item else {
        return None;
    };
    let at = packet.data.as_ptr().addr().checked_sub(bytes.as_ptr().addr())?;
    (at + packet.data.len() <= bytes.len()).then_some(at)
}
