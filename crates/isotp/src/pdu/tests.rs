//! Bytes and units side by side, as ISO 15765-2 lays them out.

extern crate std;

use super::*;
use crate::TxDl;

fn payload(bytes: &[u8]) -> Payload {
    Payload::new(bytes).expect("no more than a frame holds")
}

/// Bytes as ISO 15765-2 lays them out, with the unit each means.
fn table() -> [([u8; 8], Pdu); 6] {
    [
        (
            [0x02, 0x01, 0x00, 0xA5, 0xA5, 0xA5, 0xA5, 0xA5],
            Pdu::SingleFrame {
                payload: payload(&[0x01, 0x00]),
            },
        ),
        (
            [0x10, 0x14, 0x49, 0x02, 0x01, 0x31, 0x32, 0x33],
            Pdu::FirstFrame {
                length: 20,
                payload: payload(&[0x49, 0x02, 0x01, 0x31, 0x32, 0x33]),
            },
        ),
        (
            [0x1F, 0xFF, 1, 2, 3, 4, 5, 6],
            Pdu::FirstFrame {
                length: 4095,
                payload: payload(&[1, 2, 3, 4, 5, 6]),
            },
        ),
        (
            [0x10, 0x00, 0x00, 0x00, 0x10, 0x00, 5, 6],
            Pdu::FirstFrame {
                length: 4096,
                payload: payload(&[5, 6]),
            },
        ),
        (
            [0x2F, 1, 2, 3, 4, 5, 6, 7],
            Pdu::ConsecutiveFrame {
                sequence_number: 15,
                payload: payload(&[1, 2, 3, 4, 5, 6, 7]),
            },
        ),
        (
            [0x32, 0x08, 0xF5, 0xA5, 0xA5, 0xA5, 0xA5, 0xA5],
            Pdu::FlowControl {
                status: FlowStatus::Overflow,
                block_size: 8,
                st_min: StMin::from_byte(0xF5),
            },
        ),
    ]
}

#[test]
fn each_unit_is_read_from_and_written_to_the_same_bytes() {
    let id = CanId::Standard(0x7E8);
    for (bytes, unit) in table() {
        assert_eq!(Pdu::parse(&bytes), Ok(unit));
        assert_eq!(
            unit.to_frame(id, 0xA5, Frames::Classic),
            Frame::padded(id, &bytes, 0)
        );
    }
}

#[test]
fn broken_rules_are_named() {
    let cases: [(&[u8], ParseError); 12] = [
        (&[], ParseError::Empty),
        (
            &[0x00, 1, 0, 0, 0, 0, 0, 0],
            ParseError::SingleFrameLength { found: 0 },
        ),
        (
            &[0x0F, 1, 0, 0, 0, 0, 0, 0],
            ParseError::SingleFrameLength { found: 15 },
        ),
        (
            &[0x05, 1, 0x0C, 0x0D],
            ParseError::SingleFrameCut { length: 5, room: 3 },
        ),
        (&[0x10, 20, 1, 2, 3, 4, 5], ParseError::FirstFrameCut { found: 7 }),
        (
            &[0x10, 7, 1, 2, 3, 4, 5, 6],
            ParseError::FirstFrameLength { found: 7, least: 8 },
        ),
        (
            &[0x10, 1, 1, 2, 3, 4, 5, 6],
            ParseError::FirstFrameLength { found: 1, least: 8 },
        ),
        (
            &[0x10, 0, 0, 0, 0x0F, 0xFF, 5, 6],
            ParseError::EscapeLength { found: 4095 },
        ),
        (&[0x21], ParseError::ConsecutiveFrameEmpty),
        (&[0x30, 0], ParseError::FlowControlCut { found: 2 }),
        (&[0x40, 0, 0], ParseError::ReservedType { found: 4 }),
        (&[0xFF; 8], ParseError::ReservedType { found: 15 }),
    ];
    for (bytes, error) in cases {
        assert_eq!(Pdu::parse(bytes), Err(error), "{bytes:02X?}");
    }
}

/// ISO 15765-2, STmin values.
#[test]
fn reserved_separation_times_mean_127_ms() {
    for byte in 0..=0xFF {
        let expected = match byte {
            0..=0x7F => u64::from(byte) * 1000,
            0xF1..=0xF9 => u64::from(byte - 0xF0) * 100,
            _ => 127_000,
        };
        assert_eq!(StMin::from_byte(byte).gap(), Duration::from_micros(expected));
    }
}

