//! Round trips, damage, other writers' files, and a second reader: crate `pcap-parser`.
#![allow(clippy::unwrap_used, reason = "tests")]

extern crate std;

use alloc::{format, string::String, vec, vec::Vec};

use pcap_parser::{Block, nom, pcapng, traits::PcapNGPacketBlock};
use proptest::prelude::*;
use twotrip_can::{CanId, Frame};

use super::*;

const AT: u64 = 1_764_000_000_052_300_000;

fn frames() -> Vec<Frame> {
    let long = CanId::Extended(0x18DA_F110);
    let short = CanId::Standard(0x7DF);
    let all = [
        Frame::new(short, &[2, 1, 0, 0, 0, 0, 0, 0]),
        Frame::new(long, &[]),
        Frame::new(short, &[1, 2, 3]),
        Frame::remote(short, 4),
        Frame::fd(long, &[7; 64], true, true),
        Frame::fd(short, &[9; 12], false, false),
        Frame::fd(short, &[], false, false),
        Some(Frame::error(0x40, [0, 1, 2, 3, 4, 5, 6, 7])),
    ];
    all.into_iter().flatten().collect()
}

/// A file with every kind of frame on two interfaces, comments, drops, counts, and a second section.
fn example() -> Vec<u8> {
    let mut out = Vec::new();
    for section in ["first", "second"] {
        write::section(
            &mut out,
            &write::Section {
                application: section,
                system: "Linux",
                comments: &["a comment", "zweite Zeile: 20 °C"],
            },
        );
        for (name, bit_rate) in [("vcan0", None), ("can1", Some(500_000))] {
            let description = "engine bus";
            write::interface(
                &mut out,
                &write::Interface {
                    name,
                    description,
                    bit_rate,
                },
            );
        }
        for (place, frame) in frames().iter().enumerate() {
            let place = u32::try_from(place).unwrap();
            write::packet(
                &mut out,
                &write::Packet {
                    interface: place % 2,
                    at: AT + u64::from(place),
                    direction: [None, Some(Direction::Inbound), Some(Direction::Outbound)]
                        [place as usize % 3],
                    dropped: u64::from(place / 2),
                    frame,
                },
                ["car: key on", "car: \u{1b}[2J"]
                    .into_iter()
                    .take(place as usize % 3),
            );
        }
        write::statistics(
            &mut out,
            &write::Statistics {
                interface: 1,
                at: AT,
                received: 7,
                dropped_by_interface: 1,
                dropped_by_system: 2,
            },
            ["the end"],
        );
    }
    out
}

/// One line for each item, with everything in it.
fn told(bytes: &[u8]) -> Vec<String> {
    items(bytes)
        .map(|item| item.map_or_else(|damage| format!("{damage}"), |item| line(&item)))
        .collect()
}

fn line(item: &Item<'_>) -> String {
    match item {
        Item::Section(section) => {
            let comments: Vec<_> = section.options.comments().collect();
            format!(
                "section {:?} {:?} {comments:?}",
                section.application(),
                section.system()
            )
        }
        Item::Interface(interface) => format!(
            "interface {} {:?} {:?} {:?}",
            interface.number,
            interface.name(),
            interface.description(),
            interface.bit_rate()
        ),
        Item::Packet(packet) => format!(
            "packet {} {:?} {:?} {:?} {:?} {:?}",
            packet.interface,
            packet.at,
            packet.frame(),
            packet.direction(),
            packet.dropped(),
            packet.comments().collect::<Vec<_>>()
        ),
        Item::Statistics(counts) => format!(
            "counts {} {} {:?} {:?} {:?} {:?}",
            counts.interface,
            counts.at,
            counts.received(),
            counts.dropped_by_interface(),
            counts.dropped_by_system(),
            counts.options.comments().collect::<Vec<_>>()
        ),
        Item::Other(kind) => format!("other {kind:08X}"),
    }
}

