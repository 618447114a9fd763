//! Messages, byte for byte, in both directions.

extern crate std;

use std::{string::ToString, vec::Vec};

use super::*;
use crate::{Dtc, ResponseBuffer, ResponseCode, describe_request, describe_response};

/// Requests and their words. Bytes: a public help page and ISO 14229-1 where no other source stands beside.
const REQUESTS: &[(&[u8], &str)] = &[
    (&[0x10, 0x01], "asks for the default session"),
    (&[0x10, 0x83], "asks for session $03 (without an answer)"),
    (
        &[0x14, 0xFF, 0xFF, 0x33],
        "asks to clear codes, freeze frames and readiness",
    ),
    (
        &[0x14, 0xFF, 0xFF, 0xFF],
        "asks to clear the codes of group FF FF FF",
    ),
    (&[0x19, 0x42, 0x33, 0x08, 0xFF], "asks for confirmed codes"),
    (&[0x19, 0x42, 0x33, 0x04, 0xFF], "asks for pending codes"),
    (&[0x19, 0x42, 0x33, 0xFF, 0xFF], "asks for all codes"),
    (
        &[0x19, 0xC2, 0xD0, 0x10, 0xFF],
        "asks for (not run since clear) codes of functional group $D0 (without an answer)",
    ),
    (&[0x19, 0x55, 0x33], "asks for permanent codes"),
    (
        &[0x19, 0x56, 0x33, 0x06],
        "asks for the codes of readiness group $06 (evap, by our numbers)",
    ),
    (
        &[0x19, 0x56, 0x33, 0x77],
        "asks for the codes of readiness group $77",
    ),
    (
        &[0x19, 0x1A, 0x92],
        "asks for the codes with extended data record $92",
    ),
    (
        &[0x19, 0x04, 0x04, 0x55, 0x7A, 0x00],
        "asks for the first freeze frame of P0455-7A",
    ),
    (
        &[0x19, 0x04, 0x04, 0x55, 0x7A, 0xF0],
        "asks for the latest freeze frame of P0455-7A",
    ),
    (
        &[0x19, 0x04, 0x04, 0x55, 0x7A, 0xFF],
        "asks for the freeze frames of P0455-7A",
    ),
    (
        &[0x19, 0x06, 0x04, 0x55, 0x7A, 0xFE],
        "asks for extended data of P0455-7A (record $FE)",
    ),
    (
        &[0x22, 0xF8, 0x10],
        "asks whether anybody speaks OBD on UDS (J1979-2)",
    ),
    (
        &[0x22, 0xF4, 0x0C, 0xF5, 0x23, 0xF6, 0x21],
        "asks for engine speed, PID $123, test results of catalyst, bank 1",
    ),
    (
        &[0x22, 0xF4, 0x20, 0xF8, 0x02, 0xF1, 0x90],
        "asks for the supported PIDs from $F421, vehicle identification number, data identifier $F190",
    ),
    (&[0x31, 0x01, 0xE0, 0x01], "commands evaporative system leak test"),
    (
        &[0x31, 0x03, 0xE0, 0x07, 0x01],
        "asks for the result of control $07 01",
    ),
    (&[0x3E, 0x00], "says that it is still there"),
    (&[0x3E, 0x80], "says that it is still there (without an answer)"),
];

#[test]
fn requests_are_read_written_and_said() {
    let mut out = Vec::new();
    for &(bytes, words) in REQUESTS {
        let request = Request::parse(bytes).unwrap_or_else(|error| panic!("{bytes:02X?}: {error}"));
        request.emit(&mut out);
        assert_eq!(out, bytes);
        assert_eq!(request.service().to_byte(), bytes[0]);
        assert_eq!(describe_request(bytes), words);
    }
}

/// Codes of refusals: $11, $12, $13 (ISO 14229-1, order of checks from memory).
#[test]
fn a_bad_request_knows_its_refusal() {
    for (bytes, code) in [
        (&[0x01, 0x0C][..], ResponseCode::ServiceNotSupported),
        (&[0x27, 0x01], ResponseCode::ServiceNotSupported),
        (&[], ResponseCode::ServiceNotSupported),
        (&[0x10], ResponseCode::IncorrectLength),
        (&[0x14, 0xFF, 0xFF], ResponseCode::IncorrectLength),
        (&[0x14, 0xFF, 0xFF, 0x33, 0x00], ResponseCode::IncorrectLength),
        (&[0x19], ResponseCode::IncorrectLength),
        (&[0x19, 0x42, 0x33, 0x08], ResponseCode::IncorrectLength),
        (&[0x19, 0x55], ResponseCode::IncorrectLength),
        (&[0x19, 0x02, 0xFF], ResponseCode::SubFunctionNotSupported),
        (&[0x22], ResponseCode::IncorrectLength),
        (&[0x22, 0xF4], ResponseCode::IncorrectLength),
        (&[0x22, 0xF4, 0x0C, 0xF4], ResponseCode::IncorrectLength),
        (&[0x31, 0x01, 0xE0], ResponseCode::IncorrectLength),
        (&[0x3E, 0x01], ResponseCode::SubFunctionNotSupported),
        (&[0x3E], ResponseCode::IncorrectLength),
    ] {
        let refusal = Request::parse(bytes).map_err(|error| error.refusal());
        assert_eq!(refusal.err(), Some(code), "{bytes:02X?}");
    }
}

