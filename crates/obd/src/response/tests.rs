//! Worked messages of the standard and of public excerpts, and answers that break the rules.

extern crate std;

use std::{string::ToString, vec::Vec};

use super::*;
use crate::{BufferFull, InUsePerformance, ResponseBuffer, describe_request, describe_response};

fn codes(bytes: &[u8]) -> Vec<std::string::String> {
    match Response::parse(bytes) {
        Ok(Response::Codes(_, codes)) => codes.iter().map(|code| code.to_string()).collect(),
        other => panic!("no codes: {other:?}"),
    }
}

/// The shape of the VIN answer in SAE J1979 (service, InfoType, one item, seventeen characters), as scapy and tshark
/// decode it; the number is invented.
#[test]
fn vin_in_the_shape_of_the_standard() {
    let mut bytes = Vec::from([0x49, 0x02, 0x01]);
    bytes.extend(b"0TW00TRP3A0000042");
    assert_eq!(
        Response::parse(&bytes),
        Ok(Response::Information(Information::Vin(b"0TW00TRP3A0000042")))
    );
}

/// Six codes: public excerpt that calls it the example of the ISO standard; scapy reads the same. One code: the
/// same excerpt. None: an article on the standard; scapy.
#[test]
fn codes_of_the_standard() {
    assert_eq!(
        codes(&[
            0x43, 0x06, 0x01, 0x43, 0x01, 0x96, 0x02, 0x34, 0x02, 0xCD, 0x03, 0x57, 0x0A, 0x24
        ]),
        ["P0143", "P0196", "P0234", "P02CD", "P0357", "P0A24"]
    );
    assert_eq!(codes(&[0x43, 0x01, 0x04, 0x43]), ["P0443"]);
    assert!(codes(&[0x43, 0x00]).is_empty());
}

/// Own bytes; scapy 2.8 reads the same three records with 1726.0, 80 and 70.0.
#[test]
fn several_parameters_come_one_after_the_other() {
    let Ok(Response::CurrentData(records)) =
        Response::parse(&[0x41, 0x0C, 0x1A, 0xF8, 0x0D, 0x50, 0x05, 0x6E])
    else {
        panic!("no records");
    };
    let found: Vec<_> = records
        .map(|record| record.unwrap())
        .map(|r| (r.pid.number(), r.data))
        .collect();
    assert_eq!(
        found,
        [(0x0C, &[0x1A, 0xF8][..]), (0x0D, &[0x50]), (0x05, &[0x6E])]
    );
}

/// Own bytes; scapy reads P0301 in frame 0, and DTC 0000 of the answer without a stored frame.
#[test]
fn freeze_frame_records_carry_their_frame() {
    for data in [[0x03, 0x01], [0x00, 0x00]] {
        let bytes = [0x42, 0x02, 0x00, data[0], data[1]];
        let Ok(Response::FreezeFrame(mut records)) = Response::parse(&bytes) else {
            panic!("no records");
        };
        let expected = Record {
            pid: Pid::new(0x02),
            frame: Some(0),
            data: &data,
        };
        assert_eq!((records.next(), records.next()), (Some(Ok(expected)), None));
    }
}

#[test]
fn a_record_that_cannot_be_read_ends_the_list() {
    let read = |bytes| match Response::parse(bytes) {
        Ok(Response::CurrentData(records) | Response::FreezeFrame(records)) => records.collect::<Vec<_>>(),
        other => panic!("no records: {other:?}"),
    };
    let truncated = |pid, needed, found| {
        Err(RecordError::Truncated {
            pid: Pid::new(pid),
            needed,
            found,
        })
    };
    assert_eq!(
        read(&[0x41, 0xC3, 0x00, 0x0D, 0x50]),
        [Err(RecordError::UnknownPid(Pid::new(0xC3)))]
    );
    assert_eq!(
        read(&[0x41, 0x0D, 0x50, 0x0C, 0x1A])[1..],
        [truncated(0x0C, 2, 1)]
    );
    assert_eq!(read(&[0x42, 0x0C, 0x00, 0x1A]), [truncated(0x0C, 3, 2)]);
    assert_eq!(read(&[0x41]), []);
}

