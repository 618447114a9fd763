//! Every bit and code of linux/can/error.h, alone and together.

extern crate std;

use std::{format, string::String, vec::Vec};

use super::*;
use crate::{CanId, record};

fn decode(classes: u32, detail: [u8; 8]) -> ErrorFrame {
    ErrorFrame::decode(&Frame::error(classes, detail)).expect("an error frame")
}

/// One row: class bits, detail bytes, the words.
const FRAMES: &[(u32, [u8; 8], &str)] = &[
    (0x001, [0; 8], "a frame could not be sent in time"),
    (0x002, [0; 8], "lost arbitration to another node"),
    (
        0x002,
        [9, 0, 0, 0, 0, 0, 0, 0],
        "lost arbitration to another node in bit 9",
    ),
    (0x004, [0; 8], "controller: unspecified"),
    (
        0x004,
        [0, 0x01, 0, 0, 0, 0, 0, 0],
        "controller: receive buffer overflow",
    ),
    (
        0x004,
        [0, 0x02, 0, 0, 0, 0, 0, 0],
        "controller: transmit buffer overflow",
    ),
    (
        0x004,
        [0, 0x0C, 0, 0, 0, 0, 0, 0],
        "controller: many receive errors (warning level), many transmit errors (warning level)",
    ),
    (
        0x004,
        [0, 0x10, 0, 0, 0, 0, 0, 0],
        "controller: error-passive by receive errors",
    ),
    (
        0x004,
        [0, 0x20, 0, 0, 0, 0, 0, 0],
        "controller: error-passive by transmit errors",
    ),
    (
        0x004,
        [0, 0x40, 0, 0, 0, 0, 0, 0],
        "controller: error-active again",
    ),
    (0x004, [0, 0x80, 0, 0, 0, 0, 0, 0], "controller: unknown bits 80"),
    (
        0x004,
        [0, 0x81, 0, 0, 0, 0, 0, 0],
        "controller: receive buffer overflow, unknown bits 80",
    ),
    (0x008, [0; 8], "protocol violation: unspecified"),
    (
        0x008,
        [0, 0, 0x01, 0x0A, 0, 0, 0, 0],
        "protocol violation: bit error at data field",
    ),
    (
        0x008,
        [0, 0, 0x02, 0x18, 0, 0, 0, 0],
        "protocol violation: form error at CRC delimiter",
    ),
    (
        0x008,
        [0, 0, 0x84, 0x08, 0, 0, 0, 0],
        "protocol violation: stuff error, on transmission at CRC sequence",
    ),
    (
        0x008,
        [0, 0, 0x08, 0x19, 0, 0, 0, 0],
        "protocol violation: dominant bit could not be sent at acknowledge slot",
    ),
    (
        0x008,
        [0, 0, 0x10, 0x03, 0, 0, 0, 0],
        "protocol violation: recessive bit could not be sent at start of frame",
    ),
    (
        0x008,
        [0, 0, 0x20, 0x12, 0, 0, 0, 0],
        "protocol violation: overload at intermission",
    ),
    (
        0x008,
        [0, 0, 0x40, 0x1F, 0, 0, 0, 0],
        "protocol violation: active error flag at location 1F",
    ),
    (0x010, [0; 8], "transceiver: unspecified fault of the wires"),
    (0x010, [0, 0, 0, 0, 0x04, 0, 0, 0], "transceiver: CAN_H open"),
    (
        0x010,
        [0, 0, 0, 0, 0x70, 0, 0, 0],
        "transceiver: CAN_L shorted to ground",
    ),
    (
        0x010,
        [0, 0, 0, 0, 0x56, 0, 0, 0],
        "transceiver: CAN_H shorted to supply, CAN_L shorted to battery",
    ),
    (
        0x010,
        [0, 0, 0, 0, 0x80, 0, 0, 0],
        "transceiver: CAN_L shorted to the other wire",
    ),
    (
        0x010,
        [0, 0, 0, 0, 0x03, 0, 0, 0],
        "transceiver: CAN_H in unknown state 3",
    ),
    (0x020, [0; 8], "no other node acknowledged a frame"),
    (
        0x040,
        [0; 8],
        "bus off: the controller has taken itself off the bus",
    ),
    (0x080, [0; 8], "bus error"),
    (0x100, [0; 8], "the controller was restarted after bus off"),
    (
        0x200,
        [0, 0, 0, 0, 0, 0, 136, 7],
        "136 transmit and 7 receive errors counted",
    ),
    (0x000, [0; 8], "error of no class"),
    (0x1400, [0; 8], "unknown error class 1400"),
    // A driver reports what belongs together in one frame.
    (
        0x0A8,
        [0, 0, 0x80, 0x19, 0, 0, 0, 0],
        "protocol violation: on transmission at acknowledge slot; no other node acknowledged a frame; bus error",
    ),
    (
        0x244,
        [0, 0x20, 0, 0, 0, 0, 248, 0],
        "controller: error-passive by transmit errors; bus off: the controller has taken itself off the bus; \
         248 transmit and 0 receive errors counted",
    ),
];