/// CAN FD, TX_DL 64 unless the row has another: the bytes of the frame without its padding, its length, the unit (ISO
/// 15765-2:2016, escape forms and CAN_DL; the kernel's `isotp` module builds the same).
#[test]
fn units_of_can_fd_are_read_from_and_written_to_the_same_bytes() {
    let counted = |from: u8, count: u8| -> Payload {
        let bytes: std::vec::Vec<u8> = (from..from + count).collect();
        payload(&bytes)
    };
    let single = |count| Pdu::SingleFrame {
        payload: counted(1, count),
    };
    let first = |length, count| Pdu::FirstFrame {
        length,
        payload: counted(1, count),
    };
    let consecutive = |count| Pdu::ConsecutiveFrame {
        sequence_number: 1,
        payload: counted(1, count),
    };
    let continue_to_send = Pdu::FlowControl {
        status: FlowStatus::ContinueToSend,
        block_size: 0,
        st_min: StMin::ZERO,
    };
    let rows: [(&[u8], usize, Pdu); 17] = [
        (&[0x01], 8, single(1)),
        (&[0x07], 8, single(7)),
        (&[0x00, 8], 12, single(8)),
        (&[0x00, 10], 12, single(10)),
        (&[0x00, 11], 16, single(11)),
        (&[0x00, 30], 32, single(30)),
        (&[0x00, 31], 48, single(31)),
        (&[0x00, 47], 64, single(47)),
        (&[0x00, 62], 64, single(62)),
        (&[0x10, 63], 64, first(63, 62)),
        (&[0x1F, 0xFF], 64, first(4095, 62)),
        (&[0x10, 0x00, 0x00, 0x00, 0x10, 0x00], 64, first(4096, 58)),
        (&[0x10, 11], 12, first(11, 10)),
        (&[0x21], 8, consecutive(7)),
        (&[0x21], 12, consecutive(11)),
        (&[0x21], 64, consecutive(63)),
        (&[0x30, 0, 0], 8, continue_to_send),
    ];
    let id = CanId::Standard(0x7E8);
    for (header, length, unit) in rows {
        let mut bytes: std::vec::Vec<u8> = header.to_vec();
        bytes.extend(1..=62);
        bytes.extend([63]);
        let carried = match unit {
            Pdu::SingleFrame { payload }
            | Pdu::FirstFrame { payload, .. }
            | Pdu::ConsecutiveFrame { payload, .. } => payload.as_slice().len(),
            Pdu::FlowControl { .. } => 0,
        };
        bytes.truncate(header.len() + carried);
        bytes.resize(length, 0xCC);
        let frames = Frames::Fd {
            tx_dl: TxDl::LONGEST,
            bit_rate_switch: true,
        };
        assert_eq!(
            Some(unit.to_frame(id, 0xCC, frames)),
            Frame::fd(id, &bytes, true, false)
        );
        assert_eq!(Pdu::parse(&bytes), Ok(unit), "{bytes:02X?}");
    }
}

#[test]
fn broken_rules_of_can_fd_are_named() {
    let cases: [(&[u8], usize, ParseError); 8] = [
        (&[0x07], 12, ParseError::SingleFrameForm { found: 7, bytes: 12 }),
        (
            &[0x00, 7],
            12,
            ParseError::SingleFrameEscapeLength { found: 7, room: 10 },
        ),
        (
            &[0x00, 0],
            64,
            ParseError::SingleFrameEscapeLength { found: 0, room: 62 },
        ),
        (
            &[0x00, 11],
            12,
            ParseError::SingleFrameEscapeLength { found: 11, room: 10 },
        ),
        (
            &[0x00, 63],
            64,
            ParseError::SingleFrameEscapeLength { found: 63, room: 62 },
        ),
        (
            &[0x10, 62],
            64,
            ParseError::FirstFrameLength { found: 62, least: 63 },
        ),
        (
            &[0x10, 0, 0, 0, 0x0F, 0xFF],
            64,
            ParseError::EscapeLength { found: 4095 },
        ),
        (&[0x11, 0], 13, ParseError::FirstFrameCut { found: 13 }),
    ];
    for (start, length, error) in cases {
        let mut bytes = start.to_vec();
        bytes.resize(length, 0xCC);
        assert_eq!(Pdu::parse(&bytes), Err(error), "{bytes:02X?}");
    }
}

/// ISO 15765-2:2016, TX_DL.
#[test]
fn tx_dl_is_a_length_that_a_frame_can_have() {
    let allowed = (0..=u8::MAX).filter(|&bytes| TxDl::new(bytes).is_some());
    assert_eq!(
        allowed.collect::<std::vec::Vec<_>>(),
        [8, 12, 16, 20, 24, 32, 48, 64]
    );
}
