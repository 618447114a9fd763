//! Vehicles' numbers on their ways over a bus, and that nothing of them is left.
#![allow(clippy::unwrap_used, reason = "tests")]

extern crate std;

use std::{vec, vec::Vec};

use proptest::prelude::*;
use twotrip_obd::vin::check_digit;

use super::*;

/// Two invented ones; nothing in them is in a stand-in.
const VIN: &[u8; 17] = b"9AB12CD37E4567834";
const OTHER: &[u8; 17] = b"8KL9MN2P5RS456789";

fn standard(id: u32) -> CanId {
    CanId::Standard(u16::try_from(id).unwrap())
}

/// A message as frames: the first, and those that go on.
fn transfer(id: u32, message: &[u8]) -> Vec<Frame> {
    let length = u8::try_from(message.len()).unwrap();
    if length < 8 {
        return vec![Frame::padded(standard(id), &[&[length], message].concat(), 0x55)];
    }
    let mut frames = vec![Frame::padded(
        standard(id),
        &[&[0x10, length], &message[..6]].concat(),
        0,
    )];
    for (turn, piece) in message[6..].chunks(7).enumerate() {
        let pci = 0x20 | u8::try_from((turn + 1) & 0x0F).unwrap();
        frames.push(Frame::padded(standard(id), &[&[pci], piece].concat(), 0x55));
    }
    frames
}

fn bare(id: u32, data: &[u8]) -> Frame {
    Frame::new(standard(id), data).unwrap()
}

/// The data of each frame in the copy.
fn redacted(frames: &[Frame]) -> (Vec<Vec<u8>>, Redactor) {
    let mut redactor = Redactor::default();
    let mut copies = Vec::new();
    for _ in 0..3 {
        redactor.again();
        copies = frames.iter().map(|frame| frame.data().to_vec()).collect();
        let mut take = |redactor: &mut Redactor| {
            while let Some(edit) = redactor.poll() {
                let copy: &mut Vec<u8> = &mut copies[usize::try_from(edit.place).unwrap()];
                assert_eq!(copy.len(), edit.data.len());
                *copy = edit.data;
            }
        };
        for (place, frame) in frames.iter().enumerate() {
            redactor.on_frame(0, place as u64, frame);
            take(&mut redactor);
        }
        redactor.end();
        take(&mut redactor);
    }
    assert!(redactor.is_complete());
    (copies, redactor)
}

/// Four characters in a row of one of them, anywhere in a frame.
fn leaks(copies: &[Vec<u8>], originals: &[&[u8]]) -> bool {
    copies.iter().flat_map(|copy| copy.windows(4)).any(|piece| {
        originals
            .iter()
            .any(|original| original.windows(4).any(|part| part == piece))
    })
}

fn text_of(copies: &[Vec<u8>], transport: usize) -> Vec<u8> {
    let first = copies[0][transport + 1..].iter();
    let rest = copies[1..].iter().flat_map(|copy| &copy[1..]);
    first.chain(rest).copied().take(17).collect()
}

#[test]
fn a_number_in_a_message_gets_the_same_stand_in_everywhere() {
    let answer = [&[0x49, 0x02, 1], &VIN[..]].concat();
    let written = [&[0x2E, 0xF1, 0x90], &VIN[..]].concat();
    let read = [&[0x62, 0xF1, 0x90], &OTHER[..]].concat();
    let mut frames = transfer(0x7E8, &answer);
    // Another ECU in between, and the tester's flow control.
    let other = transfer(0x7E9, &read);
    frames.insert(1, bare(0x7E0, &[0x30, 0, 0, 0, 0, 0, 0, 0]));
    frames.insert(2, other[0]);
    frames.insert(4, other[1]);
    frames.push(other[2]);
    frames.extend(transfer(0x7E0, &written));
    let (copies, redactor) = redacted(&frames);
    assert!(!leaks(&copies, &[VIN, OTHER]));
    let ours = [0, 3, 5].map(|place| copies[place].clone());
    let theirs = [2, 4, 6].map(|place| copies[place].clone());
    let (one, other) = (text_of(&ours, 4), text_of(&theirs, 4));
    assert_eq!(one, text_of(&copies[7..], 4), "written as it is read");
    assert_ne!(one, other);
    for vin in [one, other] {
        let vin: [u8; 17] = vin.try_into().unwrap();
        assert_eq!(check_digit(&vin), Some(vin[8]), "{vin:?}");
        assert_eq!(vin[0], b'0', "no maker has it");
    }
    let vins = redactor.replaced().next().unwrap();
    assert_eq!((vins.identity, vins.different, vins.times), (Identity::Vin, 2, 3));
}

/// What breaks off, what lacks its middle or its beginning; the whole is read later.
#[test]
fn pieces_of_a_broken_transfer_are_hidden() {
    let answer = [&[0x49, 0x02, 1], &VIN[..]].concat();
    let whole = transfer(0x7E8, &answer);
    for lost in 0..3 {
        let mut frames = whole.clone();
        frames.remove(lost);
        let alone = redacted(&frames).0;
        assert!(!leaks(&alone, &[VIN]), "without {lost}: {alone:02X?}");
        frames.extend(whole.clone());
        let (copies, _) = redacted(&frames);
        assert!(!leaks(&copies, &[VIN]), "without {lost}: {copies:02X?}");
        // The pieces are those of the whole's stand-in.
        for (copy, original) in copies.iter().zip(&frames) {
            let place = whole.iter().position(|frame| frame == original).unwrap();
            if lost == 2 {
                assert_eq!(*copy, copies[place + 2], "{place}");
            }
        }
    }
}

