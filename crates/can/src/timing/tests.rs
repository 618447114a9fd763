//! Exact lengths against published rules, a second model written bit by bit, and the published bounds.

extern crate std;

use std::vec::Vec;

use rand_chacha::{
    ChaCha8Rng,
    rand_core::{Rng, SeedableRng},
};
use twotrip_units::BusInstant;

use super::{bits, *};
use crate::{CanId, FrameKind};

/// One frame: identifier, data, its CRC, stuff bits, length in bits with intermission.
struct Vector(CanId, &'static [u8], u16, u32, u32);

const fn id(id: u16) -> CanId {
    CanId::Standard(id)
}

const fn extended(id: u32) -> CanId {
    CanId::Extended(id)
}

/// Computed by the rules of ISO 11898-1 (CRC-15 polynomial 4599, stuffing from start of frame to CRC), with the fields of
/// Linux include/linux/can/length.h, by a model that is not this one.
#[rustfmt::skip]
const VECTORS: [Vector; 14] = [
    Vector(id(0x7DF), &[0x02, 0x01, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00], 0x1A00, 15, 126),
    Vector(id(0x7DF), &[0x02, 0x01, 0x00, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC], 0x22BC, 5, 116),
    Vector(id(0x7DF), &[0x02, 0x01, 0x00, 0x55, 0x55, 0x55, 0x55, 0x55], 0x0871, 5, 116),
    Vector(id(0x7DF), &[0x02, 0x01, 0x00, 0xAA, 0xAA, 0xAA, 0xAA, 0xAA], 0x3EE2, 6, 117),
    Vector(id(0x7E8), &[0x06, 0x41, 0x00, 0xBE, 0x3E, 0xB8, 0x13, 0x00], 0x61E3, 9, 120),
    Vector(id(0x7E8), &[0x04, 0x41, 0x0C, 0x1A, 0xF8, 0x00, 0x00, 0x00], 0x5389, 11, 122),
    Vector(id(0x7E8), &[0x10, 0x14, 0x49, 0x02, 0x01, 0x30, 0x54, 0x57], 0x7A9E, 8, 119),
    Vector(id(0x7E0), &[0x30, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00], 0x289E, 15, 126),
    Vector(id(0x7E8), &[0x21, 0x30, 0x30, 0x54, 0x52, 0x50, 0x33, 0x41], 0x1EB2, 7, 118),
    Vector(id(0x7E8), &[0x22, 0x30, 0x30, 0x30, 0x30, 0x30, 0x34, 0x32], 0x2573, 8, 119),
    Vector(extended(0x18DB_33F1), &[0x02, 0x01, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00], 0x41F5, 14, 145),
    Vector(extended(0x18DA_F110), &[0x06, 0x41, 0x00, 0xBE, 0x3E, 0xB8, 0x13, 0x00], 0x6A05, 9, 140),
    Vector(id(0x000), &[], 0x0000, 6, 53),
    Vector(extended(0), &[0x00; 8], 0x3DAF, 19, 150),
];

#[test]
fn frames_have_their_exact_length() {
    for Vector(id, data, crc, stuff, length) in VECTORS {
        let frame = Frame::new(id, data).expect("fits");
        assert_eq!(bits::crc_of(&frame), crc, "CRC of {frame}");
        assert_eq!(frame_bits(&frame), FrameBits::Exact(length), "{frame}");
        let plain = if id.is_extended() { 67 } else { 47 } + 8 * u32::try_from(data.len()).expect("few");
        assert_eq!(plain + stuff, length, "stuff bits of {frame}");
    }
}

#[test]
fn frame_time_follows_the_bit_rate() {
    for Vector(id, data, .., length) in VECTORS {
        let frame = Frame::new(id, data).expect("fits");
        let micros = |rate| frame_time(&frame, rate).as_micros();
        assert_eq!(micros(BitRate::Kbit500), 2 * u128::from(length), "{frame}");
        assert_eq!(micros(BitRate::Kbit250), 4 * u128::from(length), "{frame}");
    }
}

/// A whole conversation on the wire, the sum of the model that is not this one: the vehicle identification number is asked
/// for, begun, released and ended.
#[test]
fn the_vehicle_identification_number_takes_606_bits() {
    let frames: [(u16, [u8; 8], u32); 5] = [
        (0x7DF, [0x02, 0x09, 0x02, 0, 0, 0, 0, 0], 124),
        (0x7E8, *b"\x10\x14\x49\x02\x01\x30TW", 119),
        (0x7E0, [0x30, 0, 0, 0, 0, 0, 0, 0], 126),
        (0x7E8, *b"\x2100TRP3A", 118),
        (0x7E8, *b"\x220000042", 119),
    ];
    let mut load = BusLoad::new(BitRate::Kbit500, Duration::from_millis(1));
    for (identifier, data, length) in frames {
        let frame = Frame::new(id(identifier), &data).expect("fits");
        assert_eq!(frame_bits(&frame), FrameBits::Exact(length), "{frame}");
        load.on_frame(at(0) + load.wire_time(), frame_bits(&frame));
    }
    assert_eq!(load.bits(), 606);
    assert_eq!(load.wire_time(), Duration::from_micros(1212));
    // Back to back: the first millisecond is full, and over the time that it took nothing is idle.
    assert_percent(load.peak(), 100.0);
    assert_percent(load.over(Duration::from_micros(1212)), 100.0);
}

/// The transmitter of ISO 11898-1 as a list of bits: fields in order, CRC by shift register, stuffing by counting.
fn naive_bits(frame: &Frame) -> u32 {
    let mut bits = Vec::new();
    let mut field = |value: u32, width: u32| bits.extend((0..width).rev().map(|bit| value >> bit & 1 == 1));
    let remote = u32::from(matches!(frame.kind(), FrameKind::Remote));
    field(0, 1);
    match frame.id() {
        CanId::Standard(id) => {
            field(id.into(), 11);
            field(remote, 1);
            field(0b00, 2);
        }
        CanId::Extended(id) => {
            field(id >> 18, 11);
            field(0b11, 2);
            field(id & 0x3_FFFF, 18);
            field(remote, 1);
            field(0b00, 2);
        }
    }
    field(u32::try_from(frame.len()).expect("small"), 4);
    for &byte in frame.data() {
        field(byte.into(), 8);
    }
    let mut crc = 0_u32;
    for &bit in &bits {
        let next = bit != (crc >> 14 & 1 == 1);
        crc = crc << 1 & 0x7FFF;
        if next {
            crc ^= 0x4599;
        }
    }
    bits.extend((0..15).rev().map(|bit| crc >> bit & 1 == 1));
    let mut sent: Vec<bool> = Vec::new();
    for bit in bits {
        sent.push(bit);
        if sent.len() >= 5 && sent[sent.len() - 5..].iter().all(|&before| before == bit) {
            sent.push(!bit);
        }
    }
    // CRC delimiter, acknowledge slot and delimiter, end of frame, intermission.
    u32::try_from(sent.len()).expect("few") + 1 + 2 + 7 + 3
}

/// Bounds in closed form: Davis, Burns, Bril, Lukkien, "Controller Area Network schedulability analysis: refuted,
/// revisited and revised", Real-Time Systems 35, 2007: 55 + 10 n and 80 + 10 n bits, interframe space included.
const fn at_most(id: CanId, data: u32) -> u32 {
    10 * data + if id.is_extended() { 80 } else { 55 }
}

#[test]
fn any_frame_has_the_length_of_the_naive_model_and_keeps_the_bounds() {
    let mut random = ChaCha8Rng::seed_from_u64(11_898);
    for round in 0..20_000_u32 {
        let word = random.next_u32();
        let id = if round % 2 == 0 {
            CanId::Standard(u16::try_from(word & 0x7FF).expect("11 bits"))
        } else {
            CanId::Extended(word & CanId::EXTENDED_MAX)
        };
        let len = random.next_u32() % 9;
        let mut data = [0; 8];
        random.fill_bytes(&mut data);
        // Long runs are rare in random bytes: give them a share of the rounds.
        match round % 5 {
            0 => data = data.map(|byte| if byte & 1 == 0 { 0x00 } else { 0xFF }),
            1 => {
                data =
                    data.map(|byte| [0x0F, 0x1E, 0x3C, 0x78, 0xF0, 0xE1, 0xC3, 0x87][usize::from(byte % 8)])
            }
            _ => {}
        }
        let data = &data[..usize::try_from(len).expect("small")];
        let frame = if round % 7 == 0 {
            Frame::remote(id, u8::try_from(len).expect("small"))
        } else {
            Frame::new(id, data)
        };
        let frame = frame.expect("fits");
        let FrameBits::Exact(found) = frame_bits(&frame) else {
            panic!("{frame} is classic")
        };
        assert_eq!(found, naive_bits(&frame), "{frame}");
        let sent = u32::try_from(frame.data().len()).expect("small");
        let least = 8 * sent + if id.is_extended() { 67 } else { 47 };
        assert!(
            (least..=at_most(id, sent)).contains(&found),
            "{frame}: {found} bits"
        );
    }
}

/// The bound that length.h computes and the closed form of the literature are one.
#[test]
fn worst_case_stuffing_agrees_in_both_forms() {
    for data in 0..=8 {
        for (id, stuffable, plain) in [(id(0), 34, 47), (extended(0), 54, 67)] {
            let worst = plain + 8 * data + bits::stuff_bits_at_most(stuffable + 8 * data);
            assert_eq!(worst, at_most(id, data), "{id} with {data} bytes");
        }
    }
}

/// FD frames are bounded, not counted, and say so; error messages take no time of the bus.
#[test]
fn what_is_not_counted_exactly_says_so() {
    let fd = |id, len| frame_bits(&Frame::fd(id, &[0; 64][..len], true, false).expect("fits"));
    // 22 and 8 x 64 bits with their stuffing, stuff count, CRC and fixed stuff bits, tail, intermission.
    let most = 22 + 512 + 533 / 4 + (4 + 21 + 7) + 10 + 3;
    assert_eq!(fd(id(0x7E8), 64), FrameBits::AtMost(most));
    assert_eq!(fd(id(0x7E8), 63), fd(id(0x7E8), 64), "63 bytes travel as 64");
    assert_eq!(fd(id(0x7E8), 9), fd(id(0x7E8), 12));
    assert!(fd(extended(0x18DA_F110), 8).at_most() > fd(id(0x7E8), 8).at_most());
    let error = Frame::error(0x40, [0; 8]);
    assert_eq!(frame_bits(&error), FrameBits::NotOnTheWire);
    assert_eq!(frame_time(&error, BitRate::Kbit250), Duration::ZERO);
}

fn at(micros: u64) -> BusInstant {
    BusInstant::from_micros(micros)
}

#[track_caller]
fn assert_percent(found: twotrip_units::Ratio, expected: f64) {
    assert!(
        (found.percent() - expected).abs() < 1e-9,
        "{found:?}, expected {expected} %"
    );
}

#[test]
fn load_is_the_share_of_time_with_bits_in_it() {
    let request = FrameBits::Exact(126);
    let mut load = BusLoad::new(BitRate::Kbit500, Duration::from_millis(1));
    assert_percent(load.over(Duration::ZERO), 0.0);
    for start in [0, 252, 504, 5_000] {
        load.on_frame(at(start), request);
    }
    assert_eq!((load.frames(), load.bits(), load.bounded()), (4, 504, 0));
    assert_eq!(load.wire_time(), Duration::from_micros(1008));
    assert_percent(load.over(Duration::from_millis(10)), 10.08);
    assert_percent(load.peak(), 75.6);
}

#[test]
fn a_frame_across_a_border_counts_in_both_windows() {
    let request = FrameBits::Exact(126);
    let mut load = BusLoad::new(BitRate::Kbit500, Duration::from_millis(1));
    load.on_frame(at(900), request);
    assert_percent(load.peak(), 15.2);
    load.on_frame(at(1_500), request);
    assert_percent(load.peak(), 40.4);
    // A full bus is 100 %, never more, and an idle hour costs no time to pass.
    let mut start = 3_600_000_000;
    for _ in 0..100 {
        load.on_frame(at(start), request);
        start += 252;
    }
    assert_percent(load.peak(), 100.0);
    load.on_bits(BusInstant::MAX, u32::MAX);
    assert_percent(load.peak(), 100.0);
}

#[test]
fn frames_of_unknown_length_are_named() {
    let mut load = BusLoad::new(BitRate::Kbit500, Duration::from_millis(1));
    load.on_frame(at(0), FrameBits::AtMost(200));
    load.on_frame(at(0), FrameBits::NotOnTheWire);
    assert_eq!((load.frames(), load.bounded(), load.bits()), (1, 1, 200));
}