/// Answers and their words: `62 F4 0C 1A F8` as in public help and `udsoncan`; layouts as in the request's table.
const ANSWERS: &[(&[u8], &str)] = &[
    (
        &[0x50, 0x01, 0x00, 0x32, 0x01, 0xF4],
        "session $01: answers within 50 ms, 5000 ms after response pending",
    ),
    (&[0x54], "codes, freeze frames and readiness cleared"),
    (&[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04], "no code"),
    (
        &[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04, 0x41, 0x04, 0x55, 0x7A, 0xAF],
        "1 code: P0455-7A fluid leak or seal failure (failing, failed in this cycle, pending, confirmed, failed since \
         clear, lamp on; check at the next halt)",
    ),
    (
        &[
            0x59, 0x55, 0x33, 0xFF, 0x04, 0x04, 0x55, 0x00, 0x28, 0xC1, 0x00, 0x87, 0x00,
        ],
        "2 permanent codes: P0455-00, U0100-87 missing message",
    ),
    (&[0x59, 0x55, 0x33, 0xFF, 0x04], "no permanent code"),
    (
        &[
            0x59, 0x56, 0x33, 0xFF, 0x04, 0x04, 0x04, 0x20, 0x00, 0x50, 0x04, 0x30, 0x00, 0x40,
        ],
        "readiness group $04 (catalyst, by our numbers): 1 of 2 codes not judged since clear",
    ),
    (
        &[0x59, 0x1A, 0xFF, 0x92, 0x04, 0x20, 0x00, 0x50],
        "1 codes have extended data record $92",
    ),
    (
        &[0x59, 0x04, 0x04, 0x55, 0x7A, 0x27],
        "P0455-7A (failing, failed in this cycle, pending, failed since clear): no freeze frame",
    ),
    (
        &[
            0x59, 0x04, 0x04, 0x55, 0x7A, 0x08, 0x00, 0x01, 0xF4, 0x0D, 0x50, 0xF0, 0x02, 0xF4, 0x0D, 0x51,
            0xF4, 0x05, 0x6E,
        ],
        "P0455-7A (confirmed); first freeze frame: vehicle speed 80 km/h; latest freeze frame: vehicle speed 81 km/h; \
         coolant temperature 70 °C",
    ),
    (
        &[0x59, 0x06, 0x04, 0x55, 0x7A, 0x08, 0x92, 0x00, 0x03, 0x00, 0x05],
        "P0455-7A (confirmed): extended data, in-use completions 3, conditions 5",
    ),
    (&[0x62, 0xF8, 0x10, 0x01], "protocol identification 1"),
    (
        &[0x62, 0xF4, 0x0C, 0x1A, 0xF8, 0xF4, 0x0D, 0x50],
        "engine speed 1726 rpm; vehicle speed 80 km/h",
    ),
    (
        &[0x62, 0xF4, 0x00, 0xBE, 0x1F, 0xA8, 0x13],
        "supports PIDs 01 03 04 05 06 07 0C 0D 0E 0F 10 11 13 15 1C 1F, more follow",
    ),
    (
        &[0x62, 0xF8, 0x00, 0x55, 0x40, 0x00, 0x00],
        "supports InfoTypes 02 04 06 08 0A",
    ),
    (
        &[0x62, 0xF6, 0x39, 0x80, 0xFE, 0xFF, 0xF4, 0x80, 0x00, 0xE0, 0xC0],
        "evap leak, cap off or 0.150 in, test $80: -3 Pa (at most -2000 Pa), failed",
    ),
    (&[0x62, 0xF1, 0x90, 0x41, 0x42], "data identifier $F190 41 42"),
    (
        &[0x62, 0xF4, 0x0C, 0x1A],
        "unreadable: the data of `$F40C` do not fit `1` bytes",
    ),
    (
        &[0x71, 0x01, 0xE0, 0x01, 0x00],
        "takes evaporative system leak test: 00",
    ),
    (&[0x7E, 0x00], "knows that the tester is there"),
    (
        &[0x7F, 0x22, 0x31],
        "data by identifier refused: request out of range ($31)",
    ),
    (
        &[0x7F, 0x14, 0x22],
        "clear codes refused: conditions not correct ($22)",
    ),
    (
        &[0x7F, 0x14, 0x72],
        "clear codes refused: general programming failure ($72)",
    ),
    (
        &[0x7F, 0x19, 0x78],
        "codes and their data: the answer will follow (response pending, $78)",
    ),
];

