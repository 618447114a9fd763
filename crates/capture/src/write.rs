//! Writes pcapng, little-endian, nanoseconds, one whole block a call, at the end of a buffer.
//!
//! A recorder hands the buffer on after whole blocks only, so that a file that ends anywhere is readable up to there.

use alloc::vec::Vec;

use twotrip_can::Frame;

use crate::{
    Direction, LINK_TYPE_CAN, block,
    frame::{self},
    options::code,
};

/// Longest value of an option, bytes.
const VALUE_MAX: usize = 65_535;
/// Nanoseconds, as `if_tsresol` writes it.
const NANOSECONDS: u8 = 9;

/// What a section's header says; empty texts are left out.
#[derive(Clone, Copy, Debug, Default)]
pub struct Section<'a> {
    /// Who writes, with version.
    pub application: &'a str,
    /// Under what operating system.
    pub system: &'a str,
    /// Comments, one option each.
    pub comments: &'a [&'a str],
}

/// What the description of an interface says; empty texts are left out.
#[derive(Clone, Copy, Debug, Default)]
pub struct Interface<'a> {
    /// Its name.
    pub name: &'a str,
    /// What it is for.
    pub description: &'a str,
    /// Its bit rate, bit/s, if known.
    pub bit_rate: Option<u64>,
}

/// What is written of a frame.
#[derive(Clone, Copy, Debug)]
pub struct Packet<'a> {
    /// Number of the interface in the section, from 0.
    pub interface: u32,
    /// When, nanoseconds since 1970.
    pub at: u64,
    /// Which way.
    pub direction: Option<Direction>,
    /// Frames of this interface lost since the one before.
    pub dropped: u64,
    /// The frame.
    pub frame: &'a Frame,
}

/// The counts of an interface at the end.
#[derive(Clone, Copy, Debug, Default)]
pub struct Statistics {
    /// Number of the interface in the section, from 0.
    pub interface: u32,
    /// When, nanoseconds since 1970.
    pub at: u64,
    /// Frames received.
    pub received: u64,
    /// Frames lost by controller or driver.
    pub dropped_by_interface: u64,
    /// Frames lost by the operating system.
    pub dropped_by_system: u64,
}

/// A section begins; interfaces count from 0 again.
pub fn section(out: &mut Vec<u8>, section: &Section<'_>) {
    let begun = begin(out, block::SECTION);
    out.extend_from_slice(&block::MAGIC.to_le_bytes());
    out.extend_from_slice(&1_u16.to_le_bytes());
    out.extend_from_slice(&0_u16.to_le_bytes());
    // Its length is not known beforehand.
    out.extend_from_slice(&u64::MAX.to_le_bytes());
    text(out, code::SECTION_APPLICATION, section.application);
    text(out, code::SECTION_SYSTEM, section.system);
    for comment in section.comments {
        text(out, code::COMMENT, comment);
    }
    end_of_options(out);
    finish(out, begun);
}

/// The next interface of the section.
pub fn interface(out: &mut Vec<u8>, interface: &Interface<'_>) {
    let begun = begin(out, block::INTERFACE);
    out.extend_from_slice(&LINK_TYPE_CAN.to_le_bytes());
    out.extend_from_slice(&0_u16.to_le_bytes());
    // Packets of any length.
    out.extend_from_slice(&0_u32.to_le_bytes());
    text(out, code::INTERFACE_NAME, interface.name);
    text(out, code::INTERFACE_DESCRIPTION, interface.description);
    if let Some(bit_rate) = interface.bit_rate {
        option(out, code::INTERFACE_SPEED, &bit_rate.to_le_bytes());
    }
    option(out, code::INTERFACE_RESOLUTION, &[NANOSECONDS]);
    end_of_options(out);
    finish(out, begun);
}

/// A frame, with comments.
#[inline]
pub fn packet<'c>(out: &mut Vec<u8>, packet: &Packet<'_>, comments: impl IntoIterator<Item = &'c str>) {
    let (bytes, length) = frame::encode(packet.frame);
    let short = u32::try_from(length).unwrap_or_default();
    let begun = begin(out, block::PACKET);
    let mut fields = [0; 20];
    fields[..4].copy_from_slice(&packet.interface.to_le_bytes());
    fields[4..12].copy_from_slice(&stamp(packet.at));
    fields[12..16].copy_from_slice(&short.to_le_bytes());
    fields[16..].copy_from_slice(&short.to_le_bytes());
    out.extend_from_slice(&fields);
    out.extend_from_slice(&bytes[..length]);
    pad(out, length);
    let options = out.len();
    if let Some(direction) = packet.direction {
        let flags: u32 = match direction {
            Direction::Inbound => 1,
            Direction::Outbound => 2,
        };
        option(out, code::PACKET_FLAGS, &flags.to_le_bytes());
    }
    if packet.dropped > 0 {
        option(out, code::PACKET_DROPPED, &packet.dropped.to_le_bytes());
    }
    for comment in comments {
        text(out, code::COMMENT, comment);
    }
    if out.len() > options {
        end_of_options(out);
    }
    finish(out, begun);
}

/// The counts of an interface, with comments.
pub fn statistics<'c>(
    out: &mut Vec<u8>,
    statistics: &Statistics,
    comments: impl IntoIterator<Item = &'c str>,
) {
    let begun = begin(out, block::STATISTICS);
    out.extend_from_slice(&statistics.interface.to_le_bytes());
    out.extend_from_slice(&stamp(statistics.at));
    for (code, count) in [
        (code::STATISTICS_RECEIVED, statistics.received),
        (
            code::STATISTICS_DROPPED_BY_INTERFACE,
            statistics.dropped_by_interface,
        ),
        (code::STATISTICS_DROPPED_BY_SYSTEM, statistics.dropped_by_system),
    ] {
        option(out, code, &count.to_le_bytes());
    }
    for comment in comments {
        text(out, code::COMMENT, comment);
    }
    end_of_options(out);
    finish(out, begun);
}

/// The upper word first, each in the section's byte order.
fn stamp(at: u64) -> [u8; 8] {
    at.rotate_left(32).to_le_bytes()
}

#[inline]
fn begin(out: &mut Vec<u8>, kind: u32) -> usize {
    let begun = out.len();
    out.extend_from_slice(&kind.to_le_bytes());
    out.extend_from_slice(&[0; 4]);
    begun
}

#[inline]
fn finish(out: &mut Vec<u8>, begun: usize) {
    let length = u32::try_from(out.len() + 4 - begun)
        .unwrap_or(u32::MAX)
        .to_le_bytes();
    out[begun + 4..begun + 8].copy_from_slice(&length);
    out.extend_from_slice(&length);
}

fn pad(out: &mut Vec<u8>, length: usize) {
    const ZEROS: [u8; 3] = [0; 3];
    out.extend_from_slice(&ZEROS[..length.next_multiple_of(4) - length]);
}

fn option(out: &mut Vec<u8>, code: u16, value: &[u8]) {
    let length = u16::try_from(value.len()).unwrap_or(u16::MAX);
    out.extend_from_slice(&code.to_le_bytes());
    out.extend_from_slice(&length.to_le_bytes());
    out.extend_from_slice(value);
    pad(out, value.len());
}

/// A text longer than an option can be is cut at a character.
fn text(out: &mut Vec<u8>, code: u16, value: &str) {
    if !value.is_empty() {
        let end = value.floor_char_boundary(VALUE_MAX);
        option(out, code, &value.as_bytes()[..end]);
    }
}

fn end_of_options(out: &mut Vec<u8>) {
    option(out, code::END, &[]);
}