#[test]
fn what_was_written_is_read() {
    let told = told(&example());
    let half = 1 + 2 + frames().len() + 1;
    assert_eq!(told.len(), 2 * half, "{told:#?}");
    assert_eq!(
        told[0],
        r#"section Some("first") Some("Linux") ["a comment", "zweite Zeile: 20 °C"]"#
    );
    assert_eq!(
        told[2],
        r#"interface 1 Some("can1") Some("engine bus") Some(500000)"#
    );
    assert_eq!(
        told[half + 1],
        r#"interface 2 Some("vcan0") Some("engine bus") None"#
    );
    for (place, frame) in frames().iter().enumerate() {
        let line = &told[3 + place];
        assert!(
            line.starts_with(&format!(
                "packet {} Some({}) Ok({frame:?})",
                place % 2,
                AT + place as u64
            )),
            "{line}"
        );
        assert!(told[half + 3 + place].starts_with(&format!("packet {} ", 2 + place % 2)));
    }
    assert_eq!(
        told[3 + 5]
            .split("Ok")
            .nth(1)
            .unwrap()
            .split(") ")
            .nth(1)
            .unwrap(),
        "Some(Outbound"
    );
    assert_eq!(
        told[half - 1],
        format!("counts 1 {AT} Some(7) Some(1) Some(2) [\"the end\"]")
    );
}

/// The registry's example of link type 227: `7DF#02 01 00`, padded.
#[test]
fn packet_bytes_are_those_of_the_link_type() {
    let frame = frames()[0];
    let (bytes, length) = frame::encode(&frame);
    let wanted = [0, 0, 7, 0xDF, 8, 0, 0, 0, 2, 1, 0, 0, 0, 0, 0, 0];
    assert_eq!(bytes[..length], wanted);
    // Cut to the data, as some writers have it.
    assert_eq!(
        frame::decode(&[0, 0, 7, 0xDF, 3, 0, 0, 0, 2, 1, 0]),
        Ok(Frame::new(frame.id(), &[2, 1, 0]).unwrap())
    );
    // The kernel's own 72 bytes without the flag.
    let mut kernel = vec![0, 0, 7, 0xDF, 12, 0, 0, 0];
    kernel.resize(frame::LENGTH_MAX, 5);
    assert_eq!(
        frame::decode(&kernel),
        Ok(Frame::fd(frame.id(), &[5; 12], false, false).unwrap())
    );
    for (bytes, problem) in [
        (&[0, 0, 7][..], "only 3 bytes of a frame that has 8"),
        (
            &[0, 0, 7, 0xDF, 8, 0, 0, 0, 1],
            "only 9 bytes of a frame that has 16",
        ),
        (
            &[0, 0, 8, 0, 0, 0, 0, 0],
            "identifier `800` needs 29 bits but is not marked so",
        ),
        (
            &[0, 0, 7, 0xDF, 255, 0, 0, 0],
            "only 8 bytes of a frame that has 263",
        ),
    ] {
        assert_eq!(format!("{}", frame::decode(bytes).unwrap_err()), problem);
    }
}

/// Everything before the cut is read, and the place of the damage is the end of the last whole block.
#[test]
fn a_file_cut_anywhere_is_read_up_to_there() {
    let file = example();
    let whole = told(&file);
    let ends: Vec<usize> = {
        let mut decoder = Decoder::default();
        let mut ends = vec![0];
        while let Ok(Step::Taken(count, _)) = decoder.step(&file[*ends.last().unwrap()..]) {
            ends.push(ends.last().unwrap() + count);
        }
        ends
    };
    assert_eq!(ends.len(), whole.len() + 1);
    for cut in 0..file.len() {
        let read: Vec<_> = items(&file[..cut]).collect();
        let blocks = ends.iter().filter(|&&end| end != 0 && end <= cut).count();
        let clean = ends.contains(&cut);
        assert_eq!(read.len(), blocks + usize::from(!clean), "cut at {cut}");
        match read.last() {
            Some(Err(damage)) => {
                assert_eq!(damage.offset, ends[blocks] as u64, "cut at {cut}");
                assert!(matches!(damage.problem, Problem::CutShort { .. }));
            }
            _ => assert!(clean, "cut at {cut}"),
        }
        for (item, wanted) in read.iter().flatten().zip(&whole) {
            assert_eq!(&line(item), wanted);
        }
    }
}