/// Mask: computed, scapy agrees. Name: scapy reads `ECM`, zero, `-EngineControl`, two zeros.
#[test]
fn vehicle_information_is_told_apart() {
    assert_eq!(
        Response::parse(&[0x49, 0x00, 0x55, 0x40, 0x00, 0x00]),
        Ok(Response::Masks(
            Service::VehicleInformation,
            &[[0x00, 0x55, 0x40, 0x00, 0x00]]
        ))
    );
    let mut name = Vec::from([0x49, 0x0A, 0x01]);
    name.extend(b"ECM\0-EngineControl\0\0");
    assert_eq!(
        Response::parse(&name),
        Ok(Response::Information(Information::EcuName(
            b"ECM\0-EngineControl\0\0"
        )))
    );
    assert_eq!(
        Response::parse(&[0x49, 0x06, 0x02, 1, 2, 3, 4, 5, 6, 7, 8]),
        Ok(Response::Information(Information::VerificationNumbers(&[
            [1, 2, 3, 4],
            [5, 6, 7, 8]
        ])))
    );
    let mut counters = Vec::from([0x49, 0x08, 0x10]);
    counters.extend((0..16).flat_map(|count| [0, count]));
    let Ok(Response::Information(Information::InUse(items))) = Response::parse(&counters) else {
        panic!("no counters");
    };
    let performance = InUsePerformance::from_items(items);
    assert_eq!(performance.group(crate::Group::Evap), Some((14, 15)));
    assert_eq!(performance.counters()[16..], [0; 4]);
}

#[test]
fn refusals_and_clears() {
    assert_eq!(
        Response::parse(&[0x7F, 0x04, 0x22]),
        Ok(Response::Negative(
            Service::Clear,
            ResponseCode::ConditionsNotCorrect
        ))
    );
    assert_eq!(Response::parse(&[0x44]), Ok(Response::Cleared));
    assert_eq!(
        Response::parse(&[0x62, 0xF8, 0x10, 0x01]),
        Ok(Response::Other(Service::ReadData, &[0xF8, 0x10, 0x01]))
    );
}

#[test]
fn answers_that_break_the_rules_are_named() {
    let information = |info_type, bytes| ResponseError::Information { info_type, bytes };
    for (bytes, error) in [
        (&[][..], ResponseError::Empty),
        (&[0x03], ResponseError::NoAnswer(0x03)),
        (&[0x7F, 0x04], ResponseError::NegativeLength(2)),
        (&[0x43], ResponseError::CodeCount { count: 0, bytes: 0 }),
        (
            &[0x43, 0x02, 0x04, 0x55],
            ResponseError::CodeCount { count: 2, bytes: 2 },
        ),
        (
            &[0x43, 0x01, 0x04, 0x55, 0x00],
            ResponseError::CodeCount { count: 1, bytes: 3 },
        ),
        (&[0x44, 0x00], ResponseError::Excess(1)),
        (&[0x46], ResponseError::Results(0)),
        (&[0x46, 0x20, 0x00], ResponseError::Results(2)),
        (
            &[0x46, 0x3B, 0x81, 0x32, 0, 0, 0, 0, 0],
            ResponseError::Results(8),
        ),
        (&[0x48], ResponseError::Control(0)),
        (&[0x48, 0x00, 0x80], ResponseError::Control(2)),
        (&[0x48, 0x01, 0, 0, 0, 0], ResponseError::Control(5)),
        (&[0x49], information(0, 0)),
        (&[0x49, 0x00, 0x55], information(0x00, 1)),
        (&[0x49, 0x02, 0x01, 0x31], information(0x02, 2)),
        (&[0x49, 0x04, 0x01], information(0x04, 1)),
        (&[0x49, 0x06, 0x02, 0, 0, 0, 0], information(0x06, 5)),
    ] {
        assert_eq!(Response::parse(bytes), Err(error), "{bytes:02X?}");
    }
}

#[test]
fn codes_are_written_as_they_are_read() {
    let mut buffer = ResponseBuffer::new();
    buffer
        .write_codes(Service::PermanentCodes, [Dtc::p(0x0455), Dtc::p(0x0301)])
        .unwrap();
    assert_eq!(*buffer, [0x4A, 0x02, 0x04, 0x55, 0x03, 0x01]);
    buffer
        .write_codes(Service::PendingCodes, (0..300).map(Dtc::p))
        .unwrap();
    assert_eq!((buffer[1], buffer.len()), (255, 512));
    assert_eq!(codes(&buffer).len(), 255);
}