/// Frames of the car's own traffic, with a counting byte or none, known from a message or not.
#[test]
fn a_number_that_goes_round_by_itself_is_hidden() {
    let pieces: [&[&[u8]]; 4] = [
        &[&VIN[..7], &VIN[7..14], &VIN[14..]],
        &[&VIN[..3], &VIN[3..10], &VIN[10..]],
        &[&VIN[..6], &VIN[6..12], &VIN[12..]],
        &[&VIN[..5], &VIN[5..10], &VIN[10..15], &VIN[15..]],
    ];
    let message = transfer(0x7E8, &[&[0x49, 0x02, 1], &VIN[..]].concat());
    for (layout, pieces) in pieces.into_iter().enumerate() {
        for first in [0, 1, 0x10, 0x21, 0x80] {
            let round: Vec<Frame> = (first..)
                .zip(pieces)
                .map(|(index, piece)| Frame::padded(standard(0x4E1), &[&[index], *piece].concat(), 0))
                .collect();
            let rounds = [&round[..], &round, &round].concat();
            for frames in [rounds.clone(), [&rounds[..], &message].concat()] {
                let (copies, _) = redacted(&frames);
                for (copy, frame) in copies[..rounds.len()].iter().zip(&rounds) {
                    assert_eq!(copy[0], frame.data()[0], "the counting byte stays");
                    assert_ne!(copy[1..], frame.data()[1..], "layout {layout} from {first:02X}");
                }
                assert!(!leaks(&copies, &[VIN]), "layout {layout} from {first:02X}");
            }
        }
    }
}

/// Eight characters a frame, on identifiers of their own.
#[test]
fn text_on_several_identifiers_is_hidden() {
    let round = [
        bare(0x300, &VIN[..8]),
        bare(0x301, &VIN[8..16]),
        bare(0x302, &VIN[16..]),
    ];
    let message = transfer(0x7E8, &[&[0x49, 0x02, 1], &VIN[..]].concat());
    let (copies, _) = redacted(&[&round[..], &round, &message].concat());
    assert!(!leaks(&copies, &[VIN]));
    let (copies, _) = redacted(&[&round[..], &round, &round].concat());
    assert!(!leaks(&copies, &[VIN]), "{copies:02X?}");
}

#[test]
fn calibrations_and_numbers_keep_their_shape() {
    let calibration = [&[0x49, 0x04, 1], &b"AB12-xyz 9\0\0\0\0\0\0"[..]].concat();
    let check_sum = [0x49, 0x06, 1, 0xDE, 0xAD, 0xBE, 0xEF];
    let empty = [0x49, 0x06, 1, 0, 0, 0, 0];
    let name = [&[0x49, 0x0A, 1], &b"ECM\0-EngineControl\0\0"[..]].concat();
    let serial = [&[0x62, 0xF1, 0x8C], &b"SN0012345"[..]].concat();
    for (message, changes) in [
        (&calibration[..], true),
        (&check_sum, true),
        (&empty, false),
        (&name, false),
        (&serial, true),
        (&[0x41, 0x0C, 0x1A, 0xF8], false),
    ] {
        let frames = transfer(0x7E8, message);
        let (copies, _) = redacted(&frames);
        let changed = copies
            .iter()
            .zip(&frames)
            .any(|(copy, frame)| copy != frame.data());
        assert_eq!(changed, changes, "{message:02X?}");
        for (copy, frame) in copies.iter().zip(&frames) {
            for (new, old) in copy.iter().zip(frame.data()) {
                if message == calibration {
                    assert_eq!(new.is_ascii_digit(), old.is_ascii_digit());
                    assert_eq!(new.is_ascii_uppercase(), old.is_ascii_uppercase());
                    assert_eq!(new.is_ascii_lowercase(), old.is_ascii_lowercase());
                }
            }
        }
    }
}

/// More than can be remembered is said, not passed over.
#[test]
fn what_cannot_be_remembered_is_told() {
    let mut redactor = Redactor::default();
    for id in 0..=u32::try_from(LANES_MAX).unwrap() {
        assert!(redactor.is_complete());
        let id = CanId::extended(0x1000_0000 + id).unwrap();
        redactor.on_frame(0, 0, &Frame::padded(id, &[0x10, 0xFF, 1, 2, 3, 4, 5, 6], 0));
    }
    assert!(!redactor.is_complete());
    let mut redactor = Redactor::default();
    for number in 0..2 * u32::try_from(table::ENTRIES_MAX).unwrap() {
        let [a, b, c, d] = number.to_be_bytes();
        let frame = Frame::padded(standard(0x7E8), &[7, 0x49, 6, 1, a + 1, b, c, d], 0);
        redactor.on_frame(0, 0, &frame);
        while redactor.poll().is_some() {}
    }
    assert!(!redactor.is_complete());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever is on the bus: lengths stay, nothing panics, and what is no text is left alone.
    #[test]
    fn anything_may_be_on_the_bus(
        frames in prop::collection::vec((0_u32..0x7FF, prop::collection::vec(any::<u8>(), 0..=8)), 0..60),
    ) {
        let frames: Vec<Frame> = frames.iter().map(|(id, data)| bare(*id, data)).collect();
        redacted(&frames);
    }

    #[test]
    fn numbers_without_text_stay(
        frames in prop::collection::vec((0_u32..0x7DF, prop::collection::vec(0x80_u8..=0xFF, 0..=8)), 0..60),
    ) {
        let frames: Vec<Frame> = frames.iter().map(|(id, data)| bare(*id, data)).collect();
        let (copies, _) = redacted(&frames);
        for (copy, frame) in copies.iter().zip(&frames) {
            prop_assert_eq!(copy.as_slice(), frame.data());
        }
    }
}