/// What a file system leaves of a file that was made longer but not written: zeros.
#[test]
fn a_tail_of_zeros_is_damage() {
    let mut file = example();
    let end = file.len();
    file.resize(end + 4096, 0);
    let read: Vec<_> = items(&file).collect();
    assert_eq!(read.last().unwrap().as_ref().unwrap_err().offset, end as u64);
    assert_eq!(read.len(), told(&example()).len() + 1);
}

#[test]
fn damage_says_what_and_where() {
    let mut lengths = example();
    let second = u32::from_le_bytes(lengths[4..8].try_into().unwrap()) as usize;
    lengths[second + 4] ^= 0x40;
    let mut stranger = Vec::new();
    write::section(&mut stranger, &write::Section::default());
    let at = stranger.len();
    let frame = frames()[0];
    let packet = write::Packet {
        interface: 3,
        at: AT,
        direction: None,
        dropped: 0,
        frame: &frame,
    };
    write::packet(&mut stranger, &packet, []);
    for (bytes, problem) in [
        (
            b"VERSION 1\n".to_vec(),
            String::from("byte 0: this begins like no recording: neither pcapng nor pcap"),
        ),
        (
            stranger,
            format!("byte {at}: a packet of interface 3, which was not described"),
        ),
    ] {
        assert_eq!(told(&bytes).last(), Some(&problem));
    }
    let last = told(&lengths).pop().unwrap();
    assert!(last.starts_with(&format!("byte {second}: a block ")), "{last}");
}

/// A block of two gigabytes is skipped, not stored: the decoder never asks for more than a block's worth.
#[test]
fn hostile_lengths_cost_nothing() {
    let mut file = Vec::new();
    write::section(&mut file, &write::Section::default());
    file.extend_from_slice(&0x0000_0BAD_u32.to_le_bytes());
    file.extend_from_slice(&0x7FFF_FFFC_u32.to_le_bytes());
    file.resize(file.len() + 1000, 0x55);
    let told = told(&file);
    assert_eq!(told[1], "other 00000BAD");
    assert!(told[2].contains("cut short"), "{told:?}");
    let mut decoder = Decoder::default();
    let mut rest = &file[..];
    loop {
        match decoder.step(rest).unwrap() {
            Step::Taken(count, _) => rest = &rest[count..],
            Step::More(count) => break assert!(count <= BLOCK_MAX),
        }
    }
}

/// The same file as a writer on a big-endian machine would have it, microseconds and a time offset included.
#[test]
fn either_byte_order_is_read() {
    let mut file: Vec<u8> = Vec::new();
    let block = |kind: u32, body: &[u8]| {
        let length = u32::try_from(body.len() + 12).unwrap().to_be_bytes();
        [&kind.to_be_bytes()[..], &length, body, &length].concat()
    };
    file.extend(block(
        0x0A0D_0D0A,
        &[
            0x1A, 0x2B, 0x3C, 0x4D, 0, 1, 0, 0, 255, 255, 255, 255, 255, 255, 255, 255,
        ],
    ));
    let offset = [0, 14, 0, 8, 0, 0, 0, 0, 0, 0, 0, 100, 0, 0, 0, 0];
    file.extend(block(
        1,
        &[
            &[0, 227, 0, 0, 0, 0, 0, 0][..],
            &[0, 2, 0, 3, b'c', b'a', b'n', 0],
            &offset,
        ]
        .concat(),
    ));
    let frame = [0x98, 0xDB, 0x33, 0xF1, 2, 0, 0, 0, 1, 0, 0, 0];
    let fields = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 3, 0xE8, 0, 0, 0, 10, 0, 0, 0, 10];
    let flags = [0, 2, 0, 4, 0, 0, 0, 1, 0, 1, 0, 2, b'h', b'i', 0, 0];
    file.extend(block(6, &[&fields[..], &frame, &flags].concat()));
    assert_eq!(
        told(&file)[1..],
        [
            "interface 0 Some(\"can\") None None",
            "packet 0 Some(100001000000) Ok(18DB33F1#01 00) Some(Inbound) None [\"hi\"]"
        ]
    );
}