#[test]
fn answers_are_read_and_said() {
    for &(bytes, words) in ANSWERS {
        assert!(Response::parse(bytes).is_ok(), "{bytes:02X?}");
        assert_eq!(describe_response(bytes), words);
    }
}

/// Whether $F8xx keeps the number of items is uncertain: both are read.
#[test]
fn vehicle_information_is_read_with_and_without_a_number_of_items() {
    let vin = b"0TW00TRP3A0000042";
    for head in [&[0x62, 0xF8, 0x02][..], &[0x62, 0xF8, 0x02, 0x01]] {
        let message = [head, vin].concat();
        assert_eq!(
            describe_response(&message),
            "vehicle identification number 0TW00TRP3A0000042"
        );
    }
    let two = [&[0x62, 0xF8, 0x06][..], &[1, 2, 3, 4, 5, 6, 7, 8]].concat();
    assert_eq!(
        describe_response(&two),
        "calibration verification number 01020304, 05060708"
    );
}

/// No answer of wrong length is read, and none of any length makes the reader fail.
#[test]
fn cut_answers_are_refused_or_read_in_part() {
    for (bytes, error) in [
        (&[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04, 0x41][..], "an answer of"),
        (&[0x59, 0x55, 0x33, 0xFF, 0x04, 0x04], "an answer of"),
        (&[0x59, 0x55, 0x33, 0xFF, 0x01], "codes of format `1`"),
        (&[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x00], "codes of format `0`"),
        (&[0x50, 0x01], "an answer of"),
        (&[0x54, 0x00], "an answer of"),
        (&[0x62, 0xF4], "an answer of"),
        (&[0x41, 0x00], "no answer of J1979-2"),
        (&[0x7F, 0x22], "no answer of J1979-2"),
    ] {
        let said = Response::parse(bytes).map_err(|error| error.to_string());
        assert!(
            said.as_ref().is_err_and(|said| said.starts_with(error)),
            "{bytes:02X?}: {said:?}"
        );
    }
    for &(bytes, _) in ANSWERS {
        for length in 0..bytes.len() {
            assert!(!describe_response(&bytes[..length]).is_empty());
        }
    }
}

/// What an ECU writes is what a tester reads.
#[test]
fn answers_are_written_as_they_are_read() {
    let code = FullDtc {
        code: Dtc::p(0x0455),
        failure: FailureType::new(0x7A),
    };
    let status = Status::from_byte(0xAF);
    let mut out = ResponseBuffer::new();
    answer::begin_codes_by_mask(&mut out, EMISSIONS, (Status::ALL, Severity::ALL)).unwrap();
    answer::push_graded(&mut out, Severity::NEXT_HALT, code, status).unwrap();
    let Ok(Response::CodesByMask {
        group,
        available,
        codes,
    }) = Response::parse(&out)
    else {
        panic!("{:02X?}", &*out);
    };
    assert_eq!((group, available), (EMISSIONS, Status::ALL));
    assert!(codes.iter().eq([(Severity::NEXT_HALT, code, status)]));

    answer::begin_permanent_codes(&mut out, EMISSIONS, Status::ALL).unwrap();
    answer::push_code(&mut out, code, status).unwrap();
    let Ok(Response::PermanentCodes { codes, .. }) = Response::parse(&out) else {
        panic!("{:02X?}", &*out);
    };
    assert!(codes.iter().eq([(code, status)]));

    answer::begin_records(&mut out, 0x04, code, status).unwrap();
    out.extend(&[FIRST_FRAME, 1]).unwrap();
    answer::push_data(&mut out, Did::parameter(0x0D)).unwrap();
    out.extend(&[0x50]).unwrap();
    let Ok(Response::FreezeFrames { mut frames, .. }) = Response::parse(&out) else {
        panic!("{:02X?}", &*out);
    };
    let frame = frames.next().unwrap().unwrap();
    assert_eq!(
        (frame.record, frame.data.count(), frames.next()),
        (FIRST_FRAME, 1, None)
    );
}

/// Of bit names ISO 14229-1, annex D.2.
#[test]
fn failure_types_rise_and_status_bits_have_their_places() {
    assert_eq!(FailureType::new(0x13).name(), Some("circuit open"));
    assert_eq!(FailureType::new(0xEE).name(), None);
    let bits = [
        Status::FAILING,
        Status::FAILED_THIS_CYCLE,
        Status::PENDING,
        Status::CONFIRMED,
        Status::NOT_RUN_SINCE_CLEAR,
        Status::FAILED_SINCE_CLEAR,
        Status::NOT_RUN_THIS_CYCLE,
        Status::LAMP,
    ];
    for (place, bit) in bits.into_iter().enumerate() {
        assert_eq!(bit.to_byte(), 1 << place);
        assert_eq!(Status::NONE.with(bit, true), bit);
        assert_eq!(Status::ALL.with(bit, false).to_byte(), !(1 << place));
    }
    for number in 0..=u8::MAX {
        let type_ = FailureType::new(number);
        assert!(type_.name().is_none_or(|name| name == name.trim()), "{type_}");
    }
}