#[test]
fn frames_say_in_words_what_their_bits_say() {
    for &(classes, detail, words) in FRAMES {
        assert_eq!(
            format!("{}", decode(classes, detail)),
            words,
            "{classes:03X} {detail:02X?}"
        );
    }
}

/// Values: linux/can/error.h, `CAN_ERR_PROT_LOC_*`, `CAN_ERR_TRX_*`, class bits.
#[test]
fn every_code_of_the_header_has_its_own_words() {
    let named = (0..=0xFF).map(Location::from_code);
    let named: Vec<String> = named
        .filter(|location| !matches!(location, Location::Unknown(_)))
        .map(|location| format!("{location}"))
        .collect();
    assert_eq!(named.len(), 20);
    for (i, words) in named.iter().enumerate() {
        assert!(!named[..i].contains(words), "{words} stands for two codes");
    }
    let bits: u32 = ErrorClass::ALL.iter().map(|class| class.bit()).sum();
    assert_eq!(bits, 0x3FF);
    let bits: u32 = ControllerEvent::ALL
        .iter()
        .map(|event| u32::from(event.bit()))
        .sum();
    assert_eq!(bits, 0x7F);
    let bits: u32 = Violation::ALL
        .iter()
        .map(|violation| u32::from(violation.bit()))
        .sum();
    assert_eq!(bits, 0xFF);
}

#[test]
fn the_state_is_the_worse_of_both_sides() {
    use ErrorState::{Active, BusOff, Passive, Warning};
    let state = |classes, events| decode(classes, [0, events, 0, 0, 0, 0, 0, 0]).state();
    let rows = [
        (0x004, 0x00, None),
        (0x004, 0x01, None),
        (0x004, 0x04, Some(Warning)),
        (0x004, 0x08, Some(Warning)),
        (0x004, 0x14, Some(Passive)),
        (0x004, 0x20, Some(Passive)),
        (0x004, 0x40, Some(Active)),
        (0x040, 0x00, Some(BusOff)),
        (0x044, 0x40, Some(BusOff)),
        (0x100, 0x00, Some(Active)),
        // Without the class bit the detail byte says nothing.
        (0x020, 0x20, None),
    ];
    for (classes, events, expected) in rows {
        assert_eq!(state(classes, events), expected, "{classes:03X} {events:02X}");
    }
    assert!(Active < Warning && Warning < Passive && Passive < BusOff);
}

/// Thresholds: linux/can/error.h, `CAN_ERROR_WARNING_THRESHOLD`, `CAN_ERROR_PASSIVE_THRESHOLD`.
#[test]
fn counters_mean_a_state_and_count_only_with_their_class() {
    let counters = |transmit, receive| ErrorCounters { transmit, receive };
    assert_eq!(counters(95, 95).state(), ErrorState::Active);
    assert_eq!(counters(96, 0).state(), ErrorState::Warning);
    assert_eq!(counters(0, 127).state(), ErrorState::Warning);
    assert_eq!(counters(0, 128).state(), ErrorState::Passive);
    assert_eq!(counters(255, 0).state(), ErrorState::Passive);
    assert_eq!(
        decode(0x200, [0, 0, 0, 0, 0, 0, 8, 1]).counters(),
        Some(counters(8, 1))
    );
    assert_eq!(decode(0x004, [0, 0, 0, 0, 0, 0, 8, 1]).counters(), None);
}

#[test]
fn only_error_frames_are_taken_apart_and_none_panics() {
    let data = Frame::padded(CanId::Standard(0x040), &[], 0);
    assert_eq!(ErrorFrame::decode(&data), None);
    // As it comes from a socket or an embedded bus: CAN_ERR_FLAG in the identifier word, any bits beside it.
    for byte in 0..=255 {
        for word in [0x2000_0000_u32, 0x2000_0244, 0x3FFF_FFFF, 0xFFFF_FFFF] {
            let mut bytes = [byte; record::LEN];
            bytes[..4].copy_from_slice(&word.to_le_bytes());
            bytes[4] = byte % 9;
            bytes[5] = 0;
            let frame = record::decode(&bytes).expect("a record");
            let error = ErrorFrame::decode(&frame).expect("an error frame");
            assert!(!format!("{error}").is_empty());
            assert_eq!(error.causes().count() > 0, word != 0x2000_0000);
        }
    }
}