/// draft-ietf-opsawg-pcap: magic numbers of either byte order and either resolution.
#[test]
fn the_forerunner_is_read() {
    let data = [0, 0, 7, 0xE8, 1, 0, 0, 0, 0x7F];
    for (magic, fraction) in [(0xA1B2_C3D4_u32, 250_000_u32), (0xA1B2_3C4D, 250_000_000)] {
        for big in [false, true] {
            let word = |word: u32| {
                if big {
                    word.to_be_bytes()
                } else {
                    word.to_le_bytes()
                }
            };
            let version = if big { [0, 2, 0, 4] } else { [2, 0, 4, 0] };
            let mut file = [word(magic), version, word(0), word(0), word(65_535), word(227)].concat();
            file.extend([word(1000), word(fraction), word(9), word(9)].concat());
            file.extend(data);
            assert_eq!(
                told(&file),
                [
                    "interface 0 None None None",
                    "packet 0 Some(1000250000000) Ok(7E8#7F) None None []"
                ],
                "{magic:X}, big-endian: {big}"
            );
            let cut = told(&file[..file.len() - 1]);
            assert_eq!(cut[1], "byte 24: cut short: 1 or more bytes are missing");
        }
    }
}

#[test]
fn a_comment_is_as_long_as_an_option_can_be() {
    let mut file = Vec::new();
    let long = "é".repeat(40_000);
    write::section(
        &mut file,
        &write::Section {
            comments: &[&long, "after it"],
            ..write::Section::default()
        },
    );
    let Some(Ok(Item::Section(section))) = items(&file).next() else {
        panic!("a section was written");
    };
    let comments: Vec<_> = section.options.comments().collect();
    assert_eq!(comments[0].len(), 65_534);
    assert_eq!(comments[1], "after it");
}

/// Crate `pcap-parser` of crates.io reads the same blocks.
#[test]
fn another_reader_agrees() {
    let file = example();
    let (mut rest, mut packets) = (&file[..], Vec::new());
    loop {
        match pcapng::parse_block_le(rest) {
            Ok((after, block)) => {
                rest = after;
                if let Block::EnhancedPacket(packet) = &block {
                    let stamp = u64::from(packet.ts_high) << 32 | u64::from(packet.ts_low);
                    packets.push((
                        packet.if_id,
                        stamp,
                        packet.packet_data().to_vec(),
                        packet.options.len(),
                    ));
                }
            }
            Err(nom::Err::Incomplete(_)) => break,
            Err(error) => panic!("{error:?}"),
        }
    }
    assert!(rest.is_empty());
    let ours: Vec<_> = items(&file)
        .filter_map(|item| match item {
            Ok(Item::Packet(packet)) => Some(packet),
            _ => None,
        })
        .collect();
    assert_eq!(packets.len(), ours.len());
    for (theirs, ours) in packets.iter().zip(&ours) {
        assert_eq!(theirs.0, ours.interface % 2);
        assert_eq!(Some(theirs.1), ours.at);
        assert_eq!(&theirs.2[..ours.data.len()], ours.data);
    }
}

proptest! {
    /// No bytes make the decoder panic, and it always comes to an end.
    #[test]
    fn any_bytes_are_survived(bytes in prop::collection::vec(any::<u8>(), 0..400), begin in 0_usize..3) {
        let mut file = match begin {
            0 => Vec::new(),
            1 => { let mut file = example(); file.truncate(300); file }
            _ => [0xA1_B2_C3_D4_u32.to_le_bytes().as_slice(), &[2, 0, 4, 0]].concat(),
        };
        file.extend(bytes);
        prop_assert!(items(&file).count() <= file.len() / 4 + 2);
    }

    /// One byte of a good file changed: what is before its block stays as it was.
    #[test]
    fn one_changed_byte_spoils_nothing_before_it(place in any::<prop::sample::Index>(), value in any::<u8>()) {
        let file = example();
        let mut changed = file.clone();
        let place = place.index(file.len());
        changed[place] = value;
        let mut decoder = Decoder::default();
        let mut at = 0;
        while let Ok(Step::Taken(count, Some(item))) = decoder.step(&file[at..]) {
            if at + count > place { break; }
            let told = line(&item);
            prop_assert!(self::told(&changed).contains(&told));
            at += count;
        }
    }
}