/// Any bytes at all: an answer, or an error; never a panic. All pairs of a first byte and a filler, all lengths
/// that matter.
#[test]
fn no_bytes_from_the_bus_panic() {
    for first in 0..=u8::MAX {
        for filler in [0x00, 0x01, 0x02, 0x14, 0x20, 0x41, 0x7F, 0xFF] {
            let mut bytes = [filler; 48];
            bytes[0] = first;
            for length in 0..=bytes.len() {
                assert!(!describe_request(&bytes[..length]).is_empty());
                assert!(!describe_response(&bytes[..length]).is_empty());
                if let Ok(Response::CurrentData(records) | Response::FreezeFrame(records)) =
                    Response::parse(&bytes[..length])
                {
                    for field in records.flatten().flat_map(|record| {
                        let fields = record.pid.definition().unwrap().fields;
                        fields.iter().map(move |field| field.decode(record.data))
                    }) {
                        assert!(!field.expect("a record has all its data").to_string().is_empty());
                    }
                }
            }
        }
    }
}

/// One answer of each kind. Bytes: the worked examples above, scapy's readings of them, and own bytes.
#[test]
fn answers_are_written_as_they_are_read() {
    let mut buffer = ResponseBuffer::new();
    let mut vin = Vec::from([0x49, 0x02, 0x01]);
    vin.extend(b"0TW00TRP3A0000042");
    let mut serial = Vec::from([0x49, 0x0D, 0x01]);
    serial.extend(b"\0\0\0\0\0\0\0\0\0\0ENGINE1");
    let mut counters = Vec::from([0x49, 0x0B, 0x12]);
    counters.extend((0..18).flat_map(|count| [0, count]));
    for bytes in [
        &[0x41, 0x0C, 0x1A, 0xF8, 0x0D, 0x50, 0x05, 0x6E][..],
        &[0x41, 0x00, 0xBE, 0x1F, 0xA8, 0x13],
        &[0x42, 0x02, 0x00, 0x03, 0x01],
        &[0x43, 0x01, 0x04, 0x43],
        &[0x44],
        &[0x46, 0x00, 0x00, 0x00, 0x00, 0x01, 0x20, 0x00, 0x00, 0x00, 0xA8],
        &[
            0x46, 0x01, 0x01, 0x0A, 0x0B, 0xB0, 0x0B, 0xB0, 0x0B, 0xB0, 0x01, 0x05, 0x10, 0x00, 0x48, 0x00,
            0x00, 0x00, 0x60,
        ],
        &[0x47, 0x00],
        &[0x48, 0x00, 0x80, 0x00, 0x00, 0x00],
        &[0x48, 0x01, 1, 2, 3, 4, 5],
        &[0x49, 0x00, 0x55, 0x40, 0x00, 0x00],
        &[0x49, 0x06, 0x02, 1, 2, 3, 4, 5, 6, 7, 8],
        &[0x49, 0x10, 0x01, 0x01],
        &[0x49, 0x15, 0xAB],
        &vin,
        &serial,
        &counters,
        &[0x4A, 0x02, 0x04, 0x55, 0x03, 0x01],
        &[0x62, 0xF8, 0x10, 0x01],
        &[0x7F, 0x04, 0x22],
    ] {
        let response = Response::parse(bytes).unwrap();
        response.emit(&mut buffer).unwrap();
        assert_eq!(*buffer, *bytes);
        let mut small = ResponseBuffer::with_limit(bytes.len() - 1);
        assert_eq!(
            response.emit(&mut small),
            Err(BufferFull {
                limit: bytes.len() - 1
            })
        );
    }
}

/// The example of the standard: values of a public excerpt, the whole row from memory; scapy reads 365.024 mV and
/// 72 ms.
#[test]
fn test_results_of_the_standard() {
    let bytes = [
        0x46, 0x01, 0x01, 0x0A, 0x0B, 0xB0, 0x0B, 0xB0, 0x0B, 0xB0, 0x01, 0x05, 0x10, 0x00, 0x48, 0x00, 0x00,
        0x00, 0x60,
    ];
    let Ok(Response::TestResults(results)) = Response::parse(&bytes) else {
        panic!("no results");
    };
    assert!(results.iter().map(|result| result.tid.number()).eq([0x01, 0x05]));
    assert!(results.iter().all(|result| result.verdict() == Some(true)));
    assert_eq!(
        describe_response(&bytes),
        "oxygen sensor, bank 1 sensor 1, rich to lean sensor threshold voltage: 365 mV (365 mV to 365 mV); oxygen \
         sensor, bank 1 sensor 1, rich to lean sensor switch time: 72 ms (at most 96 ms)"
    );
}
